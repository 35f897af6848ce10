"""Strokes and gaps below the spot, on shapes whose width is known."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from pieces import layers_of, palette, pond

from tint.job.thin import MOST_PLACES, Thin, thin_places, thin_remark
from tint.layers.clean import thin_area_px
from tint.layers.layers import Layers

SPOT_MM = 0.06


def drawing(*shapes: shapely.Geometry, size_px: tuple[int, int] = (80, 120), pitch_mm: float = 0.05) -> Layers:
    """Layers of a drawing with one shape [mm] per palette colour."""
    piece = layers_of(np.ones(size_px, dtype=np.uint8), pitch_mm, palette(len(shapes)))
    return dataclasses.replace(piece, drawn=tuple(shapely.MultiPolygon([shape]) for shape in shapes))


def picture(labels: np.ndarray, pitch_mm: float) -> Layers:
    nothing = np.full((5, 3), np.nan)
    return Layers("reeds", pitch_mm, labels.astype(np.uint8), palette(4), nothing, nothing[:, 0])


@pytest.mark.parametrize("width_mm, thin", [(0.03, True), (0.058, True), (0.061, False), (0.2, False)])
def test_a_stroke_of_a_drawing_is_named_when_narrower_than_the_spot(width_mm: float, thin: bool) -> None:
    flag = shapely.union_all([shapely.box(0.5, 0.5, 3, 0.5 + width_mm), shapely.box(3, 0.5, 5, 2)])
    found = thin_places(drawing(flag), SPOT_MM)
    if not thin:
        assert found == ()
        return
    (stroke,) = found
    assert (stroke.number, stroke.name, stroke.count) == (1, "dark blue", 1)
    assert stroke.area_mm2 == pytest.approx(2.5 * width_mm, rel=0.03)
    assert flag.contains(shapely.Point(stroke.at_mm[0])) and stroke.at_mm[0][0] < 3


def test_a_narrow_gap_between_two_layers_is_named_and_one_at_the_edge_of_the_artwork_is_not() -> None:
    left, right = shapely.box(0.03, 0.5, 2, 3), shapely.box(2.04, 0.5, 5, 3)
    (gap,) = thin_places(drawing(left, right), SPOT_MM)
    assert (gap.number, gap.name, gap.count) == (0, "bare gaps", 1)
    assert gap.area_mm2 == pytest.approx(0.04 * 2.5, rel=0.03)
    assert 2 < gap.at_mm[0][0] < 2.04 and 0.5 < gap.at_mm[0][1] < 3


def test_corners_do_not_count_as_thin() -> None:
    diamond = shapely.Polygon([(1, 2), (2, 1), (3, 2), (2, 3)])
    assert thin_places(drawing(diamond, shapely.Point(5, 2).buffer(0.5)), SPOT_MM) == ()
    assert thin_places(picture(np.kron(pond(4), np.ones((4, 4))), 0.03), SPOT_MM) == ()


@pytest.mark.parametrize("pitch_mm, width_px, thin", [(0.05, 1, True), (0.05, 2, False), (0.02, 2, True), (0.02, 3, False)])
def test_a_line_of_a_picture_is_named_when_narrower_than_the_spot_in_whole_pixels(pitch_mm: float, width_px: int, thin: bool) -> None:
    labels = np.zeros((60, 90))
    labels[20:50, 10:40] = 2
    labels[30 : 30 + width_px, 40:80] = 2
    found = thin_places(picture(labels, pitch_mm), SPOT_MM)
    assert bool(found) == thin
    if thin:
        assert found[0].area_mm2 == pytest.approx(40 * width_px * pitch_mm**2)
        x, y = np.array(found[0].at_mm[0]) / pitch_mm
        assert labels[int(y), int(x)] == 2 and x >= 40


def test_a_picture_of_lines_alone_has_the_area_that_the_opening_of_its_labels_gives() -> None:
    labels = np.ones((40, 60), dtype=np.uint8)
    labels[5, :] = labels[:, 20] = 2
    labels[30, 40:] = 0
    found = thin_places(picture(labels, 0.05), SPOT_MM)
    assert [item.number for item in found] == [2, 0]
    total = thin_area_px(labels, SPOT_MM / 0.05, bare_too=True) * 0.05**2
    assert sum(item.area_mm2 for item in found) == pytest.approx(total)


def test_at_most_five_places_are_named_the_largest_first() -> None:
    labels = np.zeros((60, 200))
    for k in range(8):
        labels[4 + 6 * k, 10 : 20 + 10 * k] = 1
    (lines,) = thin_places(picture(labels, 0.05), SPOT_MM)
    assert lines.count == 8 and len(lines.at_mm) == MOST_PLACES
    assert [round(y / 0.05 - 0.5) for _, y in lines.at_mm] == [4 + 6 * k for k in (7, 6, 5, 4, 3)]


def test_the_remark_sums_up_in_one_line_and_is_empty_where_nothing_is_thin() -> None:
    thin = (Thin(1, "dark blue", 0.412, 3, ((1, 2),)), Thin(0, "bare gaps", 0.05, 1, ((3, 4),)))
    line = thin_remark(thin, SPOT_MM)
    assert "dark blue 0.41 mm², bare gaps 0.05 mm²" in line and "(0.06 mm)" in line and "\n" not in line
    assert thin_remark((), SPOT_MM) == ""


def test_the_remark_names_the_three_layers_with_most_of_it_and_counts_the_others() -> None:
    thin = tuple(Thin(number, f"colour {number}", 0.1 * number, 1, ((0.0, 0.0),)) for number in range(1, 7))
    assert ": colour 6 0.6 mm², colour 5 0.5 mm², colour 4 0.4 mm², and 3 more. Strokes" in thin_remark(thin, SPOT_MM)
