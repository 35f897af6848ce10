"""From settings to the latents of `optics`: a heat balance with a smooth free part, and what to expect of it.

The logarithm of film thickness follows the temperature of `heat` and the time at it, a weighted sum of log speed, spacing
and passes that other axes may join, plus weak second-order terms, plus smooth waves over the settings that no formula has
to explain. Share, haze and gain are linear in the same logarithms, plus waves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.model import gp, heat
from tint.model.optics import OPTICS_MEAN, OPTICS_SD
from tint.process import process
from tint.setting import Machine, Setting

AXES = ("average_power_w", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm", "passes", "spot_mm")
# Slopes of log film by time, how long a place is hot: its root or less, longer by slow, tight and repeated lines. Widths
# leave room for growth that is no matter of temperature.
TIME_SLOPE = np.array([0.0, -0.5, 0.0, 0.0, -0.5, 0.5, 1.0])
TIME_SLOPE_SD = np.array([0.3, 0.3, 0.3, 0.2, 0.3, 0.3, 0.5])
# Slopes of log film by heat and time together, for axes that never varied, and how loosely: more power, fewer mm/s,
# tighter lines and more passes grow more; from the direction of the process formulas, sizes are guesses.
FILM_SLOPE = np.array([1.6, -0.8, -0.4, -0.15, -0.6, 0.6, -0.8])
FILM_SLOPE_SD = np.array([0.9, 0.5, 0.6, 0.35, 0.5, 0.5, 0.8])
# Haze follows fluence, P / (f d²): melting and ablation
HAZE_SLOPE = np.array([1.5, 0, -1.5, 0, 0, 0, -2.0])
HAZE_SLOPE_SD = np.array([2.0, 1, 2, 1, 1, 1, 2])
FILM_LEVEL, SHARE_LEVEL, HAZE_LEVEL, GAIN_LEVEL = (4.5, 0.9), (-1.0, 1.2), (-2.5, 1.5), (0.0, 0.15)
SECOND_ORDER_SD, SHARE_SLOPE_SD, GAIN_SLOPE_SD = 0.15, 0.5, 0.06
STRENGTH = (0.2, 2.0)  # how far a stock may answer weaker or stronger than expected
AGE_SD = 0.02  # of the change of log film from first to last patch: a source drifts by about 1 % of its power
# Waves: leading eigenvectors of a smooth kernel over the settings, Matérn 5/2 by half a box width; how many, and how
# large (sd), for each latent. Twice as large erred more on simulated plates, by a tenth inside the box and outside it,
# and the same on the open grid.
WAVES = (24, 12, 12, 0)
WAVE_SD = (0.03, 0.15, 0.4, 0.0)


@dataclass(frozen=True, eq=False)
class Frame:
    """How log settings are centred and scaled: `axes` that varied, their `centre` and half `width`, and where waves sit.

    `middle` (7,) is the centre of all axes; `at` (n, k) are the scaled training settings, `waves` (n, w) turn the kernel
    to them into wave heights.
    """

    axes: np.ndarray
    middle: np.ndarray
    centre: np.ndarray
    width: np.ndarray
    at: np.ndarray
    waves: np.ndarray


def log_axes(setting: Setting, machine: Machine) -> np.ndarray:
    """Array (..., 7) of the natural logarithms of `AXES`."""
    values = process(setting, machine)
    own = {"average_power_w": values.average_power_w, "spot_mm": values.spot_mm}
    return np.stack([np.log(own[name] if name in own else getattr(setting, name)) for name in AXES], axis=-1)


def moved_axes(logs: np.ndarray) -> np.ndarray:
    """Numbers (k,) of the `AXES` that vary in `log_axes` (n, 7)."""
    return np.flatnonzero(np.ptp(logs, axis=0) > 1e-6)


def frame_of(logs: np.ndarray, like: Frame | None = None) -> Frame:
    """Frame of training settings given as `log_axes`, (n, 7); centred and scaled `like` another where one is given."""
    if like is None:
        axes = moved_axes(logs)
        centre, width = logs[:, axes].mean(axis=0), np.ptp(logs[:, axes], axis=0) / 2
    else:
        axes, centre, width = like.axes, like.centre, like.width
    middle = logs.mean(axis=0) if like is None else like.middle
    at = (logs[:, axes] - centre) / width
    values, vectors = np.linalg.eigh(gp.correlation(at, at))
    lead = np.argsort(-values)[: min(max(WAVES), len(at) // 2)]
    return Frame(axes, middle, centre, width, at, vectors[:, lead] / np.sqrt(np.maximum(values[lead], 1e-9)))


def features(frame: Frame, logs: np.ndarray, waves: bool = True, aged: np.ndarray | None = None) -> list[np.ndarray]:
    """Four arrays (q, p): what each latent is a weighted sum of, at `log_axes` (q, 7).

    With `aged` (q, c), the course of the patches in time, the film has its columns after the second-order terms.
    """
    z = logs[:, frame.axes] - frame.centre
    k = z.shape[1]
    plain = np.concatenate([np.ones((len(z), 1)), z], axis=1)
    pairs = [z[:, i] * z[:, j] * (0.5 if i == j else 1.0) for i in range(k) for j in range(i, k)]
    places = np.zeros((len(z), heat.count(k)))  # for the parameters of the heat balance, which is no weighted sum
    film = np.concatenate([plain, places, np.stack(pairs, axis=1)], axis=1)
    film = film if aged is None else np.concatenate([film, aged], axis=1)
    columns = [film, plain, plain, plain]
    if not waves:
        return columns
    height = gp.correlation(z / frame.width, frame.at) @ frame.waves
    return [
        np.concatenate([column, size * height[:, :count]], axis=1)
        for column, count, size in zip(columns, WAVES, WAVE_SD, strict=True)
    ]


def unseen(frame: Frame, logs: np.ndarray, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What axes that never varied should do to the latents (q, 4), and its variance (q, 4).

    The film's expected slopes are scaled by how strongly power, if it varied, turned out to act in the fit (p,).
    """
    power = drift_of(frame, theta)[1] / FILM_SLOPE[0]
    strength = np.clip(power, *STRENGTH) if power else 1.0
    still = np.setdiff1d(np.arange(len(AXES)), frame.axes)
    z = logs[:, still] - frame.middle[still]
    zero = np.zeros(len(logs))
    shift = np.stack([strength * (z @ FILM_SLOPE[still]), zero, z @ HAZE_SLOPE[still], zero], axis=1)
    sds = (
        FILM_SLOPE_SD[still],
        np.full(len(still), SHARE_SLOPE_SD),
        HAZE_SLOPE_SD[still],
        np.full(len(still), GAIN_SLOPE_SD),
    )
    return shift, np.stack([z**2 @ sd**2 for sd in sds], axis=1)


@dataclass(frozen=True, eq=False)
class Expectation:
    """Prior mean and sd (p,) of all parameters: those of the four latents, `sizes` of them each, then the optical constants."""

    mean: np.ndarray
    sd: np.ndarray
    sizes: tuple[int, ...]


def expectation(frame: Frame, waves: bool = True, aged: int = 0) -> Expectation:
    """What to expect of the parameters before any patch was seen; `aged` columns of the course among them."""
    k = len(frame.axes)
    pairs = k * (k + 1) // 2
    count = [min(n, frame.waves.shape[1]) if waves else 0 for n in WAVES]
    heat_mean, heat_sd = heat.expected(frame.axes)
    mean = [
        np.concatenate([[FILM_LEVEL[0]], TIME_SLOPE[frame.axes], heat_mean, np.zeros(pairs + aged + count[0])]),
        np.concatenate([[SHARE_LEVEL[0]], np.zeros(k + count[1])]),
        np.concatenate([[HAZE_LEVEL[0]], HAZE_SLOPE[frame.axes], np.zeros(count[2])]),
        np.concatenate([[GAIN_LEVEL[0]], np.zeros(k + count[3])]),
    ]
    sd = [
        np.concatenate(
            [[FILM_LEVEL[1]], TIME_SLOPE_SD[frame.axes], heat_sd, np.full(pairs, SECOND_ORDER_SD), np.full(aged, AGE_SD),
             np.ones(count[0])]
        ),
        np.concatenate([[SHARE_LEVEL[1]], np.full(k, SHARE_SLOPE_SD), np.ones(count[1])]),
        np.concatenate([[HAZE_LEVEL[1]], HAZE_SLOPE_SD[frame.axes], np.ones(count[2])]),
        np.concatenate([[GAIN_LEVEL[1]], np.full(k, GAIN_SLOPE_SD), np.ones(count[3])]),
    ]  # fmt: skip
    return Expectation(
        np.concatenate([*mean, OPTICS_MEAN]), np.concatenate([*sd, OPTICS_SD]), tuple(len(m) for m in mean)
    )


def widened(theta: np.ndarray, frame: Frame, aged: int = 0) -> np.ndarray:
    """Parameters (s, p) of a fit without waves, with waves of height zero put in their places."""
    plain = expectation(frame, waves=False, aged=aged).sizes
    parts, start = [], 0
    for size, count in zip(plain, WAVES, strict=True):
        parts += [theta[:, start : start + size], np.zeros((len(theta), min(count, frame.waves.shape[1])))]
        start += size
    return np.concatenate([*parts, theta[:, start:]], axis=1)


def latents(theta: np.ndarray, columns: list[np.ndarray]) -> np.ndarray:
    """Latents (s, q, 4) of parameters (s, p)."""
    out, start = [], 0
    for column in columns:
        out.append(theta[:, start : start + column.shape[1]] @ column.T)
        start += column.shape[1]
    z = columns[3][:, 1:]  # gain has no waves
    out[0] = out[0] + heat.film(theta[:, heat_places(z.shape[1])], z)
    return np.stack(out, axis=-1)


def film_slopes(theta: np.ndarray, columns: list[np.ndarray]) -> np.ndarray:
    """Slopes (s, q, p0) of the film latent by each of its own parameters."""
    slopes = np.repeat(columns[0][None], len(theta), axis=0)
    z = columns[3][:, 1:]  # gain has no waves
    slopes[:, :, heat_places(z.shape[1])] = heat.film_slopes(theta[:, heat_places(z.shape[1])], z)
    return slopes


def heat_places(axes: int) -> slice:
    """Places of the heat balance among the parameters: after the level and the slopes by time."""
    return slice(1 + axes, 1 + axes + heat.count(axes))


def drift_of(frame: Frame, theta: np.ndarray) -> tuple[int, float]:
    """Place of the first drift column among the parameters (p,), and the slope of log film by log power at the centre.

    The slope is 0 where power never varied.
    """
    k = len(frame.axes)
    place = heat_places(k).stop + k * (k + 1) // 2
    power = np.flatnonzero(frame.axes == AXES.index("average_power_w"))
    if not power.size:
        return place, 0.0
    return place, float(theta[1 + power[0]]) + heat.slope_at_middle(theta[heat_places(k)], int(power[0]))
