"""From a known stock to a new one: another batch, grade, thickness or machine, with a handful of patches.

The base model's film is refitted with what it learned as the expectation: closely held for another batch, loosely for
another grade or machine. Base as it is, each refit, and a fit from scratch are judged on held-out new patches. Drift along
the marking order is found with the base's film as well: a film from nothing, of few patches, takes for drift what is not.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.contest import CLIP_DE00, blend, hold_out
from tint.model.descent import LEAST_SIGMA, Fits, Problem, covariance, descend
from tint.model.drift import EXPECTED_PCT, NO_DRIFT, Drift, course, shifted
from tint.model.film_gp import LEAST_SLOPE, TEMPER, USUAL_LENGTH, FilmFit, film_drift, film_numbers, ready_film
from tint.model.fit import MARK_SD_DE00, MIN_PATCHES, members_of, own_order, patch_remarks, relative_noise, unit_box
from tint.model.folds import baseline, folds
from tint.model.latent import Expectation, Frame, drift_of, expectation, features, heat_places, log_axes, unseen
from tint.model.learn import OUTLIER_NOISE, OUTLIER_SIGMA, learn
from tint.model.members import ready
from tint.model.model import ColourModel, Member
from tint.model.optics import OPTICS_MEAN, family_of, optics_of
from tint.model.quantities import box, log_fields, varied
from tint.model.radius import calibrate, cross_coverage
from tint.model.report import GUESSES, FitReport, Score
from tint.model.training import Training
from tint.setting import FIELDS, Machine, Stock
from tint.threads import one_thread

LEAST_PATCHES = 6  # fewer cannot even tell whether the base fits
LEAST_SETTINGS = 3
FOLDS = 8
# Shifts of log film a refit starts from: a new stock may sit orders of interference away
LEVELS = np.linspace(-0.9, 0.9, 13)
SHARPNESS = 6.0  # ways are averaged by their mean error to the power of −6: a tenth worse counts half
SAME_SCORE_DE00 = 1e-3  # mean errors below it are one: patches of one colour leave none at all
LEAST_SHARE = 0.15  # of the best way's share
FREE_RESIDUAL = 48  # patches from which the process on what the film leaves learns its own hyperparameters
# Log length scale and log nugget before that: three fifths of the misfit are taken as scatter
STILL_KERNEL = (-0.5, 0.5)


@dataclass(frozen=True)
class Hold:
    """How closely a refit holds each kind of parameter: prior sd around the base.

    `level` and `slope` are of log film. The others scale expected widths: `bent` those of its second-order terms and
    waves, `rest` those of the heat balance and of share, haze and gain, `optics` those of the optical constants.
    """

    name: str
    level: float
    slope: float
    bent: float
    rest: float
    optics: float


# Another batch moves offsets more than slopes; another grade grows another oxide, which few patches can tell if its optical
# constants are let go while slopes and bends are held; another machine may move everything. Sizes were found on simulated
# plates other than those the tables are scored on; held-out patches choose between them.
HOLDS = (
    Hold("base refitted closely", 0.12, 0.03, 0.1, 0.12, 0.15),
    Hold("base refitted, another oxide", 0.4, 0.08, 0.05, 0.1, 1.0),
    Hold("base refitted", 0.4, 0.12, 0.1, 0.25, 1.2),
    Hold("base refitted loosely", 1.0, 0.3, 0.3, 0.5, 1.2),
)
USUAL_HOLD = 2  # of the holds, the one whose misfit tells a spoilt patch among too few to fit from scratch
SCRATCH = "fitted from scratch"


@dataclass(frozen=True, eq=False)
class _Way:
    """A way to predict the new stock: its name, Lab (n, 3) and spread (n,) at patches held out, its members."""

    name: str
    lab: np.ndarray
    spread: np.ndarray
    members: tuple[Member, ...]

    def score_de00(self, lab: np.ndarray, count: np.ndarray) -> float:
        """Mean error over the patches that count (n,), each up to a limit."""
        return float(np.minimum(delta_e00(self.lab, lab)[count], CLIP_DE00).mean())


@one_thread
def adapt(base: ColourModel, patches: Patches, machine: Machine, stock: Stock, *, seed: int = 0) -> ColourModel:
    """Colour model of a new stock or machine from a base model and a few patches; the best way on held-out patches.

    Parameters
    ----------
    base : model of a stock or machine not too far away
    patches : of the new stock; 8 to 24, spread over the settings that will be used
    machine, stock : what they were marked on
    seed : decides which patches are held out together

    Raises
    ------
    DataError
        Fewer than 6 good patches or 3 settings, or a base without a film to carry over.
    LimitError
        A patch the machine cannot have marked.
    """
    machine.check(patches.setting, "the patches")
    order = own_order(patches)
    good = patches.take(order)
    film = _film_to_carry(base, good, machine, stock)
    training = Training(good.setting, good.lab, relative_noise(good.sd))
    fold = folds(good.setting.table(), min(FOLDS, len(good)), seed)
    family, edges = family_of(stock.grade), box(log_fields(good.setting))
    along = course(patches)
    along = None if along is None else along[order]
    drift = NO_DRIFT if along is None else _drift(film, training, machine, family, along)
    log_power = drift.shift(along, len(good))
    training, ways = Training(shifted(training.setting, log_power), training.lab, training.noise), []
    if len(good) >= MIN_PATCHES:
        learned = learn(training, None, machine, family, seed)
        contest = hold_out(learned, machine, fold, seed)
        ways.append(_Way(SCRATCH, contest.lab, contest.spread_de00, members_of(learned, contest)))
        training, aside = learned.training, learned.aside
    else:
        aside = _spoilt(film, training, machine, family)
        training = Training(training.setting, training.lab, np.where(aside, OUTLIER_NOISE, training.noise))
    if family == film.numbers["family"]:
        ways.append(_as_is(film, training, machine))
    ways += [_refit(film, training, machine, family, hold, fold) for hold in HOLDS]
    shares = _shares(ways, good.lab, ~aside)
    best = ways[int(shares.argmax())]
    lab, spread = blend(np.stack([w.lab for w in ways]), np.stack([_as_sd(w) for w in ways]), shares)
    error = delta_e00(lab, good.lab)
    # no flattery: a refit starts from the base, patches held out or not
    calibration = calibrate(error[~aside], spread[~aside], MARK_SD_DE00, flattery=0)
    report = FitReport(
        patches=len(good), flagged=len(patches) - len(good), folds=int(fold.max()) + 1,
        scores=_scores(error, ways, shares, good, unit_box(good, edges), fold),
        coverage=cross_coverage(error, spread, MARK_SD_DE00, fold, aside, flattery=0),
        radius_de00=float(np.median(calibration.radius_de00(spread, np.zeros(len(good))))),
        outliers=tuple(name for name, far in zip(good.ids, aside, strict=True) if far),
        fixed_fields=tuple(name for name, moved in zip(FIELDS, varied(edges), strict=True) if not moved),
        drift_pct=drift.pct,
        drift_sd_pct=drift.sd_pct,
        plate_steps_pct=drift.steps_pct,
        remarks=(
            f"carried over from {base.stock.name} on {base.machine.name}; most weight: {best.name}.",
            f"{len(good)} patches checked it; mark more where a colour matters.",
            *patch_remarks(good),
        ),
    )  # fmt: skip
    members = tuple(
        Member(member.kind, float(share * member.weight), member.numbers)
        for way, share in zip(ways, shares, strict=True) if share > 0 for member in way.members
    )  # fmt: skip
    kind = f"carried over: {best.name}"
    return ColourModel(machine, stock, good, kind, members, training.noise, calibration, report, log_power, lab)


def _film_to_carry(base: ColourModel, good: Patches, machine: Machine, stock: Stock) -> Member:
    """The base's film; raises where it has none, or where the good patches are too few or too much alike."""
    if len(good) < LEAST_PATCHES:
        raise DataError(
            f"only {len(good)} good patches for {stock.name}; carrying a model over needs {LEAST_PATCHES}, better 16. "
            "Mark more."
        )
    if len(np.unique(log_axes(good.setting, machine).round(6), axis=0)) < LEAST_SETTINGS:
        raise DataError(
            f"the {len(good)} good patches for {stock.name} share one or two settings, hatch angle aside; "
            f"mark {LEAST_PATCHES} that differ, better 16."
        )
    film = next((member for member in base.members if member.kind == "film"), None)
    if film is None:
        raise DataError(
            f"the base model of {base.stock.name} predicts without film colour and cannot be carried over. "
            f"Fit {stock.name} from its own grid."
        )
    return film


def _scores(
    error: np.ndarray, ways: list[_Way], shares: np.ndarray, good: Patches, x: np.ndarray, fold: np.ndarray
) -> tuple[Score, ...]:
    """Scores of the blend by its errors (n,) [ΔE00], each way, and plain guesses on settings x (n, d) of the box."""
    return (
        Score.of("this model", error),
        *(Score.of(way.name, delta_e00(way.lab, good.lab), share) for way, share in zip(ways, shares, strict=True)),
        *(Score.of(name, delta_e00(baseline(name, x, good.lab, fold), good.lab)) for name in GUESSES),
    )


def _shares(ways: list[_Way], lab: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Shares (w,) of the ways by how little each erred on held-out patches that count (n,); the hopeless get none."""
    score = np.maximum([way.score_de00(lab, count) for way in ways], SAME_SCORE_DE00)
    shares = (score / score.min()) ** -SHARPNESS
    shares[shares < LEAST_SHARE] = 0
    return shares / shares.sum()


def _as_sd(way: _Way) -> np.ndarray:
    # a spread in ΔE00 stands for deviations of a neutral colour: the calibration takes out any common factor
    return np.repeat(way.spread[:, None] / np.sqrt(3), 3, axis=1)


def _as_is(film: Member, training: Training, machine: Machine) -> _Way:
    """The base's film on the new machine's process quantities; its residual stays behind with its own patches.

    Of the new patches it takes the mean of what the film leaves at them, and is judged on the same.
    """
    numbers = {**film.numbers, "log_reach": [STILL_KERNEL[0]] * len(film.numbers["axes"]), "log_nugget": 9.0}
    means, sds = ready("film", numbers, training, machine).predict(training.setting)
    lab, spread = blend(means[None], sds[None], np.ones(1))
    return _Way("base as it is", lab, spread, (Member("film", 1.0, numbers),))


def _refit(film: Member, training: Training, machine: Machine, family: str, hold: Hold, fold: np.ndarray) -> _Way:
    numbers = _numbers(film, training, machine, family, hold)
    lab, spread = np.empty_like(training.lab), np.empty(len(fold))
    for k in np.unique(fold):
        here = fold == k
        rest = training.take(~here)
        means, sds = ready_film(_numbers(film, rest, machine, family, hold), rest, machine).predict(
            training.setting[here]
        )
        lab[here], spread[here] = blend(means[None], sds[None], np.ones(1))
    return _Way(hold.name, lab, spread, (Member("film", 1.0, numbers),))


def _spoilt(film: Member, training: Training, machine: Machine, family: str) -> np.ndarray:
    """(n,) True for a patch, of few, that stands far from what the base refitted to all of them says."""
    misfit = _fitted(film, training, machine, family, HOLDS[USUAL_HOLD]).misfit
    usual = max(float(np.median(misfit)) / USUAL_LENGTH, LEAST_SIGMA)
    return (misfit > OUTLIER_SIGMA * usual) & (misfit == misfit.max())


def _drift(film: Member, training: Training, machine: Machine, family: str, along: np.ndarray) -> Drift:
    """Drift found by the base refitted with the course (n, c) among its parameters: the mean over how it may be held.

    Notes
    -----
    Each hold counts by its evidence (Laplace), tempered as fits are. On simulated plates of 24 patches the error of the
    drift was 0.35 to 0.6 % (rms), of 8 and 16 patches 0.5 to 0.8 %, where that of saying "none" was 0.8 %.
    """
    fitted = [_fitted(film, training, machine, family, hold, along) for hold in HOLDS]
    found = [film_drift(fit, along.shape[1]) for fit in fitted]
    evidence = np.array([_log_evidence(fit) for fit in fitted])
    shares = np.exp((evidence - evidence.max()) / TEMPER)
    shares /= shares.sum()
    each, sds = np.stack([one.log_power for one in found]), np.stack([one.sd for one in found])
    mean = shares @ each
    return Drift(mean, np.sqrt(shares @ (sds**2 + (each - mean) ** 2)))


def _log_evidence(fit: FilmFit) -> float:
    """Logarithm of how probable the patches are under what was expected of a film, up to a constant."""
    spread = covariance(fit.problem, fit.fits.theta[0], float(fit.fits.sigma[0]))
    narrowed = 0.5 * np.linalg.slogdet(spread)[1] - np.log(fit.problem.expected.sd).sum()
    return float(narrowed - 0.5 * fit.fits.cost[0])


def _numbers(film: Member, training: Training, machine: Machine, family: str, hold: Hold) -> dict[str, Any]:
    """Numbers of the base's film refitted to a few patches."""
    still = {"log_reach": [STILL_KERNEL[0]] * len(film.numbers["axes"]), "log_nugget": STILL_KERNEL[1]}
    fitted = _fitted(film, training, machine, family, hold)
    return film_numbers(fitted, training, family, None if len(training.lab) >= FREE_RESIDUAL else still)


def _fitted(
    film: Member, training: Training, machine: Machine, family: str, hold: Hold, aged: np.ndarray | None = None
) -> FilmFit:
    """The base's film refitted to a few patches; with `aged` (n, c), what it is of their course in time."""
    base = film.numbers
    frame = Frame(
        np.array(base["axes"], int),
        *(np.array(base[name], float) for name in ("middle", "centre", "width", "at", "waves")),
    )
    logs, theta = log_axes(training.setting, machine), np.array(base["theta"], float)[0]
    shift, variance = unseen(frame, logs, theta)
    expected = _held(frame, theta, hold, family == base["family"])
    expected = _moved(expected, shift.mean(axis=0), variance.mean(axis=0))
    expected = expected if aged is None else _aging(expected, frame, theta, aged.shape[1])
    frame = dataclasses.replace(frame, middle=logs.mean(axis=0))
    columns = features(frame, logs, aged=aged)
    problem = Problem(optics_of(family), columns, training.lab, training.noise, expected)
    theta = np.repeat(expected.mean[None], len(LEVELS), axis=0)
    theta[:, 0] += LEVELS * min(1.0, 2 * hold.level)
    start = Fits(theta, np.zeros(len(LEVELS)), np.full(len(LEVELS), 4.0))
    fits = descend(problem, descend(problem, start, 10).best(4), 15)
    return FilmFit(frame, problem, fits, fits)


def _held(frame: Frame, theta: np.ndarray, hold: Hold, same_family: bool) -> Expectation:
    """The base's parameters as expectation, held as stated; optical constants of another family start from its tables."""
    usual = expectation(frame)
    sd, mean = usual.sd * hold.rest, theta.copy()
    film = usual.sizes[0]
    k = len(frame.axes)
    sd[0], sd[1 : 1 + k] = hold.level, hold.slope
    bent = slice(heat_places(k).stop, film)
    sd[bent] = usual.sd[bent] * hold.bent
    sd[-11:] = usual.sd[-11:] * (hold.optics if same_family else 1.0)
    if not same_family:
        mean[-11:] = OPTICS_MEAN
    return Expectation(mean, sd, usual.sizes)


def _moved(expected: Expectation, shift: np.ndarray, variance: np.ndarray) -> Expectation:
    """The expectation with its levels moved by what axes that the base never varied should do (4,), as unsure as that is."""
    mean, sd, place = expected.mean.copy(), expected.sd.copy(), 0
    for size, step, doubt in zip(expected.sizes, shift, variance, strict=True):
        mean[place] += step
        sd[place] = np.hypot(sd[place], np.sqrt(doubt))
        place += size
    return Expectation(mean, sd, expected.sizes)


def _aging(expected: Expectation, frame: Frame, theta: np.ndarray, columns: int) -> Expectation:
    """The expectation with a course of some columns: log film may change as the base answers the usual drift of power."""
    place, slope = drift_of(frame, theta)
    mean = np.insert(expected.mean, [place] * columns, 0.0)
    sd = np.insert(expected.sd, [place] * columns, EXPECTED_PCT / 100 * max(abs(slope), LEAST_SLOPE))
    return Expectation(mean, sd, (expected.sizes[0] + columns, *expected.sizes[1:]))
