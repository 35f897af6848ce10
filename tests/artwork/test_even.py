"""The exact colours of flat artwork and their areas; soft edges, photographs and shading have none."""

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw, ImageFilter

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.artwork.even import even_colours

INK, LEAF, PAGE = (20, 60, 140), (30, 158, 74), (255, 255, 255)


def picture(pixels, bare=None):
    pixels = np.asarray(pixels)
    bare = np.zeros(pixels.shape[:2], bool) if bare is None else bare
    return Picture("pond", pixels.shape[1] / 10, pixels.shape[0] / 10, pixels, bare)


def discs(size=(1000, 800), soft=True):
    large = Image.new("RGB", (4 * size[0], 4 * size[1]), PAGE)
    across = 4 * size[0]
    ImageDraw.Draw(large).ellipse((0.1 * across, 0.1 * across, 0.5 * across, 0.5 * across), fill=INK)
    ImageDraw.Draw(large).ellipse((0.6 * across, 0.3 * across, 0.8 * across, 0.5 * across), fill=LEAF)
    return large.resize(size, Image.Resampling.BOX if soft else Image.Resampling.NEAREST)


@pytest.mark.parametrize("soft", [True, False])
@pytest.mark.parametrize("size", [(1000, 800), (130, 104)])
def test_a_flat_picture_has_its_colours_with_their_areas_and_no_mixture(size, soft):
    colours, area_mm2, (y, x, index) = even_colours(picture(discs(size, soft)))
    assert sorted(map(tuple, colours.tolist())) == sorted([INK, LEAF, PAGE])
    whole = size[0] * size[1] / 100
    by = dict(zip(map(tuple, colours.tolist()), area_mm2 / whole, strict=True))
    for colour, radius in ((INK, 0.2), (LEAF, 0.1)):  # of the width, as the height is 0.8
        rim = 2 * np.pi * radius / 0.8 / size[0]  # a ring one pixel wide; a covered part of a pixel is no colour of the two
        assert by[colour] == pytest.approx(np.pi * radius**2 / 0.8, abs=2 * rim if soft else rim)
    np.testing.assert_array_equal(np.asarray(discs(size, soft))[y, x], colours[index])


def test_transparent_places_have_no_colour():
    pixels = np.asarray(discs(soft=False))
    colours, _, (y, x, _) = even_colours(picture(pixels, (pixels == 255).all(axis=2)))
    assert sorted(map(tuple, colours.tolist())) == sorted([INK, LEAF]) and (pixels[y, x] != 255).any(axis=1).all()
    assert not len(even_colours(picture(pixels, np.ones(pixels.shape[:2], bool)))[0])


def test_photographs_and_shading_have_none():
    rng = np.random.default_rng(2)
    soft = Image.fromarray(rng.integers(0, 256, (60, 80, 3)).astype(np.uint8)).resize((800, 600), Image.Resampling.BICUBIC)
    enlarged = Image.fromarray(rng.integers(0, 256, (60, 80, 3)).astype(np.uint8)).resize((800, 600), Image.Resampling.NEAREST)
    slope = np.repeat(np.linspace(0, 255, 800)[None, :, None], 600, axis=0).repeat(3, axis=2).astype(np.uint8)
    for pixels in (soft, enlarged, slope, discs().filter(ImageFilter.GaussianBlur(60)), np.zeros((1, 9, 3), np.uint8)):
        assert not len(even_colours(picture(pixels))[0])


def test_a_drawing_has_the_colours_of_its_shapes():
    shapes = tuple(Shape(shapely.box(i, 0, i + 1, 1 + i), colour, "t") for i, colour in enumerate([INK, LEAF, INK]))
    colours, area_mm2, _ = even_colours(Drawing("pond", 3, 3, shapes))
    assert colours.tolist() == [list(INK), list(LEAF)] and area_mm2.tolist() == [4, 2]
    assert not len(even_colours(Drawing("pond", 3, 3, ()))[0])
