"""Drift of the laser along the marking order: how much, how sure, and the settings with it taken out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tint.measure.patches import Patches
from tint.model.descent import metric
from tint.setting import Setting

EXPECTED_PCT = 1.0  # sd of what a source does over one plate (common practice, no source); holds back wild estimates
MIN_KNOWN = 0.8  # share of patches whose marking order must be known
STEP = 0.01  # change of log power that tells the slope of colour


@dataclass(frozen=True)
class Drift:
    """Change of log power from first to last patch, and its standard error; both 0 where the order is unknown."""

    log_power: float = 0.0
    sd: float = 0.0


def age(patches: Patches) -> np.ndarray | None:
    """(n,) 0 for the first patch marked to 1 for the last, ½ where unknown; None where too few are known."""
    known = np.isfinite(patches.order)
    if known.mean() < MIN_KNOWN or np.ptp(patches.order[known]) == 0:
        return None
    low, high = patches.order[known].min(), patches.order[known].max()
    return np.where(known, (patches.order - low) / (high - low), 0.5)


def without_drift(setting: Setting, aged: np.ndarray | None, drift: Drift) -> Setting:
    """The settings with the power that really came out, relative to the first patch."""
    if aged is None or drift.log_power == 0:
        return setting
    return setting.replace(power_pct=setting.power_pct * np.exp(drift.log_power * aged))


def estimate(
    left: np.ndarray, lab: np.ndarray, noise: np.ndarray, setting: Setting, aged: np.ndarray, predict: Callable[[Setting], np.ndarray]
) -> Drift:
    """Drift that best explains what a member leaves over, by the slope of its colour with power.

    Parameters
    ----------
    left : (n, 3) measured less predicted Lab
    predict : Lab (n, 3) of settings, of the member

    Notes
    -----
    Weighted least squares of ΔE00 components on age times slope, held to 1 % by a normal prior, twice reweighted so that
    spoilt patches do not count. Age is centred: the mean effect of a drift is already in the member.
    """
    turn = metric(lab)
    up, down = (predict(setting.replace(power_pct=setting.power_pct * np.exp(sign * STEP))) for sign in (1, -1))
    slope = np.einsum("nij,nj->ni", turn, (up - down) / (2 * STEP)) * (aged - aged.mean())[:, None]
    error = np.einsum("nij,nj->ni", turn, left)
    drift, prior = Drift(), (EXPECTED_PCT / 100) ** -2
    for _ in range(3):
        rest = ((error - drift.log_power * slope) ** 2).sum(axis=1)
        variance = max(float(np.median(rest / noise)) / 2.37, 0.25)
        weight = 7 / (4 + rest / (variance * noise)) / noise / variance
        sharp = prior + (weight[:, None] * slope**2).sum()
        drift = Drift(float((weight[:, None] * slope * error).sum() / sharp), float(sharp**-0.5))
    return drift
