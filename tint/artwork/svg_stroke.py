"""Strokes as closed outlines: width, caps, joins and dashes.

A line is laid out as chords. The outline runs along one side of them and back along the other; on the inner side of a
bend that is too tight for the width it goes through the corner itself, and where that bend is part of a curve the
wedge that the width sweeps there is a ring of its own. So each chord's quad and each wedge is run round the same way,
and by the non-zero rule the outlines are exactly their union: tight bends leave no false holes.
Stroking happens in user units; the transform follows, as SVG demands (an uneven one makes a stroke uneven).

References
----------
Scalable Vector Graphics (SVG) 2, W3C Candidate Recommendation (2018), section 13.5, "Stroke properties".
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tint.artwork.svg_path import MAX_POINTS, Subpath, piece_points

MAX_DASHES = 100_000  # of one line; more would not be seen as dashes but run for minutes
DASH_ROUNDING = 1e-12  # of the lengths that dashes are added up from
REVERSAL_RAD = 3.1  # a turn from here on is a needle or a way back: its sides meet 48 half widths off, or nowhere
SMOOTH_RAD = 1e-3  # pieces that meet within this angle are one curve: a twentieth of a degree, typing precision
CHORD_SHARE = 0.5  # of the tolerance for the line itself: the outer side of a bend strays further than the line


@dataclass(frozen=True)
class Pen:
    """How a line is drawn.

    Parameters
    ----------
    width : in user units, above 0
    cap : "butt", "round" or "square"
    join : "miter", "round" or "bevel"
    miter_limit : longest miter over the width before a join is cut off, at least 1
    dashes : lengths of dash, gap, dash, ... [user units], an even count; empty for a solid line
    dash_offset : where in the dashes the line starts [user units]
    """

    width: float
    cap: str = "butt"
    join: str = "miter"
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0


@dataclass(frozen=True, eq=False)
class _Line:
    """Chords of a line: points (n,), the directions (n,) it arrives and leaves in, and where two pieces join (n,)."""

    points: np.ndarray
    arrive: np.ndarray
    leave: np.ndarray
    corner: np.ndarray
    closed: bool


def stroke_rings(subpaths: Sequence[Subpath], pen: Pen, mm_per_unit: float, tolerance_mm: float) -> list[np.ndarray]:
    """Outlines of a stroke, each (n,) complex [user units]; together filled by the non-zero rule.

    Parameters
    ----------
    mm_per_unit : largest stretch of the transform that follows [mm per user unit]
    tolerance_mm : how far chords may stray from the outline [mm]

    Raises
    ------
    ValueError
        More than `MAX_DASHES` dashes, or so wide that its round parts need more than `MAX_POINTS` points.

    Examples
    --------
    >>> line = Subpath(0j, ((10 + 0j,),), False)
    >>> [ring] = stroke_rings([line], Pen(2.0, cap="square"), 1.0, 0.005)
    >>> [float(edge) for edge in (ring.real.min(), ring.real.max(), ring.imag.min(), ring.imag.max())]
    [-1.0, 11.0, -1.0, 1.0]
    """
    tolerance = tolerance_mm / mm_per_unit
    rings: list[np.ndarray] = []
    if not pen.width / 2 > 0:  # so thin that its half is nothing
        return rings
    for subpath in subpaths:
        line = _line(subpath, tolerance * CHORD_SHARE, pen.width / 2)
        if line.corner.sum() * math.pi / _arc_step(pen.width / 2, tolerance) > MAX_POINTS:
            raise ValueError(f"its stroke of width {pen.width:g} needs over {MAX_POINTS:,} points")
        for run in _dashed(line, pen) if pen.dashes else [line]:
            rings.extend(_outlines(run, pen, tolerance))
    return rings


def _line(subpath: Subpath, tolerance: float, half: float) -> _Line:
    points, corner = [np.array([subpath.start])], [np.array([True])]
    tangents: list[tuple[int, complex, int, complex]] = []  # where pieces start and end, and in which directions
    at, count = subpath.start, 1
    for piece in subpath.pieces:
        run = piece_points(at, piece, tolerance)
        run = run[np.append(at, run[:-1]) != run]
        if len(run):
            hull = [at, *piece]
            first = next(point for point in hull if point != at) - at
            last = piece[-1] - next((point for point in reversed(hull) if point != piece[-1]), at)
            tangents.append((count - 1, first / abs(first), count + len(run) - 1, last / abs(last)))
            points.append(run)
            corner.append(np.arange(1, len(run) + 1) == len(run))
            count += len(run)
        at = piece[-1]
    xy, corners = np.concatenate(points), np.concatenate(corner)
    closed = subpath.closed and count > 1
    if closed and xy[-1] == xy[0]:
        xy, corners = xy[:-1], corners[:-1]
    count = len(xy)
    if count == 1:
        return _Line(xy, np.ones(1, complex), np.ones(1, complex), corners, False)
    leave = np.roll(xy, -1) - xy
    if not closed:
        leave[-1] = leave[-2]
    length = np.abs(leave)
    leave /= length
    arrive = np.roll(leave, 1)
    if not closed:
        arrive[0] = leave[0]
    true_leave, true_arrive = leave.copy(), arrive.copy()
    for start, first, end, last in tangents:
        true_leave[start % count], true_arrive[end % count] = first, last
    if not closed:
        arrive[0] = true_arrive[0] = true_leave[0]
        leave[-1] = true_leave[-1] = true_arrive[-1]
    corners &= np.abs(np.angle(true_leave / true_arrive)) > SMOOTH_RAD
    return _turned_to_tangents(_Line(xy, arrive, leave, corners, closed), true_arrive, true_leave, length, half)


def _turned_to_tangents(line: _Line, arrive: np.ndarray, leave: np.ndarray, length: np.ndarray, half: float) -> _Line:
    """The line with caps and joins in its curves' own directions rather than in those of chords.

    Where a curve bends so tightly that the chord's quad would fold over, the turn from tangent to chord gets a corner
    of its own, in the same place.
    """
    tight_end = half * np.abs(np.tan(np.angle(arrive / line.arrive))) * 3 > np.roll(length, 1)
    tight_start = half * np.abs(np.tan(np.angle(leave / line.leave))) * 3 > length
    points, arrives, leaves, corners = [], [], [], []
    for index, point in enumerate(line.points.tolist()):
        stops = [(arrive[index], leave[index], line.corner[index])]
        if tight_end[index]:
            stops.insert(0, (line.arrive[index], arrive[index], False))
        if tight_start[index]:
            stops.append((leave[index], line.leave[index], False))
        for before, after, corner in stops:
            points.append(point)
            arrives.append(before)
            leaves.append(after)
            corners.append(corner)
    return _Line(np.array(points), np.array(arrives), np.array(leaves), np.array(corners), line.closed)


def _dashed(line: _Line, pen: Pen) -> Iterator[_Line]:
    """The dashes of a line; on a closed one a dash over its start stays in one piece."""
    points = np.append(line.points, line.points[0]) if line.closed else line.points
    if len(points) == 1:
        ends = np.cumsum(pen.dashes)
        if np.searchsorted(ends, pen.dash_offset % ends[-1], "right") % 2 == 0:  # a dot in a dash, not in a gap
            yield line
        return
    along = np.append(0.0, np.cumsum(np.abs(np.diff(points))))
    period = sum(pen.dashes)
    if along[-1] * len(pen.dashes) > MAX_DASHES * period:
        raise ValueError(f"it has over {MAX_DASHES:,} dashes")
    offset = pen.dash_offset % period
    rounding = DASH_ROUNDING * (period + along[-1])  # a dash that only touches the line's end would have caps there
    spans: list[tuple[float, float]] = []
    at = -offset
    while at < along[-1]:
        for dash, gap in zip(pen.dashes[::2], pen.dashes[1::2], strict=True):
            start, end = max(at, 0.0), min(at + dash, along[-1])
            if end - start > rounding or (dash == 0 and -rounding <= at < along[-1] - rounding):
                spans.append((start, max(end, start)))
            at += dash + gap
    if line.closed and spans == [(0.0, along[-1])]:
        yield line
        return
    runs = [_cut(line, points, along, start, end) for start, end in spans]
    if line.closed and len(runs) > 1 and spans[0][0] == 0 and spans[-1][1] == along[-1] and spans[-1][1] > spans[-1][0]:
        runs[0] = _joined(runs.pop(), runs[0])
    yield from runs


def _cut(line: _Line, points: np.ndarray, along: np.ndarray, start: float, end: float) -> _Line:
    """Part of a line between two lengths along it."""
    count = len(line.points)
    inner = np.flatnonzero((along > start) & (along < end))
    first = min(int(np.searchsorted(along, start, "right")) - 1, len(along) - 2)
    last = max(int(np.searchsorted(along, end, "left")) - 1, first)
    ends, chords = [], []
    for index, length in ((first, start), (last, end)):
        chord = along[index + 1] - along[index]
        share = (length - along[index]) / chord if chord else 0.0
        ends.append(points[index] + share * (points[index + 1] - points[index]))
        chords.append((points[index + 1] - points[index]) / chord if chord else line.leave[index % count])
    if start == along[first]:
        chords[0] = line.leave[first % count]
    if end == along[last + 1]:
        chords[1] = line.arrive[(last + 1) % count]
    inner_at = inner % count
    if end == start:
        return _Line(np.array(ends[:1]), np.array(chords[:1]), np.array(chords[:1]), np.array([True]), False)
    return _Line(
        np.concatenate([ends[:1], points[inner], ends[1:]]),
        np.concatenate([chords[:1], line.arrive[inner_at], chords[1:]]),
        np.concatenate([chords[:1], line.leave[inner_at], chords[1:]]),
        np.concatenate([[True], line.corner[inner_at], [True]]),
        False,
    )


def _joined(before: _Line, after: _Line) -> _Line:
    return _Line(
        np.concatenate([before.points, after.points[1:]]),
        np.concatenate([before.arrive, after.arrive[1:]]),
        np.concatenate([before.leave[:-1], after.leave]),
        np.concatenate([before.corner, after.corner[1:]]),
        False,
    )


def _outlines(line: _Line, pen: Pen, tolerance: float) -> list[np.ndarray]:
    half = pen.width / 2
    if len(line.points) == 1 and pen.cap == "butt":
        return []
    (one, one_wedges), (other, other_wedges) = _side(line, pen, tolerance, 1), _side(line, pen, tolerance, -1)
    if line.closed:
        rings = [one, other[::-1]]
    else:
        end = _cap(line.points[-1], line.arrive[-1], half, pen.cap, tolerance)
        rings = [[*one, *end, *other[::-1], *_cap(line.points[0], -line.leave[0], half, pen.cap, tolerance)]]
    return [np.array(ring) for ring in (*rings, *one_wedges, *other_wedges)]


def _cap(point: complex, ahead: complex, half: float, cap: str, tolerance: float) -> list[complex]:
    """Points of a cap between the side at +90° of `ahead` and the other."""
    if cap == "butt":
        return []
    if cap == "square":
        return [point + half * ahead * (1 + 1j), point + half * ahead * (1 - 1j)]
    return _arc(point, 1j * half * ahead, -math.pi, tolerance)


def _arc(centre: complex, arm: complex, turn: float, tolerance: float) -> list[complex]:
    count = max(1, math.ceil(abs(turn) / _arc_step(abs(arm), tolerance)))
    return [centre + arm * cmath.exp(1j * turn * index / count) for index in range(count + 1)]


def _arc_step(radius: float, tolerance: float) -> float:
    """Turn of one chord of an arc that stays within the tolerance [rad]."""
    return 2 * math.acos(max(1 - tolerance / radius, 0.0)) or 1e-9  # 0 where rounding hides the tolerance


def _side(line: _Line, pen: Pen, tolerance: float, side: int) -> tuple[list[complex], list[list[complex]]]:
    """Outline points along one side (+1 at +90° of the direction), and the wedges that tight curves sweep there."""
    half = pen.width / 2
    turns = np.angle(line.leave / line.arrive)
    inner = turns * side > 0
    if not line.closed:
        inner[[0, -1]] = False
        turns[[0, -1]] = 0.0
    reversal = np.abs(turns) >= REVERSAL_RAD
    trim = np.where(inner, np.where(reversal, np.inf, half * np.tan(np.minimum(np.abs(turns), REVERSAL_RAD) / 2)), 0.0)
    length = np.abs(np.roll(line.points, -1) - line.points)
    fits = (trim + np.roll(trim, -1) <= length) | ((trim == 0) & (np.roll(trim, -1) == 0))
    if not line.closed:
        fits[-1] = True
    fits &= np.roll(fits, 1)
    found: list[complex] = []
    wedges: list[list[complex]] = []
    middle = side * 1j * half * line.arrive * np.exp(0.5j * turns)
    for index, (point, turn) in enumerate(zip(line.points.tolist(), turns.tolist(), strict=True)):
        tip = 1 / math.cos(turn / 2) if abs(turn) < REVERSAL_RAD else math.inf
        if inner[index] and not fits[index]:
            arms = side * 1j * half * np.array([line.arrive[index], line.leave[index]])
            found += [point + arms[0], point, point + arms[1]]
            if not line.corner[index]:
                wedge = [point, *_arc(point, arms[0], turn, tolerance)]
                wedges.append(wedge[::-1] if turn > 0 else wedge)
        elif inner[index] or half * (tip - 1) <= tolerance * CHORD_SHARE:
            found.append(point + middle[index] * tip)
        elif not line.corner[index] or pen.join == "round":
            found += _arc(point, side * 1j * half * line.arrive[index], turn, tolerance)
        elif pen.join == "miter" and tip <= pen.miter_limit:
            found.append(point + middle[index] * tip)
        else:
            found += [point + side * 1j * half * line.arrive[index], point + side * 1j * half * line.leave[index]]
    return found, wedges
