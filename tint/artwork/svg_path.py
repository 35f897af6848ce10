"""SVG path data and basic shapes as subpaths of lines and Bézier curves, and these as points close enough together.

Coordinates are complex numbers x + iy in user units. Arcs become cubic curves of at most 30°, which stay within
4e-7 of the radius of the true arc.
"""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tint.artwork.svg_values import NUMBER, length, numbers

MAX_POINTS = 500_000  # of a whole drawing; rich signs stay below 100,000, and this many take some ten seconds
MAX_ARC_STEP_DEG = (
    30.0  # error of a cubic grows with the sixth power of the step: 2.7e-4 of the radius at 90°, 4e-7 here
)
# Half a chord over the radius, below which an arc is its chord. It bulges by half of this times half the chord; with a centre
# farther away, rounding would bend it by more
MIN_REACH = 1e-8
_TOKEN = re.compile(rf"\s*,?\s*([MmZzLlHhVvCcSsQqTtAa]|{NUMBER})")
_FLAG = re.compile(r"\s*,?\s*([01])")
_COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


@dataclass(frozen=True)
class Subpath:
    """One run of the pen.

    Parameters
    ----------
    start : first point
    pieces : each a tuple of the points after the current one: 1 a line, 2 a quadratic, 3 a cubic curve
    closed : whether the pen returns to the start by a straight line and joins there
    """

    start: complex
    pieces: tuple[tuple[complex, ...], ...]
    closed: bool


def path_subpaths(data: str) -> list[Subpath]:
    """Subpaths of path data, every command of SVG 2.

    Raises
    ------
    ValueError
        Data that breaks off or cannot be read, with what was found there.

    References
    ----------
    Scalable Vector Graphics (SVG) 2, W3C Candidate Recommendation (2018), section 9.3, "Path data".
    """
    pen = _Pen()
    at, end, command = 0, len(data.rstrip()), ""
    while at < end:
        match = _TOKEN.match(data, at, end)
        if not match:
            raise ValueError(f"path data cannot be read at {_near(data, at)}")
        token = match.group(1)
        if token.isalpha():
            command, at = token, match.end()
            if not pen.started and command not in "Mm":
                raise ValueError(f"path data starts with {command!r}, not with M")
        elif command in ("", "Z", "z"):
            raise ValueError(f"path data has a number without a command at {_near(data, at)}")
        values, at = _arguments(data, at, end, command)
        pen.do(command, values)
        if command in "Mm":  # further pairs of numbers are lines
            command = "L" if command == "M" else "l"
    return pen.finish()


def _arguments(data: str, at: int, end: int, command: str) -> tuple[list[float], int]:
    values: list[float] = []
    for index in range(_COUNTS[command.upper()]):
        pattern = _FLAG if command in "Aa" and index in (3, 4) else _TOKEN
        match = pattern.match(data, at, end)
        if not match or match.group(1).isalpha():
            raise ValueError(f"path data breaks off in {command!r} at {_near(data, at)}")
        value = float(match.group(1))
        if not math.isfinite(value):
            raise ValueError(f"path data has a number too large at {_near(data, at)}")
        values.append(value)
        at = match.end()
    return values, at


def _near(data: str, at: int) -> str:
    found = " ".join(data[at : at + 24].split())
    return repr(found) if found else "its end"


class _Pen:
    """Where the pen is while path data is read."""

    def __init__(self) -> None:
        self.done: list[Subpath] = []
        self.started = False
        self.count = 0
        self.start = self.point = 0j
        self.pieces: list[tuple[complex, ...]] | None = None
        self.last_cubic: complex | None = None  # control points that S and T mirror
        self.last_quadratic: complex | None = None

    def do(self, command: str, values: list[float]) -> None:
        kind = command.upper()
        base = self.point if command.islower() else 0j
        cubic = quadratic = None
        if kind == "Z":
            self._end(closed=True)
            self.point = self.start
        elif kind == "M":
            self._end(closed=False)
            self.start = self.point = base + complex(*values)
            self.started, self.pieces = True, []
        elif kind in "LHV":
            x, y = (values[0] + base.real if kind == "H" else self.point.real), self.point.imag
            if kind == "L":
                x, y = base.real + values[0], base.imag + values[1]
            elif kind == "V":
                y = values[0] + base.imag
            self._draw(complex(x, y))
        elif kind in "CSQT":
            points = [base + complex(x, y) for x, y in zip(values[::2], values[1::2], strict=True)]
            if kind == "S":
                points.insert(0, 2 * self.point - self.last_cubic if self.last_cubic is not None else self.point)
            elif kind == "T":
                points.insert(
                    0, 2 * self.point - self.last_quadratic if self.last_quadratic is not None else self.point
                )
            if kind in "CS":
                cubic = points[1]
            else:
                quadratic = points[0]
            self._draw(*points)
        else:
            end = base + complex(values[5], values[6])
            for curve in arc_curves(self.point, values[0], values[1], values[2], bool(values[3]), bool(values[4]), end):
                self._draw(*curve)
        self.last_cubic, self.last_quadratic = cubic, quadratic

    def _draw(self, *points: complex) -> None:
        if self.pieces is None:  # after Z a new run starts where the last one did
            self.start, self.pieces = self.point, []
        self.pieces.append(points)
        self.count += 1
        if self.count > MAX_POINTS:
            raise ValueError(f"it has over {MAX_POINTS:,} points")
        self.point = points[-1]

    def _end(self, closed: bool) -> None:
        if self.pieces or (closed and self.pieces is not None):
            self.done.append(Subpath(self.start, tuple(self.pieces), closed))
        self.pieces = None

    def finish(self) -> list[Subpath]:
        self._end(closed=False)
        return self.done


def arc_curves(
    start: complex, rx: float, ry: float, tilt_deg: float, large: bool, sweep: bool, end: complex
) -> list[tuple[complex, ...]]:
    """Cubic curves (or one line) of an elliptical arc between two points.

    Raises
    ------
    ValueError
        The long way round an ellipse so large that its points would be rounding.

    References
    ----------
    Scalable Vector Graphics (SVG) 2, W3C Candidate Recommendation (2018), appendix B.2, equations (5.1) to (6.6).
    """
    rx, ry = abs(rx), abs(ry)
    if start == end:
        return []
    if rx == 0 or ry == 0:
        return [(end,)]
    tilt = cmath.exp(1j * math.radians(tilt_deg))
    half = (start - end) / 2 / tilt  # (5.1)
    x, y = half.real / rx, half.imag / ry  # on the unit circle from here on
    reach = math.hypot(x, y)
    if reach > 1:  # radii too small: grown until they just reach (6.2), (6.3)
        rx, ry, x, y = rx * reach, ry * reach, x / reach, y / reach
    elif reach < MIN_REACH:
        if large:
            raise ValueError(f"an arc's radius {max(rx, ry):g} is too large")
        return [(end,)]
    height = math.sqrt(max(1 / (x * x + y * y) - 1, 0.0))  # (5.2)
    centre = complex(y, -x) * (-height if large == sweep else height)
    first = complex(x, y) - centre
    angle = cmath.phase((complex(-x, -y) - centre) / first)  # (5.6)
    if sweep and angle < 0:
        angle += 2 * math.pi
    elif not sweep and angle > 0:
        angle -= 2 * math.pi
    middle = (start + end) / 2

    def placed(point: complex) -> complex:
        point += centre
        return middle + tilt * complex(point.real * rx, point.imag * ry)

    return _unit_arc(first, angle, placed, end)


def _unit_arc(first: complex, angle: float, placed: Callable[[complex], complex], end: complex) -> list[tuple[complex, ...]]:
    count = max(1, math.ceil(abs(math.degrees(angle)) / MAX_ARC_STEP_DEG - 1e-9))
    step = angle / count
    arm = 4 / 3 * math.tan(step / 4)  # control arm of a circular arc on the unit circle
    curves: list[tuple[complex, ...]] = []
    for index in range(count):
        a = first * cmath.exp(1j * step * index)
        b = first * cmath.exp(1j * step * (index + 1))
        last = end if index == count - 1 else placed(b)
        curves.append((placed(a * (1 + 1j * arm)), placed(b * (1 - 1j * arm)), last))
    return curves


# --- basic shapes ---------------------------------------------------------------------------------------------


def ellipse_subpath(centre: complex, rx: float, ry: float) -> Subpath:
    """Ellipse from its rightmost point, clockwise on the screen."""

    def placed(point: complex) -> complex:
        return centre + complex(point.real * rx, point.imag * ry)

    return Subpath(centre + rx, tuple(_unit_arc(1 + 0j, 2 * math.pi, placed, centre + rx)), True)


def rect_subpath(x: float, y: float, width: float, height: float, rx: float, ry: float) -> Subpath:
    """Rectangle, clockwise on the screen from after its top left corner; radii at most half the sides."""
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    right, low = x + width, y + height
    if rx == 0 or ry == 0:
        corners = (complex(right, y), complex(right, low), complex(x, low))
        return Subpath(complex(x, y), tuple((corner,) for corner in corners), True)
    pieces: list[tuple[complex, ...]] = []
    at = complex(x + rx, y)
    for side, corner in (
        (complex(right - rx, y), complex(right, y + ry)),
        (complex(right, low - ry), complex(right - rx, low)),
        (complex(x + rx, low), complex(x, low - ry)),
        (complex(x, y + ry), at),
    ):
        pieces.append((side,))
        pieces.extend(arc_curves(side, rx, ry, 0.0, False, True, corner))
    return Subpath(at, tuple(pieces), True)


def points_subpath(text: str, closed: bool) -> list[Subpath]:
    """Subpath of a `points` attribute; none for fewer than two points.

    Raises
    ------
    ValueError
        An odd count of numbers, or something else than numbers.
    """
    found = numbers(text)
    if len(found) % 2:
        raise ValueError(f"{len(found)} numbers in points; each point needs two")
    points = [complex(x, y) for x, y in zip(found[::2], found[1::2], strict=True)]
    return [Subpath(points[0], tuple((point,) for point in points[1:]), closed)] if len(points) > 1 else []


def element_subpaths(tag: str, get: Callable[[str], str | None], viewport: tuple[float, float]) -> list[Subpath]:
    """Subpaths of a path or basic shape; empty where a size of 0 switches it off.

    Parameters
    ----------
    get : function of an attribute's name to its text or None
    viewport : width and height that percentages refer to [user units]

    Raises
    ------
    ValueError
        A value that cannot be read.
    """
    width, height = viewport
    both = math.hypot(width, height) / math.sqrt(2)

    def value(name: str, of: float, missing: float = 0.0) -> float:
        text = get(name)
        return missing if text is None else length(text, of)

    def size(name: str, of: float, missing: float = 0.0) -> float:
        found = value(name, of, missing)
        if found < 0:
            raise ValueError(f"{name} {found:g} is negative")
        return found

    def radius(name: str, of: float) -> float | None:
        text = get(name)
        return None if text is None or text.strip().lower() == "auto" else size(name, of)

    if tag == "path":
        text = get("d")
        return path_subpaths(text) if text is not None and text.strip().lower() != "none" else []
    if tag in ("polyline", "polygon"):
        return points_subpath(get("points") or "", tag == "polygon")
    if tag == "line":
        start = complex(value("x1", width), value("y1", height))
        return [Subpath(start, ((complex(value("x2", width), value("y2", height)),),), False)]
    if tag == "circle":
        rx = ry = size("r", both)
    else:
        across, up = radius("rx", width), radius("ry", height)
        rx, ry = (up if across is None else across) or 0.0, (across if up is None else up) or 0.0
    if tag == "rect":
        w, h = size("width", width), size("height", height)
        return [rect_subpath(value("x", width), value("y", height), w, h, rx, ry)] if w and h else []
    centre = complex(value("cx", width), value("cy", height))
    return [ellipse_subpath(centre, rx, ry)] if rx and ry else []


# --- curves to points -----------------------------------------------------------------------------------------


def piece_steps(points: Sequence[complex], tolerance: float) -> int:
    """Equal steps of a curve's parameter that keep its chords within `tolerance` of it.

    Notes
    ----------
    Wang's bound n = √(d(d−1)/8 · max|P[i] − 2P[i+1] + P[i+2]| / tolerance) for degree d (from memory): a chord of
    a curve with second derivative at most M over a step h of the parameter is off by at most M h²/8, and the second
    derivative of a Bézier curve is at most d(d−1) times its largest second difference.
    """
    if len(points) == 2:
        return 1
    degree = len(points) - 1
    bend = max(abs(points[i] - 2 * points[i + 1] + points[i + 2]) for i in range(degree - 1))
    return max(1, math.ceil(math.sqrt(degree * (degree - 1) / 8 * bend / tolerance)))


def piece_points(at: complex, piece: Sequence[complex], tolerance: float) -> np.ndarray:
    """(n,) complex points of one piece after its start `at`, its chords within `tolerance` of it."""
    steps = piece_steps((at, *piece), tolerance)
    if steps == 1:
        return np.array([piece[-1]])
    t = np.arange(1, steps) / steps
    u = 1 - t
    if len(piece) == 2:
        inner = u * u * at + 2 * u * t * piece[0] + t * t * piece[1]
    else:
        inner = u**3 * at + 3 * u * u * t * piece[0] + 3 * u * t * t * piece[1] + t**3 * piece[2]
    return np.append(inner, piece[-1])


def flat_points(subpath: Subpath, tolerance: float) -> np.ndarray:
    """(n,) complex points of a subpath, its chords within `tolerance` of the curves; the first is not repeated."""
    runs = [np.array([subpath.start])]
    at = subpath.start
    for piece in subpath.pieces:
        runs.append(piece_points(at, piece, tolerance))
        at = piece[-1]
    return np.concatenate(runs)


def path_length(subpath: Subpath, tolerance: float) -> float:
    """Length of a subpath, its closing line included [user units]."""
    points = flat_points(subpath, tolerance)
    closing = abs(points[0] - points[-1]) if subpath.closed else 0.0
    return float(np.abs(np.diff(points)).sum() + closing)


def count_points(subpaths: Sequence[Subpath], tolerance: float) -> int:
    """How many points `flat_points` would give, before any is made."""
    total = 0
    for subpath in subpaths:
        at = subpath.start
        for piece in subpath.pieces:
            total += piece_steps((at, *piece), tolerance)
            at = piece[-1]
    return total
