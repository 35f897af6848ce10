"""Colour conversions against published pairs and published white points."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint import lab
from tint.errors import DataError

DATA = Path(__file__).parent / "data"
PRINTED = 5e-5  # the table prints four decimals
EXACT = 1e-9


def pairs():
    with (DATA / "ciede2000_pairs.csv").open(encoding="utf-8") as stream:
        return np.array([[float(v) for v in row] for row in csv.reader(line for line in stream if line[0] not in "#L")])


def test_all_34_published_ciede2000_pairs_are_met_to_the_digits_printed():
    # Sharma, Wu, Dalal, Color Res. Appl. 30(1):21–30 (2005), table 1
    table = pairs()
    assert len(table) == 34
    np.testing.assert_allclose(lab.delta_e00(table[:, :3], table[:, 3:6]), table[:, 6], atol=PRINTED)


def test_delta_e00_is_symmetric_and_broadcasts():
    table = pairs()
    np.testing.assert_allclose(lab.delta_e00(table[:, :3], table[:, 3:6]), lab.delta_e00(table[:, 3:6], table[:, :3]), atol=EXACT)
    assert lab.delta_e00(table[:, None, :3], table[None, :, 3:6]).shape == (34, 34)


@pytest.mark.parametrize(
    ("srgb", "wanted"),
    # sRGB primaries in Lab D50 as the ICC's sRGB v4 and Bradford adaptation give them (values from memory, two digits)
    [((255, 0, 0), (54.29, 80.80, 69.89)), ((0, 255, 0), (87.82, -79.29, 80.99)), ((0, 0, 255), (29.57, 68.30, -112.03))],
)
def test_srgb_primaries_have_their_known_lab_under_d50(srgb, wanted):
    np.testing.assert_allclose(lab.lab_from_srgb1(np.array(srgb) / 255), wanted, atol=0.1)


@given(st.tuples(*[st.integers(0, 255)] * 3))
def test_screen_colours_survive_the_way_to_lab_and_back(srgb):
    text = "#" + "".join(f"{value:02x}" for value in srgb)
    assert lab.hex_from_lab(lab.lab_from_hex(text)) == text


def test_screen_colours_are_converted_as_colour_science_does_it():
    import colour

    rng = np.random.default_rng(3)
    srgb1 = np.concatenate([rng.uniform(0, 1, (2000, 3)), rng.uniform(0, 0.05, (200, 3)), np.eye(3), np.zeros((1, 3))])
    reached = rng.uniform([-1, -120, -120], [110, 120, 120], (2000, 3))  # most of it out of the screen's reach
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    how = {"illuminant": white, "chromatic_adaptation_transform": "Bradford"}
    np.testing.assert_allclose(lab.lab_from_srgb1(srgb1), colour.XYZ_to_Lab(colour.sRGB_to_XYZ(srgb1, **how), white), atol=EXACT)
    np.testing.assert_allclose(
        lab.lab_from_linear1(srgb1 * 1.2 - 0.1),
        colour.XYZ_to_Lab(colour.RGB_to_XYZ(srgb1 * 1.2 - 0.1, "sRGB", white, "Bradford"), white),
        atol=EXACT,
    )
    np.testing.assert_allclose(
        lab.srgb1_from_lab(reached, clip=False), colour.XYZ_to_sRGB(colour.Lab_to_XYZ(reached, white), **how), atol=EXACT
    )


def test_linear_light_and_srgb_agree():
    srgb1 = np.linspace(0, 1, 24).reshape(8, 3)
    linear = np.where(srgb1 <= 0.04045, srgb1 / 12.92, ((srgb1 + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    np.testing.assert_allclose(lab.lab_from_linear1(linear), lab.lab_from_srgb1(srgb1), atol=1e-3)


def test_short_hex_is_the_long_one_and_anything_else_is_refused():
    np.testing.assert_array_equal(lab.lab_from_hex("#46a"), lab.lab_from_hex("4466AA"))
    assert lab.srgb255_from_hex(" #46A ").tolist() == [0x44, 0x66, 0xAA]
    for wrong in ("", "#12345", "red", "#gggggg", "#+1-0 1", "#٤٤٦٦٨٨"):
        with pytest.raises(DataError, match="write it as '#4466aa'"):
            lab.lab_from_hex(wrong)


def test_a_perfect_white_is_100_0_0_under_every_illuminant():
    wavelength = np.arange(380, 781, 10.0)
    for illuminant in ("A", "D50", "D65"):
        np.testing.assert_allclose(lab.lab_from_reflectance(wavelength, np.ones(41), illuminant), [100, 0, 0], atol=1e-9)


def test_a_grey_spectrum_has_the_lightness_of_its_reflectance():
    # CIE 15: L* = 116 Y^(1/3) − 16; 18 % grey has L* = 49.50
    assert lab.lab_from_reflectance(np.arange(400, 701, 10.0), np.full(31, 0.18))[0] == pytest.approx(49.496, abs=0.001)


def test_spectra_agree_with_colour_science_integrating_a_measured_one():
    import colour

    sd = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]["blue"].copy().align(colour.SpectralShape(400, 700, 10))
    light = colour.SDS_ILLUMINANTS["D50"]
    xyz = colour.sd_to_XYZ(sd, colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"], light, method="ASTM E308") / 100
    wanted = colour.XYZ_to_Lab(xyz, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])
    assert lab.delta_e00(lab.lab_from_reflectance(sd.wavelengths, sd.values), wanted) < 0.3  # tables cut at 400 and 700 nm


def test_uneven_wavelengths_and_unknown_lights_are_refused():
    with pytest.raises(DataError, match="even steps"):
        lab.lab_from_reflectance([400, 410, 430], [1, 1, 1])
    with pytest.raises(DataError, match="use D50"):
        lab.lab_from_reflectance([400, 410, 420], [1, 1, 1], "F11")


def test_adaptation_takes_one_white_to_the_other():
    d65 = [95.047, 100.0, 108.883]  # ASTM E308 white of D65, 2°
    np.testing.assert_allclose(lab.adapt_xyz100(d65, "D65", "D50"), [96.42, 100, 82.49], atol=0.05)  # ICC.1 D50
    np.testing.assert_allclose(lab.lab_from_xyz100(d65, "D65"), [100, 0, 0], atol=0.05)
    np.testing.assert_allclose(lab.lab_d50_from([60, 0, 0], "D65"), [60, 0, 0], atol=1e-6)


def test_nearest_agrees_with_looking_at_every_pair():
    rng = np.random.default_rng(5)
    many, few = rng.uniform([0, -60, -60], [100, 60, 60], (500, 3)), rng.uniform([0, -60, -60], [100, 60, 60], (7, 3))
    index, distance = lab.nearest(many, few, pairs_at_once=400)
    for i in range(0, 500, 41):
        each = [float(lab.delta_e00(many[i], candidate)) for candidate in few]
        assert index[i] == int(np.argmin(each)) and distance[i] == pytest.approx(min(each))


def test_loading_colour_science_leaves_numpys_print_format_alone():
    before = np.get_printoptions()
    lab.delta_e00([50, 0, 0], [51, 0, 0])
    assert np.get_printoptions() == before


def test_the_white_of_astm_e308_comes_back_from_its_weights():
    # X, Z of D50/2° in 10 nm steps: ASTM E308 table 5 gives 96.421 and 82.524 (from memory); colour-science makes its own
    from tint.lab import _e308_weights

    for step in (1, 5, 10, 20):
        white = 100 * _e308_weights(tuple(np.arange(380.0, 781, step))).sum(axis=0)
        np.testing.assert_allclose(white, [96.421, 100, 82.524], atol=0.015)


def test_weights_answer_what_colour_science_answers_to_each_spectrum():
    import warnings

    import colour

    from tint.lab import lab_from_spectra

    nm, rng = np.arange(400.0, 701, 20), np.random.default_rng(1)
    spectra = rng.uniform(0.05, 0.9, (5, len(nm)))
    cmfs, light = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"], colour.SDS_ILLUMINANTS["D50"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        xyz = [colour.sd_to_XYZ(colour.SpectralDistribution(one, nm), cmfs, light, method="ASTM E308") for one in [*spectra, np.ones(len(nm))]]
    relative = np.array(xyz[:-1]) / xyz[-1]
    np.testing.assert_allclose(lab_from_spectra(nm, spectra), colour.XYZ_to_Lab(relative, np.array([1 / 3, 1 / 3])), atol=1e-9)
