"""Values written in SVG and CSS: numbers, lengths, colours, transforms, view boxes. All strict.

A value that cannot be read raises `ValueError` with what was found; the reader of the drawing adds the place. Browsers
drop such values silently; on metal a dropped value is a spoilt piece.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import cast

MM_PER_INCH = 25.4
PX_PER_INCH = 96.0  # CSS Values and Units Module Level 4, section 6.2: 1in = 96px
MM_PER_PX = MM_PER_INCH / PX_PER_INCH
PX_PER_UNIT = {  # CSS Values and Units Module Level 4, section 6.2
    "": 1.0,
    "px": 1.0,
    "in": PX_PER_INCH,
    "cm": PX_PER_INCH / 2.54,
    "mm": PX_PER_INCH / MM_PER_INCH,
    "q": PX_PER_INCH / MM_PER_INCH / 4,
    "pt": PX_PER_INCH / 72,
    "pc": PX_PER_INCH / 6,
}
MAX_NUMBERS = 1_000_000  # in one list; two for each point a drawing may have
DEGREES_PER_UNIT = {"": 1.0, "deg": 1.0, "grad": 0.9, "rad": 180 / math.pi, "turn": 360.0}
NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_LENGTH = re.compile(rf"\s*({NUMBER})\s*([a-zA-Z%]*)\s*")
_NUMBER = re.compile(NUMBER)
_BETWEEN = re.compile(r"\s*,?\s*")
_CALL = re.compile(r"\s*([a-zA-Z0-9]+)\s*\(([^()]*)\)\s*,?")

Matrix = tuple[float, float, float, float, float, float]
IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def number(text: str) -> float:
    """A finite number."""
    if not _NUMBER.fullmatch(text.strip()):
        raise ValueError(f"{_shown(text)} is not a number")
    return _finite(text)


def numbers(text: str) -> list[float]:
    """Numbers parted by blanks or single commas."""
    found: list[float] = []
    at = len(text) - len(text.lstrip())
    end = len(text.rstrip())
    while at < end:
        match = _NUMBER.match(text, at, end)
        if not match:
            raise ValueError(f"{_shown(text[at:end])} where a number belongs")
        found.append(_finite(match.group()))
        if len(found) > MAX_NUMBERS:
            raise ValueError(f"a list of over {MAX_NUMBERS:,} numbers")
        at = match.end()
        gap = _BETWEEN.match(text, at, end)
        if gap and gap.end() == end and "," in gap.group():
            raise ValueError(f"a comma at the end of {_shown(text)}")
        at = gap.end() if gap else at
    return found


def length(text: str, hundred_pct: float) -> float:
    """Length in user units [px]; `hundred_pct` is what 100 % stands for."""
    match = _LENGTH.fullmatch(text)
    if not match:
        raise ValueError(f"{_shown(text)} is not a length")
    value, unit = _finite(match.group(1)), match.group(2).lower()
    if unit == "%":
        return value / 100 * hundred_pct
    if unit not in PX_PER_UNIT:
        raise ValueError(f"{_shown(text)} has a unit tint does not read; use mm or px")
    return value * PX_PER_UNIT[unit]


def physical_px(text: str | None) -> float | None:
    """Size a file states for itself [px]; None without one, or where it depends on a page (%, em and the like)."""
    if text is None or text.strip().lower() in ("", "auto"):
        return None
    match = _LENGTH.fullmatch(text)
    if not match:
        raise ValueError(f"{_shown(text)} is not a length")
    unit = match.group(2).lower()
    return _finite(match.group(1)) * PX_PER_UNIT[unit] if unit in PX_PER_UNIT else None


def part(text: str) -> float:
    """An opacity or offset, 0..1, from a number or a percentage."""
    text = text.strip()
    value = number(text[:-1]) / 100 if text.endswith("%") else number(text)
    return min(max(value, 0.0), 1.0)


def colour(text: str, current: str) -> tuple[tuple[int, int, int], float]:
    """sRGB [0..255] and alpha [0..1] of a CSS colour; `current` is what currentColor stands for."""
    import tinycss2.color4

    plain = re.sub(r"\s*icc-color\([^)]*\)\s*$", "", text.strip())
    found = tinycss2.color4.parse_color(plain)
    if found == "currentcolor":
        if current.strip().lower() == "currentcolor":
            return (0, 0, 0), 1.0
        return colour(current, "black")
    if found is None:
        raise ValueError(f"{_shown(text)} is not a colour")
    if found.space not in ("srgb", "hsl", "hwb"):
        raise ValueError(f"{_shown(text)} is not an sRGB colour")
    found = found.to("srgb")
    if any(value is None for value in found.coordinates) or found.alpha is None:
        raise ValueError(f"{_shown(text)} leaves a part open")
    red, green, blue = (round(min(max(value, 0.0), 1.0) * 255 + 1e-9) for value in found.coordinates)
    return (red, green, blue), float(found.alpha)


def times(first: Matrix, second: Matrix) -> Matrix:
    """Matrix that applies `second`, then `first` (SVG order: outer times inner)."""
    a, b, c, d, e, f = first
    p, q, r, s, t, u = second
    return (a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, a * t + c * u + e, b * t + d * u + f)


def stretch(matrix: Matrix) -> float:
    """Largest factor by which a matrix lengthens a line (its largest singular value)."""
    a, b, c, d, _, _ = matrix
    half_sum = (a * a + b * b + c * c + d * d) / 2
    determinant = a * d - b * c
    return math.sqrt(half_sum + math.sqrt(max(half_sum * half_sum - determinant * determinant, 0.0)))


def transform(text: str) -> Matrix:
    """Matrix of a transform attribute or CSS transform property."""
    matrix = IDENTITY
    if text.strip().lower() in ("", "none"):
        return matrix
    at = 0
    while at < len(text.rstrip()):
        match = _CALL.match(text, at)
        if not match:
            raise ValueError(f"transform {_shown(text[at:])} cannot be read")
        name, inside = match.group(1).lower(), match.group(2)
        if name not in _TRANSFORMS:
            raise ValueError(f"transform {match.group(1)} is not one tint reads")
        arguments = [item for item in re.split(r"\s*,\s*|\s+", inside.strip()) if item]
        counts, make = _TRANSFORMS[name]
        if len(arguments) not in counts:
            raise ValueError(f"transform {match.group().strip()} has {len(arguments)} numbers")
        matrix = times(matrix, make(arguments))
        at = match.end()
    return matrix


def _px(text: str) -> float:
    if text.endswith("%"):
        raise ValueError(f"{_shown(text)} in a transform depends on the box; write a length")
    return length(text, 0.0)


def _degrees(text: str) -> float:
    match = _LENGTH.fullmatch(text)
    if not match or match.group(2).lower() not in DEGREES_PER_UNIT:
        raise ValueError(f"{_shown(text)} is not an angle")
    return _finite(match.group(1)) * DEGREES_PER_UNIT[match.group(2).lower()]


def _rotated(arguments: list[str]) -> Matrix:
    angle = math.radians(_degrees(arguments[0]))
    cos, sin = math.cos(angle), math.sin(angle)
    x, y = (_px(arguments[1]), _px(arguments[2])) if len(arguments) == 3 else (0.0, 0.0)
    return (cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y)


def _skewed(x_deg: float, y_deg: float) -> Matrix:
    return (1.0, math.tan(math.radians(y_deg)), math.tan(math.radians(x_deg)), 1.0, 0.0, 0.0)


_TRANSFORMS: dict[str, tuple[tuple[int, ...], Callable[[list[str]], Matrix]]] = {
    "matrix": ((6,), lambda a: cast(Matrix, tuple(number(item) for item in a))),
    "translate": ((1, 2), lambda a: (1.0, 0.0, 0.0, 1.0, _px(a[0]), _px(a[1]) if len(a) > 1 else 0.0)),
    "translatex": ((1,), lambda a: (1.0, 0.0, 0.0, 1.0, _px(a[0]), 0.0)),
    "translatey": ((1,), lambda a: (1.0, 0.0, 0.0, 1.0, 0.0, _px(a[0]))),
    "scale": ((1, 2), lambda a: (number(a[0]), 0.0, 0.0, number(a[-1]), 0.0, 0.0)),
    "scalex": ((1,), lambda a: (number(a[0]), 0.0, 0.0, 1.0, 0.0, 0.0)),
    "scaley": ((1,), lambda a: (1.0, 0.0, 0.0, number(a[0]), 0.0, 0.0)),
    "rotate": ((1, 3), _rotated),
    "skewx": ((1,), lambda a: _skewed(_degrees(a[0]), 0.0)),
    "skewy": ((1,), lambda a: _skewed(0.0, _degrees(a[0]))),
    "skew": ((1, 2), lambda a: _skewed(_degrees(a[0]), _degrees(a[1]) if len(a) > 1 else 0.0)),
}


def view_box(text: str | None) -> tuple[float, float, float, float] | None:
    """x, y, width, height of a viewBox; None without one."""
    if text is None or not text.strip():
        return None
    found = numbers(text)
    if len(found) != 4 or found[2] < 0 or found[3] < 0:
        raise ValueError(f"viewBox {_shown(text)} is not x, y, width, height")
    return found[0], found[1], found[2], found[3]


def fitted(box: tuple[float, float, float, float], width: float, height: float, keep: str | None) -> Matrix:
    """Matrix that puts a view box into a viewport of `width` by `height` by preserveAspectRatio `keep`."""
    words = (keep or "xMidYMid meet").split()
    if words[:1] == ["defer"]:
        words = words[1:]
    align, rule = [*words, "meet"][:2] if words else ("xMidYMid", "meet")
    match = re.fullmatch("x(Min|Mid|Max)Y(Min|Mid|Max)", align)
    if len(words) > 2 or rule not in ("meet", "slice") or not (match or align == "none"):
        raise ValueError(f"preserveAspectRatio {_shown(keep or '')} cannot be read")
    x, y, box_width, box_height = box
    scale_x, scale_y = width / box_width, height / box_height
    if match is None:
        return (scale_x, 0.0, 0.0, scale_y, -x * scale_x, -y * scale_y)
    scale = min(scale_x, scale_y) if rule == "meet" else max(scale_x, scale_y)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    left = (width - box_width * scale) * share[match.group(1)]
    top = (height - box_height * scale) * share[match.group(2)]
    return (scale, 0.0, 0.0, scale, left - x * scale, top - y * scale)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{_shown(text)} is too large for a number")
    return value


def _shown(text: str) -> str:
    text = " ".join(text.split())
    return repr(text if len(text) <= 24 else text[:24] + "…")
