"""Arcs rounded into smooth curves, each once, so that neighbours keep one border and no two meet outside their nodes.

Each blunt corner of an arc becomes a piece of a parabola from the middle of one leg to the middle of the next: the limit of
cutting corners again and again, a quadratic B-spline. It leaves both legs along their own direction, so the curve runs on
without a kink; a corner is cut by no more than is allowed, so long legs stay straight up to it. Nodes, and the direction in
which arcs leave them, stay. Coordinates stay multiples of `GRAIN_PX`, so the search for arcs that meet stays exact.

References
----------
Chaikin (1974), "An algorithm for high-speed curve generation", doi 10.1016/0146-664X(74)90028-8; Riesenfeld (1975), "On
Chaikin's algorithm", doi 10.1016/0146-664X(75)90017-9 (its limit is the quadratic B-spline).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tint.layers.arcs import Arcs, picked, ranges, starts
from tint.layers.simplify import kept_apart

SHARPEST_DEG = 60.0  # corners that turn more are meant as corners: those of rectangles, single pixels and line ends
# Chords of a curve are as few as either allows: finer turns are not seen, finer steps are far below a spot.
CHORD_DEG = 6.0
CHORD_PX = 0.01
UNEVEN = 3.0  # with even arms curves would be short, with arms as long as their legs bends would be bunched at one end
GRAIN_PX = 1 / 256  # far below a spot; products of coordinates up to 2¹⁷ px are exact in double precision


def smoothed(arcs: Arcs, cut_px: float) -> Arcs:
    """`Arcs` with their blunt corners rounded, cut by `cut_px` at most; they still meet at nodes only.

    `arcs` must meet at nodes only; those that would meet once rounded are taken back to what they were. Cut by less than
    a quarter of a pixel, no curve can jump over an island without touching it.
    """
    return kept_apart(
        len(arcs), [lambda chosen: _rounded(picked(arcs, chosen), cut_px), lambda chosen: picked(arcs, chosen)]
    )


def _rounded(arcs: Arcs, cut_px: float) -> Arcs:
    if not len(arcs):
        return arcs
    before, after, turn_deg = _arms(arcs)
    # At half way the parabola is a quarter of the sum of its two arms away from the corner, and so much from its chord.
    away = np.hypot(*(before + after).T) / 4
    share = np.minimum(1.0, cut_px / np.where(away > 0, away, 1))
    chords = np.ceil(np.minimum(turn_deg / CHORD_DEG, np.sqrt(share * away / CHORD_PX))).astype(np.int64)
    corner = np.repeat(np.arange(len(arcs.xy)), chords + 1)
    along = (ranges(np.zeros(len(chords), dtype=np.int64), chords + 1) / np.maximum(chords, 1)[corner])[:, None]
    xy = share[corner, None] * ((1 - along) ** 2 * before[corner] + along**2 * after[corner])
    xy = arcs.xy[corner] + np.round(xy / GRAIN_PX) * GRAIN_PX
    arc = np.repeat(np.arange(len(arcs)), arcs.points)[corner]
    start = starts(np.bincount(arc, minlength=len(arcs)))
    closed = arcs.closed
    xy[start[1:][closed] - 1] = xy[start[:-1][closed]]  # the corner where a closed arc begins is rounded at its start
    keep = np.ones(len(xy), dtype=bool)
    keep[1:] = (xy[1:] != xy[:-1]).any(axis=1) | (arc[1:] != arc[:-1])
    return replace(arcs, xy=xy[keep], start=starts(np.bincount(arc[keep], minlength=len(arcs))))


def _arms(arcs: Arcs) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """From each point half way (or less) to the one before and after it (n, 2), and the turn there [°].

    All are zero at points that stay. An arm is at most `UNEVEN` times the other, else one end of the curve would be a kink.
    """
    before, after = _legs(arcs)
    one, other = np.hypot(*before.T) / 2, np.hypot(*after.T) / 2
    product = one * other
    cosine = -(before * after).sum(axis=1) / 4 / np.where(product > 0, product, 1)
    turn_deg = np.where(product > 0, np.degrees(np.arccos(np.clip(cosine, -1, 1))), 0)
    turn_deg[turn_deg > SHARPEST_DEG] = 0
    short = np.where(turn_deg > 0, UNEVEN * np.minimum(one, other), 0)
    for arm, length in ((before, one), (after, other)):
        arm *= (np.minimum(short, length) / np.where(length > 0, length, 1) / 2)[:, None]
    return before, after, turn_deg


def _legs(arcs: Arcs) -> tuple[np.ndarray, np.ndarray]:
    """From each point to the one before and after it (n, 2); zero at ends that stay."""
    step = np.diff(arcs.xy, axis=0, append=arcs.xy[-1:])
    first, last = arcs.start[:-1], arcs.start[1:] - 1
    before, after = np.zeros_like(step), step
    before[1:] = -step[:-1]
    before[first] = after[last] = 0
    closed = arcs.closed
    before[first[closed]] = -step[
        last[closed] - 1
    ]  # a closed arc repeats its first point, which is rounded at its start
    before[last[closed]] = 0
    return before, after
