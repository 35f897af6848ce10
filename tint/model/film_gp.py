"""Member "film": thin-film colour of latent quantities of heat, plus a Gaussian process on what that leaves over."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.model import gp
from tint.model.descent import (
    FILM_SCATTER,
    LEAST_SIGMA,
    Fits,
    Problem,
    constants_of,
    covariance,
    descend,
    metric,
    residuals_and_slopes,
)
from tint.model.drift import Drift
from tint.model.latent import (
    Frame,
    drift_of,
    expectation,
    features,
    film_slopes,
    frame_of,
    heat_places,
    latents,
    log_axes,
    unseen,
    widened,
)
from tint.model.optics import Optics, colour, colour_and_latent_slopes, optics_of
from tint.model.training import Training
from tint.setting import Machine, Setting

STARTS = 96  # random starts of a fit from nothing; half as many lost the right order of interference now and then
FRESH_STARTS = 24  # random starts beside known ones
THIN_ROWS = 64  # patches the first rough steps look at
FIRST_NM = (25.0, 250.0)  # range of the film a start assumes at the middle of the grid
LEAST_SLOPE = 0.3  # of log film by log power: below it a film says nothing of the power
KEPT = 4  # fits followed to the end
# Fits that explain the patches nearly as well are averaged, by exp(−Δcost / (2 TEMPER)): few patches cannot tell orders of
# interference apart, and the likelihood of a simplified film claims more than it knows.
TEMPER = 8.0
LEAST_SHARE = 0.05
USUAL_LENGTH = 1.54  # median length of three unit normal errors
SAME_DE00 = 0.3  # fits whose colours at the patches differ by less are one fit


@dataclass(frozen=True, eq=False)
class FilmFit:
    """A film fitted to a training set: its frame, the problem, and the fits, best first; `plain` had no waves yet."""

    frame: Frame
    problem: Problem
    fits: Fits
    plain: Fits

    @property
    def misfit(self) -> np.ndarray:
        """(n,) length of what the best film leaves at each patch, in ΔE00, errors along the film's own direction eased."""
        return np.linalg.norm(residuals_and_slopes(self.problem, self.fits.theta[:1])[0][0], axis=1)


def search_film(
    training: Training,
    machine: Machine,
    family: str,
    seed: int,
    known: FilmFit | None = None,
    aged: np.ndarray | None = None,
) -> FilmFit:
    """Film fitted from many random starts, and from where a `known` fit to nearly the same patches stands.

    Parameters
    ----------
    aged : (n, c) course of the patches in time, for the drift; None: not known

    Notes
    -----
    Rough steps on a share of the patches thin the starts to a few; these then see every patch, and last get waves.
    """
    logs = log_axes(training.setting, machine)
    frame = frame_of(logs, None if known is None else known.frame)
    optics = optics_of(family)
    expected = expectation(frame, waves=False, aged=0 if aged is None else aged.shape[1])
    plain = Problem(optics, features(frame, logs, False, aged), training.lab, training.noise, expected)
    rng = np.random.default_rng(seed)
    count = len(logs)
    rough = plain.rows(np.sort(rng.permutation(count)[:THIN_ROWS])) if count > THIN_ROWS else plain
    first = _starts(plain, frame, rng, STARTS if known is None else FRESH_STARTS)
    fits = descend(rough, first, 8).best(24 if known is None else 8)
    fits = descend(rough, Fits(fits.theta, fits.cost, np.maximum(fits.sigma, 2.0)), 10).best(8 if known is None else 3)
    if known is not None:
        fits = Fits(
            *(np.concatenate([getattr(known.plain, name), getattr(fits, name)]) for name in ("theta", "cost", "sigma"))
        )
    fits = descend(plain, fits, 12).best(KEPT)
    return _with_waves(training, frame, logs, optics, fits, aged)


def unexplained(fit: FilmFit, training: Training) -> np.ndarray:
    """(n,) length [ΔE00] of what neither the film nor its neighbours' misfits say of a patch.

    A misfit that neighbours share is the film's fault, one that stands alone is the patch's; at the rim, where neighbours
    say little, it has to be large against what they leave open.
    """
    theta, shares = _kept(fit)
    left, at = training.lab - _mean_lab(fit, theta, shares), _scaled(fit)
    fitted = gp.condition(at, left, training.noise, gp.fit_kernel(at, left, training.noise))
    residual, sd = fitted.leave_one_out()
    alone = np.linalg.norm(np.einsum("nij,nj->ni", metric(training.lab), residual), axis=1)
    share = np.linalg.norm(residual / sd, axis=1)
    usual = max(float(np.median(share)), 1e-9)
    return np.minimum(np.minimum(alone, fit.misfit), USUAL_LENGTH * LEAST_SIGMA * share / usual)


def film_drift(fit: FilmFit, columns: int) -> Drift:
    """Drift of log power that a film fitted with a course of some columns found, and its standard error."""
    place, slope = drift_of(fit.frame, fit.fits.theta[0])
    if abs(slope) < LEAST_SLOPE:
        return Drift(np.zeros(columns), np.zeros(columns))
    places = slice(place, place + columns)
    spread = covariance(fit.problem, fit.fits.theta[0], float(fit.fits.sigma[0]))
    return Drift(fit.fits.theta[0, places] / slope, np.sqrt(np.diag(spread)[places]) / abs(slope))


def without_course(fit: FilmFit, columns: int) -> FilmFit:
    """The film with its course dropped: a place to refit from, once the settings are free of drift."""
    place, _ = drift_of(fit.frame, fit.fits.theta[0])
    plain = Fits(np.delete(fit.plain.theta, np.s_[place : place + columns], axis=1), fit.plain.cost, fit.plain.sigma)
    return FilmFit(fit.frame, fit.problem, fit.fits, plain)


def refit_film(fit: FilmFit, training: Training, machine: Machine) -> FilmFit:
    """The film fitted again from where it stands, to a training set that changed a little."""
    logs = log_axes(training.setting, machine)
    frame = frame_of(logs, fit.frame)
    plain = Problem(
        fit.problem.optics,
        features(frame, logs, waves=False),
        training.lab,
        training.noise,
        expectation(frame, waves=False),
    )
    return _with_waves(training, frame, logs, fit.problem.optics, descend(plain, fit.plain, 6))


def film_numbers(fit: FilmFit, training: Training, family: str, known: dict[str, Any] | None = None) -> dict[str, Any]:
    """Plain numbers of the best fit, enough with the patches to make the member ready.

    The process on what the film leaves keeps the hyperparameters of `known` numbers where they are given.
    """
    spread = covariance(fit.problem, fit.fits.theta[0], float(fit.fits.sigma[0]))
    theta, shares = _kept(fit)
    blocks, start = [], 0
    for size in fit.problem.expected.sizes:
        blocks.append(spread[start : start + size, start : start + size].tolist())
        start += size
    if known is None:
        kernel = gp.fit_kernel(_scaled(fit), training.lab - _mean_lab(fit, theta, shares), training.noise)
    else:
        kernel = gp.Kernel(np.array(known["log_reach"], float), float(known["log_nugget"]))
    return {
        "family": family, "theta": theta.tolist(), "shares": shares.tolist(), "spread": blocks,
        "axes": fit.frame.axes.tolist(), "middle": fit.frame.middle.tolist(), "centre": fit.frame.centre.tolist(),
        "width": fit.frame.width.tolist(), "at": fit.frame.at.tolist(),
        "waves": fit.frame.waves.tolist(), "log_reach": kernel.log_reach.tolist(), "log_nugget": kernel.log_nugget,
    }  # fmt: skip


@dataclass(frozen=True, eq=False)
class FilmGP:
    """The member, conditioned on its data.

    Attributes
    ----------
    machine, optics, frame : what turns settings into columns and latents into colour
    theta, shares : (s, p) parameters of the fits averaged, best first, and their shares (s,)
    spread : covariance (p, p) of the best fit's parameters, a block for each of the four latents
    left : process on what the films leave at the patches
    """

    machine: Machine
    optics: Optics
    frame: Frame
    theta: np.ndarray
    shares: np.ndarray
    spread: list[np.ndarray]
    left: gp.FittedGP

    def predict(self, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
        """Lab (q, 3) and standard deviations (q, 3) of settings (q,)."""
        logs = log_axes(setting, self.machine)
        columns = features(self.frame, logs)
        shift, variance = unseen(self.frame, logs, self.theta[0])
        each, slopes = colour_and_latent_slopes(
            self.optics, latents(self.theta, columns) + shift, constants_of(self.theta)
        )
        lab = np.einsum("s,sqc->qc", self.shares, each)
        between = np.einsum("s,sqc->qc", self.shares, (each - lab) ** 2)
        columns = [film_slopes(self.theta[:1], columns)[0], *columns[1:]]
        for i, (column, block) in enumerate(zip(columns, self.spread, strict=True)):
            variance[:, i] += np.einsum("qp,qp->q", column @ block, column)
        variance[:, 0] += FILM_SCATTER**2
        rest, rest_sd = self.left.predict((logs[:, self.frame.axes] - self.frame.centre) / self.frame.width)
        return lab + rest, np.sqrt(np.einsum("qcl,ql->qc", slopes[0] ** 2, variance) + between + rest_sd**2)


def ready_film(numbers: dict[str, Any], training: Training, machine: Machine) -> FilmGP:
    """The member of those numbers over its training set."""
    axes = np.array(numbers["axes"], int)
    middle, centre, width = (np.array(numbers[name], float) for name in ("middle", "centre", "width"))
    logs = log_axes(training.setting, machine)
    frame = Frame(axes, middle, centre, width, np.array(numbers["at"], float), np.array(numbers["waves"], float))
    optics, theta, shares = (
        optics_of(numbers["family"]),
        np.array(numbers["theta"], float),
        np.array(numbers["shares"], float),
    )
    shift, _ = unseen(frame, logs, theta[0])  # none where the film was fitted; a film carried over may sit elsewhere
    each = colour(optics, latents(theta, features(frame, logs)) + shift, constants_of(theta))
    left = training.lab - np.einsum("s,snc->nc", shares, each)
    kernel = gp.Kernel(np.array(numbers["log_reach"], float), float(numbers["log_nugget"]))
    spread = [np.array(block, float) for block in numbers["spread"]]
    return FilmGP(
        machine,
        optics,
        frame,
        theta,
        shares,
        spread,
        gp.condition((logs[:, axes] - centre) / width, left, training.noise, kernel),
    )


def _starts(problem: Problem, frame: Frame, rng: np.random.Generator, count: int) -> Fits:
    """Parameters drawn from what is expected, with every film thickness a start may have; second-order terms at rest."""
    mean, sd = problem.expected.mean, problem.expected.sd
    theta = mean + rng.normal(size=(count, len(mean))) * np.minimum(sd, 1.0) * 0.8
    k = len(frame.axes)
    theta[:, heat_places(k).stop : problem.expected.sizes[0]] = 0.0
    theta[:, 0] = rng.uniform(np.log(FIRST_NM[0]), np.log(FIRST_NM[1]), count)
    return Fits(theta, np.zeros(count), np.full(count, 5.0))


def _with_waves(
    training: Training, frame: Frame, logs: np.ndarray, optics: Optics, plain: Fits, aged: np.ndarray | None = None
) -> FilmFit:
    drifts = 0 if aged is None else aged.shape[1]
    problem = Problem(
        optics, features(frame, logs, aged=aged), training.lab, training.noise, expectation(frame, aged=drifts)
    )
    start = Fits(widened(plain.theta, frame, drifts), plain.cost, plain.sigma)
    return FilmFit(frame, problem, descend(problem, start, 20), plain)


def _kept(fit: FilmFit) -> tuple[np.ndarray, np.ndarray]:
    """Parameters (k, p) of the fits worth averaging, and their shares (k,)."""
    fits, problem = fit.fits, fit.problem
    shares = np.exp(-(fits.cost - fits.cost[0]) / (2 * TEMPER))
    each = colour(problem.optics, latents(fits.theta, problem.columns), constants_of(fits.theta))
    turn = metric(problem.lab)
    kept: list[int] = []
    for i in np.flatnonzero(shares >= LEAST_SHARE):
        apart = [np.einsum("nij,nj->ni", turn, each[i] - each[j]) for j in kept]
        if all(np.sqrt((part**2).sum(axis=1).mean()) >= SAME_DE00 for part in apart):
            kept.append(int(i))
    return fits.theta[kept], shares[kept] / shares[kept].sum()


def _scaled(fit: FilmFit) -> np.ndarray:
    """Settings (n, k) of the problem, as the frame scales them."""
    return fit.problem.columns[3][:, 1 : 1 + len(fit.frame.axes)] / fit.frame.width


def _mean_lab(fit: FilmFit, theta: np.ndarray, shares: np.ndarray) -> np.ndarray:
    each = colour(fit.problem.optics, latents(theta, fit.problem.columns), constants_of(theta))
    return np.einsum("s,snc->nc", shares, each)
