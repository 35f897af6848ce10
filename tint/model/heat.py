"""Heat balance of a mark: what the temperature under the beam adds to the logarithm of film thickness, with slopes.

Temperature at the middle of the grid is 1. A cold part of it stays; the rest is a steady rise by the scanned lines and a
rise after every pulse, each a power law of the axes. Growth follows the temperature by Arrhenius' law, so that its
logarithm goes with 1 − 1 / temperature.
"""

from __future__ import annotations

import numpy as np

# Expected slopes of the logarithm of either rise by each of `latent.AXES`: a line source, whose heat a tight and fast scan
# shares out; a skin heated by one pulse. Prior widths let a dial curve, a lens or a lagging scanner move them.
LINE_SLOPE = np.array([1.0, -0.5, 0.0, 0.0, -0.5, 0.0, 0.0])
PULSE_SLOPE = np.array([1.0, 0.0, -1.0, -0.35, 0.0, 0.0, -2.0])
RISE_SLOPE_SD = np.array([0.2, 0.3, 0.25, 0.25, 0.3, 0.2, 0.5])
LINE_SHARE = (0.0, 1.0)  # mean and sd of the lines' share of the whole rise, as a logit: half, loosely
COLD = 0.25  # of the temperature at the middle: a sheet of 300 K against about 1200 K
# Half the activation over the temperature at the middle (film grows as the root of time): 7000–9000 K over twice 1200 K,
# less what cooling between pulses takes; near 0 the film follows its other terms alone.
GROWTH = (2.5, 1.0)
STEEPEST = 5.0  # of the logarithm of a rise: beyond, settings are so far away that only overflow is left to avoid


def count(axes: int) -> int:
    """Number of parameters for some axes: growth, line share, and the slopes of both rises."""
    return 2 + 2 * axes


def expected(axes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and sd (p,) of the parameters for the axes (k,) that varied."""
    mean = [[GROWTH[0], LINE_SHARE[0]], LINE_SLOPE[axes], PULSE_SLOPE[axes]]
    return np.concatenate(mean), np.concatenate([[GROWTH[1], LINE_SHARE[1]], RISE_SLOPE_SD[axes], RISE_SLOPE_SD[axes]])


def film(parameters: np.ndarray, z: np.ndarray) -> np.ndarray:
    """What heat adds to log film (s, q), for parameters (s, p) and centred logarithms of the axes (q, k)."""
    hot, *_ = _rises(parameters, z)
    return parameters[:, :1] * (1 - 1 / hot)


def film_slopes(parameters: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Slopes (s, q, p) of `film` by each parameter."""
    hot, share, line, pulse = _rises(parameters, z)
    lever = parameters[:, :1] * (1 - COLD) / hot**2
    by_share = lever * share * (1 - share) * (line - pulse)
    by_line = (lever * share * line)[..., None] * z
    by_pulse = (lever * (1 - share) * pulse)[..., None] * z
    return np.concatenate([(1 - 1 / hot)[..., None], by_share[..., None], by_line, by_pulse], axis=-1)


def slope_at_middle(parameters: np.ndarray, axis: int) -> float:
    """Slope of `film` by one axis, the number-th that varied, in the middle of the grid, for parameters (p,)."""
    k = (len(parameters) - 2) // 2
    share = _share(parameters[1])
    rise = share * parameters[2 + axis] + (1 - share) * parameters[2 + k + axis]
    return float(parameters[0] * (1 - COLD) * rise)


def _rises(parameters: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Temperature (s, q), share of the lines (s, 1), and both rises (s, q), over what they are at the middle."""
    k = z.shape[1]
    share = _share(parameters[:, 1:2])
    line, pulse = (
        np.exp(np.clip(parameters[:, part] @ z.T, -STEEPEST, STEEPEST))
        for part in (slice(2, 2 + k), slice(2 + k, 2 + 2 * k))
    )
    return COLD + (1 - COLD) * (share * line + (1 - share) * pulse), share, line, pulse


def _share(logit: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(logit, -8, 8)))
