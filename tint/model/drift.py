"""Drift of the laser along the marking order and steps between plates: how much, how sure, and the settings without."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tint.measure.patches import Patches
from tint.model.descent import DEGREES, MEDIAN_CHI2, metric
from tint.setting import Setting

EXPECTED_PCT = 1.0  # sd of what a source does over a plate or between two (common practice, no source)
MIN_KNOWN = 0.8  # share of patches whose marking order must be known
STEP = 0.01  # change of log power that tells the slope of colour


@dataclass(frozen=True, eq=False)
class Drift:
    """Changes of log power (c,), one per column of a `course`, and their standard errors (c,)."""

    log_power: np.ndarray
    sd: np.ndarray

    @property
    def known(self) -> bool:
        """False where no order was known or colour does not tell of power: nothing was looked for, so nothing is claimed."""
        return bool(self.sd.any())

    @property
    def pct(self) -> float | None:
        """Change of power from the first patch to the last [%]; None where it is not known."""
        return 100 * float(self.log_power[0]) if self.known else None

    @property
    def sd_pct(self) -> float | None:
        """Standard error of that [%]."""
        return 100 * float(self.sd[0]) if self.known else None

    @property
    def steps_pct(self) -> tuple[float, ...]:
        """Change of power from the first plate to each further one [%]; none where it is not known."""
        return tuple(100 * float(step) for step in self.log_power[1:]) if self.known else ()

    def shift(self, course: np.ndarray | None, count: int) -> np.ndarray:
        """(count,) change of log power of each patch."""
        return np.zeros(count) if course is None else course @ self.log_power


NO_DRIFT = Drift(np.zeros(1), np.zeros(1))


def course(patches: Patches) -> np.ndarray | None:
    """(n, c) where each patch stands in time, None where too few marking orders are known.

    The first column runs from 0 for the first patch of a plate to 1 for its last, ½ where unknown; each further column is
    1 for the patches of the second plate, the third and so on. Plates are told apart by their names, and among rows of one
    name (or of none) a new plate begins, in the order of rows, where an order number comes a second time.
    """
    known = np.isfinite(patches.order)
    if known.mean() < MIN_KNOWN:
        return None
    plate, number = np.zeros(len(patches), dtype=int), -1
    for name in dict.fromkeys(patches.plates):
        seen, number = set[float](), number + 1
        for i in np.flatnonzero([other == name for other in patches.plates]):
            if patches.order[i] in seen:
                seen, number = set(), number + 1
            if known[i]:
                seen.add(patches.order[i])
            plate[i] = number
    place = np.full(len(patches), 0.5)
    for k in range(number + 1):
        here = known & (plate == k)
        low, width = np.min(patches.order[here], initial=np.inf), np.ptp(patches.order[here]) if here.any() else 0.0
        if width > 0:
            place[here] = (patches.order[here] - low) / width
    if number == 0 and np.ptp(place) == 0:
        return None
    return np.stack([place, *(plate == k for k in range(1, number + 1))], axis=1).astype(float)


def shifted(setting: Setting, log_power: np.ndarray) -> Setting:
    """The settings with the power that really came out: changed by log_power (n,)."""
    return setting.replace(power_pct=setting.power_pct * np.exp(log_power)) if log_power.any() else setting


def estimate(
    left: np.ndarray,
    lab: np.ndarray,
    noise: np.ndarray,
    setting: Setting,
    along: np.ndarray,
    predict: Callable[[Setting], np.ndarray],
) -> Drift:
    """Drift that best explains what a member leaves over, by the slope of its colour with power.

    Parameters
    ----------
    left : (n, 3) measured less predicted Lab
    lab, noise, setting : (n, 3) measured Lab, (n,) relative noise variances, (n,) settings as dialled
    along : (n, c) the patches' course
    predict : Lab (n, 3) of settings, of the member

    Notes
    -----
    Weighted least squares of ΔE00 components on course times slope, held to 1 % by a normal prior, twice reweighted so
    that spoilt patches do not count. The course is centred: the mean effect of a drift is already in the member.
    """
    turn = metric(lab)
    up, down = (predict(shifted(setting, np.full(len(lab), sign * STEP))) for sign in (1, -1))
    by_power = np.einsum("nij,nj->ni", turn, (up - down) / (2 * STEP))
    slope = by_power[:, :, None] * (along - along.mean(axis=0))[:, None, :]
    error, drift = np.einsum("nij,nj->ni", turn, left), np.zeros(along.shape[1])
    for _ in range(3):
        rest = ((error - slope @ drift) ** 2).sum(axis=1)
        variance = max(float(np.median(rest / noise)) / MEDIAN_CHI2, 0.25)
        weight = (DEGREES + 3) / (DEGREES + rest / (variance * noise)) / noise / variance
        sharp = np.einsum("n,nic,nid->cd", weight, slope, slope) + np.eye(len(drift)) * (EXPECTED_PCT / 100) ** -2
        inverse = np.linalg.inv(sharp)
        drift = inverse @ np.einsum("n,nic,ni->c", weight, slope, error)
    return Drift(drift, np.sqrt(np.diag(inverse)))
