"""Spot compensation, on shapes whose inset and middle are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from pieces import LASER, layers_of, palette, pond

from tint.errors import LimitError
from tint.job.inset import inset_layers, inset_outline, inset_remark
from tint.process import process

INSET_MM, SPACING_MM = 0.03, 0.004  # half a usual spot; strokes up to 0.064 mm become centre lines
MIDDLE_MM = 0.002  # a centre line strays no farther from the true middle


@pytest.mark.parametrize("angle", [0, 17, 90, 211])
def test_a_square_comes_back_smaller_on_every_side_with_its_corners_sharp(angle: float) -> None:
    square = shapely.affinity.rotate(shapely.box(0, 0, 5, 3), angle)
    region, centre, lost = inset_outline(square, INSET_MM, SPACING_MM)
    exact = shapely.affinity.rotate(shapely.box(INSET_MM, INSET_MM, 5 - INSET_MM, 3 - INSET_MM), angle, origin=square.centroid)
    assert region.symmetric_difference(exact).area < 1e-9
    assert centre.is_empty and lost == []


@pytest.mark.parametrize("angle", [0, 33, 90, 145])
@pytest.mark.parametrize("width_mm", [0.02, 0.05, 0.06, 0.0635])
def test_a_narrow_bar_becomes_one_line_along_its_middle(angle: float, width_mm: float) -> None:
    bar = shapely.affinity.rotate(shapely.box(0, 0, 8, width_mm), angle, origin=(0, 0))
    middle = shapely.affinity.rotate(shapely.LineString([(0, width_mm / 2), (8, width_mm / 2)]), angle, origin=(0, 0))
    region, centre, lost = inset_outline(bar, INSET_MM, SPACING_MM)
    assert region.is_empty and lost == [] and len(centre.geoms) == 1
    assert centre.length == pytest.approx(8 - width_mm, abs=width_mm / 2)
    assert max(middle.distance(shapely.Point(point)) for point in shapely.get_coordinates(centre)) < MIDDLE_MM


def test_a_bar_wide_enough_for_a_scan_line_stays_a_region() -> None:
    region, centre, lost = inset_outline(shapely.box(0, 0, 8, 0.0645), INSET_MM, SPACING_MM)
    assert region.area == pytest.approx((8 - 0.06) * 0.0045, rel=1e-6) and centre.is_empty and lost == []


def test_a_narrow_ring_becomes_one_closed_circle() -> None:
    ring = shapely.Point(3, 3).buffer(2, 128).difference(shapely.Point(3, 3).buffer(1.95, 128))
    region, centre, lost = inset_outline(ring, INSET_MM, SPACING_MM)
    assert region.is_empty and lost == [] and len(centre.geoms) == 1 and centre.geoms[0].is_closed
    radius = np.hypot(*(shapely.get_coordinates(centre) - 3).T)
    assert np.abs(radius - 1.975).max() < MIDDLE_MM
    assert centre.length == pytest.approx(2 * math.pi * 1.975, rel=2e-3)


def test_a_stroke_on_a_wide_shape_gets_a_line_that_meets_what_scan_lines_mark_without_entering_it() -> None:
    flag = shapely.union_all([shapely.box(0, 0, 3, 0.05), shapely.box(2, 0, 4, 1.5)])
    region, centre, lost = inset_outline(flag, INSET_MM, SPACING_MM)
    assert lost == [] and len(centre.geoms) == 1
    assert region.area == pytest.approx((2 - 2 * INSET_MM) * (1.5 - 2 * INSET_MM), rel=1e-3)
    apart = centre.distance(region)
    assert 1.5 * INSET_MM < apart < 2.5 * INSET_MM  # each reaches an inset beyond its own border: they meet
    assert centre.length == pytest.approx(2, abs=0.1)


def test_a_fork_of_strokes_stays_joined() -> None:
    arms = [shapely.LineString([(1, 1), end]).buffer(0.02, cap_style="flat") for end in ((0, 0), (2, 0), (1, 2.5))]
    fork = shapely.union_all([*arms, shapely.Point(1, 1).buffer(0.02)])
    region, centre, lost = inset_outline(fork, INSET_MM, SPACING_MM)
    assert region.is_empty and lost == [] and len(centre.geoms) == 3
    assert shapely.union_all(centre.geoms).buffer(1e-6).geom_type == "Polygon"  # one piece
    assert centre.length == pytest.approx(2 * math.sqrt(2) + 1.5, rel=0.03)


def test_corners_and_round_ends_grow_no_centre_lines() -> None:
    star = shapely.Polygon([(math.cos(a) * r, math.sin(a) * r) for a, r in zip(np.arange(12) * math.pi / 6, [3, 2.4] * 6, strict=True)])
    pill = shapely.LineString([(0, 0), (4, 0)]).buffer(0.5)
    for shape in (star, pill, shapely.Point(0, 0).buffer(1)):
        _, centre, lost = inset_outline(shape, INSET_MM, SPACING_MM)
        assert centre.is_empty and lost == []


@pytest.mark.parametrize("dot", [shapely.box(0, 0, 0.05, 0.05), shapely.Point(0, 0).buffer(0.03), shapely.box(0, 0, 0.03, 0.01)])
def test_a_dot_smaller_than_the_spot_vanishes_and_is_named(dot: shapely.Geometry) -> None:
    region, centre, lost = inset_outline(shapely.MultiPolygon([dot, shapely.box(2, 2, 4, 4)]), INSET_MM, SPACING_MM)
    assert len(region.geoms) == 1 and centre.is_empty
    assert [part.area for part in lost] == [pytest.approx(dot.area)]


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), inset_mm=st.floats(0.005, 0.2))
def test_of_any_drawing_nothing_leaves_its_layer_and_every_part_is_marked_or_named(seed: int, inset_mm: float) -> None:
    rng = np.random.default_rng(seed)
    lines = [shapely.LineString(rng.uniform(0, 6, (3, 2))).buffer(rng.uniform(0.01, 0.4)) for _ in range(4)]
    whole = shapely.union_all([*lines, *shapely.points(rng.uniform(0, 6, (6, 2))).tolist()]).buffer(0.02)
    region, centre, lost = inset_outline(whole, inset_mm, 0.01)
    corners = shapely.points(shapely.get_coordinates(region))
    assert region.is_valid and shapely.contains(whole, corners).all()
    assert shapely.distance(whole.boundary, corners).min(initial=inset_mm) >= 0.985 * inset_mm  # GEOS: 1 %, arcs: 0.5 %
    assert centre.difference(whole.buffer(0.02 * (inset_mm + 0.005))).length < 1e-6  # as far as it is simplified
    assert centre.intersection(region).length < 1e-9
    for part in shapely.get_parts(whole):
        assert region.intersects(part) or centre.intersects(part) or any(part.intersects(piece) for piece in lost)


def test_no_inset_gives_the_outlines_back() -> None:
    piece = layers_of(pond(4), 0.5, palette(4))
    done = inset_layers(piece, LASER, 0.0)
    assert all(region.equals(outline) for region, outline in zip(done.regions, piece.outlines, strict=True))
    assert done.vanished == () and done.inset_mm == (0, 0, 0, 0)


def test_each_layer_is_inset_by_the_spot_its_focus_gives() -> None:
    piece = layers_of(pond(4), 0.5, palette(4))  # colour 4 is marked 0.5 mm out of focus: a wider spot
    done = inset_layers(piece, LASER, 0.5)
    for amount, colour in zip(done.inset_mm, piece.palette.colours, strict=True):
        assert amount == pytest.approx(0.5 * float(process(colour.setting, LASER).spot_mm))
    assert done.inset_mm[3] > done.inset_mm[0] == pytest.approx(0.03)
    for region, outline, amount in zip(done.regions, piece.outlines, done.inset_mm, strict=True):
        assert region.area == pytest.approx(outline.area - amount * outline.length, rel=0.01)


def test_what_vanishes_is_listed_with_layer_area_and_place_and_summed_up_in_one_line() -> None:
    labels = np.ones((60, 80), dtype=np.uint8)
    labels[10, 20] = labels[30, 50] = 2  # dots of 0.05 mm
    labels[40:42, 60:62] = 2  # and one of 0.1 mm that stays
    piece = layers_of(labels, 0.05, palette(2))
    done = inset_layers(piece, LASER, 0.5)
    assert [(lost.number, lost.name, lost.area_mm2) for lost in done.vanished] == [(2, "straw", 0.0025)] * 2
    assert {(lost.x_mm, lost.y_mm) for lost in done.vanished} == {(1.025, 0.525), (2.525, 1.525)}
    line = inset_remark(done, 0.5)
    assert "2 places (0.005 mm²) too small to mark" in line and "0.5 of the spot (0.03 mm)" in line and "\n" not in line


@pytest.mark.parametrize("share", [40, -0.5, math.nan, math.inf])
def test_an_inset_that_cannot_be_is_refused_in_one_line(share: float) -> None:
    with pytest.raises(LimitError, match="spots cannot be; it is 0 .none. to 1") as caught:
        inset_layers(layers_of(pond(2), 0.5, palette(2)), LASER, share)
    assert "\n" not in str(caught.value)


def test_an_inset_that_leaves_nothing_is_refused_in_one_line() -> None:
    dots = np.zeros((9, 9), dtype=np.uint8)
    dots[2, 2] = dots[5, 6] = 1
    with pytest.raises(LimitError, match=r"0.5 spots \(0.03 mm\) leaves nothing of kingfisher sign. Choose a smaller") as caught:
        inset_layers(layers_of(dots, 0.05, palette(2)), LASER, 0.5)
    assert "\n" not in str(caught.value)
