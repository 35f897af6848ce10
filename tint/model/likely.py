"""What fresh marks of one setting may look like: colours spread as the uncertainty says."""

from __future__ import annotations

from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.lab import delta_e00
from tint.model.model import WIDEST_DE00

RADIUS_OVER_SIGMA = 2.5003  # 9 of 10 draws of an even three-axis normal lie within 2.50 σ (chi distribution, 3 degrees)
# Step along which ΔE00 is compared with CIELAB distance: small beside any radius, large beside rounding
_PROBE_LAB = 0.5


def likely_lab(lab: Any, de00_90: float, n: int = 24, *, seed: int = 0) -> np.ndarray:
    """Lab (n, 3) that fresh marks may have, when 9 of 10 land within `de00_90` of the predicted Lab (3,).

    Raises
    ------
    LimitError
        n below 1, or a radius that is no number from 0 up.

    Notes
    -----
    Draws of three equal normal errors; each is stretched so that its CIEDE2000 distance is the one drawn, by the local
    scale of ΔE00 along its direction. Lightness is clipped to what a surface can have.
    """
    if n < 1:
        raise LimitError(f"{n} marks cannot be shown; ask for 1 or more.")
    if not 0 <= de00_90 <= WIDEST_DE00:
        raise LimitError(f"de00_90 {de00_90:g} cannot be; it lies between 0 and {WIDEST_DE00:g}.")
    centre = np.asarray(lab, dtype=float)
    draws = np.random.default_rng(seed).normal(0.0, de00_90 / RADIUS_OVER_SIGMA, (n, 3))
    length = np.linalg.norm(draws, axis=1, keepdims=True)
    way = draws / np.maximum(length, 1e-12)
    reach = length.copy()  # CIELAB distance; corrected twice, ΔE00 is curved
    for _ in range(2):
        probe = np.maximum(reach, _PROBE_LAB)
        scale = np.maximum(delta_e00(centre + way * probe, centre)[:, None], 1e-9) / probe
        reach = length / scale
    marks = centre + way * reach
    marks[:, 0] = np.clip(marks[:, 0], 0, 100)
    return marks
