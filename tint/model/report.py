"""What a fit found out about itself, and the text a shop reads."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from tint.setting import WORDS

NO_EFFECT_DE00 = 1.5  # less is lost in the scatter from mark to mark
NOTICEABLE_DE00 = 2  # a difference most people see side by side (common practice, no source)
SURE_SD = 2  # standard errors from which an estimate is called told apart from nothing
GUESSES = ("mean colour", "nearest patch")  # baselines no model may be worse than
ROW = "{:<47}{:>8}{:>16}"  # of the table of errors: the longest name, its median, and within which 9 of 10 are
FEW_PATCHES = 48  # below it the honest radius was 11–18 ΔE00 on simulated lasers


@dataclass(frozen=True)
class Score:
    """How far off a way of predicting was on patches it had not seen: median and 90th percentile [ΔE00], its share."""

    name: str
    median_de00: float
    p90_de00: float
    weight: float = 0.0

    @classmethod
    def of(cls, name: str, error_de00: np.ndarray, weight: float = 0.0) -> Score:
        """Score of errors (n,) [ΔE00]."""
        return cls(name, float(np.median(error_de00)), float(np.quantile(error_de00, 0.9)), float(weight))


@dataclass(frozen=True)
class FitReport:
    """What a fit found out.

    Attributes
    ----------
    patches, flagged : how many were used, and how many left out for their flag
    folds : in how many parts the patches were held out
    scores : the model first, then its members and the plain baselines
    coverage : share of held-out patches, outliers too, inside `de00_90` when calibrated on the others without outliers
    radius_de00 : median `de00_90` at held-out patches
    outliers : ids of patches that the others contradict; they were set aside
    fixed_fields : fields that never varied, so nothing was learned about them
    drift_pct, drift_sd_pct : change of power from first to last patch and its standard error [%]; None unknown
    effects : fields that varied, each with the shift of colour [ΔE00] from its lowest to its highest
    missing : hue words no setting of the box shows
    plate_steps_pct : change of power from the first plate to each further one [%]
    remarks : sentences for the operator
    """

    patches: int
    flagged: int
    folds: int
    scores: tuple[Score, ...]
    coverage: float
    radius_de00: float
    outliers: tuple[str, ...] = ()
    fixed_fields: tuple[str, ...] = ()
    drift_pct: float | None = None
    drift_sd_pct: float | None = None
    plate_steps_pct: tuple[float, ...] = ()
    effects: tuple[tuple[str, float], ...] = ()
    missing: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Contents as plain values for JSON."""
        return asdict(self)


def report_from(body: dict[str, Any]) -> FitReport:
    """Report from the mapping `FitReport.as_dict` gives."""
    scores = tuple(Score(**score) for score in body["scores"])
    tuples = {name: tuple(body[name]) for name in ("outliers", "fixed_fields", "plate_steps_pct", "missing", "remarks")}
    effects = tuple((str(name), float(shift)) for name, shift in body["effects"])
    return FitReport(**{**body, **tuples, "scores": scores, "effects": effects})


def worse_than(report: FitReport) -> str:
    """Name of the plain guess, mean colour or nearest patch, that came as near as the model on held-out patches; "" none."""
    guesses = [score for score in report.scores[1:] if score.name in GUESSES]
    best = min(guesses, key=lambda score: score.median_de00, default=None)
    return best.name if best is not None and best.median_de00 <= report.scores[0].median_de00 else ""


def report_text(report: FitReport) -> str:
    """Text of a report: how far off in one sentence, a table of held-out errors, and what to do about them."""
    ours, *others = report.scores
    lines = [
        f"Half of fresh marks should land within ΔE00 {ours.median_de00:.1f} of the prediction, 9 of 10 within "
        f"{ours.p90_de00:.1f} ({NOTICEABLE_DE00:g} is just noticeable)."
    ]
    if rival := worse_than(report):
        lines.append(
            f"WORSE THAN GUESSING: {rival} comes as near. Do the readings belong to this plate, machine and stock, in this order?"
        )
    lines += [
        "",
        f"{report.patches} patches" + (f", {report.flagged} more left out for their flag" if report.flagged else ""),
        ROW.format(f"Error on patches held out, in {report.folds} parts [ΔE00]", "median", "9 of 10 within"),
    ]
    alone = [score.name for score in others if score.weight == 1]
    for score in report.scores:
        share = f"   (share {100 * score.weight:.0f} %)" if score.weight > 0 else ""
        if score.name not in alone:
            errors = (f"{score.median_de00:.2f}", f"{score.p90_de00:.2f}")
            lines.append(ROW.format(f"  {score.name}", *errors) + share)
    lines += [f"This model is {name} alone: nothing mixed in did better." for name in alone]
    lines += [
        "",
        f"Radius de00_90: {report.radius_de00:.1f} at a typical setting; "
        f"{100 * report.coverage:.0f} % of held-out patches fell inside theirs (90 % is meant).",
    ]
    if report.drift_pct is not None and report.drift_sd_pct is not None:
        change = f"{report.drift_pct:+.2f} % of power from first to last patch (± {report.drift_sd_pct:.2f})"
        told = abs(report.drift_pct) >= SURE_SD * report.drift_sd_pct
        lines.append(f"Drift along the marking order: {change if told else f'too small to tell, {change}'}; taken out.")
    if report.plate_steps_pct:
        steps = ", ".join(f"{step:+.2f} %" for step in report.plate_steps_pct)
        further = "the next" if len(report.plate_steps_pct) == 1 else "each further one"
        lines.append(
            f"From the first plate to {further}, power changed by {steps}; taken out. Colours are those of the first plate."
        )
    if report.outliers:
        lines.append(
            f"Outliers, set aside: {', '.join(report.outliers)}. Look at them; flag them if damaged, or mark them again."
        )
    if report.effects:
        moves = ", ".join(f"{WORDS[name]} {shift:.1f}" for name, shift in report.effects)
        lines.append(f"From lowest to highest in the grid, colour moves by [ΔE00]: {moves}.")
    if idle := [WORDS[name] for name, shift in report.effects if shift < NO_EFFECT_DE00]:
        lines.append(f"Without visible effect: {', '.join(idle)}. Spend no patches on it in the next grid.")
    if report.missing:
        lines.append(f"Hues this grid does not reach: {', '.join(report.missing)}. Widen the grid if you need them.")
    if report.fixed_fields:
        lines.append(
            f"Never varied, so not learned: {', '.join(WORDS[name] for name in report.fixed_fields)}. "
            "Keep them as they were in the grid."
        )
    return "\n".join([*lines, *(f"Note: {remark}" for remark in report.remarks)]) + "\n"
