"""Flat maps: one colour a place, by lightness, chroma and hue as each map weighs them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import palette, picture

from tint.lab import delta_e00
from tint.layers.flat_map import WEIGHTS, number_by_map
from tint.layers.gamut import MAPS
from tint.layers.separate import separate

BOOK = palette()
GREEN, PURPLE, YELLOW = [45.0, -40, 35], [45.0, 40, -35], [70.0, 0, 50]


def test_a_hue_on_the_other_side_of_grey_is_far():
    assert number_by_map("hue", np.array([GREEN]), np.array([PURPLE, YELLOW])).tolist() == [1]


@pytest.mark.parametrize("how", MAPS)
@given(st.integers(0, 10_000))
def test_a_colour_of_the_palette_takes_itself_unless_its_lightness_is_drawn_in(how, seed):
    lab = np.random.default_rng(seed).uniform([20, -40, -40], [85, 40, 40], (9, 3))
    found = number_by_map(how, lab, lab)
    assert (found == np.arange(9)).all() or how == "tone"


@given(st.integers(0, 10_000))
def test_chroma_and_hue_differences_are_what_colour_science_has(seed):
    # ΔL, ΔC and ΔH* of two colours give ΔE*ab: CIE 15:2018, 8.2.1, with colour-science as the judge
    import colour

    rng = np.random.default_rng(seed)
    lab, colours = rng.uniform([0, -60, -60], [100, 60, 60], (50, 3)), rng.uniform([20, -40, -40], [85, 40, 40], (7, 3))
    away = np.stack([colour.delta_E(lab, one, method="CIE 1976") for one in colours])
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(WEIGHTS, "nearest", (1.0, 1.0, 1.0))
        np.testing.assert_array_equal(number_by_map("nearest", lab, colours), away.argmin(axis=0))


def ramp():
    """A dark green that becomes a light yellow, and nothing the palette has, (20, 300, 3)."""
    share = np.linspace(0, 1, 300)[None, :, None]
    return np.broadcast_to(np.array([10, 60, 20]) + share * np.array([210, 150, 20]), (20, 300, 3)).astype(np.uint8)


def test_the_map_that_keeps_light_and_dark_gets_lighter_where_the_artwork_does():
    labels = separate(picture(ramp(), 30), BOOK, how="tone", background=None, ink=None, speck_mm2=0).labels
    assert (np.diff(BOOK.lab[labels[0], 0]) >= -2).all() and np.corrcoef(BOOK.lab[labels[0], 0], np.arange(300))[0, 1] > 0.9


def test_flat_maps_give_up_less_of_what_they_put_first():
    lab = np.random.default_rng(3).uniform([10, -50, -50], [95, 50, 50], (800, 3))
    found = {how: BOOK.lab[number_by_map(how, lab, BOOK.lab)] for how in MAPS}
    hue = {how: np.degrees(np.arctan2(each[:, 2], each[:, 1]) - np.arctan2(lab[:, 2], lab[:, 1])) for how, each in found.items()}
    turn = {how: np.abs((each + 180) % 360 - 180).mean() for how, each in hue.items()}
    assert turn["hue"] < turn["nearest"]
    nearest = BOOK.lab[np.stack([delta_e00(lab, one) for one in BOOK.lab]).argmin(axis=0)]
    off = {how: np.abs(each[:, 0] - lab[:, 0]).mean() for how, each in found.items()}
    assert off["nearest"] < np.abs(nearest[:, 0] - lab[:, 0]).mean() and off["nearest"] < off["hue"]
