"""Smooth outlines against the label maps they come from and shapes known in closed form; the maps are simulated."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from test_outline import (
    REACH_PX,
    check_near_pixels,
    check_partition,
    label_maps,
    simulated_map,
    two_labels,
)

from tint.errors import LimitError
from tint.layers import simplify as simplify_module
from tint.layers import smooth as smooth_module
from tint.layers.arcs import trace_arcs
from tint.layers.outline import assembled, trace_outlines
from tint.layers.simplify import simplified
from tint.layers.smooth import CHORD_DEG, GRAIN_PX, smoothed

unhurried = settings(deadline=None)  # the first example loads slow libraries


def disc(radius, size=200):
    y, x = np.mgrid[:size, :size] + 0.5
    return ((x - size / 2) ** 2 + (y - size / 2) ** 2 < radius**2).astype(np.uint8)


def turns_deg(polygon):
    """How much the outer ring turns at each of its points."""
    xy = np.array(polygon.exterior.coords)[:-1]
    step = np.roll(xy, -1, axis=0) - xy
    way = np.arctan2(step[:, 1], step[:, 0])
    return np.abs(np.degrees((way - np.roll(way, 1) + np.pi) % (2 * np.pi) - np.pi))


@given(label_maps | two_labels)
@unhurried
def test_smooth_noise_has_neither_gap_nor_overlap(labels):
    check_partition(labels, 1 / 30, trace_outlines(labels, 1 / 30, 3, smooth=True))


@pytest.mark.parametrize("seed", range(20))
def test_smooth_borders_stay_together_and_near_the_pixels(seed):
    labels = simulated_map(seed)
    check_near_pixels(labels, trace_outlines(labels, 1.0, 5, smooth=True))


def test_a_curve_that_would_run_into_another_is_taken_back(monkeypatch):
    """At the real reach curves hardly ever meet, so a corner is cut by pixels here, across a pixel that lies in it."""
    labels = np.zeros((40, 60), dtype=np.uint8)
    labels[5:35, 5:35] = 1
    labels[7, 7] = 2  # where the curve would run
    labels[5:35, 40:55] = 1
    arcs = trace_arcs(labels)
    monkeypatch.setattr(smooth_module, "SHARPEST_DEG", 179.0)
    curves = smoothed(arcs, 4.0)
    outlines = assembled(curves, 1.0, 2)
    check_partition(labels, 1.0, outlines)
    assert outlines[2].area == pytest.approx(1, abs=0.5) and len(curves.xy) > len(arcs.xy)
    assert shapely.box(5, 5, 35, 35).normalize() == shapely.Polygon(outlines[1].geoms[0].exterior).normalize()
    assert outlines[1].geoms[1].area < 30 * 15 - 4 * 5  # the other rectangle is round
    monkeypatch.setattr(simplify_module, "_clashing", lambda *_: np.empty(0, dtype=int))
    with pytest.raises((AssertionError, shapely.errors.GEOSException)):  # shows that this test can fail
        check_partition(labels, 1.0, assembled(smoothed(arcs, 4.0), 1.0, 2))


@pytest.mark.parametrize("seed", range(12))
def test_corners_cut_by_pixels_never_meet(monkeypatch, seed):
    labels = simulated_map(seed)
    monkeypatch.setattr(smooth_module, "SHARPEST_DEG", 179.0)
    curves = smoothed(simplified(trace_arcs(labels)), 0.5)
    check_partition(labels, 1.0, assembled(curves, 1.0, 5))


@pytest.mark.parametrize("radius", [6, 15, 40, 80])
def test_a_disc_becomes_round_and_keeps_its_area(radius):
    labels = disc(radius)
    plain, smooth = trace_outlines(labels, 1.0, 1)[1], trace_outlines(labels, 1.0, 1, smooth=True)[1]
    assert smooth.area == pytest.approx(np.pi * radius**2, rel=0.3 / radius)  # 0.15 px of the radius
    turn, turn_before = turns_deg(smooth.geoms[0]), turns_deg(plain.geoms[0])
    assert np.sqrt((turn**2).mean()) < 0.4 * np.sqrt((turn_before**2).mean())
    true = shapely.Point(100, 100).buffer(radius, quad_segs=200)
    assert shapely.hausdorff_distance(smooth.geoms[0].exterior, true.exterior) <= REACH_PX


def test_a_blunt_corner_runs_on_without_a_kink():
    labels = np.zeros((60, 60), dtype=np.uint8)
    labels[:, :30] = 1
    for row in range(30):  # the border turns by 45° half way down
        labels[30 + row, : 30 + row] = 1
    [polygon] = trace_outlines(labels, 1.0, 1, smooth=True)[1].geoms
    y = np.array(polygon.exterior.coords)[:-1, 1]
    blunt = turns_deg(polygon)[(y > 5) & (y < 50)]  # the corner alone, not the frame
    assert blunt.sum() == pytest.approx(45, abs=3) and blunt.max() < 3 * CHORD_DEG


def test_rectangles_lines_and_single_pixels_keep_their_exact_shape_when_smooth():
    labels = np.zeros((20, 30), dtype=np.uint8)
    labels[2:9, 3:12] = 1
    labels[12, 2:25] = 2
    labels[15, 5] = 3
    labels[2:19, 27] = 3
    outlines = trace_outlines(labels, 1.0, 3, smooth=True)
    assert outlines[1].normalize() == shapely.MultiPolygon([shapely.box(3, 2, 12, 9)]).normalize()
    assert outlines[2].normalize() == shapely.MultiPolygon([shapely.box(2, 12, 25, 13)]).normalize()
    assert outlines[3].normalize() == shapely.MultiPolygon([shapely.box(5, 15, 6, 16), shapely.box(27, 2, 28, 19)]).normalize()


@pytest.mark.parametrize("seed", range(8))
def test_nodes_stay_and_curves_are_cut_no_deeper_than_told(seed):
    arcs = simplified(trace_arcs(simulated_map(seed)))
    curves = smoothed(arcs, 0.15)
    open_arcs = ~arcs.closed
    np.testing.assert_array_equal(curves.xy[curves.start[:-1][open_arcs]], arcs.xy[arcs.start[:-1][open_arcs]])
    np.testing.assert_array_equal(curves.xy[curves.start[1:][open_arcs] - 1], arcs.xy[arcs.start[1:][open_arcs] - 1])
    for number in range(len(arcs)):
        one, other = (shapely.LineString(a.xy[a.start[number] : a.start[number + 1]]) for a in (arcs, curves))
        assert shapely.hausdorff_distance(one, other) <= 0.15 + GRAIN_PX
    assert (curves.xy / GRAIN_PX == np.round(curves.xy / GRAIN_PX)).all()


def test_a_closed_arc_is_rounded_where_it_begins_too():
    arcs = simplified(trace_arcs(disc(40)))
    [number] = np.flatnonzero(arcs.closed)
    curves = smoothed(arcs, 0.15)
    ring = curves.xy[curves.start[number] : curves.start[number + 1]]
    np.testing.assert_array_equal(ring[0], ring[-1])
    assert turns_deg(shapely.Polygon(ring))[0] < 3 * CHORD_DEG


def test_smooth_pixel_borders_are_refused_in_one_line():
    with pytest.raises(LimitError, match="simplify_px of up to 0.45, not 0"):
        trace_outlines(np.zeros((2, 2), dtype=np.uint8), 1.0, 1, simplify_px=0, smooth=True)
