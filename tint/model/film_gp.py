"""Member "film": thin-film colour of latent quantities of heat, plus a Gaussian process on what that leaves over."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.model import gp
from tint.model.descent import Fits, Problem, constants_of, covariance, descend, residuals
from tint.model.latent import Frame, expectation, features, frame_of, latent_slopes, latents, log_axes, widened
from tint.model.optics import Optics, colour, colour_and_latent_slopes, optics_of
from tint.model.training import Training
from tint.setting import Machine, Setting

STARTS = 96  # random starts of a fit from nothing; 48 lost the right order of interference now and then at 24 patches
FRESH_STARTS = 24  # random starts beside known ones
THIN_ROWS = 64  # patches the first rough steps look at
FIRST_NM = (25.0, 250.0)  # range of the film a start assumes at the middle of the grid
KEPT = 4  # fits followed to the end


@dataclass(frozen=True, eq=False)
class FilmFit:
    """A film fitted to a training set: its frame, the problem, and the fits, best first."""

    frame: Frame
    problem: Problem
    fits: Fits
    plain: Fits

    @property
    def error(self) -> np.ndarray:
        """(n, 3) what the best fit leaves at each patch, as components of ΔE00."""
        return residuals(self.problem, self.fits.theta[:1])[0]


def search_film(training: Training, machine: Machine, family: str, seed: int, known: Fits | None = None) -> FilmFit:
    """Film fitted from many random starts, and from `known` fits without waves where there are some.

    Notes
    -----
    Rough steps on a share of the patches thin the starts to a few; these then see every patch, and last get waves.
    """
    logs = log_axes(training.setting, machine)
    frame = frame_of(logs)
    optics = optics_of(family)
    plain = Problem(optics, features(frame, logs, waves=False), training.lab, training.noise, expectation(frame, waves=False))
    rng = np.random.default_rng(seed)
    count = len(logs)
    rough = plain.rows(np.sort(rng.permutation(count)[:THIN_ROWS])) if count > THIN_ROWS else plain
    fits = descend(rough, _starts(plain, frame, rng, STARTS if known is None else FRESH_STARTS), 8).best(24 if known is None else 8)
    fits = descend(rough, Fits(fits.theta, fits.cost, np.maximum(fits.sigma, 2.0)), 10).best(8 if known is None else 3)
    if known is not None:
        fits = Fits(*(np.concatenate([getattr(known, name), getattr(fits, name)]) for name in ("theta", "cost", "sigma")))
    fits = descend(plain, fits, 12).best(KEPT)
    return _with_waves(training, frame, logs, optics, fits)


def refit_film(fit: FilmFit, training: Training, machine: Machine) -> FilmFit:
    """The film fitted again from where it stands, to a training set that changed a little."""
    logs = log_axes(training.setting, machine)
    frame = frame_of(logs)
    plain = Problem(fit.problem.optics, features(frame, logs, waves=False), training.lab, training.noise, expectation(frame, waves=False))
    return _with_waves(training, frame, logs, fit.problem.optics, descend(plain, fit.plain, 6))


def film_numbers(fit: FilmFit, training: Training, family: str) -> dict[str, Any]:
    """Plain numbers of the best fit, enough with the patches to make the member ready."""
    theta, sigma = fit.fits.theta[0], float(fit.fits.sigma[0])
    spread = covariance(fit.problem, theta, sigma)
    blocks, start = [], 0
    for size in fit.problem.expected.sizes:
        blocks.append(spread[start : start + size, start : start + size].tolist())
        start += size
    left = training.lab - _lab(fit, theta)
    kernel = gp.fit_kernel(fit.frame.at, left, training.noise)
    return {
        "family": family, "theta": theta.tolist(), "sigma": sigma, "spread": blocks,
        "axes": fit.frame.axes.tolist(), "centre": fit.frame.centre.tolist(), "width": fit.frame.width.tolist(),
        "waves": fit.frame.waves.tolist(), "log_reach": kernel.log_reach.tolist(), "log_nugget": kernel.log_nugget,
    }  # fmt: skip


@dataclass(frozen=True, eq=False)
class FilmGP:
    """The member, conditioned on its data."""

    machine: Machine
    optics: Optics
    frame: Frame
    theta: np.ndarray
    spread: list[np.ndarray]
    left: gp.FittedGP

    def predict(self, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
        """Lab (q, 3) and standard deviations (q, 3) of settings (q,)."""
        logs = log_axes(setting, self.machine)
        columns = features(self.frame, logs)
        lab, slopes = colour_and_latent_slopes(self.optics, latents(self.theta, columns), constants_of(self.theta))
        columns = [latent_slopes(self.theta, columns)[0][0], *columns[1:]]
        variance = np.stack(
            [np.einsum("qp,pq->q", column, block @ column.T) for column, block in zip(columns, self.spread, strict=True)], axis=1
        )
        rest, rest_sd = self.left.predict((logs[:, self.frame.axes] - self.frame.centre) / self.frame.width)
        return lab[0] + rest, np.sqrt(np.einsum("qcl,ql->qc", slopes[0] ** 2, variance) + rest_sd**2)


def ready_film(numbers: dict[str, Any], training: Training, machine: Machine) -> FilmGP:
    """The member of those numbers over its training set."""
    axes, centre, width = np.array(numbers["axes"], int), np.array(numbers["centre"], float), np.array(numbers["width"], float)
    logs = log_axes(training.setting, machine)
    at = (logs[:, axes] - centre) / width
    frame = Frame(axes, centre, width, at, np.array(numbers["waves"], float))
    optics, theta = optics_of(numbers["family"]), np.array(numbers["theta"], float)[None]
    left = training.lab - colour(optics, latents(theta, features(frame, logs)), constants_of(theta))[0]
    kernel = gp.Kernel(np.array(numbers["log_reach"], float), float(numbers["log_nugget"]))
    spread = [np.array(block, float) for block in numbers["spread"]]
    return FilmGP(machine, optics, frame, theta, spread, gp.condition(at, left, training.noise, kernel))


def _starts(problem: Problem, frame: Frame, rng: np.random.Generator, count: int) -> Fits:
    """Parameters drawn from what is expected, with every film thickness a start may have; second-order terms at rest."""
    mean, sd = problem.expected.mean, problem.expected.sd
    theta = mean + rng.normal(size=(count, len(mean))) * np.minimum(sd, 1.0) * 0.8
    k = len(frame.axes)
    theta[:, 1 + k : problem.expected.sizes[0]] = 0.0
    theta[:, 0] = rng.uniform(*np.log(FIRST_NM), count)
    theta[:, -1] = np.abs(theta[:, -1])
    return Fits(theta, np.zeros(count), np.full(count, 5.0))


def _with_waves(training: Training, frame: Frame, logs: np.ndarray, optics: Optics, plain: Fits) -> FilmFit:
    problem = Problem(optics, features(frame, logs), training.lab, training.noise, expectation(frame))
    start = Fits(widened(plain.theta, frame), plain.cost, plain.sigma)
    return FilmFit(frame, problem, descend(problem, start, 20), plain)


def _lab(fit: FilmFit, theta: np.ndarray) -> np.ndarray:
    return colour(fit.problem.optics, latents(theta[None], fit.problem.columns), constants_of(theta[None]))[0]
