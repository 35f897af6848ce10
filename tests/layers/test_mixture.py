"""Mixtures by area: Neugebauer's sum, Yule–Nielsen, dot gain, and their fit to a measured strip."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import palette

from tint.errors import DataError, FileError, LimitError
from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import delta_e00, lab_from_linear1, lab_from_reflectance
from tint.layers.mixture import (
    Mixing,
    MixtureStrip,
    fit_mixing,
    mixture_lab,
    mixtures_text,
    read_mixing,
    read_mixtures,
    strip_areas,
)
from tint.palette.reach import lab_from_light, light_from_lab

FILMS_NM = np.array([0.0, 30.0, 60.0, 120.0])  # bare steel and three films: four primaries
# mean ΔE00 of predicting over 100 tones of four marked colours: Xue et al., Opt. Express 32(15):26052 (2024), doi 10.1364/OE.525740
PUBLISHED_DE00 = 1.80


def test_half_of_two_colours_has_the_mean_of_their_light():
    lab = lab_from_linear1(np.array([[0.8, 0.1, 0.2], [0.2, 0.5, 0.4]]))
    np.testing.assert_allclose(mixture_lab([0.5, 0.5], lab), lab_from_linear1([0.5, 0.3, 0.3]), atol=2e-3)


@given(st.floats(1, 5), st.lists(st.floats(-0.2, 0.2), min_size=3, max_size=3), st.integers(0, 10_000))
def test_growth_of_marks_is_undone_by_asking_for_less(n, gain, seed):
    mixing = Mixing(n, np.array([0.0, *gain]))
    area = np.random.default_rng(seed).dirichlet(np.ones(4), 20)
    np.testing.assert_allclose(mixing.covered(mixing.asked(area)), area, atol=2e-5)
    np.testing.assert_allclose(mixing.covered(area).sum(axis=1), 1)


@given(st.lists(st.sampled_from([-0.25, 0.0, 0.25]), min_size=2, max_size=9), st.integers(0, 10_000))
def test_even_the_largest_growth_allowed_is_undone(gain, seed):
    mixing = Mixing(1.0, np.array(gain))
    area = np.vstack([np.eye(len(gain)), np.random.default_rng(seed).dirichlet(np.full(len(gain), 0.4), 100)])
    np.testing.assert_allclose(mixing.covered(mixing.asked(area)), area, atol=4e-3)


def test_a_colour_alone_stays_itself_whatever_the_mixing():
    lab = palette().lab
    shown = mixture_lab(np.eye(len(lab)), lab, Mixing(2.0, np.array([0, 0.1, 0.1, -0.05, 0.2, 0.0])))
    np.testing.assert_allclose(shown, lab, atol=1e-6)


def simulated(area, n, gain, rng):
    """Lab of mixtures of films, wavelength by wavelength, with marks that grow and an instrument that scatters 0.3. SIMULATED."""
    steel, oxide = material_index("austenitic steel"), material_index("magnetite")
    spectra = reflectance(WAVELENGTH_NM, [(oxide, FILMS_NM)], steel)
    grown = area + 4 * np.array([0, gain, gain / 2, gain]) * area * (1 - area)
    grown /= grown.sum(axis=1, keepdims=True)
    mixed = (grown @ spectra ** (1 / n)) ** n
    return lab_from_reflectance(WAVELENGTH_NM, mixed) + rng.normal(0, 0.3 / np.sqrt(3), (len(area), 3))


@pytest.mark.parametrize(("n", "gain"), [(1.0, 0.0), (1.0, 0.08), (1.7, 0.05)])
def test_tones_of_four_simulated_primaries_are_predicted_better_than_published(n, gain):
    rng = np.random.default_rng(1)
    primaries = simulated(np.eye(4), n, gain, rng)
    strip = strip_areas(3)
    mixing = fit_mixing(MixtureStrip(strip, simulated(strip, n, gain, rng), ("a", "b", "c")), primaries)
    steps = [each for each in itertools.product(range(8), repeat=4) if sum(each) == 7]
    tones = np.array(steps) / 7
    assert len(tones) == 120
    off = delta_e00(mixture_lab(tones, primaries, mixing), simulated(tones, n, gain, rng))
    plain = delta_e00(mixture_lab(tones, primaries), simulated(tones, n, gain, rng))
    assert off.mean() < PUBLISHED_DE00
    assert gain == 0 or off.mean() < 0.6 * plain.mean()


def test_a_strip_comes_back_from_its_file(tmp_path):
    book = palette("straw", "blue")
    area = strip_areas(2)
    true = Mixing(1.5, np.array([0, 0.06, 0.03]))
    path = tmp_path / "mixtures.csv"
    path.write_text(mixtures_text(area, ["straw", "blue"], mixture_lab(area, book.lab, true), "SIMULATED"), encoding="utf-8")
    assert path.read_text(encoding="utf-8").splitlines()[1] == "L,a,b,area: straw,area: blue"
    strip = read_mixtures(path, ["straw", "blue"])
    np.testing.assert_allclose(strip.area, area, atol=1e-9)
    found = read_mixing(path, book)
    np.testing.assert_allclose(mixture_lab(area, book.lab, found), strip.lab, atol=0.5)


def test_what_cannot_be_a_strip_is_refused_in_one_line(tmp_path):
    path = tmp_path / "mixtures.csv"
    for text, said in (
        ("L,a,b,area: straw\n70,0,0,1.2\n", "line 2: shares are numbers from 0 up that sum to 1"),
        ("L,a,b,area: green\n70,0,0,0.2\n", "'area: green' is not a colour of this palette"),
        ("L,a,b,area: straw\n170,0,0,0.2\n", "line 2: L 170 cannot be"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(FileError, match=said) as caught:
            read_mixtures(path, ["straw"])
        assert "\n" not in str(caught.value)
    few = MixtureStrip(np.array([[0.5, 0.5]]), np.array([[60.0, 0, 0]]), ("straw",))
    with pytest.raises(DataError, match="only 1 mixtures in the strip"):
        fit_mixing(few, palette("straw").lab)
    with pytest.raises(LimitError, match="Yule–Nielsen number 0.5"):
        Mixing(0.5)
    with pytest.raises(LimitError, match="sum to 1"):
        mixture_lab([0.5, 0.4], palette("straw").lab)


def test_light_and_lab_are_each_others_inverse():
    lab = np.random.default_rng(0).uniform([0, -80, -80], [100, 80, 80], (500, 3))
    np.testing.assert_allclose(lab_from_light(light_from_lab(lab)), lab, atol=1e-9)
