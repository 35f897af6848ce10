"""Label map → closed outlines in millimetres that share their borders exactly.

Every border is traced once as an arc and simplified once, and the outlines on its two sides are put together from that one
arc, so there is neither gap nor overlap to mark twice.

    labels → `trace_arcs` → `Arcs` → `simplified` → `smoothed`, on request → `assembled` → MultiPolygons

No two arcs may meet outside nodes, neither simplified nor smoothed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from tint.errors import LimitError
from tint.layers.arcs import MAX_LABEL, OUTSIDE, Arcs, ranges, starts, trace_arcs, unrolled
from tint.layers.clean import checked_map
from tint.layers.simplify import DOUGLAS_PEUCKER_SHARE, SIMPLIFY_PX, simplified
from tint.layers.smooth import smoothed

if TYPE_CHECKING:
    from shapely import MultiPolygon


def trace_outlines(
    labels: np.ndarray, pitch_mm: float, count: int, *, simplify_px: float = SIMPLIFY_PX, smooth: bool = False
) -> tuple[MultiPolygon, ...]:
    """One shapely MultiPolygon [mm] per label 0 … `count`, bare metal (0) too, empty where a label is not used.

    Parameters
    ----------
    labels : (h, w) uint8
    pitch_mm : size of a pixel on the metal [mm]
    count : highest label there may be
    simplify_px : how much borders are simplified [px], 0.45 at most: they stay within 0.5 px + 2/3 of it of the pixels'
        own borders; 0 keeps those as they are
    smooth : round blunt corners into curves, within the same distance; needs `simplify_px` above 0

    Raises
    ------
    LimitError
        Not an 8-bit map, a label above `count`, a pitch or tolerance that cannot be, or smooth pixel borders.

    Notes
    -----
    x right, y down, origin at the map's top left corner. Pixels that only touch at a corner are not joined; their
    polygons touch in that point. Neighbours have the same points along their common border, so areas add up to the
    frame to rounding (about 1e-15 of it). With `simplify_px` above 0, stairs of one-pixel steps are first straightened
    through the middles of their treads (at most 0.5 px), then arcs are simplified after Douglas and Peucker; arcs that
    would meet are simplified less until none do. The frame, nodes, lines one pixel wide and single pixels stay. With
    `smooth` the tolerance is shared half and half between simplifying and rounding; corners sharper than 60° stay.

    References
    ----------
    Douglas, Peucker (1973), "Algorithms for the reduction of the number of points required to represent a digitized
    line or its caricature", doi 10.3138/FM57-6770-U75U-7727; computed by GEOS through shapely.

    Examples
    --------
    >>> bare, mark = trace_outlines(np.array([[0, 1], [0, 0]], dtype=np.uint8), 0.5, 1)
    >>> bare.area, mark.bounds
    (0.75, (0.5, 0.0, 1.0, 0.5))
    """
    labels = checked_map(labels)
    if not int(labels.max()) <= count <= MAX_LABEL:
        raise LimitError(
            f"label {int(labels.max())} is in the map; {count} labels were announced, {MAX_LABEL} at most."
        )
    if not (math.isfinite(pitch_mm) and pitch_mm > 0):
        raise LimitError(f"pitch_mm {pitch_mm:g} cannot be; it is a number above 0.")
    if not (math.isfinite(simplify_px) and 0 <= simplify_px <= SIMPLIFY_PX):
        raise LimitError(f"simplify_px {simplify_px:g} is outside 0–{SIMPLIFY_PX}; more would lose one-pixel marks.")
    if smooth and not simplify_px:
        raise LimitError(f"smooth outlines leave the pixel border: give a simplify_px of up to {SIMPLIFY_PX}, not 0.")
    arcs = simplified(trace_arcs(labels), simplify_px / 2 if smooth else simplify_px)
    if smooth:
        arcs = smoothed(arcs, simplify_px / 2 * DOUGLAS_PEUCKER_SHARE)
    return assembled(arcs, pitch_mm, count)


def assembled(arcs: Arcs, pitch_mm: float, count: int) -> tuple[MultiPolygon, ...]:
    """One shapely MultiPolygon [mm] per label 0 … `count`, its polygons with holes put together from `Arcs`."""
    import shapely

    half, ring_start = _rings(arcs)
    xy, ring_of_point = _ring_points(arcs, half, ring_start)
    region = _right_of_half(arcs)[half[ring_start]]
    # Seen with y down, walking with the region on the right turns clockwise around it: positive here, holes negative.
    begin = np.flatnonzero(np.diff(ring_of_point, prepend=-1))
    following = np.arange(1, len(xy) + 1)
    following[np.append(begin[1:], len(xy)) - 1] = begin
    turn = xy[:, 0] * xy[following, 1] - xy[:, 1] * xy[following, 0]
    is_hole = np.add.reduceat(turn, begin) < 0
    rings = shapely.linearrings(xy * pitch_mm, indices=ring_of_point)
    order = np.lexsort((is_hole, region))
    polygons = shapely.polygons(rings[order], indices=region[order])
    label = arcs.region_label
    return tuple(shapely.multipolygons(polygons[label == number]) for number in range(count + 1))


def _right_of_half(arcs: Arcs) -> np.ndarray:
    """Region on the right of each half arc (2 m,): half 2 i walks arc i forwards, 2 i + 1 backwards."""
    return np.stack([arcs.right, arcs.left], axis=1).ravel()


def _rings(arcs: Arcs) -> tuple[np.ndarray, np.ndarray]:
    """Half arcs ring by ring, in walking order with the ring's region on the right, and where each ring begins.

    At a node a ring turns right as sharply as it can, close around its own pixel, since pixels that share only a corner
    are not joined. Where both pixels at such a corner belong to one region, which then surrounds a third, the ring
    goes over to the other pixel instead: an outline and a hole that touch, rather than one outline that meets itself.
    """
    right = _right_of_half(arcs)
    node = np.stack([arcs.head, arcs.tail], axis=1).ravel()  # where a half arc arrives
    way = np.stack([arcs.head_way, (arcs.tail_way + 2) % 4], axis=1).ravel().astype(np.int64)
    leaving = np.full((int(node.max()) + 1, 4), -1, dtype=np.int32)
    numbers = np.arange(0, 2 * len(arcs), 2, dtype=np.int32)
    leaving[arcs.tail, arcs.tail_way] = numbers
    leaving[arcs.head, (arcs.head_way + 2) % 4] = numbers + 1
    sharp, straight, wide = (leaving[node, (way + turn) % 4] for turn in (1, 0, 3))
    following = np.where(sharp >= 0, sharp, np.where(straight >= 0, straight, wide))
    crossing = (sharp >= 0) & (straight >= 0) & (wide >= 0)
    following = np.where(crossing & (right[wide] == right), wide, following)
    before = np.empty_like(following)
    before[following] = np.arange(len(following), dtype=np.int32)
    order, begin = unrolled(before)
    count = np.diff(begin, append=len(order))
    inside = right[order[begin]] != OUTSIDE
    return order[np.repeat(inside, count)], starts(count[inside])[:-1]


def _ring_points(arcs: Arcs, half: np.ndarray, ring_start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) of all rings, not repeating each first one, and the ring of each point (n,)."""
    arc, backwards = half // 2, half % 2 == 1
    count = arcs.points[arc] - 1
    step = ranges(np.zeros(len(half), dtype=np.int64), count)
    index = np.where(
        np.repeat(backwards, count),
        np.repeat(arcs.start[arc + 1] - 1, count) - step,
        np.repeat(arcs.start[arc], count) + step,
    )
    ring = np.repeat(np.arange(len(ring_start)), np.diff(ring_start, append=len(half)))
    return arcs.xy[index], np.repeat(ring, count)
