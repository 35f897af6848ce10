"""Arcs simplified, each once, so that no two meet outside their nodes.

Coordinates stay multiples of one half (of 1/256 once smoothed), so every test for a crossing is exact in double precision.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from tint.layers.arcs import Arcs, picked, put, ranges, starts

# Stairs are straightened by up to half a pixel, then arcs are simplified by up to two thirds of SIMPLIFY_PX: with both a
# border stays within 0.8 px of the pixels' own. More would move borders visibly, less would keep needless points.
SIMPLIFY_PX = 0.45
DOUGLAS_PEUCKER_SHARE = 2 / 3
ARCS_AT_ONCE = 200_000  # how many arcs are simplified in one call; bounds memory on noisy maps
PAIRS_AT_ONCE = 500_000  # how many pairs of segments are tested in one call; likewise
_CELL_SHIFT = np.array([0.3, 0.15])  # [px] neither these nor their sum or difference is a multiple of 1/256
_ROUNDING_PX = 1e-6  # a segment this close to a cell is entered there too


def simplified(arcs: Arcs, simplify_px: float = SIMPLIFY_PX) -> Arcs:
    """`Arcs` with fewer points that still meet at nodes only; pixel borders as they are where `simplify_px` is 0.

    Arcs that would meet or touch outside nodes are taken back together: first to half the tolerance, then to their
    own pixel border. Pixel borders never meet, so this ends. No arc can jump over an island without touching it, as
    it moves by less than a pixel.
    """
    if simplify_px <= 0:
        return arcs
    smooth, tolerance_px = _without_stairs(arcs), simplify_px * DOUGLAS_PEUCKER_SHARE
    return kept_apart(
        len(arcs),
        [
            lambda chosen: _reduced(smooth, chosen, tolerance_px),
            lambda chosen: _reduced(smooth, chosen, tolerance_px / 2),
            lambda chosen: picked(arcs, chosen),
        ],
    )


def kept_apart(count: int, ways: Sequence[Callable[[np.ndarray], Arcs]]) -> Arcs:
    """`count` arcs that meet at their nodes only.

    Parameters
    ----------
    ways : functions of numbers (n,) of arcs to `Arcs` of those alone, boldest first; arcs that would meet are made anew by
        the next one. By the last way no arcs meet.
    """
    changed = np.arange(count)
    result, level = ways[0](changed), np.zeros(count, dtype=np.int8)
    cells = None
    while True:
        cells = _cells(result, changed, cells)
        clash = _clashing(result, cells, None if len(changed) == count else changed)
        if not len(clash):
            return result
        changed = clash[level[clash] < len(ways) - 1]
        level[changed] += 1
        for number, way in enumerate(ways[1:], 1):
            some = changed[level[changed] == number]
            result = put(result, way(some), some)


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
    tread = is_cut[cut + 1] & (
        turn[np.minimum(cut + 1, len(xy) - 1)] == -turn[cut]
    )  # both its corners are of one flight
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
    return replace(arcs, xy=result[keep], start=starts(np.bincount(arc[keep], minlength=len(arcs))))


def _begun_between_corners(arcs: Arcs) -> Arcs:
    """`Arcs` whose closed ones begin in the middle of a run, so that no corner is kept only because it is the first.

    Runs of one or two pixels are not divided: their halves would look like steps and their corners would be lost.
    """
    run = arcs.xy[arcs.start[:-1] + 1] - arcs.xy[arcs.start[:-1]]
    closed = np.flatnonzero(arcs.closed & (np.abs(run).sum(axis=1) > 2))
    middle = arcs.xy[arcs.start[closed]] + run[closed] / 2
    points = arcs.points.copy()
    points[closed] += 1
    start = starts(points)
    xy = np.empty((start[-1], 2))
    is_last = np.zeros(start[-1], dtype=bool)
    is_last[start[closed + 1] - 1] = True
    xy[~is_last] = arcs.xy
    xy[start[closed]] = xy[is_last] = middle
    return replace(arcs, xy=xy, start=start)


def _reduced(arcs: Arcs, chosen: np.ndarray, tolerance_px: float) -> Arcs:
    """The `chosen` arcs after Douglas and Peucker, their own ends kept."""
    import shapely

    some = picked(arcs, chosen)
    parts, counts = [], []
    for begin in range(0, len(some), ARCS_AT_ONCE):
        start = some.start[begin : begin + ARCS_AT_ONCE + 1]
        index = np.repeat(np.arange(len(start) - 1), np.diff(start))
        lines = shapely.linestrings(some.xy[start[0] : start[-1]], indices=index)
        xy, index = shapely.get_coordinates(
            shapely.simplify(lines, tolerance_px, preserve_topology=False), return_index=True
        )
        parts.append(xy)
        counts.append(np.bincount(index, minlength=len(start) - 1))
    xy = np.concatenate([np.empty((0, 2)), *parts])
    return _closed_without_extra(replace(some, xy=xy, start=starts(np.concatenate([np.empty(0, int), *counts]))))


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
    return replace(arcs, xy=xy[keep], start=starts(points))


def _cells(arcs: Arcs, chosen: np.ndarray, cells: tuple[np.ndarray, ...] | None) -> tuple[np.ndarray, ...]:
    """Cells one pixel wide that the segments pass: cell, arc, and number of the segment within its arc.

    The entries of the `chosen` arcs replace those in `cells`, the others stay.
    """
    count = arcs.points[chosen] - 1
    arc = np.repeat(chosen, count)
    step = ranges(np.zeros(len(chosen), dtype=np.int64), count)
    at = arcs.start[arc] + step
    # Lattice points and half points lie inside cells, not on their edges, so a unit step is in two cells only.
    one, two = arcs.xy[at] + _CELL_SHIFT, arcs.xy[at + 1] + _CELL_SHIFT
    upright = np.abs(two[:, 1] - one[:, 1]) > np.abs(two[:, 0] - one[:, 0])
    one[upright], two[upright] = one[upright, ::-1], two[upright, ::-1]
    swap = one[:, 0] > two[:, 0]
    one[swap], two[swap] = two[swap], one[swap]
    begin, end = np.floor(one[:, 0]).astype(np.int64), np.floor(two[:, 0]).astype(np.int64)
    count = end - begin + 1
    along = ranges(begin, count)
    segment = np.repeat(np.arange(len(at)), count)
    run = two[:, 0] - one[:, 0]  # 0 only where a closed arc has shrunk to a point
    slope = (two[:, 1] - one[:, 1]) / np.where(run > 0, run, 1)
    low, high = one[segment], two[segment, 0]
    ends = [low[:, 1] + slope[segment] * (np.clip(along + shift, low[:, 0], high) - low[:, 0]) for shift in (0, 1)]
    lower = np.floor(np.minimum(*ends) - _ROUNDING_PX).astype(np.int64)
    upper = np.floor(np.maximum(*ends) + _ROUNDING_PX).astype(np.int64)
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

    A segment is given by its first point. Exact: coordinates are multiples of 1/256 below 2¹⁷.
    """
    a0, a1, b0, b1 = xy[one], xy[one + 1], xy[other], xy[other + 1]
    meets = (_turn(a0, a1, b0) * _turn(a0, a1, b1) <= 0) & (_turn(b0, b1, a0) * _turn(b0, b1, a1) <= 0)
    meets &= (
        np.maximum(np.minimum(a0, a1), np.minimum(b0, b1)) <= np.minimum(np.maximum(a0, a1), np.maximum(b0, b1))
    ).all(1)
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
