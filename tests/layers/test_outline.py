"""Outlines checked against their own label maps, drawn again by scikit-image and shapely; the maps are simulated."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from tint.errors import LimitError
from tint.layers import simplify as simplify_module
from tint.layers.arcs import trace_arcs
from tint.layers.clean import find_regions
from tint.layers.outline import trace_outlines

ROUNDING = 1e-12  # of the frame's area: sums of doubles
GAP_MM2 = 1e-6  # what may overlap or gape between two layers
REACH_PX = 0.8  # how far a simplified border may lie from the pixel border

unhurried = settings(deadline=None)  # the first example loads slow libraries
label_maps = arrays(np.uint8, array_shapes(min_dims=2, max_dims=2, max_side=14), elements=st.integers(0, 3))
two_labels = arrays(np.uint8, array_shapes(min_dims=2, max_dims=2, max_side=14), elements=st.integers(0, 1))


def simulated_map(seed):
    """Blobs, slopes, specks or noise, by the seed; highest label 5."""
    rng = np.random.default_rng(seed)
    height, width = rng.integers(15, 45, 2)
    y, x = np.mgrid[:height, :width]
    labels = np.zeros((height, width), dtype=np.uint8)
    for number in range(1, 6):
        centre_x, centre_y, radius = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(2, 18)
        labels[(x - centre_x) ** 2 + (y - centre_y) ** 2 < radius**2] = number
        a, b = rng.normal(size=2)
        labels[np.abs(a * (x - centre_x) + b * (y - centre_y)) < rng.uniform(0.2, 3)] = rng.integers(0, 6)
    specks = rng.random(labels.shape) < (0, 0.03, 0.2, 0.9)[seed % 4]
    labels[specks] = rng.integers(0, 6 if seed % 3 else 2, int(specks.sum()))
    return labels


def check_partition(labels, pitch_mm, outlines):
    frame_mm2 = labels.size * pitch_mm**2
    assert all(outline.geom_type == "MultiPolygon" for outline in outlines)
    assert all(shapely.is_valid(outlines)), [shapely.is_valid_reason(outline) for outline in outlines]
    assert shapely.coverage_is_valid(list(outlines))
    assert abs(sum(outline.area for outline in outlines) - frame_mm2) <= ROUNDING * frame_mm2
    height, width = labels.shape
    frame = shapely.box(0, 0, width * pitch_mm, height * pitch_mm)
    assert shapely.union_all(outlines).symmetric_difference(frame).area <= GAP_MM2
    for number, one in enumerate(outlines):
        for other in outlines[:number]:
            assert one.intersection(other).area <= GAP_MM2


def labels_at_centres(outlines, shape, pitch_mm):
    """Label map by shapely's point-in-polygon test at pixel centres; 255 where no outline is."""
    y, x = (np.mgrid[: shape[0], : shape[1]] + 0.5) * pitch_mm
    labels = np.full(shape, 255, dtype=np.uint8)
    for number, outline in enumerate(outlines):
        labels[shapely.contains_xy(outline, x, y)] = number
    return labels


def pixel_border(labels):
    """Lines between unequal pixels [px], made pixel side by pixel side."""
    sides = [[(x, y), (x + 1, y)] for y, x in np.add(np.argwhere(labels[1:] != labels[:-1]), (1, 0))]
    sides += [[(x, y), (x, y + 1)] for y, x in np.add(np.argwhere(labels[:, 1:] != labels[:, :-1]), (0, 1))]
    return shapely.multilinestrings(shapely.linestrings(np.array(sides, dtype=float))) if sides else None


@given(label_maps | two_labels)
@unhurried
def test_unsimplified_outlines_drawn_again_are_the_label_map(labels):
    outlines = trace_outlines(labels, 0.05, 3, simplify_px=0)
    check_partition(labels, 0.05, outlines)
    np.testing.assert_array_equal(labels_at_centres(outlines, labels.shape, 0.05), labels)


@given(label_maps)
@settings(unhurried, max_examples=40)
def test_scikit_image_draws_the_same_label_map(labels):
    from skimage.draw import polygon2mask

    drawn = np.full(labels.shape, 255, dtype=np.uint8)
    for number, outline in enumerate(trace_outlines(labels, 1.0, 3, simplify_px=0)):
        inside = np.zeros(labels.shape, dtype=bool)
        for polygon in outline.geoms:
            for ring in (polygon.exterior, *polygon.interiors):
                inside ^= polygon2mask(labels.shape, np.array(ring.coords)[:, ::-1] - 0.5)  # its pixels' centres are whole
        assert (drawn[inside] == 255).all()
        drawn[inside] = number
    np.testing.assert_array_equal(drawn, labels)


@given(label_maps | two_labels)
@unhurried
def test_one_polygon_per_region_with_the_area_of_its_pixels(labels):
    regions = find_regions(labels)
    outlines = trace_outlines(labels, 1.0, 3, simplify_px=0)
    for number, outline in enumerate(outlines):
        areas = sorted(polygon.area for polygon in outline.geoms)
        assert areas == sorted(regions.area_px[regions.label == number])


def check_near_pixels(labels, outlines):
    """A partition whose borders follow the pixels' own to `REACH_PX`, and the other way round."""
    check_partition(labels, 1.0, outlines)
    border = pixel_border(labels)
    differs = np.argwhere(labels_at_centres(outlines, labels.shape, 1.0) != labels)
    assert (shapely.distance(border, shapely.points(differs[:, ::-1] + 0.5)) <= REACH_PX).all()
    # and the lines themselves, both ways, at points a quarter of a pixel apart
    frame = shapely.box(0, 0, *labels.shape[::-1]).exterior
    inner = shapely.difference(shapely.union_all(shapely.boundary(outlines)), frame)
    for line, towards in ((inner, border), (border, inner)):
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(line, 0.25)))
        _, far = shapely.STRtree(shapely.get_parts(towards)).query_nearest(points, return_distance=True, all_matches=False)
        assert far.max() <= REACH_PX


@given(label_maps | two_labels)
@unhurried
def test_simplified_noise_has_neither_gap_nor_overlap(labels):
    check_partition(labels, 1 / 30, trace_outlines(labels, 1 / 30, 3))


@pytest.mark.parametrize("seed", range(40))
def test_simplified_borders_stay_together_and_near_the_pixels(seed):
    labels = simulated_map(seed)
    check_near_pixels(labels, trace_outlines(labels, 1.0, 5))


@pytest.mark.parametrize("share", [2, 10])
@pytest.mark.parametrize("seed", range(12))
def test_arcs_simplified_far_too_much_are_taken_back_until_none_meet(monkeypatch, seed, share):
    """At the real tolerance arcs hardly ever meet, so the fall-back is driven here with a tolerance of 0.9 and 4.5 px."""
    labels = simulated_map(seed)
    monkeypatch.setattr(simplify_module, "DOUGLAS_PEUCKER_SHARE", share)
    check_partition(labels, 1.0, trace_outlines(labels, 1.0, 5))
    monkeypatch.setattr(simplify_module, "_clashing", lambda *_: np.empty(0, dtype=int))
    if share == 10:  # the same without the search for arcs that meet: shows that this test can fail
        with pytest.raises((AssertionError, shapely.errors.GEOSException, ValueError)):
            check_partition(labels, 1.0, trace_outlines(labels, 1.0, 5))


def test_simplifying_a_disc_keeps_its_area_and_drops_most_points():
    y, x = np.mgrid[:200, :200] + 0.5
    labels = ((x - 100) ** 2 + (y - 100) ** 2 < 80**2).astype(np.uint8)
    fine, coarse = trace_outlines(labels, 1.0, 1, simplify_px=0)[1], trace_outlines(labels, 1.0, 1)[1]
    assert shapely.get_num_coordinates(coarse) < shapely.get_num_coordinates(fine) / 5
    assert coarse.area == pytest.approx(np.pi * 80**2, rel=0.005)
    assert coarse.length == pytest.approx(2 * np.pi * 80, rel=0.01)  # stairs alone would be 4/π too long


def test_a_slope_of_forty_five_degrees_becomes_one_straight_line():
    labels = np.tril(np.ones((40, 40), dtype=np.uint8))
    bare, _ = trace_outlines(labels, 1.0, 1)
    assert shapely.get_num_coordinates(bare) <= 7


def test_rectangles_lines_and_single_pixels_keep_their_exact_shape():
    labels = np.zeros((20, 30), dtype=np.uint8)
    labels[2:9, 3:12] = 1
    labels[12, 2:25] = 2
    labels[15, 5] = 3
    labels[2:19, 27] = 3
    outlines = trace_outlines(labels, 1.0, 3)
    assert outlines[1].normalize() == shapely.MultiPolygon([shapely.box(3, 2, 12, 9)]).normalize()
    assert outlines[2].normalize() == shapely.MultiPolygon([shapely.box(2, 12, 25, 13)]).normalize()
    assert outlines[3].normalize() == shapely.MultiPolygon([shapely.box(5, 15, 6, 16), shapely.box(27, 2, 28, 19)]).normalize()


@pytest.mark.parametrize("simplify_px", [0, 0.45])
def test_diagonal_pixels_are_not_joined_and_touch_in_a_point(simplify_px):
    labels = np.array([[1, 0], [0, 1]], dtype=np.uint8)
    bare, mark = trace_outlines(labels, 1.0, 1, simplify_px=simplify_px)
    assert [len(bare.geoms), len(mark.geoms)] == [2, 2]
    assert bare.is_valid and mark.is_valid
    assert mark.geoms[0].intersection(mark.geoms[1]) == shapely.Point(1, 1)


def test_a_ring_closed_only_through_a_corner_has_a_hole_that_touches_its_outline():
    labels = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 0]], dtype=np.uint8)
    bare, mark = trace_outlines(labels, 1.0, 1)
    assert len(mark.geoms) == 1 and len(mark.geoms[0].interiors) == 1
    assert mark.is_valid and len(bare.geoms) == 2


def test_an_island_in_a_lake_on_an_island_is_three_polygons():
    labels = np.zeros((9, 9), dtype=np.uint8)
    labels[1:8, 1:8], labels[2:7, 2:7], labels[4, 4] = 1, 2, 1
    bare, island, lake = trace_outlines(labels, 1.0, 2)
    assert [bare.area, island.area, lake.area] == [32, 25, 24]
    assert [len(polygon.interiors) for outline in (bare, island, lake) for polygon in outline.geoms] == [1, 1, 0, 1]


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (7, 1), (50, 60)])
def test_a_picture_of_one_label_is_its_frame(shape):
    outlines = trace_outlines(np.full(shape, 2, dtype=np.uint8), 0.5, 3)
    assert outlines[2].equals(shapely.box(0, 0, shape[1] / 2, shape[0] / 2))
    assert [outline.is_empty for outline in outlines] == [True, True, False, True]


def test_x_runs_right_and_y_down_from_the_top_left_corner():
    labels = np.zeros((4, 6), dtype=np.uint8)
    labels[0, 5] = 1
    assert trace_outlines(labels, 0.5, 1)[1].bounds == (2.5, 0.0, 3.0, 0.5)


@given(label_maps)
@unhurried
def test_arcs_run_along_each_pixel_side_between_regions_once(labels):
    arcs = trace_arcs(labels)
    steps = np.abs(np.diff(arcs.xy, axis=0)).sum(axis=1)
    steps[arcs.start[1:-1] - 1] = 0
    sides = (labels[1:] != labels[:-1]).sum() + (labels[:, 1:] != labels[:, :-1]).sum()
    assert steps.sum() == sides + 2 * sum(labels.shape)
    assert (arcs.left != arcs.right).all()


@pytest.mark.parametrize(
    ("labels", "pitch_mm", "count", "simplify_px"),
    [
        (np.zeros((2, 2), dtype=int), 1, 1, 0),
        (np.zeros((0, 3), dtype=np.uint8), 1, 1, 0),
        (np.zeros((2, 2, 3), dtype=np.uint8), 1, 1, 0),
        (np.full((2, 2), 4, dtype=np.uint8), 1, 3, 0),
        (np.zeros((2, 2), dtype=np.uint8), 0, 1, 0),
        (np.zeros((2, 2), dtype=np.uint8), float("nan"), 1, 0),
        (np.zeros((2, 2), dtype=np.uint8), 1, 1, -0.1),
        (np.zeros((2, 2), dtype=np.uint8), 1, 1, 0.9),
    ],
)
def test_what_cannot_be_traced_is_refused_in_one_line(labels, pitch_mm, count, simplify_px):
    with pytest.raises(LimitError) as refused:
        trace_outlines(labels, pitch_mm, count, simplify_px=simplify_px)
    assert "\n" not in str(refused.value)
