"""Fits a colour model to patches, holds patches out to see how far off it is, and says so."""

from __future__ import annotations

import dataclasses

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.contest import Contest, hold_out
from tint.model.drift import course
from tint.model.folds import BASELINES, baseline, fold_count, folds
from tint.model.insight import effects, missing_hues
from tint.model.latent import log_axes, moved_axes
from tint.model.learn import Learned, learn
from tint.model.members import KINDS
from tint.model.model import ColourModel, Member
from tint.model.optics import family_of
from tint.model.quantities import HATCH, box, log_fields, turned, varied
from tint.model.radius import calibrate, cross_coverage
from tint.model.report import FEW_PATCHES, GUESSES, FitReport, Score
from tint.model.training import Training
from tint.setting import FIELDS, Machine, Stock
from tint.threads import one_thread

MIN_PATCHES = 12  # fewer cannot be held out in parts and still teach anything
USUAL_SD_DE00 = 0.3  # a hand-held spectrophotometer (common practice, no source)
MARK_SD_DE00 = 0.9  # scatter of one mark to the next at one setting, as two studies on simulated lasers took it


@one_thread
def fit(patches: Patches, machine: Machine, stock: Stock, *, seed: int = 0) -> ColourModel:
    """Colour model of the good patches of one stock on one machine, with a report on patches held out.

    Parameters
    ----------
    patches : marked and measured; flagged ones are left out
    machine, stock : what they were marked on
    seed : decides which patches are held out together, and where the search for a film starts

    Raises
    ------
    DataError
        Fewer than 12 good patches, or none whose setting differs in what the model sees.
    LimitError
        A patch the machine cannot have marked.

    Notes
    -----
    Two members are fitted: thin-film colour of latent heat with a Gaussian process on what it leaves, and a Gaussian
    process on process quantities alone. Each is judged on patches held out, and the shares that predicted those best are
    kept. Drift along the marking order is taken out; patches that the rest contradict are set aside and named; the
    uncertainty is calibrated on held-out patches.
    """
    machine.check(patches.setting, "the patches")
    order = own_order(patches)
    good = patches.take(order)
    _enough(good, len(patches), machine, stock)
    training = Training(good.setting, good.lab, relative_noise(good.sd))
    along = course(patches)
    learned = learn(training, None if along is None else along[order], machine, family_of(stock.grade), seed)
    fold = folds(good.setting.table(), fold_count(len(good)), seed)
    contest = hold_out(learned, machine, fold, seed)
    good_rows = ~learned.aside
    calibration = calibrate(contest.error_de00[good_rows], contest.spread_de00[good_rows], MARK_SD_DE00)
    members = members_of(learned, contest)
    kind = " and ".join(KINDS[member.kind] for member in members)
    report = _report(good, len(patches), learned, contest, fold, box(log_fields(good.setting)))
    radius = calibration.radius_de00(contest.spread_de00, np.zeros(len(good)))
    report = dataclasses.replace(report, radius_de00=float(np.median(radius)))
    model = ColourModel(
        machine, stock, good, kind, members, learned.training.noise, calibration, report,
        learned.drift.shift(learned.along, len(good)), contest.lab,
    )  # fmt: skip
    return dataclasses.replace(model, report=dataclasses.replace(report, effects=effects(model), missing=missing_hues(model)))


def members_of(learned: Learned, contest: Contest) -> tuple[Member, ...]:
    """The members that won a share."""
    shares = zip(contest.kinds, contest.shares, strict=True)
    return tuple(Member(kind, float(share), learned.numbers[kind]) for kind, share in shares if share > 0)


def own_order(patches: Patches) -> np.ndarray:
    """Rows (n,) of the good patches, sorted by setting and colour, so that the order of rows in a file changes nothing."""
    keys = [*patches.lab.T, *np.nan_to_num(patches.setting.table(), nan=-1e9).T]
    rows = np.lexsort(keys)
    return rows[patches.good[rows]]


def _enough(good: Patches, count: int, machine: Machine, stock: Stock) -> None:
    if len(good) < MIN_PATCHES:
        flagged = f" ({count - len(good)} are flagged)" if count > len(good) else ""
        raise DataError(
            f"only {len(good)} good patches for {stock.name}{flagged}; a fit needs {MIN_PATCHES}. "
            f"Mark at least {MIN_PATCHES - len(good)} more settings and measure again."
        )
    if not moved_axes(log_axes(good.setting, machine)).size:
        moved = dict(zip(FIELDS, varied(box(log_fields(good.setting))), strict=True))
        if moved["focus_mm"]:
            alike = "differ in the side of focus only, which marks alike as far as is modelled"
        elif moved["hatch_deg"]:
            alike = "differ in hatch angle only, whose effect is not modelled"
        else:
            alike = "have the same setting"
        raise DataError(f"all {len(good)} good patches {alike}; a fit needs settings that differ. Mark a test grid.")


def relative_noise(sd: np.ndarray) -> np.ndarray:
    """(n,) noise variance of each patch over a usual one, from its standard uncertainty where it is known."""
    known = np.where(np.isnan(sd), USUAL_SD_DE00, sd)
    return (MARK_SD_DE00**2 + known**2) / (MARK_SD_DE00**2 + USUAL_SD_DE00**2)


def _report(good: Patches, count: int, learned: Learned, contest: Contest, fold: np.ndarray, edges: np.ndarray) -> FitReport:
    x = unit_box(good, edges)
    scores = [Score.of("this model", contest.error_de00)]
    scores += [
        Score.of(KINDS[kind], error, share) for kind, error, share in zip(contest.kinds, contest.errors_de00, contest.shares, strict=True)
    ]
    scores += [Score.of(name, delta_e00(baseline(name, x, good.lab, fold), good.lab)) for name in BASELINES]
    drift = learned.drift
    return FitReport(
        patches=len(good), flagged=count - len(good), folds=int(fold.max()) + 1, scores=tuple(scores),
        coverage=cross_coverage(contest.error_de00, contest.spread_de00, MARK_SD_DE00, fold, learned.aside),
        radius_de00=0.0,
        outliers=tuple(name for name, far in zip(good.ids, learned.aside, strict=True) if far),
        fixed_fields=tuple(name for name, moved in zip(FIELDS, varied(edges), strict=True) if not moved),
        drift_pct=drift.pct,
        drift_sd_pct=drift.sd_pct,
        plate_steps_pct=drift.steps_pct,
        remarks=_remarks(good, scores, contest),
    )  # fmt: skip


def unit_box(good: Patches, edges: np.ndarray) -> np.ndarray:
    """Log settings (n, d) of the fields that varied, scaled to 0..1."""
    moved = varied(edges)
    fields = np.nan_to_num(turned(log_fields(good.setting), edges)[:, moved])
    return (fields - np.nan_to_num(edges[0, moved])) / (edges[1] - edges[0])[moved]


def _remarks(good: Patches, scores: list[Score], contest: Contest) -> tuple[str, ...]:
    remarks = []
    if dict(zip(contest.kinds, contest.shares, strict=True))["film"] == 0:
        remarks.append(
            "thin-film colour did not win on held-out patches of this stock; the plain process regression predicts alone, "
            "and needs more patches for the same accuracy."
        )
    if len(good) < FEW_PATCHES:
        remarks.append(
            f"{len(good)} patches are few: heed the radius of each colour, and mark {FEW_PATCHES} or more for work that must match."
        )
    best = min(scores, key=lambda score: score.median_de00)
    if best.name in BASELINES and best.name not in GUESSES:  # the report says those louder
        remarks.append(f"{best.name} was nearer on held-out patches: mark more settings before trusting colours between them.")
    return (*remarks, *patch_remarks(good))


def patch_remarks(good: Patches) -> tuple[str, ...]:
    """What to heed of any model of such patches: a hatch angle that varied, colours of a camera, SIMULATED colours."""
    remarks = []
    if varied(box(log_fields(good.setting)))[HATCH]:
        remarks.append("hatch angle varied, but its effect is not modelled: keep it at one value for work that must match.")
    facts = " ".join(good.facts.values()).lower()
    if "camera" in facts:
        remarks.append("colours came from a camera: use them to compare with each other, not as true colour.")
    if "simulated" in facts:
        remarks.append("SIMULATED patches: no metal was marked.")
    return tuple(remarks)
