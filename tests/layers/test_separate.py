"""From artwork to layers, for pictures and drawings."""

import dataclasses

import numpy as np
import pytest
import shapely
from invented import LASER, palette, picture

from tint.artwork.artwork import Drawing, Shape
from tint.errors import DataError, LimitError
from tint.lab import srgb255_from_lab
from tint.layers.separate import separate
from tint.layers.tonal import Tonal

BOOK = palette()
SRGB = [tuple(int(v) for v in value) for value in srgb255_from_lab(BOOK.lab)]


def test_a_picture_in_the_palettes_own_colours_comes_back_as_it_was():
    numbers = np.repeat(np.repeat(np.array([[0, 1, 2], [3, 4, 5]]), 20, axis=0), 20, axis=1)
    layers = separate(picture(np.array(SRGB)[numbers], 6), BOOK)
    np.testing.assert_array_equal(layers.labels, numbers)
    assert layers.used == (1, 2, 3, 4, 5) and layers.lost_de00.max() < 0.6  # sRGB bytes are coarse
    assert layers.pitch_mm == pytest.approx(0.1) and layers.width_mm == pytest.approx(6) and layers.height_mm == pytest.approx(4)


def test_outlines_of_a_picture_share_their_borders_and_fill_the_frame():
    rng = np.random.default_rng(2)
    blocks = rng.integers(0, 6, (12, 15))
    layers = separate(picture(np.array(SRGB)[np.kron(blocks, np.ones((8, 8), int))], 12), BOOK)
    parts = [part for outline in layers.outlines for part in shapely.get_parts(outline)]
    assert shapely.coverage_is_valid(parts)
    for number in layers.used:
        assert layers.outlines[number - 1].area == pytest.approx(layers.area_mm2(number), rel=0.02)
    bare = (layers.labels == 0).sum() * layers.pitch_mm**2
    assert sum(outline.area for outline in layers.outlines) + bare == pytest.approx(12 * 9.6, rel=0.01)


def test_specks_below_the_spot_join_a_neighbour_and_are_reported():
    numbers = np.full((60, 60), 3)
    numbers[30, 30] = 1  # 0.01 × 0.01 mm: far below a 0.06 mm spot
    numbers[10:20, 10:20] = 1
    layers = separate(picture(np.array(SRGB)[numbers], 0.6), BOOK)
    assert layers.labels[30, 30] == 3 and (layers.labels[10:20, 10:20] == 1).all()
    assert any("1 specks smaller than 0.0028 mm²" in line for line in layers.remarks)
    kept = separate(picture(np.array(SRGB)[numbers], 0.6), BOOK, speck_mm2=0)
    assert kept.labels[30, 30] == 1


def test_a_drawing_keeps_its_shapes_and_same_colours_join():
    shapes = (
        Shape(shapely.box(0, 0, 10, 5), SRGB[3], "water"),
        Shape(shapely.box(0, 5, 5, 10), SRGB[1], "reed"),
        Shape(shapely.box(5, 5, 10, 10), SRGB[3], "more water"),
    )
    layers = separate(Drawing("pond", 10, 10, shapes), BOOK, pitch_mm=0.1)
    assert layers.used == (1, 3) and layers.area_mm2(3) == pytest.approx(75) and layers.area_mm2(1) == pytest.approx(25)
    assert shapely.get_num_geometries(layers.outlines[2]) == 1  # joined along their border
    assert (layers.labels == 3).sum() == 7500 and (layers.labels == 1).sum() == 2500
    assert layers.drawn is not None


def test_colours_far_from_everything_are_said():
    layers = separate(Drawing("leaf", 4, 4, (Shape(shapely.box(0, 0, 4, 4), (0, 110, 0), "leaf"),)), BOOK)
    assert len(layers.remarks) == 1 and "ΔE00 away on average; this palette has nothing nearer" in layers.remarks[0]


def test_artwork_beyond_the_field_or_with_nothing_to_mark_is_refused():
    blank = picture(np.full((4, 4, 3), SRGB[0], np.uint8), 4)
    with pytest.raises(DataError, match="nothing of sign is to be marked"):
        separate(blank, BOOK)
    with pytest.raises(LimitError, match=r"sign is 200 × 200 mm; the field of bench is 175 × 175 mm"):
        separate(picture(np.zeros((4, 4, 3)), 200), BOOK)
    white = Drawing("snow", 4, 4, (Shape(shapely.box(0, 0, 4, 4), (225, 220, 215), "snow"),))
    with pytest.raises(DataError, match="nothing of snow"):
        separate(white, BOOK)
    assert LASER.field_mm == (175, 175)


def test_each_step_is_announced():
    said = []
    separate(picture(np.array(SRGB)[np.full((30, 30), 2)], 0.3), BOOK, progress=said.append)
    assert said == ["choosing the nearest colour of every pixel", "absorbing specks smaller than the spot"]


def test_smooth_outlines_still_share_their_borders_and_need_a_tolerance():
    y, x = np.mgrid[0:80, 0:80]
    numbers = np.where((x - 40) ** 2 + (y - 40) ** 2 < 30**2, 3, 1)
    art = picture(np.array(SRGB)[numbers], 8)
    plain, smooth = separate(art, BOOK), separate(art, BOOK, smooth=True)
    assert shapely.coverage_is_valid([part for outline in smooth.outlines for part in shapely.get_parts(outline)])
    assert shapely.get_num_coordinates(smooth.outlines[2]) > shapely.get_num_coordinates(plain.outlines[2])
    assert smooth.outlines[2].area == pytest.approx(np.pi * 9, rel=0.01)
    with pytest.raises(LimitError, match="smooth outlines"):
        separate(art, BOOK, smooth=True, simplify_px=0)


def test_remarks_of_reading_go_with_the_layers_flat_and_tonal():
    y, x = np.mgrid[0:40, 0:60] / 60
    art = picture(np.clip(np.stack([255 * x, 200 * y, 255 - 255 * x], axis=-1), 0, 255), 6)
    doubtful = dataclasses.replace(art, remarks=("the inks are a guess",))
    for tonal in (None, Tonal(0.1)):
        assert separate(doubtful, palette(), tonal=tonal).remarks == ("the inks are a guess", *separate(art, palette(), tonal=tonal).remarks)
