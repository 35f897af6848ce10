"""Fits every member to one training set, with drift taken out and contradicted patches set aside on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.model.descent import LEAST_SIGMA, metric
from tint.model.drift import NO_DRIFT, Drift, estimate, shifted
from tint.model.film_gp import (
    USUAL_LENGTH,
    FilmFit,
    film_drift,
    film_numbers,
    refit_film,
    search_film,
    unexplained,
    without_course,
)
from tint.model.process_gp import process_numbers, ready_process
from tint.model.training import Training
from tint.setting import Machine

# A patch whose error is this many robust standard deviations is set aside. On simulated plates spoilt patches stood at 12
# and more; a good one in a corner of the grid reached 6.4.
OUTLIER_SIGMA = 8.0
MOST_ASIDE = 0.1  # more than a tenth of all patches cannot be accidents: only the farthest are set aside
OUTLIER_NOISE = 1e4  # noise variance of a patch set aside, over the usual: it no longer pulls, yet stays in the file


@dataclass(frozen=True, eq=False)
class Learned:
    """Members fitted to all patches.

    Attributes
    ----------
    training : settings without drift, noise raised for patches set aside
    film : the film fit, to start folds from
    numbers : plain numbers of each member by kind
    drift, along : what was taken out, and the course of the patches in time (None unknown)
    aside : (n,) True for patches the rest contradict
    """

    training: Training
    film: FilmFit
    numbers: dict[str, dict[str, Any]]
    drift: Drift
    along: np.ndarray | None
    aside: np.ndarray


def learn(training: Training, along: np.ndarray | None, machine: Machine, family: str, seed: int) -> Learned:
    """Every member fitted to the training set (settings as dialled); `along` (n, c) is the patches' course in time."""
    film = search_film(training, machine, family, seed, aged=along)
    process, drift, now = process_numbers(training, machine), NO_DRIFT, training
    if along is not None:
        columns, leads = along.shape[1], _film_leads(film, process, training, machine)
        drift = film_drift(film, columns) if leads else _drift_without_film(process, training, machine, along)
        now = Training(shifted(training.setting, along @ drift.log_power), training.lab, training.noise)
        film = refit_film(without_course(film, columns), now, machine)
    aside = _contradicted(film, process, now, machine)
    if aside.any():
        now = Training(now.setting, now.lab, np.where(aside, OUTLIER_NOISE, now.noise))
        film = refit_film(film, now, machine)
    if along is not None or aside.any():
        process = process_numbers(now, machine, process)
    numbers = {"film": film_numbers(film, now, family), "process": process}
    return Learned(now, film, numbers, drift, along, aside)


def _film_leads(film: FilmFit, process: dict[str, Any], training: Training, machine: Machine) -> bool:
    """True where the film leaves less at the patches than the process leaves at each patch without it."""
    turn = metric(training.lab)
    left = ready_process(process, training, machine).fitted.leave_one_out()[0]
    return bool(np.median(film.misfit) <= np.median(np.linalg.norm(np.einsum("nij,nj->ni", turn, left), axis=1)))


def _drift_without_film(process: dict[str, Any], training: Training, machine: Machine, along: np.ndarray) -> Drift:
    plain = ready_process(process, training, machine)
    left = plain.fitted.leave_one_out()[0]
    return estimate(
        left, training.lab, training.noise, training.setting, along, lambda setting: plain.predict(setting)[0]
    )


def _contradicted(film: FilmFit, process: dict[str, Any], training: Training, machine: Machine) -> np.ndarray:
    """(n,) True for patches that stand far from what the better member says, by its usual error."""
    if _film_leads(film, process, training, machine):
        misfit, least = unexplained(film, training), LEAST_SIGMA
    else:
        left, sd = ready_process(process, training, machine).fitted.leave_one_out()
        misfit, least = np.linalg.norm(left / sd, axis=1), 1e-9
    misfit = misfit / max(float(np.median(misfit)) / USUAL_LENGTH, least)
    return (misfit > OUTLIER_SIGMA) & (misfit >= np.quantile(misfit, 1 - MOST_ASIDE))
