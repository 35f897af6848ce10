"""What a strip's departures look like: heat, line spacing, frequency, surface, one colour; and how far the heat has shifted."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tint.palette.along import STEPS, Along

# The offsets kept with a palette are a model's: on simulated lasers they were off by about this share of the shift.
DOUBT = 0.25
# Added to the misfit of a cause, in units of χ²: a source and a focus stray on their own, a number on a dial only by hand.
BY_HAND = 9.0
# Of what may be found beside the heat: a focus error also weakens every pulse, and one colour may stray alone.
SECOND_GUESS = 3.0
ALIKE = 0.98  # squared correlation from which power and frequency move all colours alike and cannot be told apart
# of every further number a cause is free to choose: BIC's logarithm of 24 to 72 readings is 3.2 to 4.3
PER_NUMBER = 4.0
# times, and how far [log power], the heat shift is looked for again with its weights held
REWEIGHTED, NEAR_STEP = 2, 0.05
TRIES, ROUNDS = 49, 3  # of the search along a cause: steps over its whole range, then twice around the best

WORDS = {
    "none": "nothing beyond scatter",
    "power": "all colours shifted along heat: power or focus (line spacing moves them nearly alike)",
    "focus": "all colours shifted along heat, every pulse weaker: focus (a frequency dialled higher looks alike)",
    "spacing": "shifted as another line spacing would",
    "frequency": "shifted as another frequency would",
    "surface": "hue kept, chroma or lightness lost: the surface",
    "one colour": "one colour alone",
    "each": "each colour its own way",
}
ADVICE = {
    "none": "nothing to do.",
    "power": "clean the lens and check focus before turning the dial; what is left is the source's age.",
    "focus": "measure the working distance, and whether the scrap lay flat.",
    "spacing": "look up the line spacing in the job's settings, and whether the scanner's calibration was changed.",
    "frequency": "look up the frequency in the job's settings.",
    "surface": "look at finish and cleaning of this sheet, and wipe the instrument's aperture; no dial mends that.",
    "one colour": "compare its settings with the palette, digit by digit; else mark it again.",
    "each": "another sheet, another pulse width or an instrument not calibrated looks like this; calibrate and mark again.",
}
HEAT = ("power", "focus")
_ALONG = {"power": "power_pct", "spacing": "spacing_mm", "frequency": "freq_khz"}
_PENALTY = {"power": 0.0, "spacing": BY_HAND, "frequency": BY_HAND}


@dataclass(frozen=True, eq=False)
class Departure:
    """How the colours of a strip depart from their promise.

    Attributes
    ----------
    lab : (k, 3) promised
    error : (k, 3) measured mean less promise, in components of ΔE00
    turn : (k, 3, 3) from Lab to those components
    covariance : (k, 3, 3) of `error` while nothing changed
    along : offsets of each colour; empty where the palette has none
    """

    lab: np.ndarray
    error: np.ndarray
    turn: np.ndarray
    covariance: np.ndarray
    along: tuple[Along, ...]

    def shift(self, name: str, step: Any) -> np.ndarray:
        """(..., k, 3) components of ΔE00 that steps (...) along a cause move the colours by."""
        field = _ALONG[name]
        moved = np.stack([along.offset(field, step) for along in self.along], axis=-2)
        return np.einsum("kij,...kj->...ki", self.turn, moved)

    @cached_property
    def by_heat(self) -> np.ndarray:
        """(k, 3) change of colour per unit of log power, in components of ΔE00; zeros where not known."""
        if not self.along:
            return np.zeros_like(self.error)
        return np.einsum("kij,kj->ki", self.turn, [along.slope("power_pct") for along in self.along])


@dataclass(frozen=True, eq=False)
class Cause:
    """The likeliest cause of a departure.

    Attributes
    ----------
    name : one of `WORDS`
    size : change of log power (for power and focus), spacing or frequency; share of chroma lost; 0 for the rest
    colour : index of the colour, for "one colour", else None
    explained : share of the departure, weighted by how sure each reading is, that it explains
    left_de00 : (k,) what it does not explain [ΔE00]
    rival : the next likeliest, "" for none
    margin : by how much the rival fits worse [χ²]
    """

    name: str
    size: float
    colour: int | None
    explained: float
    left_de00: np.ndarray
    rival: str
    margin: float


@dataclass(frozen=True)
class Heat:
    """Heat shift of a strip: `pct` as a change of power [%], its standard error by the promise and by the strip [%]."""

    pct: float
    promise_sd_pct: float
    strip_sd_pct: float


def heat_shift(departure: Departure, by_promise: np.ndarray, steady: np.ndarray) -> Heat | None:
    """Heat shift that explains a departure best; None where no offsets are known or no colour answers to heat.

    Parameters
    ----------
    by_promise : (k, 3, 3) part of the covariance that is the promise's own uncertainty
    steady : (k,) True for colours to look at

    Notes
    -----
    Generalised least squares along each colour's curve. Readings weigh by their covariance plus the doubt about the curve at
    the shift found, which is then held: a likelihood whose doubt grows with the shift would rather have it small. Standard errors
    hold for no shift.
    """
    if not departure.along or not steady.any():
        return None
    inverse = np.linalg.inv(departure.covariance)
    g = departure.by_heat * steady[:, None]
    sharp = np.einsum("ki,kij,kj->", g, inverse, g)
    if sharp <= 0:
        return None
    pull = np.einsum("kij,kj->ki", inverse, g) / sharp
    promise, whole = (
        float(np.sqrt(np.einsum("ki,kij,kj->", pull, part, pull))) for part in (by_promise, departure.covariance)
    )
    step, _ = _best_step(departure, "power", steady)
    for _ in range(REWEIGHTED):
        step = _nearest_step(departure, step, steady)
    return Heat(100 * np.expm1(step), 100 * promise, 100 * np.sqrt(max(whole**2 - promise**2, 0.0)))


def pair_shift(departure: Departure, steady: np.ndarray, between_pct: float) -> tuple[float, float, float, int]:
    """Pulse shift beside the heat shift [%], its standard error [%], Hotelling's T² of the two, and how many of them count.

    Parameters
    ----------
    steady : (k,) True for colours to look at
    between_pct : standard deviation of the heat from strip to strip [%]

    Notes
    -----
    Generalised least squares on the slopes by power and by frequency. More pulses of less energy at one average power are what
    a higher frequency makes and, nearly, what a spot out of focus makes.
    """
    g = departure.by_heat * steady[:, None]
    pulse = (
        -np.einsum("kij,kj->ki", departure.turn, [along.slope("freq_khz") for along in departure.along])
        * steady[:, None]
    )
    inverse = np.zeros((g.size, g.size))
    for i, part in enumerate(np.linalg.inv(departure.covariance)):
        inverse[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = part
    # Woodbury: what changes from strip to strip moves all colours together
    pull = inverse @ g.ravel()
    inverse -= np.outer(pull, pull) / ((100 / max(between_pct, 1e-6)) ** 2 + g.ravel() @ pull)
    columns = np.stack([g.ravel(), pulse.ravel()], axis=1)
    sharp, force = columns.T @ inverse @ columns, columns.T @ inverse @ departure.error.ravel()
    if sharp[1, 1] < 1e-6 or sharp[0, 1] ** 2 > ALIKE * sharp[0, 0] * sharp[1, 1]:
        return 0.0, np.inf, float(force[0] ** 2 / sharp[0, 0]), 1
    found, variance = np.linalg.solve(sharp, force), np.linalg.inv(sharp)
    return 100 * float(found[1]), 100 * float(np.sqrt(variance[1, 1])), float(force @ found), 2


def find_cause(departure: Departure, focus_reach: float = 0.0) -> Cause:
    """The likeliest cause of a departure, by misfit plus what each further free number costs.

    Parameters
    ----------
    focus_reach : largest loss of fluence by a focus error worth thinking of, as a natural logarithm

    Notes
    -----
    Every cause foresees a shift of each colour. Its misfit is −2 log likelihood: what it leaves, weighted by the covariance of
    the readings and the doubt about the foreseen shift itself. Of equal misfits the cause with fewer free numbers is taken, and
    one that needs a wrong number on a dial only where it fits clearly better.
    """
    k = len(departure.error)
    everyone = np.ones(k, dtype=bool)
    base = float(_misfit(departure, np.zeros((k, 3)), everyone))
    found: list[tuple[float, str, float, int | None, np.ndarray]] = [(base, "none", 0.0, None, np.zeros((k, 3)))]
    for name in _ALONG if departure.along else ():
        step, misfit = _best_step(departure, name, everyone)
        found.append((misfit + PER_NUMBER + _PENALTY[name], name, step, None, departure.shift(name, step)))
    if departure.along and k > 2 and focus_reach > 0:
        heat, pulse, misfit = _best_focus(departure, focus_reach)
        shift = departure.shift("power", heat) + departure.shift("frequency", pulse)
        found.append((misfit + 2 * PER_NUMBER + SECOND_GUESS, "focus", heat, None, shift))
    if k > 2:
        lost, shift = _surface(departure)
        found.append((float(_misfit(departure, shift, everyone)) + 2 * PER_NUMBER, "surface", lost, None, shift))
    if k > 1:
        alone = [_alone(departure, i) for i in range(k)]
        misfits = [float(_misfit(departure, shift, everyone)) for shift in alone]
        worst = int(np.argmin(misfits))
        found.append((misfits[worst] + 3 * PER_NUMBER + SECOND_GUESS, "one colour", 0.0, worst, alone[worst]))
        each = np.linalg.slogdet(departure.covariance)[1].sum() + 3 * k * PER_NUMBER
        found.append((float(each), "each", 0.0, None, departure.error))
    found.sort(key=lambda item: item[0])
    _, name, size, colour, shift = found[0]
    left = np.zeros_like(shift) if name == "each" else departure.error - shift
    start = _chi2(departure.error, departure.covariance)
    explained = 0.0 if name in ("none", "each") else 1 - _chi2(left, departure.covariance) / start
    rivals = [item for item in found[1:] if not (name in HEAT and item[1] in HEAT)]
    return Cause(
        name, float(size), colour, float(np.clip(explained, 0, 1)), np.linalg.norm(left, axis=1),
        rivals[0][1] if rivals else "", rivals[0][0] - found[0][0] if rivals else np.inf,
    )  # fmt: skip


def _best_step(departure: Departure, name: str, steady: np.ndarray) -> tuple[float, float]:
    """Step along a cause with the least misfit over the colours looked at, and that misfit."""
    low, high = STEPS[_ALONG[name]][0], STEPS[_ALONG[name]][-1]
    for _ in range(ROUNDS):
        steps = np.linspace(low, high, TRIES)
        misfits = _misfit(departure, departure.shift(name, steps), steady)
        best = int(np.argmin(misfits))
        low, high = steps[max(best - 1, 0)], steps[min(best + 1, TRIES - 1)]
    return float(steps[best]), float(misfits[best])


def _nearest_step(departure: Departure, step: float, steady: np.ndarray) -> float:
    """Step along heat near another that leaves the least, weighted as that other step says."""
    doubt = DOUBT**2 / 3 * (departure.shift("power", step) ** 2).sum(axis=-1)
    inverse = np.linalg.inv(departure.covariance + doubt[:, None, None] * np.eye(3))[steady]
    low, high = STEPS["power_pct"][0], STEPS["power_pct"][-1]
    width = NEAR_STEP
    for _ in range(ROUNDS):
        steps = np.clip(np.linspace(step - width, step + width, TRIES), low, high)
        left = (departure.error - departure.shift("power", steps))[:, steady]
        step, width = float(steps[np.argmin(np.einsum("ski,kij,skj->s", left, inverse, left))]), 2 * width / (TRIES - 1)
    return step


def _best_focus(departure: Departure, reach: float) -> tuple[float, float, float]:
    """Steps along power and along frequency, the latter from 0 up to a reach, with the least misfit, and that misfit."""
    everyone = np.ones(len(departure.error), dtype=bool)
    (low, high), (least, most) = (
        STEPS["power_pct"][:: len(STEPS["power_pct"]) - 1],
        (0.0, min(reach, STEPS["freq_khz"][-1])),
    )
    for _ in range(ROUNDS):
        heats, pulses = np.linspace(low, high, 25), np.linspace(least, most, 9)
        shift = departure.shift("power", heats)[:, None] + departure.shift("frequency", pulses)[None]
        misfits = _misfit(departure, shift, everyone)
        i, j = (int(at) for at in np.unravel_index(int(np.argmin(misfits)), misfits.shape))
        low, high = heats[max(i - 1, 0)], heats[min(i + 1, 24)]
        least, most = pulses[max(j - 1, 0)], pulses[min(j + 1, 8)]
    return float(heats[i]), float(pulses[j]), float(misfits[i, j])


def _misfit(departure: Departure, shift: np.ndarray, steady: np.ndarray) -> np.ndarray:
    """−2 log likelihood (...) of shifts (..., k, 3) over the colours looked at, up to a constant."""
    doubt = DOUBT**2 / 3 * (shift**2).sum(axis=-1)
    covariance = (departure.covariance + doubt[..., None, None] * np.eye(3))[..., steady, :, :]
    return _chi2((departure.error - shift)[..., steady, :], covariance) + np.linalg.slogdet(covariance)[1].sum(axis=-1)


def _chi2(error: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    return np.einsum("...ki,...kij,...kj->...", error, np.linalg.inv(covariance), error)


def _surface(departure: Departure) -> tuple[float, np.ndarray]:
    """Share of chroma lost, and the shift (k, 3) of that and one change of lightness, by weighted least squares."""
    chroma = departure.lab * [0.0, -1.0, -1.0]
    columns = np.stack([chroma, np.tile([1.0, 0.0, 0.0], (len(chroma), 1))], axis=-1)
    columns = np.einsum("kij,kjn->kin", departure.turn, columns)
    inverse = np.linalg.inv(departure.covariance)
    sharp = np.einsum("kin,kij,kjm->nm", columns, inverse, columns) + 1e-9 * np.eye(2)
    lost = np.linalg.solve(sharp, np.einsum("kin,kij,kj->n", columns, inverse, departure.error))
    return float(lost[0]), columns @ lost


def _alone(departure: Departure, index: int) -> np.ndarray:
    shift = np.zeros_like(departure.error)
    shift[index] = departure.error[index]
    return shift
