"""Lab of sRGB bytes and ΔE00 in plain numpy: the formulas of `tint.lab`, fast enough for every colour of a picture.

`tint.lab` asks colour-science, which takes most of a second to load and 1.4 µs a pair. These load nothing and take a tenth of
that or less, in single or double precision; the tests hold them against colour-science.
"""

from __future__ import annotations

import numpy as np

from tint.artwork.average import LINEAR1
from tint.lab import D50_XYZ, XYZ_OF_LINEAR

_TO_WHITE1 = XYZ_OF_LINEAR / D50_XYZ[:, None]
LIGHT_OF_LINEAR = _TO_WHITE1.T  # (3, 3) light, X, Y, Z over that of white, of full red, green and blue, one row each
_SHARE = (LINEAR1[:, None, None] * _TO_WHITE1.T).transpose(1, 0, 2)  # (channel, byte, axis): a byte's part of X, Y, Z
_CHROMA_7 = 25.0**7
_TERMS = tuple(
    (gain, np.cos(np.radians(turn)), np.sin(np.radians(turn)))
    for gain, turn in ((-0.17, 30.0), (0.32, -6.0), (-0.20, 63.0))
)


def lab_of_srgb255(red: np.ndarray, green: np.ndarray, blue: np.ndarray, dtype: type = np.float64) -> np.ndarray:
    """Lab (3, n) of sRGB bytes, three arrays (n,) of whole numbers 0..255: the rows are L*, a*, b*, relative to D50."""
    share = _SHARE.astype(dtype)
    f: np.ndarray = np.empty((3, len(red)), dtype=dtype)
    for axis in range(3):
        part = np.ascontiguousarray(share[..., axis])
        value = part[0].take(red)
        value += part[1].take(green)
        value += part[2].take(blue)
        low = value <= dtype(216 / 24389)
        f[axis] = np.cbrt(value)
        f[axis][low] = value[low] * dtype(24389 / 27 / 116) + dtype(16 / 116)
    x, y, z = f
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def light_of_srgb255(srgb255: np.ndarray) -> np.ndarray:
    """Light (..., 3), X, Y, Z over that of white, float32, of sRGB bytes (..., 3)."""
    return LINEAR1.astype(np.float32).take(srgb255) @ LIGHT_OF_LINEAR.astype(np.float32)


def delta_e00_of(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """ΔE00 [1] between Lab arrays (3, ...) broadcast against each other, in their own precision.

    Notes
    -----
    Sharma, Wu, Dalal (2005), doi 10.1002/col.20070, equations 2–22. The mean hue is the direction between both unit vectors, and
    the cosines of its multiples follow from its own sine and cosine, so that only the rotation term needs an angle. Where two hues
    are exactly opposite, either of the two directions is right.
    """
    (l1, a1, b1), (l2, a2, b2) = one, other
    kind = np.result_type(one, other).type
    mean_7 = (np.sqrt(a1 * a1 + b1 * b1) + np.sqrt(a2 * a2 + b2 * b2)) * kind(0.5)
    mean_7 = _seventh(mean_7)
    stretch = kind(1.5) - kind(0.5) * np.sqrt(mean_7 / (mean_7 + kind(_CHROMA_7)))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.sqrt(a1 * a1 + b1 * b1), np.sqrt(a2 * a2 + b2 * b2)
    tiny = kind(1e-30)
    inverse1, inverse2 = 1 / np.maximum(c1, tiny), 1 / np.maximum(c2, tiny)
    # mean hue: cosine and sine
    cosine, sine = a1 * inverse1 + a2 * inverse2, b1 * inverse1 + b2 * inverse2
    inverse = 1 / np.maximum(np.sqrt(cosine * cosine + sine * sine), tiny)
    cosine, sine = cosine * inverse, sine * inverse
    cos2, sin2 = cosine * cosine - sine * sine, 2 * sine * cosine
    cos3, sin3 = cos2 * cosine - sin2 * sine, sin2 * cosine + cos2 * sine
    cos4, sin4 = cos2 * cos2 - sin2 * sin2, 2 * sin2 * cos2
    weight = 1 + kind(0.24) * cos2
    for (gain, turn_cos, turn_sin), c, s in zip(_TERMS, (cosine, cos3, cos4), (sine, sin3, sin4), strict=True):
        weight += kind(gain * turn_cos) * c + kind(gain * turn_sin) * s
    mean_c = (c1 + c2) * kind(0.5)
    away_l = (l1 + l2) * kind(0.5) - 50
    away_l *= away_l
    part_l = (l2 - l1) / (1 + kind(0.015) * away_l / np.sqrt(20 + away_l))
    part_c = (c2 - c1) / (1 + kind(0.045) * mean_c)
    cross = a1 * b2 - a2 * b1
    hue = 2 * np.maximum(c1 * c2 - a1 * a2 - b1 * b2, 0)
    part_h = np.copysign(np.sqrt(hue), cross) / (1 + kind(0.015) * mean_c * weight)
    angle = np.arctan2(sine, cosine)
    angle += (angle < 0) * kind(2 * np.pi)  # 0..360°, not wrapped round to the nearest turn: so the standard has it
    angle = (angle - kind(np.radians(275))) * kind(180 / np.pi / 25)
    rotation = np.sin(kind(np.radians(60)) * np.exp(-angle * angle))
    mean_7 = _seventh(mean_c)
    rotation *= -2 * np.sqrt(mean_7 / (mean_7 + kind(_CHROMA_7)))
    squared = part_l * part_l + part_c * part_c + part_h * part_h + rotation * part_c * part_h
    return np.sqrt(np.maximum(squared, 0))


def nearest_number(lab: np.ndarray, candidates: np.ndarray, pairs_at_once: int = 100_000) -> np.ndarray:
    """Number (n,) of the candidate (k, 3) nearest by ΔE00 to each Lab (n, 3), compared one by one; equals go to the lower number."""
    number: np.ndarray = np.empty(len(lab), dtype=np.intp)
    chunk = max(1, pairs_at_once // len(candidates))
    for start in range(0, len(lab), chunk):
        part = slice(start, start + chunk)
        number[part] = delta_e00_of(lab[part].T[:, :, None], candidates.T[:, None, :]).argmin(axis=1)
    return number


def _seventh(value: np.ndarray) -> np.ndarray:
    square = value * value
    return square * square * square * value
