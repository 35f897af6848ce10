"""Gamut maps: pictures come into what a palette can mix, whatever its shape."""

import numpy as np
import pytest
from invented import palette
from PIL import Image

from tint.errors import LimitError
from tint.lab import delta_e00, lab_from_srgb1
from tint.layers.gamut import MAPS, Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.mixture import Mixing, mixture_lab

BOOK = palette()
FEW = {
    "one colour": BOOK.lab[:1],
    "two": BOOK.lab[:2],
    "three": BOOK.lab[:3],
    "greys in one line": np.array([[84, 0, 0], [60, 0, 0], [40, 0, 0], [20, 0, 0]], float),
    "twice the same": BOOK.lab[[0, 1, 1, 2]],
    "all the same": BOOK.lab[[0, 0, 0]],
}
rng = np.random.default_rng(4)


@pytest.mark.parametrize("how", MAPS)
@pytest.mark.parametrize("n", [1.0, 2.0])
def test_every_mapped_colour_can_be_mixed(how, n):
    gamut = Gamut(BOOK.lab, Mixing(n))
    root = GamutMap(how, gamut, nodes=9).root.reshape(-1, 3)
    share = gamut.shares(root)
    assert share.min() >= 0 and (share > 0).sum(axis=1).max() <= 4
    np.testing.assert_allclose(share.sum(axis=1), 1)
    assert delta_e00(mixture_lab(share, BOOK.lab, Mixing(n)), gamut.colour(root)).max() < 0.05


@pytest.mark.parametrize("name", FEW)
@pytest.mark.parametrize("how", MAPS)
def test_palettes_of_few_colours_and_flat_ones_work(name, how):
    gamut = Gamut(FEW[name])
    made = GamutMap(how, gamut, nodes=5)
    picture = (rng.random((6, 7, 3)) * 255).astype(np.uint8)
    root = made.picture(picture)
    share = gamut.shares(root.reshape(-1, 3))
    assert root.shape == (6, 7, 3) and np.isfinite(root).all()
    assert delta_e00(mixture_lab(share / share.sum(axis=1, keepdims=True), FEW[name]), gamut.colour(root.reshape(-1, 3))).max() < 0.5
    assert np.asarray(made.image(Image.fromarray(picture))).shape == picture.shape


def test_the_tone_map_keeps_steps_of_grey_apart_that_the_nearest_makes_one():
    gamut = Gamut(BOOK.lab)
    dark = np.full((40, 40, 3), 8, np.uint8)
    dark[:, 20:] = 40  # both darker than the darkest mark
    steps = {}
    for how in ("nearest", "tone"):
        shown = gamut.colour(GamutMap(how, gamut, ink=None).picture(dark))
        steps[how] = shown[20, 20, 0] - shown[20, 19, 0]
    assert steps["tone"] > steps["nearest"] + 2


def test_black_becomes_the_darkest_mark_unless_told_otherwise():
    lab = np.vstack([BOOK.lab, [24.5, 0.0, 0.0]])  # a neutral grey, hardly lighter than the darkest mark
    darkest = GamutMap("nearest", Gamut(lab))
    np.testing.assert_allclose(darkest.gamut.colour(darkest.at(np.zeros((1, 3)))), lab[[5]], atol=1e-3)
    free = GamutMap("nearest", Gamut(lab), ink=None)
    assert delta_e00(free.gamut.colour(free.at(np.zeros((1, 3)))), lab[5])[0] > 1


def test_pillow_and_numpy_read_the_same_table():
    made = GamutMap("nearest", Gamut(BOOK.lab))
    picture = (rng.random((30, 30, 3)) * 255).astype(np.uint8)
    by_pillow = lab_from_srgb1(np.asarray(made.image(Image.fromarray(picture))) / 255)
    assert np.median(delta_e00(by_pillow, made.gamut.colour(made.picture(picture)))) < 0.5


def test_an_unknown_map_is_refused():
    with pytest.raises(LimitError, match="map 'vivid' is not known; use nearest, hue, tone"):
        GamutMap("vivid", Gamut(BOOK.lab))
