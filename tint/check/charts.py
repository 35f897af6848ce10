"""Control charts: constants, Shewhart and EWMA limits."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

# Chance of crossing a warning or an action limit while nothing changed, shared by all that one strip is judged by: that of
# two and three standard deviations of a normal variable (Shewhart).
WARNING, ACTION = math.erfc(2 / math.sqrt(2)), math.erfc(3 / math.sqrt(2))
# Weight of the newest strip in the EWMA: 0.2 to 0.3 is usual, and with 0.3 a creep of one standard deviation is seen in about
# nine strips. Smaller sees slower creep later.
EWMA_WEIGHT = 0.3
EWMA_WIDTH = 3.0  # standard deviations of the EWMA


def d2(n: int) -> float:
    """Mean of the range of n normal values over σ.

    Raises
    ------
    ValueError
        n below 2.

    Notes
    -----
    d₂ = ∫ 1 − Φ(x)ⁿ − (1 − Φ(x))ⁿ dx over all x.

    Examples
    --------
    >>> round(d2(2), 3)
    1.128
    """
    from scipy.integrate import quad
    from scipy.special import ndtr

    if n < 2:
        raise ValueError(f"a control chart's constant needs 2 or more values, not {n}")
    return float(quad(lambda x: 1 - ndtr(x) ** n - ndtr(-x) ** n, -10, 10, epsabs=1e-10)[0])


def sigma_from_moving_range(values: Any) -> float:
    """Standard deviation of single values (m,) in time order by their mean moving range over d₂(2); NaN for fewer than 2.

    Notes
    -----
    Unlike the plain standard deviation it is hardly widened by a slow drift of the level.

    Examples
    --------
    >>> round(sigma_from_moving_range([1.0, 2.0, 1.0, 2.0]), 3)
    0.886
    """
    values = np.asarray(values, float)
    return float(np.abs(np.diff(values)).mean() / d2(2)) if len(values) > 1 else math.nan


def ewma(values: Any, start: float, weight: float = EWMA_WEIGHT) -> np.ndarray:
    """Exponentially weighted moving average (m,) of values (m,), from a start: z = λ x + (1 − λ) z before.

    Examples
    --------
    >>> ewma([52.0, 47.0], 50.0, 0.3).round(2)
    array([50.6 , 49.52])
    """
    out, level = [], start
    for value in np.asarray(values, float):
        level = weight * value + (1 - weight) * level
        out.append(level)
    return np.array(out)


def ewma_sd(count: Any, sigma: float, weight: float = EWMA_WEIGHT) -> np.ndarray:
    """Standard deviation of an EWMA after `count` values of standard deviation σ, same shape as `count`.

    Notes
    -----
    σ √(λ / (2 − λ) (1 − (1 − λ)^{2t})).

    References
    ----------
    Roberts, "Control chart tests based on geometric moving averages", Technometrics 1 (1959), doi 10.1080/00401706.1959.10489860.
    """
    return sigma * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * np.asarray(count, float))))
