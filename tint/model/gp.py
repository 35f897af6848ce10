"""Gaussian-process regression of several outputs over one shared kernel: small, fast, and free of hidden state.

All outputs share the correlation of the inputs (one film makes L, a and b together) and each has its own amplitude,
which drops out of the likelihood in closed form: one Cholesky factor serves them all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Bounds of the natural logarithms the optimiser may visit. Inputs are scaled so that one unit is a usual change.
LOG_REACH = (-2.5, 4.5)  # length scales 0.08–90: wilder than 0.08 is noise, flatter than 90 is no effect
LOG_NUGGET = (-9.0, 1.0)  # noise variance over signal variance
REACH_PRIOR = (0.7, 1.2)  # mean and sd of log length scale: colours turn over about two units, loosely held
NUGGET_PRIOR = (-5.0, 2.0)


@dataclass(frozen=True, eq=False)
class Kernel:
    """Hyperparameters: `log_reach` (d,) log length scales of the inputs, `log_nugget` log noise-to-signal variance."""

    log_reach: np.ndarray
    log_nugget: float


@dataclass(frozen=True, eq=False)
class FittedGP:
    """A process conditioned on its data, ready to predict.

    Attributes
    ----------
    kernel : hyperparameters
    scaled : (n, d) inputs over their length scales
    mean, amplitude : (m,) of the outputs
    weights : (n, m), C⁻¹ (y − mean)
    inverse : (n, n), C⁻¹ of correlations plus noise
    """

    kernel: Kernel
    scaled: np.ndarray
    mean: np.ndarray
    amplitude: np.ndarray
    weights: np.ndarray
    inverse: np.ndarray

    def predict(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean (q, m) and standard deviation without noise (q, m) at inputs x (q, d)."""
        alike = correlation(x / np.exp(self.kernel.log_reach), self.scaled)
        mean = self.mean + alike @ self.weights
        left = 1 - np.einsum("qn,qn->q", alike @ self.inverse, alike)
        return mean, np.sqrt(np.maximum(left, 1e-9))[:, None] * self.amplitude

    def leave_one_out(self) -> tuple[np.ndarray, np.ndarray]:
        """Residuals (n, m) of each point against the process without it, and their standard deviations, noise included.

        Mean and amplitude stay those of all points.

        References
        ----------
        Rasmussen & Williams, Gaussian Processes for Machine Learning (2006), eqs. 5.10–5.12.
        """
        diagonal = np.diag(self.inverse)[:, None]
        return self.weights / diagonal, self.amplitude / np.sqrt(diagonal)


def condition(x: np.ndarray, y: np.ndarray, noise: np.ndarray, kernel: Kernel) -> FittedGP:
    """Process over data x (n, d), y (n, m) with relative noise variances (n,) (1 is usual) at given hyperparameters."""
    scaled = x / np.exp(kernel.log_reach)
    inverse, _ = _inverse(correlation(scaled, scaled) + np.diag(np.exp(kernel.log_nugget) * noise))
    mean = _generalised_mean(inverse, y)
    weights = inverse @ (y - mean)
    amplitude = np.sqrt(np.maximum(np.einsum("nm,nm->m", weights, y - mean) / len(y), 1e-8))
    return FittedGP(kernel, scaled, mean, amplitude, weights, inverse)


def fit_kernel(x: np.ndarray, y: np.ndarray, noise: np.ndarray, start: Kernel | None = None, steps: int = 80) -> Kernel:
    """Hyperparameters of highest posterior density for data x (n, d), y (n, m); deterministic.

    Notes
    -----
    Minimises ½ Σ_m n log s_m² + ½ m log|C| plus weak normal priors by L-BFGS with exact gradients; s_m² is the
    amplitude that maximises the likelihood given C.
    """
    from scipy.optimize import minimize

    starts = [start] if start is not None else [_kernel(x, REACH_PRIOR[0], NUGGET_PRIOR[0]), _kernel(x, 1.8, -3.0)]
    bounds = [LOG_REACH] * x.shape[1] + [LOG_NUGGET]
    found = [
        minimize(
            _loss, np.append(first.log_reach, first.log_nugget), (x, y, noise), "L-BFGS-B", jac=True, bounds=bounds,
            options={"maxiter": steps},
        )
        for first in starts
    ]  # fmt: skip
    best = min(found, key=lambda result: result.fun)
    return Kernel(best.x[:-1], float(best.x[-1]))


def _kernel(x: np.ndarray, reach: float, nugget: float) -> Kernel:
    return Kernel(np.full(x.shape[1], reach), nugget)


def _loss(theta: np.ndarray, x: np.ndarray, y: np.ndarray, noise: np.ndarray) -> tuple[float, np.ndarray]:
    n, m = y.shape
    scaled = x / np.exp(theta[:-1])
    root = _root(scaled, scaled)
    slope = -5 / 6 * (1 + root) * np.exp(-root)  # of the correlation by the squared distance
    nugget = np.exp(theta[-1]) * noise
    inverse, log_determinant = _inverse(_matern(root) + np.diag(nugget))
    centred = y - _generalised_mean(inverse, y)
    weights = inverse @ centred
    square = np.maximum(np.einsum("nm,nm->m", weights, centred), 1e-12)
    loss = 0.5 * n * np.log(square / n).sum() + 0.5 * m * log_determinant
    # dloss/dC, symmetric: what every hyperparameter's own derivative is contracted with
    by_c = 0.5 * m * inverse - 0.5 * n * (weights / square) @ weights.T
    by_r2 = by_c * slope
    gradient = np.empty_like(theta)
    for k in range(len(theta) - 1):
        apart = (scaled[:, None, k] - scaled[None, :, k]) ** 2
        gradient[k] = -2 * np.sum(by_r2 * apart)
    gradient[-1] = np.sum(np.diag(by_c) * nugget)
    for part, (centre, spread) in ((slice(0, -1), REACH_PRIOR), (slice(-1, None), NUGGET_PRIOR)):
        loss += 0.5 * np.sum(((theta[part] - centre) / spread) ** 2)
        gradient[part] += (theta[part] - centre) / spread**2
    return float(loss), gradient


def correlation(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Matérn 5/2 correlation (q, n) of inputs (q, d) and (n, d) over their length scales."""
    return _matern(_root(left, right))


def _root(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """√5 times the distances (q, n)."""
    r2 = (left**2).sum(1)[:, None] + (right**2).sum(1)[None, :] - 2 * left @ right.T
    return np.sqrt(5 * np.maximum(r2, 0))


def _matern(root: np.ndarray) -> np.ndarray:
    return (1 + root + root**2 / 3) * np.exp(-root)


def _inverse(matrix: np.ndarray) -> tuple[np.ndarray, float]:
    """Inverse and log determinant of a symmetric positive matrix; a whisper is added to the diagonal where needed."""
    from scipy.linalg.lapack import dpotrf, dpotri

    for whisper in (1e-10, 1e-7, 1e-4):
        factor, failed = dpotrf(matrix + whisper * np.eye(len(matrix)), lower=1)
        if not failed:
            half, _ = dpotri(factor, lower=1)
            return np.tril(half) + np.tril(half, -1).T, 2 * float(np.log(np.diag(factor)).sum())
    raise FloatingPointError("correlations of a Gaussian process are not positive: inputs are not finite")


def _generalised_mean(inverse: np.ndarray, y: np.ndarray) -> np.ndarray:
    total = inverse.sum(axis=0)
    return total @ y / total.sum()
