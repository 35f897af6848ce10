"""Robust least squares from many starting points at once (Levenberg–Marquardt on Student-t errors with a prior).

Film colour runs in circles as the film grows, so one start ends in the wrong order of interference; a hundred starts,
moved together as arrays and thinned as they go, cost as much as two or three one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.model.latent import Expectation, film_slopes, latents
from tint.model.optics import Optics, colour, colour_and_slopes
from tint.model.radius import de00_weights

DEGREES = 4.0  # of Student's t: heavy enough tails that a spoilt patch hardly pulls
MEDIAN_CHI2 = 2.37  # of chi-square with 3 degrees: what the median of a squared error is over its variance
# Least scatter [ΔE00 per component]: mark to mark and instrument. Lower lets a fit with many waves chase noise.
LEAST_SIGMA = 0.8
# Scatter of film thickness from mark to mark, relative. A mark in a steep part of the colour spiral scatters more along
# the spiral, and its error there must count less; about 1 % is common practice, no source.
FILM_SCATTER = 0.008
STEP_LIMIT = 1.5  # longest step, in prior standard deviations of a parameter


@dataclass(frozen=True, eq=False)
class Problem:
    """What is fitted: columns of the latents at n patches, their Lab (n, 3), noise (n,), and the expectation."""

    optics: Optics
    columns: list[np.ndarray]
    lab: np.ndarray
    noise: np.ndarray
    expected: Expectation

    def rows(self, rows: np.ndarray) -> Problem:
        """The problem with some of its patches only, an index or mask (n,)."""
        return Problem(self.optics, [c[rows] for c in self.columns], self.lab[rows], self.noise[rows], self.expected)


@dataclass(frozen=True, eq=False)
class Fits:
    """Parameters (s, p) of s fits with costs (s,) and scatter (s,) [ΔE00 per component]; after `descend` best first."""

    theta: np.ndarray
    cost: np.ndarray
    sigma: np.ndarray

    def best(self, count: int) -> Fits:
        """The `count` fits of least cost, in order."""
        order = np.argsort(self.cost, kind="stable")[:count]
        return Fits(self.theta[order], self.cost[order], self.sigma[order])


def metric(lab: np.ndarray) -> np.ndarray:
    """(n, 3, 3) that turns Lab errors at Lab (n, 3) into components of ΔE00 (weights S_L, S_C, S_H with T = 1)."""
    _, a, b = lab.T
    chroma = np.maximum(np.hypot(a, b), 1e-6)
    s_l, s_c, s_h = de00_weights(lab)
    turn = np.zeros((len(lab), 3, 3))
    turn[:, 0, 0] = 1 / s_l
    turn[:, 1, 1], turn[:, 1, 2] = a / chroma / s_c, b / chroma / s_c
    turn[:, 2, 1], turn[:, 2, 2] = -b / chroma / s_h, a / chroma / s_h
    return turn


def constants_of(theta: np.ndarray) -> np.ndarray:
    """Optical constants (s, 11) of parameters (s, p)."""
    return theta[:, -11:]


def residuals(problem: Problem, theta: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Errors (s, n, 3) as components of ΔE00, those along the film's own direction eased (see `easing`)."""
    lab = colour(problem.optics, latents(theta, problem.columns), constants_of(theta))
    return _eased(np.einsum("nij,snj->sni", metric(problem.lab), lab - problem.lab), along)


def residuals_and_slopes(problem: Problem, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Errors (s, n, 3), their slopes by every parameter (s, n, 3, p), and the easing both were given (s, n, 3)."""
    turn = metric(problem.lab)
    lab, by_latent, by_constant = colour_and_slopes(
        problem.optics, latents(theta, problem.columns), constants_of(theta)
    )
    by_latent, by_constant = turn @ by_latent, turn @ by_constant
    along = easing(by_latent[..., 0])
    by_latent, by_constant = (
        part - along[..., None] * (along[..., None, :] @ part) for part in (by_latent, by_constant)
    )
    parts = [by_latent[..., 0, None] * film_slopes(theta, problem.columns)[:, :, None, :]]
    parts += [by_latent[..., i, None] * problem.columns[i][None, :, None, :] for i in (1, 2, 3)]
    parts.append(by_constant)
    error = _eased(np.einsum("nij,snj->sni", turn, lab - problem.lab), along)
    return error, np.concatenate(parts, axis=-1), along


def easing(by_film: np.ndarray) -> np.ndarray:
    """Vectors a (..., 3) such that e − a (a·e) has unit scatter where film thickness scatters too.

    `by_film` (..., 3) is the slope of colour by log film; with σ² I + s² j jᵀ the covariance of an error, the part along
    j is scaled by σ / √(σ² + s² |j|²).
    """
    steep = np.linalg.norm(by_film, axis=-1, keepdims=True)
    scale = 1 / np.sqrt(1 + (FILM_SCATTER * steep / LEAST_SIGMA) ** 2)
    return by_film / np.maximum(steep, 1e-9) * np.sqrt(1 - scale)


def _eased(error: np.ndarray, along: np.ndarray) -> np.ndarray:
    return error - along * (along * error).sum(axis=-1, keepdims=True)


def descend(problem: Problem, fits: Fits, steps: int) -> Fits:
    """The fits after some steps downhill; each finds its own scatter on the way."""
    theta, sigma, mean, sd = fits.theta, fits.sigma.copy(), problem.expected.mean, problem.expected.sd
    damping, identity = np.full(len(theta), 1e-2), np.eye(len(mean))
    for turn in range(steps):
        error, slopes, along = residuals_and_slopes(problem, theta)
        weight = _weight(problem, error, sigma) / sigma[:, None] ** 2
        flat = slopes.reshape(len(theta), -1, len(mean))
        weighted = (slopes * weight[..., None, None]).reshape(flat.shape).transpose(0, 2, 1)
        curvature = weighted @ flat + np.diag(1 / sd**2)
        downhill = (weighted @ error.reshape(len(theta), -1, 1))[..., 0] + (theta - mean) / sd**2
        diagonal = np.einsum("spp->sp", curvature)[..., None] * identity
        step = np.linalg.solve(curvature + damping[:, None, None] * diagonal, -downhill[..., None])[..., 0]
        tried = theta + np.clip(step / sd, -STEP_LIMIT, STEP_LIMIT) * sd
        error_tried = residuals(problem, tried, along)
        better = cost_of(problem, tried, error_tried, sigma) < cost_of(problem, theta, error, sigma)
        theta = np.where(better[:, None], tried, theta)
        damping = np.where(better, np.maximum(damping / 5, 1e-6), np.minimum(damping * 6, 1e4))
        if turn > steps // 3:
            error = np.where(better[:, None, None], error_tried, error)
            seen = np.sqrt(np.median((error**2).sum(axis=-1) / problem.noise, axis=1) / MEDIAN_CHI2)
            sigma = np.maximum(0.7 * sigma + 0.3 * seen, LEAST_SIGMA)
    error, _, _ = residuals_and_slopes(problem, theta)
    return Fits(theta, cost_of(problem, theta, error, sigma), sigma).best(len(theta))


def cost_of(problem: Problem, theta: np.ndarray, error: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """−2 log posterior density (s,), up to a constant."""
    square = (error**2).sum(axis=-1) / (sigma[:, None] ** 2 * problem.noise)
    data = ((DEGREES + 3) * np.log1p(square / DEGREES)).sum(axis=1) + 6 * np.log(sigma) * len(problem.lab)
    return data + (((theta - problem.expected.mean) / problem.expected.sd) ** 2).sum(axis=1)


def _weight(problem: Problem, error: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    square = (error**2).sum(axis=-1) / (sigma[:, None] ** 2 * problem.noise)
    return (DEGREES + 3) / (DEGREES + square) / problem.noise


def covariance(problem: Problem, theta: np.ndarray, sigma: float) -> np.ndarray:
    """(p, p) posterior covariance around one fit (p,), to second order."""
    error, slopes, _ = residuals_and_slopes(problem, theta[None])
    weight = _weight(problem, error, np.array([sigma])) / sigma**2
    flat = slopes.reshape(-1, len(theta))
    curvature = (flat * np.repeat(weight.ravel(), 3)[:, None]).T @ flat + np.diag(1 / problem.expected.sd**2)
    return np.linalg.inv(curvature)
