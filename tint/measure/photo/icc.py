"""Tone curves of an ICC profile: what turns a picture's values into amounts of light."""

from __future__ import annotations

import struct

import numpy as np


def tone_curves(profile: bytes, levels: int) -> np.ndarray | None:
    """(3, levels) light 0..1 of each level of red, green and blue; None where the profile has no such curves.

    References
    ----------
    ICC.1:2022, 10.6 curveType and 10.18 parametricCurveType, 8.4.3 (three-component matrix-based profiles).
    """
    try:
        count = struct.unpack(">I", profile[128:132])[0]
        tags = {
            profile[at : at + 4]: struct.unpack(">II", profile[at + 4 : at + 12])
            for at in range(132, 132 + 12 * min(count, 100), 12)
        }
        found = [tags[name] for name in (b"rTRC", b"gTRC", b"bTRC")]
        curves = np.stack([_curve(profile[at : at + size], np.linspace(0, 1, levels)) for at, size in found])
    except (KeyError, struct.error, ValueError, IndexError):
        return None
    return curves if np.isfinite(curves).all() and (np.diff(curves) >= -1e-6).all() else None


def _curve(tag: bytes, x: np.ndarray) -> np.ndarray:
    if tag[:4] == b"curv":
        count = struct.unpack(">I", tag[8:12])[0]
        if count == 0:
            return x
        values = np.frombuffer(tag[12 : 12 + 2 * count], dtype=">u2").astype(float)
        if count == 1:
            return x ** (values[0] / 256)
        return np.interp(x, np.linspace(0, 1, count), values / 65535)
    if tag[:4] != b"para":
        raise ValueError
    kind = struct.unpack(">H", tag[8:10])[0]
    size = (1, 3, 4, 5, 7)[kind]
    numbers = [v / 65536 for v in struct.unpack(f">{size}i", tag[12 : 12 + 4 * size])]
    g, a, b, c, d, e, f = numbers + [0.0] * (7 - size)
    if kind == 0:
        return x**g
    power = np.maximum(a * x + b, 0) ** g
    if kind == 1:
        return np.where(x >= -b / a, power, 0)
    if kind == 2:
        return np.where(x >= -b / a, power + c, c)
    return np.where(x >= d, power + (e if kind == 4 else 0), c * x + (f if kind == 4 else 0))
