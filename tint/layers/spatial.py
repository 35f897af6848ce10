"""Spatial error: how far apart two pictures look from a distance, where fine patterns blend in the eye.

After S-CIELAB: each picture is split into a light-dark, a red-green and a blue-yellow part, each part blurred as much
as the eye blurs it, and the blurred pictures are compared colour by colour, here by ΔE00.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.layers.difference import delta_e00_of
from tint.palette.reach import lab_from_light

DISTANCE_MM = 300.0  # a piece held in the hand, nearer than a reader holds a book
# Rows: light-dark, red-green, blue-yellow; of X, Y, Z with white at Y = 1. Zhang and Wandell (1996), see `seen`; from memory.
_OPPONENT = np.array([[0.279, 0.720, -0.107], [-0.449, 0.290, -0.077], [0.086, -0.590, 0.501]])
# Weight and spread [°] of the sum of Gaussians exp(−(r / spread)²) that each part is blurred by; same source, from memory
_BLUR = (
    ((0.921, 0.0283), (0.105, 0.133), (-0.108, 4.336)),
    ((0.531, 0.0392), (0.330, 0.494)),
    ((0.488, 0.0536), (0.371, 0.386)),
)
LEAST_BLUR_DEG = tuple(gaussians[0][1] for gaussians in _BLUR)  # the spread of the narrowest of each
_WHITE = np.array([0.3457 / 0.3585, 1.0, (1 - 0.3457 - 0.3585) / 0.3585])  # XYZ of D50, CIE 15:2018
_TO_PARTS = (_OPPONENT * _WHITE).T
_FROM_PARTS = np.linalg.inv(_TO_PARTS)
_WIDE_PX = 8.0  # a blur wider than this is done on a smaller picture, which changes nothing that shows
_MEANT_OVER = 200_000  # places that the mean is taken over, evenly spread; more changes no digit shown


def seen(light: np.ndarray, pitch_mm: float, distance_mm: float = DISTANCE_MM) -> np.ndarray:
    """Lab (h, w, 3) of a picture of light (h, w, 3) as it looks from a distance [mm], its pixels `pitch_mm` [mm] wide.

    Raises
    ------
    LimitError
        A pitch or distance that is not a number above 0.

    Notes
    -----
    Light is X, Y, Z over that of white, as `tint.palette.reach.light_from_lab` gives it. Weights are scaled to sum to 1, so even
    fields keep their colour. Beyond its border a picture goes on as at its border.

    References
    ----------
    Zhang and Wandell, "A spatial extension of CIELAB for digital color-image reproduction", J. Soc. Inf. Disp. 5(1):61 (1997),
    doi 10.1889/1.1985127.
    """
    if not (0 < pitch_mm < math.inf and 0 < distance_mm < math.inf):
        raise LimitError(f"pitch {pitch_mm:g} mm seen from {distance_mm:g} mm cannot be; both are numbers above 0.")
    pixel_deg = math.degrees(math.atan(pitch_mm / distance_mm))
    parts = light.astype(np.float32) @ _TO_PARTS.astype(np.float32)
    for part, gaussians in enumerate(_BLUR):
        total = sum(weight for weight, _ in gaussians)
        plane = np.ascontiguousarray(parts[..., part])
        parts[..., part] = sum(
            np.float32(weight / total) * _blurred(plane, spread / pixel_deg / math.sqrt(2))
            for weight, spread in gaussians
        )
    return lab_from_light(np.maximum(parts @ _FROM_PARTS.astype(np.float32), 0))


def spatial_error(one: np.ndarray, other: np.ndarray, pitch_mm: float, distance_mm: float = DISTANCE_MM) -> float:
    """Mean ΔE00 between two pictures of light (h, w, 3) as `seen` from a distance [mm]."""
    labs = [seen(each, pitch_mm, distance_mm).reshape(-1, 3) for each in (one, other)]
    step = max(1, len(labs[0]) // _MEANT_OVER)
    return float(delta_e00_of(*(lab[::step].T.astype(float) for lab in labs)).mean())


def _blurred(plane: np.ndarray, sigma_px: float) -> Any:
    from PIL import Image
    from scipy.ndimage import gaussian_filter

    if sigma_px <= _WIDE_PX:
        return gaussian_filter(plane, sigma_px, mode="nearest", truncate=3.5)
    height, width = plane.shape
    part = sigma_px / 4
    small = (max(1, round(width / part)), max(1, round(height / part)))
    reduced = np.asarray(Image.fromarray(plane).resize(small, Image.Resampling.BOX))
    sigma = (sigma_px * small[1] / height, sigma_px * small[0] / width)
    reduced = gaussian_filter(reduced, sigma, mode="nearest", truncate=3.5)
    return np.asarray(Image.fromarray(reduced).resize((width, height), Image.Resampling.BILINEAR))
