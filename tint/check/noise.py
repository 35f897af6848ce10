"""Scatter from mark to mark: estimated from replicates, and what follows for a mean and its limit in ΔE00.

Two causes of scatter look alike in every direction of colour or not: instrument and surface do, the heat of a mark does not, it
moves the colour the way more or less power would. So a colour's covariance, in components of ΔE00, is σ² I + τ² g gᵀ with g the
change of colour per unit of log power: two numbers for a whole palette, learned from all its replicates together.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tint.lab import delta_e00
from tint.palette.lineage import Repeatability

# Before any replicate: a hand-held instrument with an even surface, and a source with a sheet (common practice, no source).
# Counts like this many degrees of freedom, so that two replicates that agree by chance do not make a palette surer than it is.
PRIOR = Repeatability(0.35, 1.5, 3.0)
# A colour at a threshold of melting or ablation scatters in its own way, far more than the rest; six replicates of its own weigh
# as much as the palette's common scatter.
OWN_COUNTS = 6.0
STEP_LAB = 0.5  # of the differences that tell ΔE00's own scale at a colour; smaller meets the rounding of its formula


def turns(lab: np.ndarray) -> np.ndarray:
    """(k, 3, 3) that turn small differences at Lab (k, 3) into three components whose length is ΔE00.

    Notes
    -----
    ΔE00² of small differences is a quadratic form; its matrix is read off differences along the axes and their sums, and split
    by Cholesky. Exact for small differences, within some percent up to 5 units.
    """
    axes = STEP_LAB * np.eye(3)
    alone = delta_e00(lab[:, None] + axes / 2, lab[:, None] - axes / 2) ** 2
    form = np.zeros((len(lab), 3, 3))
    for i in range(3):
        form[:, i, i] = alone[:, i]
        for j in range(i):
            both = (axes[i] + axes[j]) / 2
            form[:, i, j] = form[:, j, i] = (delta_e00(lab + both, lab - both) ** 2 - alone[:, i] - alone[:, j]) / 2
    return np.linalg.cholesky(form / STEP_LAB**2).transpose(0, 2, 1)


def repeatability(
    readings: Sequence[np.ndarray], by_heat: np.ndarray, known: Repeatability | None = None
) -> Repeatability:
    """Repeatability from replicates, pooled with what is known by degrees of freedom.

    Parameters
    ----------
    readings : k arrays (r, 3), the marks of each colour in components of ΔE00; single marks say nothing
    by_heat : (k, 3) change of colour per unit of log power, in the same components
    known : of earlier strips; None takes what is usual

    Notes
    -----
    Restricted maximum likelihood: within each colour the marks' deviations from their mean, split along g and across it.
    """
    from scipy.optimize import minimize

    rows = [
        (len(marks) - 1, marks - marks.mean(axis=0), g)
        for marks, g in zip(readings, by_heat, strict=True)
        if len(marks) > 1
    ]
    known = known or PRIOR
    dof = sum(count for count, _, _ in rows)
    if not dof:
        return known
    count = np.array([row[0] for row in rows], float)
    size = np.array([np.linalg.norm(g) for _, _, g in rows])
    along = np.array([((apart @ g) ** 2).sum() for _, apart, g in rows]) / np.maximum(size, 1e-9) ** 2
    across = sum((apart**2).sum() for _, apart, _ in rows) - along.sum()

    def misfit(logs: np.ndarray) -> float:
        sigma2, tau2 = np.exp(2 * logs)
        total = sigma2 + tau2 * size**2
        fit = 2 * dof * np.log(sigma2) + across / sigma2 + (count * np.log(total) + along / total).sum()
        held = 3 * known.dof * (np.log(sigma2) + known.de00**2 / sigma2)
        return fit + held + known.dof * (np.log(tau2) + max(known.heat_pct / 100, 1e-4) ** 2 / tau2)

    start = np.log([known.de00, max(known.heat_pct / 100, 1e-3)])
    found = minimize(misfit, start, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6})
    sigma, tau = np.exp(found.x)
    return Repeatability(round(float(sigma), 4), round(float(100 * tau), 4), float(known.dof + dof))


def mark_covariance(repeats: Repeatability, by_heat: np.ndarray) -> np.ndarray:
    """(k, 3, 3) covariance of a single mark in components of ΔE00, for colours with slopes by heat (k, 3)."""
    heat = (repeats.heat_pct / 100) ** 2 * by_heat[:, :, None] * by_heat[:, None, :]
    return repeats.de00**2 * np.eye(3) + heat


def own_covariance(covariance: np.ndarray, apart: np.ndarray, dof: float) -> np.ndarray:
    """Covariance (3, 3) of a mark of one colour: the palette's, pulled toward what the colour's own replicates show.

    Parameters
    ----------
    covariance : (3, 3) of the palette as a whole, which counts `OWN_COUNTS` replicates
    apart : (3, 3) sum of squares and products of the colour's replicates about their mean
    dof : how many replicates that is, less one for each mean
    """
    return (OWN_COUNTS * covariance + apart) / (OWN_COUNTS + dof)


def own_dof(*counts: int) -> float:
    """Degrees of freedom behind `own_covariance` of a colour with these counts of replicates, each about its own mean.

    Notes
    -----
    Those of the palette as a whole would be too many: that all colours scatter alike is a guess worth `OWN_COUNTS`. A fresh mark
    under such a guess (inverse Wishart) and a few replicates follows Student's t with these degrees of freedom.
    """
    return OWN_COUNTS + sum(max(count - 1, 0) for count in counts)


def limit_de00(covariance: np.ndarray, chance: float, dof: float | np.ndarray) -> np.ndarray:
    """Length (...) that a normal error with covariance (..., 3, 3) exceeds with this chance.

    Parameters
    ----------
    dof : degrees of freedom the covariance was estimated with, one number or (...)

    Notes
    -----
    The squared length is a sum of chi-squares with the eigenvalues as weights, taken as one scaled chi-square with the same mean
    and variance; dividing by an estimated variance makes it an F. Within 4 % of the simulated limit for chances of 5 to
    0.1 %.

    References
    ----------
    Box, "Some theorems on quadratic forms applied in the study of analysis of variance problems, I", Ann. Math. Statist. 25
    (1954), doi 10.1214/aoms/1177728786.
    """
    from scipy.stats import f

    values = np.linalg.eigvalsh(covariance)
    total, squares = values.sum(axis=-1), (values**2).sum(axis=-1)
    return np.sqrt(total * f.isf(chance, total**2 / squares, dof))


def typical_de00(covariance: np.ndarray) -> float:
    """Median over colours of the median ΔE00 of a fresh mark, covariance (k, 3, 3), to its own mean: nobody can do better."""
    return float(np.median(limit_de00(covariance, 0.5, 1e6)))
