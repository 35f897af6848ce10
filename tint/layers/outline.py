"""Label map → closed outlines in millimetres that share their borders exactly.

The border between two pixels of different label is a crack. Cracks are joined into arcs that run from node to node; a
node is where three or more cracks meet, or a corner of the frame. Every arc is traced once and simplified once, and the
outlines on its two sides are put together from that one arc, so there is neither gap nor overlap to mark twice.

    labels → `trace_arcs` → `Arcs` → `simplified` (no two arcs may meet outside nodes) → `assembled` → MultiPolygons

Until the last step coordinates are pixels: x right, y down, origin at the top left corner of the map. They are
multiples of one half, so every test for a crossing is exact in double precision.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tint.errors import LimitError
from tint.layers.clean import find_regions, graph_parts

if TYPE_CHECKING:
    from shapely import MultiPolygon

# Stairs are straightened by up to half a pixel, then arcs are simplified by up to two thirds of SIMPLIFY_PX: with both a
# border stays within 0.8 px of the pixels' own. More would move borders visibly, less would keep needless points.
SIMPLIFY_PX = 0.45
DOUGLAS_PEUCKER_SHARE = 2 / 3
MAX_LABEL = 255  # labels are 8-bit numbers
OUTSIDE = -1  # the region around the frame
ARCS_AT_ONCE = 200_000  # how many arcs are simplified in one call; bounds memory on noisy maps
PAIRS_AT_ONCE = 500_000  # how many pairs of segments are tested in one call; likewise


@dataclass(frozen=True, eq=False)
class Arcs:
    """Borders between regions, each once.

    Parameters
    ----------
    xy : (n, 2) points of all arcs one after the other [px]; a closed arc repeats its first point
    start : (m + 1,) where each arc begins in `xy`
    left, right : (m,) region to the left and right when walking along, seen on the picture; -1 outside the frame
    tail, head : (m,) number of the node where an arc begins and ends
    closed : (m,) bool, True for an arc that meets no other and closes on itself; it may begin anywhere
    tail_way, head_way : (m,) direction of its first and last crack: 0 right, 1 down, 2 left, 3 up
    region_label : (r,) label of each region
    """

    xy: np.ndarray
    start: np.ndarray
    left: np.ndarray
    right: np.ndarray
    tail: np.ndarray
    head: np.ndarray
    closed: np.ndarray
    tail_way: np.ndarray
    head_way: np.ndarray
    region_label: np.ndarray

    def __len__(self) -> int:
        return len(self.left)

    @property
    def points(self) -> np.ndarray:
        """Number of points of each arc (m,)."""
        return np.diff(self.start)


def trace_outlines(
    labels: np.ndarray, pitch_mm: float, count: int, *, simplify_px: float = SIMPLIFY_PX
) -> tuple[MultiPolygon, ...]:
    """One shapely MultiPolygon [mm] per label 0 … `count`, bare metal (0) too, empty where a label is not used.

    Parameters
    ----------
    labels : (h, w) uint8
    pitch_mm : size of a pixel on the metal [mm]
    count : highest label there may be
    simplify_px : how much borders are simplified [px], 0.45 at most: they stay within 0.5 px + 2/3 of it of the pixels'
        own borders; 0 keeps those as they are

    Raises
    ------
    LimitError
        Not an 8-bit map, a label above `count`, or a pitch or tolerance that cannot be.

    Notes
    -----
    x right, y down, origin at the map's top left corner. Pixels that only touch at a corner are not joined; their
    polygons touch in that point. Neighbours have the same points along their common border, so areas add up to the
    frame to rounding (about 1e-15 of it). With `simplify_px` above 0, stairs of one-pixel steps are first straightened
    through the middles of their treads (at most 0.5 px), then arcs are simplified after Douglas and Peucker; arcs that
    would meet are simplified less until none do. The frame, nodes, lines one pixel wide and single pixels stay.

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
    labels = np.ascontiguousarray(labels)
    if labels.ndim != 2 or labels.dtype != np.uint8 or not labels.size:
        raise LimitError("a label map is a two-dimensional array of 8-bit numbers with at least one pixel.")
    if not int(labels.max()) <= count <= MAX_LABEL:
        raise LimitError(f"label {int(labels.max())} is in the map; {count} labels were announced, {MAX_LABEL} at most.")
    if not (math.isfinite(pitch_mm) and pitch_mm > 0):
        raise LimitError(f"pitch_mm {pitch_mm:g} cannot be; it is a number above 0.")
    if not (math.isfinite(simplify_px) and 0 <= simplify_px <= SIMPLIFY_PX):
        raise LimitError(f"simplify_px {simplify_px:g} is outside 0–{SIMPLIFY_PX}; more would lose one-pixel marks.")
    return assembled(simplified(trace_arcs(labels), simplify_px), pitch_mm, count)


def trace_arcs(labels: np.ndarray) -> Arcs:
    """`Arcs` along the cracks of a label map (h, w) uint8, straight runs as one step."""
    regions = find_regions(labels)
    region = regions.paint(np.arange(len(regions), dtype=np.int32))
    corner, x, y, cracks = _turning_points(labels)
    tail, head, way, left, right = _runs(region, x, y, cracks)
    del region
    height, width = labels.shape
    at_corner = ((x == 0) | (x == width)) & ((y == 0) | (y == height))
    is_node = (_BITS[cracks] > 2) | at_corner
    into = np.full(len(corner), -1, dtype=np.int32)
    into[head] = np.arange(len(head), dtype=np.int32)
    before = np.where(is_node[tail], np.int32(-1), into[tail])
    order, first = _unrolled(before)
    length = np.diff(first, append=len(order))
    last = first + length - 1
    start = np.concatenate([[0], np.cumsum(length + 1)])
    point = np.empty(start[-1], dtype=np.int64)
    at_start = np.zeros(start[-1], dtype=bool)
    at_start[start[:-1]] = True
    point[~at_start] = head[order]
    point[start[:-1]] = tail[order[first]]
    return Arcs(
        xy=np.stack([x[point], y[point]], axis=1).astype(float),
        start=start,
        left=left[order[first]],
        right=right[order[first]],
        tail=tail[order[first]],
        head=head[order[last]],
        closed=~is_node[tail[order[first]]],
        tail_way=way[order[first]],
        head_way=way[order[last]],
        region_label=regions.label,
    )


def simplified(arcs: Arcs, simplify_px: float = SIMPLIFY_PX) -> Arcs:
    """`Arcs` with fewer points that still meet at nodes only; pixel borders as they are where `simplify_px` is 0.

    Arcs that would meet or touch outside nodes are taken back together: first to half the tolerance, then to their
    own pixel border. Pixel borders never meet, so this ends. No arc can jump over an island without touching it, as
    it moves by less than a pixel.
    """
    if simplify_px <= 0:
        return arcs
    smooth, tolerance_px = _without_stairs(arcs), simplify_px * DOUGLAS_PEUCKER_SHARE
    result = _reduced(smooth, np.arange(len(arcs)), tolerance_px)
    level = np.zeros(len(arcs), dtype=np.int8)
    changed = np.arange(len(arcs))
    cells = None
    while True:
        cells = _cells(result, changed, cells)
        clash = _clashing(result, cells, None if len(changed) == len(arcs) else changed)
        if not len(clash):
            return result
        changed = clash[level[clash] < 2]
        level[changed] += 1
        half, whole = changed[level[changed] == 1], changed[level[changed] == 2]
        result = _put(result, _reduced(smooth, half, tolerance_px / 2), half)
        result = _put(result, _picked(arcs, whole), whole)


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


_PER_ARC = ("left", "right", "tail", "head", "closed", "tail_way", "head_way")
_BITS = np.array([bin(code).count("1") for code in range(16)], dtype=np.uint8)
_STRAIGHT_OR_NONE = np.isin(np.arange(16), (0, 0b0101, 0b1010))


def _turning_points(labels: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Lattice points where cracks turn, meet or end, in reading order: place, x, y, and the cracks at each as bits.

    Bit 0 is a crack to the right, 1 down, 2 left, 3 up.
    """
    height, width = labels.shape
    cracks = np.zeros((height + 1, width + 1), dtype=np.uint8)
    along = np.ones((height + 1, width), dtype=np.uint8)
    np.not_equal(labels[1:], labels[:-1], out=along[1:-1].view(bool))
    cracks[:, :-1] |= along
    cracks[:, 1:] |= along << 2
    down = np.ones((height, width + 1), dtype=np.uint8)
    np.not_equal(labels[:, 1:], labels[:, :-1], out=down[:, 1:-1].view(bool))
    cracks[:-1] |= down << 1
    cracks[1:] |= down << 3
    corner = np.flatnonzero(~_STRAIGHT_OR_NONE[cracks].ravel())
    y, x = np.divmod(corner, width + 1)
    return corner, x.astype(np.int32), y.astype(np.int32), cracks.ravel()[corner]


def _runs(
    region: np.ndarray, x: np.ndarray, y: np.ndarray, cracks: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Straight runs of cracks: turning points at tail and head, way, regions left and right; the lower region is left.

    That order turns all runs of a border the same way round.
    """
    height, width = region.shape
    at = np.flatnonzero(cracks & 1).astype(np.int32)  # in reading order the run to the right ends at the next point
    beside = (at, at + 1, x[at], y[at])
    column = np.argsort(x.astype(np.uint16) if width < 2**16 else x, kind="stable").astype(np.int32)
    at = np.flatnonzero(cracks[column] & 2)
    below = (column[at], column[at + 1], x[column[at]], y[column[at]])

    def region_at(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
        return np.where(inside, region[np.where(inside, y, 0), np.where(inside, x, 0)], np.int32(OUTSIDE))

    tail, head = (np.concatenate([beside[i], below[i]]) for i in (0, 1))
    left = np.concatenate([region_at(beside[2], beside[3] - 1), region_at(below[2], below[3])])
    right = np.concatenate([region_at(beside[2], beside[3]), region_at(below[2] - 1, below[3])])
    way = np.repeat(np.array([0, 1], dtype=np.int8), [len(beside[0]), len(below[0])])
    swap = left > right
    tail, head = np.where(swap, head, tail), np.where(swap, tail, head)
    left, right = np.where(swap, right, left), np.where(swap, left, right)
    return tail, head, np.where(swap, way + np.int8(2), way), left, right


def _unrolled(before: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Elements chain by chain, each chain in order, and where chains begin; `before` is -1 at the first of a chain.

    A closed chain begins at its lowest element. Distances to the first are found by doubling the reach.
    """
    root, rank, closed = _ranked(before)
    if len(closed):
        place = np.full(len(before), -1, dtype=np.int32)
        place[closed] = np.arange(len(closed), dtype=np.int32)
        inner = place[before[closed]]
        _, loop = graph_parts(len(closed), np.arange(len(closed)), inner)
        _, lowest = np.unique(loop, return_index=True)
        inner[lowest] = -1
        inner_root, rank[closed], _ = _ranked(inner)
        root[closed] = closed[inner_root]
    length = np.bincount(root, minlength=len(before))
    begin = np.cumsum(length) - length
    order = np.empty(len(before), dtype=np.int32)
    order[begin[root] + rank] = np.arange(len(before), dtype=np.int32)
    return order, begin[length > 0]


def _ranked(before: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """First element of each element's chain, number of steps to it, and the elements of closed chains (not ranked)."""
    here = np.arange(len(before), dtype=np.int32)
    reach = np.where(before < 0, here, before).astype(np.int32)
    rank = (before >= 0).astype(np.int32)
    active = np.flatnonzero(before[reach] >= 0)
    while len(active):
        # elements whose reach has not yet come to a first one; each pass finishes some of every open chain
        onward = reach[active]
        rank[active] += rank[onward]
        reach[active] = reach[onward]
        still = active[before[reach[active]] >= 0]
        if len(still) == len(active):
            return reach, rank, active
        active = still
    return reach, rank, active


def _without_stairs(arcs: Arcs) -> Arcs:
    """`Arcs` with stairs of one-pixel steps straightened: through the middle of each tread, else across the corner.

    Along a digital straight line the middles of the treads lie on that line. A corner is cut when a step one pixel long
    leads to a corner that turns the other way: stairs, as slopes and curves make them. Corners of rectangles, single
    pixels and line ends turn the same way and stay.
    """
    arcs = _begun_between_corners(arcs)
    xy, start = arcs.xy, arcs.start
    step = np.diff(xy, axis=0, append=xy[-1:])
    length = np.abs(step).sum(axis=1)  # of the run that follows a point; runs are upright or level
    unit = step / np.where(length > 0, length, 1)[:, None]
    inner = np.ones(len(xy), dtype=bool)
    inner[start[:-1]] = inner[start[1:] - 1] = False
    turn = np.zeros(len(xy))
    turn[1:] = unit[:-1, 0] * unit[1:, 1] - unit[:-1, 1] * unit[1:, 0]
    turn[~inner] = 0  # 1 and -1 at corners
    at = np.flatnonzero(inner)
    opposite_before, opposite_after = turn[at - 1] == -turn[at], turn[at + 1] == -turn[at]
    end_before, end_after = turn[at - 1] == 0, turn[at + 1] == 0
    stair_before = (length[at - 1] == 1) & (opposite_before | (end_before & opposite_after))
    stair_after = (length[at] == 1) & (opposite_after | (end_after & opposite_before))
    cut = at[stair_before | stair_after]
    is_cut = np.zeros(len(xy) + 1, dtype=bool)
    is_cut[cut] = True
    tread = is_cut[cut + 1] & (turn[np.minimum(cut + 1, len(xy) - 1)] == -turn[cut])  # both its corners are of one flight
    reach = np.where(tread, length[cut] / 2, 0.5)
    copies = np.ones(len(xy), dtype=np.int64)
    copies[cut] = 2
    place = np.cumsum(copies) - copies
    result = np.repeat(xy, copies, axis=0)
    result[place[cut]] -= 0.5 * unit[cut - 1]
    result[place[cut] + 1] += reach[:, None] * unit[cut]
    result[place[cut[tread] + 1]] = result[place[cut[tread]] + 1]
    arc = np.repeat(np.repeat(np.arange(len(arcs)), arcs.points), copies)
    keep = np.ones(len(result), dtype=bool)
    keep[1:] = (result[1:] != result[:-1]).any(axis=1) | (arc[1:] != arc[:-1])
    return replace(arcs, xy=result[keep], start=_starts(np.bincount(arc[keep], minlength=len(arcs))))


def _begun_between_corners(arcs: Arcs) -> Arcs:
    """`Arcs` whose closed ones begin in the middle of a run, so that no corner is kept only because it is the first.

    Runs of one or two pixels are not divided: their halves would look like steps and their corners would be lost.
    """
    run = arcs.xy[arcs.start[:-1] + 1] - arcs.xy[arcs.start[:-1]]
    closed = np.flatnonzero(arcs.closed & (np.abs(run).sum(axis=1) > 2))
    middle = arcs.xy[arcs.start[closed]] + run[closed] / 2
    points = arcs.points.copy()
    points[closed] += 1
    start = _starts(points)
    xy = np.empty((start[-1], 2))
    is_last = np.zeros(start[-1], dtype=bool)
    is_last[start[closed + 1] - 1] = True
    xy[~is_last] = arcs.xy
    xy[start[closed]] = xy[is_last] = middle
    return replace(arcs, xy=xy, start=start)


def _reduced(arcs: Arcs, chosen: np.ndarray, tolerance_px: float) -> Arcs:
    """The `chosen` arcs after Douglas and Peucker, their own ends kept."""
    import shapely

    picked = _picked(arcs, chosen)
    parts, counts = [], []
    for begin in range(0, len(picked), ARCS_AT_ONCE):
        start = picked.start[begin : begin + ARCS_AT_ONCE + 1]
        index = np.repeat(np.arange(len(start) - 1), np.diff(start))
        lines = shapely.linestrings(picked.xy[start[0] : start[-1]], indices=index)
        xy, index = shapely.get_coordinates(shapely.simplify(lines, tolerance_px, preserve_topology=False), return_index=True)
        parts.append(xy)
        counts.append(np.bincount(index, minlength=len(start) - 1))
    xy = np.concatenate([np.empty((0, 2)), *parts])
    return _closed_without_extra(replace(picked, xy=xy, start=_starts(np.concatenate([np.empty(0, int), *counts]))))


def _closed_without_extra(arcs: Arcs) -> Arcs:
    """`Arcs` whose closed ones no longer begin in the middle of a straight line."""
    closed = np.flatnonzero(arcs.closed & (arcs.points > 4))
    first, last = arcs.start[closed], arcs.start[closed + 1] - 1
    one, two = arcs.xy[first] - arcs.xy[last - 1], arcs.xy[first + 1] - arcs.xy[first]
    straight = one[:, 0] * two[:, 1] == one[:, 1] * two[:, 0]
    closed, first, last = closed[straight], first[straight], last[straight]
    keep = np.ones(len(arcs.xy), dtype=bool)
    keep[first] = False
    xy = arcs.xy.copy()
    xy[last] = xy[first + 1]
    points = arcs.points.copy()
    points[closed] -= 1
    return replace(arcs, xy=xy[keep], start=_starts(points))


def _picked(arcs: Arcs, chosen: np.ndarray) -> Arcs:
    """The `chosen` arcs alone."""
    index = _ranges(arcs.start[chosen], arcs.points[chosen])
    fields = {name: getattr(arcs, name)[chosen] for name in _PER_ARC}
    return Arcs(xy=arcs.xy[index], start=_starts(arcs.points[chosen]), region_label=arcs.region_label, **fields)


def _put(arcs: Arcs, other: Arcs, chosen: np.ndarray) -> Arcs:
    """`Arcs` with the points of the `chosen` ones taken from `other`, which has only those."""
    points = arcs.points.copy()
    points[chosen] = other.points
    start = _starts(points)
    kept = np.ones(len(arcs), dtype=bool)
    kept[chosen] = False
    xy = np.empty((start[-1], 2))
    xy[np.repeat(kept, points)] = arcs.xy[np.repeat(kept, arcs.points)]
    xy[_ranges(start[chosen], other.points)] = other.xy
    return replace(arcs, xy=xy, start=start)


def _starts(points: np.ndarray) -> np.ndarray:
    return np.concatenate([[0], np.cumsum(points)]).astype(np.int64)


def _ranges(begin: np.ndarray, count: np.ndarray) -> np.ndarray:
    """begin[0], begin[0] + 1, … (count[0] numbers), begin[1], …"""
    return np.repeat(begin - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))


def _cells(arcs: Arcs, chosen: np.ndarray, cells: tuple[np.ndarray, ...] | None) -> tuple[np.ndarray, ...]:
    """Cells one pixel wide that the segments pass: cell, arc, and number of the segment within its arc.

    The entries of the `chosen` arcs replace those in `cells`, the others stay.
    """
    count = arcs.points[chosen] - 1
    arc = np.repeat(chosen, count)
    step = _ranges(np.zeros(len(chosen), dtype=np.int64), count)
    at = arcs.start[arc] + step
    # Lattice points and half points lie inside cells, not on their edges, so a unit step is in two cells only.
    one, two = arcs.xy[at] + _CELL_SHIFT, arcs.xy[at + 1] + _CELL_SHIFT
    upright = np.abs(two[:, 1] - one[:, 1]) > np.abs(two[:, 0] - one[:, 0])
    one[upright], two[upright] = one[upright, ::-1], two[upright, ::-1]
    swap = one[:, 0] > two[:, 0]
    one[swap], two[swap] = two[swap], one[swap]
    begin, end = np.floor(one[:, 0]).astype(np.int64), np.floor(two[:, 0]).astype(np.int64)
    count = end - begin + 1
    along = _ranges(begin, count)
    segment = np.repeat(np.arange(len(at)), count)
    run = two[:, 0] - one[:, 0]  # 0 only where a closed arc has shrunk to a point
    slope = (two[:, 1] - one[:, 1]) / np.where(run > 0, run, 1)
    low, high = one[segment], two[segment, 0]
    across = [
        low[:, 1] + slope[segment] * (np.clip(along + shift, low[:, 0], high) - low[:, 0]) for shift in (0, 1)
    ]
    lower = np.floor(np.minimum(*across) - _ROUNDING_PX).astype(np.int64)
    upper = np.floor(np.maximum(*across) + _ROUNDING_PX).astype(np.int64)
    wide = np.flatnonzero(upper > lower)
    wider = np.flatnonzero(upper > lower + 1)
    segment = np.concatenate([segment, segment[wide], segment[wider]])
    along = np.concatenate([along, along[wide], along[wider]])
    across = np.concatenate([lower, upper[wide], lower[wider] + 1])
    upright = upright[segment]
    column, row = np.where(upright, across, along), np.where(upright, along, across)
    key = row * int(arcs.xy[:, 0].max() + 3) + column
    added = key, arc[segment].astype(np.int32), step[segment].astype(np.int32)
    if cells is None:
        return added
    stays = np.ones(len(arcs), dtype=bool)
    stays[chosen] = False
    stays = stays[cells[1]]
    return tuple(np.concatenate([old[stays], new]) for old, new in zip(cells, added, strict=True))


_CELL_SHIFT = np.array([0.3, 0.15])  # [px] neither these nor their sum or difference is a multiple of a half
_ROUNDING_PX = 1e-6  # a segment this close to a cell is entered there too


def _clashing(arcs: Arcs, cells: tuple[np.ndarray, ...], changed: np.ndarray | None) -> np.ndarray:
    """Arcs that meet themselves or each other anywhere but at their nodes; near the `changed` ones where given."""
    key, arc, step = cells
    if changed is not None:
        new = np.zeros(len(arcs), dtype=bool)
        new[changed] = True
        near = np.zeros(int(key.max()) + 1, dtype=bool)
        near[key[new[arc]]] = True
        chosen = np.flatnonzero(near[key])
        key, arc, step = key[chosen], arc[chosen], step[chosen]
    order = np.argsort(key)
    key, segment = key[order], (arcs.start[arc] + step)[order]
    arc = arc[order]
    name = np.arange(len(arcs.xy))  # points that are one and the same have one name
    name[arcs.start[:-1]] = -1 - arcs.tail.astype(np.int64)
    name[arcs.start[1:] - 1] = -1 - arcs.head.astype(np.int64)
    clash = _shrunk(arcs)
    apart = 1
    first = np.flatnonzero(key[1:] == key[:-1])
    while len(first):
        second = first + apart
        for begin in range(0, len(first), PAIRS_AT_ONCE):
            part = slice(begin, begin + PAIRS_AT_ONCE)
            bad = np.flatnonzero(_meet(arcs.xy, name, segment[first[part]], segment[second[part]])) + begin
            clash[arc[first[bad]]] = clash[arc[second[bad]]] = True
        apart += 1
        first = first[first + apart < len(key)]
        first = first[key[first] == key[first + apart]]
    return np.flatnonzero(clash)


def _shrunk(arcs: Arcs) -> np.ndarray:
    """True (m,) for arcs of which a segment has no length."""
    arc = np.repeat(np.arange(len(arcs)), arcs.points)
    at = np.flatnonzero((arcs.xy[1:] == arcs.xy[:-1]).all(axis=1) & (arc[1:] == arc[:-1]))
    shrunk = np.zeros(len(arcs), dtype=bool)
    shrunk[arc[at]] = True
    return shrunk


def _meet(xy: np.ndarray, name: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """True where segment `one` touches segment `other` elsewhere than in a point they share by name.

    A segment is given by its first point. Exact: coordinates are multiples of one half below 2²⁵.
    """
    a0, a1, b0, b1 = xy[one], xy[one + 1], xy[other], xy[other + 1]
    meets = (_turn(a0, a1, b0) * _turn(a0, a1, b1) <= 0) & (_turn(b0, b1, a0) * _turn(b0, b1, a1) <= 0)
    meets &= (np.maximum(np.minimum(a0, a1), np.minimum(b0, b1)) <= np.minimum(np.maximum(a0, a1), np.maximum(b0, b1))).all(1)
    meets &= one != other
    sharing = np.zeros(len(one), dtype=bool)
    folded = np.zeros(len(one), dtype=bool)
    for i, at, away in ((one, a0, a1), (one + 1, a1, a0)):
        for j, towards in ((other, b1), (other + 1, b0)):
            shared = name[i] == name[j]
            sharing |= shared
            ahead = ((away - at) * (towards - at)).sum(axis=1) > 0
            folded |= shared & ahead & (_turn(at, away, towards) == 0)
    return np.where(sharing, folded & (one != other), meets)


def _turn(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Twice the signed area of triangles a, b, c, each (n, 2)."""
    return (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])


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
    order, begin = _unrolled(before)
    count = np.diff(begin, append=len(order))
    inside = right[order[begin]] != OUTSIDE
    return order[np.repeat(inside, count)], _starts(count[inside])[:-1]


def _ring_points(arcs: Arcs, half: np.ndarray, ring_start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) of all rings, not repeating each first one, and the ring of each point (n,)."""
    arc, backwards = half // 2, half % 2 == 1
    count = arcs.points[arc] - 1
    step = _ranges(np.zeros(len(half), dtype=np.int64), count)
    index = np.where(
        np.repeat(backwards, count),
        np.repeat(arcs.start[arc + 1] - 1, count) - step,
        np.repeat(arcs.start[arc], count) + step,
    )
    ring = np.repeat(np.arange(len(ring_start)), np.diff(ring_start, append=len(half)))
    return arcs.xy[index], np.repeat(ring, count)
