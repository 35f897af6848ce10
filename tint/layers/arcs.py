"""Arcs: the borders of a label map, each traced once.

The border between two pixels of different label is a crack. Cracks are joined into arcs that run from node to node; a
node is where three or more cracks meet, or a corner of the frame. Coordinates are pixels: x right, y down, origin at the
top left corner of the map.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tint.layers.clean import find_regions, graph_parts

MAX_LABEL = 255  # labels are 8-bit numbers
OUTSIDE = -1  # the region around the frame
_BITS = np.array([bin(code).count("1") for code in range(16)], dtype=np.uint8)
_STRAIGHT_OR_NONE = np.isin(np.arange(16), (0, 0b0101, 0b1010))
_PER_ARC = ("left", "right", "tail", "head", "closed", "tail_way", "head_way")


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
    order, first = unrolled(before)
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
    down = np.flatnonzero(cracks[column] & 2)
    below = (column[down], column[down + 1], x[column[down]], y[column[down]])

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


def unrolled(before: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Elements (n,) chain by chain, each in order, and where chains begin; `before` (n,) is -1 at the first of a chain.

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


def picked(arcs: Arcs, chosen: np.ndarray) -> Arcs:
    """The `chosen` arcs alone, an index or mask (n,)."""
    index = ranges(arcs.start[chosen], arcs.points[chosen])
    fields = {name: getattr(arcs, name)[chosen] for name in _PER_ARC}
    return Arcs(xy=arcs.xy[index], start=starts(arcs.points[chosen]), region_label=arcs.region_label, **fields)


def put(arcs: Arcs, other: Arcs, chosen: np.ndarray) -> Arcs:
    """`Arcs` with the points of the `chosen` ones (an index or mask (n,)) taken from `other`, which has only those."""
    points = arcs.points.copy()
    points[chosen] = other.points
    start = starts(points)
    kept = np.ones(len(arcs), dtype=bool)
    kept[chosen] = False
    xy = np.empty((start[-1], 2))
    xy[np.repeat(kept, points)] = arcs.xy[np.repeat(kept, arcs.points)]
    xy[ranges(start[chosen], other.points)] = other.xy
    return replace(arcs, xy=xy, start=start)


def starts(points: np.ndarray) -> np.ndarray:
    """(n + 1,) where each of n arcs begins among all points, and where the last ends, from their numbers of points (n,)."""
    return np.concatenate([[0], np.cumsum(points)]).astype(np.int64)


def ranges(begin: np.ndarray, count: np.ndarray) -> np.ndarray:
    """begin[0], begin[0] + 1, … (count[0] numbers), begin[1], …; `begin` and `count` are (n,), the result (sum of count,)."""
    return np.repeat(begin - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
