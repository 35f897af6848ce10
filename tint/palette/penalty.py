"""What a setting costs beyond its distance from a wished colour: that it is loud, unsure or slow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import LimitError
from tint.model.likely import RADIUS_OVER_SIGMA

RMS_OF_R90 = 3**0.5 / RADIUS_OVER_SIGMA  # the root mean square of an even three-axis normal is √3 σ


@dataclass(frozen=True)
class Penalty:
    """How heavily loud and slow settings are held against a colour when a palette is chosen.

    Parameters
    ----------
    sensitive : how often the shift under jitter counts [1]; 1 counts it as what it is, a miss of a fresh mark
    slow_de00 : a setting that takes twice the stock's median scan time must come nearer by this [ΔE00] to be chosen

    Raises
    ------
    LimitError
        A weight that is negative or no number.
    """

    sensitive: float = 1.0
    # A quarter of a just noticeable difference for a doubled time: breaks near ties, never trades a colour people would
    # miss for speed (common practice, no source).
    slow_de00: float = 0.5

    def __post_init__(self) -> None:
        for field in ("sensitive", "slow_de00"):
            value = getattr(self, field)
            if not 0 <= value < np.inf:
                raise LimitError(f"{field} {value:g} cannot be; it is a number from 0 up, and 0 leaves it out.")

    def words(self) -> str:
        """How colours were weighed, for a reader of the palette.

        Examples
        --------
        >>> Penalty(slow_de00=0).words()
        'weighed by √(ΔE00² + (1 × jitter)² + (model ±)²)'
        """
        slow = f", plus {self.slow_de00:g} ΔE00 for each doubling of scan time beyond the stock's median"
        return f"weighed by √(ΔE00² + ({self.sensitive:g} × jitter)² + (model ±)²)" + slow * bool(self.slow_de00)


USUAL_PENALTY = Penalty()


def spread_de00(sensitivity_de00: np.ndarray, de00_90: np.ndarray, penalty: Penalty = USUAL_PENALTY) -> np.ndarray:
    """Root mean square [ΔE00] by which fresh marks stray from their prediction, by jitter and the model's doubt; same shape."""
    return np.hypot(penalty.sensitive * np.asarray(sensitivity_de00), RMS_OF_R90 * np.asarray(de00_90))


def slow_de00(time_s_cm2: np.ndarray, median_s_cm2: float, penalty: Penalty = USUAL_PENALTY) -> np.ndarray:
    """What slowness adds [ΔE00] to the miss of settings of this scan time [s/cm²], same shape; 0 up to the median.

    Examples
    --------
    >>> slow_de00(np.array([10.0, 40.0, 160.0]), 40.0).tolist()
    [0.0, 0.0, 1.0]
    """
    return penalty.slow_de00 * np.maximum(np.log2(np.asarray(time_s_cm2) / median_s_cm2), 0)


def expected_miss(away_de00: np.ndarray, stray_de00: np.ndarray, late_de00: np.ndarray) -> np.ndarray:
    """Cost [ΔE00] of serving wishes with candidates: √(ΔE00² + stray²) + what slowness adds, each (...)."""
    return np.hypot(away_de00, stray_de00) + late_de00
