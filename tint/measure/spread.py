"""Standard uncertainty of a mean of readings."""

from __future__ import annotations

import math

import numpy as np

from tint.lab import delta_e00


def sd_of_mean(lab: np.ndarray, sd: np.ndarray) -> float:
    """Standard uncertainty [ΔE00] of the mean of Lab (m, 3): by their spread, or as stated in `sd` (m,), whichever is larger; NaN unknown.

    Two readings that happen to agree say nothing: a spread of 0 counts as unknown.
    """
    known = sd[~np.isnan(sd)]
    said = math.sqrt(np.sum(known**2) / len(known) / len(lab)) if len(known) else math.nan
    if len(lab) < 2:
        return said
    spread = float(np.sqrt(np.sum(delta_e00(lab, lab.mean(axis=0)) ** 2) / (len(lab) - 1) / len(lab)))
    return float(np.fmax(spread or math.nan, said))
