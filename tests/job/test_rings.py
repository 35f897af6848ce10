"""Rings of an outline as arrays, against shapely's own objects."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tint.job.rings import rings_of


def test_every_ring_comes_once_with_its_region_and_its_length() -> None:
    holed = shapely.Point(5, 5).buffer(4).difference(shapely.MultiPoint([(4, 5), (7, 5)]).buffer(0.8))
    outline = shapely.MultiPolygon([holed, shapely.box(20, 0, 22, 3)])
    rings = rings_of(outline)
    exact = [(i, ring) for i, polygon in enumerate(outline.geoms) for ring in (polygon.exterior, *polygon.interiors)]
    assert rings.region.tolist() == [i for i, _ in exact] == [0, 0, 0, 1]
    for start, end, (_, ring) in zip(rings.starts[:-1], rings.starts[1:], exact, strict=True):
        np.testing.assert_array_equal(rings.points_mm[start:end], np.array(ring.coords))
    assert np.hypot(*rings.steps_mm().T).sum() == pytest.approx(sum(ring.length for _, ring in exact), rel=1e-12)
    assert rings.boxes_mm[1].tolist() == [20, 0, 22, 3]


def test_an_empty_outline_has_no_rings() -> None:
    rings = rings_of(shapely.MultiPolygon())
    assert rings.starts.tolist() == [0] and rings.boxes_mm.shape == (0, 4) and rings.steps_mm().shape == (0, 2)
