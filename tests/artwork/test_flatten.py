"""Painter's order: no overlap, nothing lost, borders shared; fills by rules worked out by hand."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from tint.artwork.flatten import cut_away_hidden, filled

OVERLAP_MM2 = 1e-6  # the most that shapes of one drawing may overlap, or that may be missing between them

places = st.floats(0, 100, allow_nan=False)
sizes = st.floats(0.5, 30)
circles = st.builds(lambda x, y, r: shapely.Point(x, y).buffer(r, quad_segs=12), places, places, sizes)
rects = st.builds(lambda x, y, w, h: shapely.box(x, y, x + w, y + h), places, places, sizes, sizes)
lattice_rects = st.builds(  # many borders on one another
    lambda x, y, w, h: shapely.box(x, y, x + w, y + h), *[st.integers(0, 9)] * 2, *[st.integers(1, 5)] * 2
)
triangles = st.builds(
    lambda x, y, w, h: shapely.Polygon([(x, y), (x + w, y + h / 3), (x - h / 2, y + h)]), places, places, sizes, sizes
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.one_of(circles, rects, triangles, lattice_rects), min_size=1, max_size=25))
def test_random_shapes_end_edge_to_edge_and_lose_nothing(regions):
    visible = cut_away_hidden(regions)
    kept = [region for region in visible if not region.is_empty]
    union = shapely.union_all(regions)
    assert abs(sum(region.area for region in kept) - shapely.union_all(kept).area) <= OVERLAP_MM2
    assert shapely.union_all(kept).symmetric_difference(union).area <= OVERLAP_MM2
    assert shapely.coverage_is_valid(kept) and all(shapely.is_valid(kept))


@settings(max_examples=30, deadline=None)
@given(st.lists(lattice_rects, min_size=2, max_size=20))
def test_the_last_shape_stays_whole_and_each_keeps_what_no_later_one_covers(regions):
    visible = cut_away_hidden(regions)
    assert visible[-1].equals(regions[-1])
    for index, region in enumerate(regions):
        later = shapely.union_all(regions[index + 1 :])
        assert visible[index].symmetric_difference(region.difference(later)).area <= OVERLAP_MM2


def test_neighbours_with_one_border_keep_it():
    left, right = cut_away_hidden([shapely.box(0, 0, 1, 1), shapely.box(1, 0.25, 2, 0.75)])
    assert (left.area, right.area) == (1, 0.5)
    shared = left.boundary.intersection(right.boundary)
    assert shared.length == 0.5 and shapely.coverage_is_valid([left, right])


def test_a_ring_of_bands_costs_one_band_each():
    bands = [shapely.Point(0, 0).buffer(radius, quad_segs=16) for radius in range(60, 0, -1)]
    visible = cut_away_hidden(bands)
    assert [len(shapely.get_parts(band)) for band in visible] == [1] * 60
    assert sum(band.area for band in visible) == pytest.approx(bands[0].area, abs=OVERLAP_MM2)


STAR = np.array([0 - 45j, 27 + 37j, -43 - 14j, 43 - 14j, -27 + 37j])


def test_a_five_pointed_star_has_a_hole_by_even_odd_only():
    whole, pierced = filled([STAR], "nonzero"), filled([STAR], "evenodd")
    assert whole.contains(shapely.Point(0, 0)) and not pierced.contains(shapely.Point(0, 0))
    assert len(shapely.get_parts(pierced)) == 5 and len(shapely.get_parts(whole)) == 1


def test_a_ring_the_other_way_round_is_a_hole_by_non_zero():
    outer, inner = np.array([0, 4, 4 + 4j, 4j]), np.array([1 + 1j, 3 + 1j, 3 + 3j, 1 + 3j])
    assert filled([outer, inner[::-1]], "nonzero").area == 12
    assert filled([outer, inner], "nonzero").area == 16
    assert filled([outer, inner, inner], "evenodd").area == 16


def test_rings_without_area_fill_nothing():
    assert filled([np.array([0, 5, 0j]), np.array([1 + 1j]), np.array([0, 3, 6, 3])], "nonzero").is_empty


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=3, max_size=14),
    st.sampled_from(["nonzero", "evenodd"]),
)
def test_a_scribble_is_filled_where_its_winding_number_says(points, rule):
    ring = np.array([complex(x, y) for x, y in points])
    region = filled([ring], rule)
    assert shapely.is_valid(region)
    for x, y in np.random.default_rng(0).uniform(0.01, 7.99, (40, 2)):
        # winding number by the sum of angles, a definition independent of ray crossings
        angles = np.angle((np.roll(ring, -1) - complex(x, y)) / (ring - complex(x, y)))
        winding = round(float(angles.sum()) / (2 * np.pi))
        if region.is_empty or region.boundary.distance(shapely.Point(x, y)) > 1e-6:
            assert region.contains(shapely.Point(x, y)) == (winding != 0 if rule == "nonzero" else winding % 2 == 1)
