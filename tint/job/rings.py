"""The rings of an outline as plain arrays: thousands of small regions are handled at once, not one by one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True, eq=False)
class Rings:
    """All rings of an outline, one after another; of each region the outer ring first, then its holes.

    Parameters
    ----------
    points_mm : (n, 2) corners of all rings, each ring closed (its last point repeats its first) [mm]
    starts : (r + 1,) where each ring begins in `points_mm`; the last entry is n
    region : (r,) number of the region each ring belongs to, from 0
    boxes_mm : (p, 4) left, top, right, bottom of each region [mm]
    """

    points_mm: np.ndarray
    starts: np.ndarray
    region: np.ndarray
    boxes_mm: np.ndarray

    def steps_mm(self) -> np.ndarray:
        """(m, 2) steps from corner to corner along all rings [mm]."""
        steps = np.diff(self.points_mm, axis=0)
        between = self.starts[1:-1] - 1  # from the end of one ring to the start of the next
        return np.delete(steps, between, axis=0)


def rings_of(outline: Any) -> Rings:
    """Rings of a shapely Polygon or MultiPolygon [mm].

    Examples
    --------
    >>> import shapely
    >>> rings = rings_of(shapely.box(0, 0, 2, 1))
    >>> rings.starts.tolist(), rings.boxes_mm.tolist()
    ([0, 5], [[0.0, 0.0, 2.0, 1.0]])
    """
    import shapely

    polygons = shapely.get_parts(outline)
    polygons = polygons[~shapely.is_empty(polygons)]
    rings, region = shapely.get_rings(polygons, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    starts = np.searchsorted(ring, np.arange(len(rings) + 1))
    return Rings(points, starts, region, shapely.bounds(polygons).reshape(-1, 4))
