"""Fits a colour model to patches, holds patches out to see how far off it is, and says so."""

from __future__ import annotations

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.folds import BASELINES, baseline, fold_count, folds
from tint.model.members import OUTLIER_NOISE, Training, fit_process, ready
from tint.model.model import ColourModel, Member, blend
from tint.model.quantities import box, log_fields, varied
from tint.model.radius import calibrate, cross_coverage
from tint.model.report import FEW_PATCHES, FitReport, Score
from tint.setting import FIELDS, Machine, Stock

MIN_PATCHES = 12  # fewer cannot be held out in parts and still teach anything
USUAL_SD_DE00 = 0.3  # a hand-held spectrophotometer (common practice, no source)
MARK_SD_DE00 = 0.9  # scatter of one mark to the next at one setting, as two studies on simulated lasers took it


def fit(patches: Patches, machine: Machine, stock: Stock, *, seed: int = 0) -> ColourModel:
    """Colour model of the good patches of one stock on one machine, with a report on patches held out.

    Parameters
    ----------
    seed : decides which patches are held out together

    Raises
    ------
    DataError
        Fewer than 12 good patches, or all of one setting.
    LimitError
        A patch the machine cannot have marked.

    Notes
    -----
    Patches that the others contradict are set aside and named. The uncertainty is calibrated on held-out patches.
    """
    machine.check(patches.setting, "the patches")
    good = _in_own_order(patches.take(patches.good))
    _enough(good, len(patches), stock)
    training = Training(good.setting, good.lab, _relative_noise(good.sd))
    numbers = fit_process(training, machine)
    fold = folds(good.setting.table(), fold_count(len(good)), seed)
    means, sds = _held_out(training, machine, fold)
    lab, spread = blend(means[None], sds[None], np.ones(1))
    error = delta_e00(lab, good.lab)
    aside = np.array(numbers["noise"]) >= OUTLIER_NOISE
    noise_de00 = MARK_SD_DE00
    calibration = calibrate(error[~aside], spread[~aside], noise_de00)
    edges = box(log_fields(good.setting))
    scores = [_score("process Gaussian process (chosen)", error)]
    x = _unit_box(good, edges)
    scores += [_score(name, delta_e00(baseline(name, x, good.lab, fold), good.lab)) for name in BASELINES]
    radius = calibration.radius_de00(spread, np.zeros(len(good)))
    report = FitReport(
        patches=len(good), flagged=len(patches) - len(good), folds=int(fold.max()) + 1, scores=tuple(scores),
        coverage=cross_coverage(error, spread, noise_de00, fold), radius_de00=float(np.median(radius)),
        outliers=tuple(name for name, far in zip(good.ids, aside, strict=True) if far),
        fixed_fields=tuple(name for name, moved in zip(FIELDS, varied(edges), strict=True) if not moved),
        remarks=_remarks(good, scores),
    )  # fmt: skip
    members = (Member("process", 1.0, numbers),)
    return ColourModel(machine, stock, good, "process Gaussian process", members, training.noise, calibration, report)


def _in_own_order(patches: Patches) -> Patches:
    """The patches sorted by setting and colour, so that the order of rows in a file changes nothing."""
    keys = [*patches.lab.T, *np.nan_to_num(patches.setting.table(), nan=-1e9).T]
    return patches.take(np.lexsort(keys))


def _enough(good: Patches, count: int, stock: Stock) -> None:
    if len(good) < MIN_PATCHES:
        flagged = f" ({count - len(good)} are flagged)" if count > len(good) else ""
        raise DataError(
            f"only {len(good)} good patches for {stock.name}{flagged}; a fit needs {MIN_PATCHES}. "
            f"Mark at least {MIN_PATCHES - len(good)} more settings and measure again."
        )
    if not varied(box(log_fields(good.setting))).any():
        raise DataError(
            f"all {len(good)} good patches have the same setting; a fit needs settings that differ. Mark a test grid."
        )


def _relative_noise(sd: np.ndarray) -> np.ndarray:
    """(n,) noise variance of each patch over a usual one, from its standard uncertainty where it is known."""
    known = np.where(np.isnan(sd), USUAL_SD_DE00, sd)
    return (MARK_SD_DE00**2 + known**2) / (MARK_SD_DE00**2 + USUAL_SD_DE00**2)


def _held_out(training: Training, machine: Machine, fold: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means and deviations (n, 3) at each patch of a member fitted without the patch's fold."""
    means, sds = np.empty_like(training.lab), np.empty_like(training.lab)
    for k in np.unique(fold):
        here = fold == k
        rest = training.take(~here)
        member = ready("process", fit_process(rest, machine), rest, machine)
        means[here], sds[here] = member.predict(training.setting[here])
    return means, sds


def _unit_box(good: Patches, edges: np.ndarray) -> np.ndarray:
    """Log settings (n, d) of the fields that varied, scaled to 0..1."""
    moved = varied(edges)
    fields = np.nan_to_num(log_fields(good.setting)[:, moved])
    return (fields - np.nan_to_num(edges[0, moved])) / (edges[1] - edges[0])[moved]


def _score(name: str, error: np.ndarray) -> Score:
    return Score(name, float(np.median(error)), float(np.quantile(error, 0.9)))


def _remarks(good: Patches, scores: list[Score]) -> tuple[str, ...]:
    remarks = []
    if len(good) < FEW_PATCHES:
        remarks.append(
            f"{len(good)} patches are few: heed the radius of each colour, and mark {FEW_PATCHES} or more for work that must match."
        )
    best = min(scores[1:], key=lambda score: score.median_de00)
    if best.median_de00 < scores[0].median_de00:
        remarks.append(f"{best.name} was nearer on held-out patches: mark more settings before trusting colours between them.")
    if "camera" in " ".join(good.facts.values()).lower():
        remarks.append("colours came from a camera without a reference: use them to compare with each other, not as true colour.")
    if "simulated" in " ".join(good.facts.values()).lower():
        remarks.append("SIMULATED patches: no metal was marked.")
    return tuple(remarks)
