"""Thin films against an independent transfer-matrix package, computed tables and published hue orders."""

import csv
from pathlib import Path

import numpy as np
import pytest
import tmm

from tint import film
from tint.errors import DataError
from tint.lab import lab_from_reflectance

DATA = Path(__file__).parent / "data"
WAVELENGTH = film.WAVELENGTH_NM


def rows():
    with (DATA / "film_colours.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def colours(oxide, metal, thickness_nm, illuminant="D50"):
    shine = film.reflectance(WAVELENGTH, [(film.material_index(oxide), thickness_nm)], film.material_index(metal))
    return lab_from_reflectance(WAVELENGTH, shine, illuminant)


def hue_deg(lab):
    return np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row['film']} {row['nm']} nm")
def test_film_colours_match_a_table_computed_elsewhere(row):
    got = colours(row["film"], row["metal"], float(row["nm"]), "D65")
    # 0.2: the table was summed at another wavelength step, which moves strong yellows by a tenth
    np.testing.assert_allclose(got, [float(row[axis]) for axis in "Lab"], atol=0.2)


@pytest.mark.parametrize("polarisation", ["s", "p"])
@pytest.mark.parametrize("angle_deg", [0, 8, 45, 80])
def test_one_and_two_absorbing_films_agree_with_tmm_to_1e_12(polarisation, angle_deg):
    materials = [film.material_index(name) for name in ("titanium dioxide", "magnetite", "austenitic steel")]
    for k in range(0, len(WAVELENGTH), 9):
        n0, n1, n2 = (index[k] for index in materials)
        for films, thicknesses in (([n1], [47.0]), ([n0, n1], [31.0, 88.0])):
            wanted = tmm.coh_tmm(
                polarisation, [1, *films, n2], [np.inf, *thicknesses, np.inf], np.radians(angle_deg), WAVELENGTH[k]
            )["R"]  # fmt: skip
            pairs = [([n], d) for n, d in zip(films, thicknesses, strict=True)]
            got = film.reflectance([WAVELENGTH[k]], pairs, [n2], angle_deg, polarisation)
            assert abs(got[0] - wanted) < 1e-12


def test_unpolarised_light_is_the_mean_of_both_and_thickness_may_be_an_array():
    metal, oxide = film.material_index("iron"), film.material_index("hematite")
    thick = np.array([[10.0, 30.0], [60.0, 90.0]])
    both, s, p = (film.reflectance(WAVELENGTH, [(oxide, thick)], metal, 30, kind) for kind in ("both", "s", "p"))
    assert both.shape == (2, 2, len(WAVELENGTH))
    np.testing.assert_allclose(both, (s + p) / 2, atol=1e-15)


def test_a_film_of_no_thickness_is_bare_metal():
    metal = film.material_index("titanium")
    bare = film.reflectance(WAVELENGTH, [], metal)
    np.testing.assert_allclose(film.reflectance(WAVELENGTH, [(film.material_index("titanium dioxide"), 0.0)], metal), bare, atol=1e-15)


@pytest.mark.parametrize("metal", ["austenitic steel", "iron"])
def test_heat_tint_of_steel_runs_yellow_brown_purple_blue_light_blue_as_the_film_grows(metal):
    # AISI 304: pale yellow, straw, dark yellow, brown, purple brown, dark purple, blue, dark blue (British Stainless Steel
    # Association table); carbon steel: yellow, straw, brown, purple, dark blue, light blue (three published temper tables).
    thickness = np.arange(8.0, 75.0, 1.0)
    lab = colours("magnetite", metal, thickness)
    hue = hue_deg(lab)
    first = {name: thickness[np.argmax((hue >= low) & (hue < high))] for name, low, high in
             (("yellow", 75, 110), ("brown", 25, 60), ("purple", 310, 345), ("blue", 255, 285))}  # fmt: skip
    assert first["yellow"] < first["brown"] < first["purple"] < first["blue"]
    # after dark blue comes light blue: it lightens again
    darkest = int(np.argmin(lab[:, 0]))
    assert first["brown"] <= thickness[darkest] <= first["blue"] and lab[-1, 0] > lab[darkest, 0] + 25


def test_titanium_runs_yellow_purple_blue_light_blue_silver_yellow_pink_violet_blue_green_as_the_film_grows():
    # order of anodic colours 0–140 V in published anodising tables; 2.4–2.8 nm/V
    thickness = np.arange(10.0, 340.0, 1.0)
    lab = colours("titanium dioxide", "titanium", thickness)
    hue, chroma = hue_deg(lab), np.hypot(lab[:, 1], lab[:, 2])
    wanted = [("yellow", 70, 105), ("purple", 305, 345), ("blue", 265, 300), ("light blue", 235, 262), ("silver", 0, 360),
              ("yellow", 85, 110), ("pink", 330, 360), ("violet", 300, 335), ("blue", 250, 300), ("green", 130, 175)]  # fmt: skip
    at = 0
    for name, low, high in wanted:
        fits = (hue >= low) & (hue < high) & ((chroma < 8) if name == "silver" else (chroma > 12))
        after = np.flatnonzero(fits & (np.arange(len(hue)) >= at))
        assert after.size, f"{name} does not come after {thickness[at]:.0f} nm"
        at = int(after[0])


def test_reflectance_stays_between_0_and_1():
    oxide, metal = film.material_index("magnetite"), film.material_index("brass")
    shine = film.reflectance(WAVELENGTH, [(oxide, np.linspace(0, 1000, 300))], metal, 60)
    assert (shine >= 0).all() and (shine <= 1).all()


def test_what_no_film_can_have_is_refused():
    metal = film.material_index("iron")
    with pytest.raises(DataError, match="cannot be negative"):
        film.reflectance(WAVELENGTH, [(2.0, -1.0)], metal)
    with pytest.raises(DataError, match="angle 90"):
        film.reflectance(WAVELENGTH, [], metal, 90)
    with pytest.raises(DataError, match="polarisation 'x'"):
        film.reflectance(WAVELENGTH, [], metal, 0, "x")
    with pytest.raises(DataError, match="'cheese' is not known"):
        film.material_index("cheese")
    with pytest.raises(DataError, match="is known from"):
        film.material_index("titanium dioxide", [900.0])
