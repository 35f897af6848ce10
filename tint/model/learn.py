"""Fits every member to one training set, with drift taken out and contradicted patches set aside on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.model.descent import metric
from tint.model.drift import Drift, estimate, without_drift
from tint.model.film_gp import FilmFit, film_numbers, ready_film, refit_film, search_film
from tint.model.members import Ready
from tint.model.process_gp import process_numbers, ready_process
from tint.model.training import Training
from tint.setting import Machine

OUTLIER_SIGMA = 5.0  # a patch whose error is this many robust standard deviations is set aside
MOST_ASIDE = 0.1  # more than a tenth of all patches cannot be accidents: only the farthest are set aside
OUTLIER_NOISE = 1e4  # noise variance of a patch set aside, over the usual: it no longer pulls, yet stays in the file
ROUNDS = 2  # of drift and outliers; a third changed nothing


@dataclass(frozen=True, eq=False)
class Learned:
    """Members fitted to all patches.

    Attributes
    ----------
    training : settings without drift, noise raised for patches set aside
    film : the film fit, to start folds from
    numbers : plain numbers of each member by kind
    drift, age : what was taken out, and each patch's place in the marking order 0..1 (None unknown)
    aside : (n,) True for patches the rest contradict
    """

    training: Training
    film: FilmFit
    numbers: dict[str, dict[str, Any]]
    drift: Drift
    age: np.ndarray | None
    aside: np.ndarray


def learn(training: Training, aged: np.ndarray | None, machine: Machine, family: str, seed: int) -> Learned:
    """Every member fitted to the training set (settings as dialled)."""
    film = search_film(training, machine, family, seed)
    process = process_numbers(training, machine)
    usual, now, drift = training.noise, training, Drift()
    aside = np.zeros(len(usual), dtype=bool)
    for _ in range(ROUNDS):
        lead, left, sd = _leading(film, process, now, machine)
        aside = _contradicted(left, sd, now.lab, usual)
        noise = np.where(aside, OUTLIER_NOISE, usual)
        if aged is not None:
            dialled = training.setting
            here = without_drift(dialled, aged, drift)
            more = estimate(left, now.lab, noise, here, aged, lambda setting, member=lead: member.predict(setting)[0])
            # a step from where the drift stands: the prior holds the whole, so a step is taken once and then corrected
            drift = Drift(drift.log_power + more.log_power, more.sd)
        now = Training(without_drift(training.setting, aged, drift), training.lab, noise)
        film = refit_film(film, now, machine)
        process = process_numbers(now, machine, process)
    numbers = {"film": film_numbers(film, now, family), "process": process}
    return Learned(now, film, numbers, drift, aged, aside)


def _leading(
    film: FilmFit, process: dict[str, Any], training: Training, machine: Machine
) -> tuple[Ready, np.ndarray, np.ndarray | None]:
    """The member that leaves less, what it leaves (n, 3), and its own sd there (None for the film: take the usual scatter)."""
    plain = ready_process(process, training, machine)
    left, sd = plain.fitted.leave_one_out(training.lab)
    turn = metric(training.lab)
    plain_size = np.median(np.linalg.norm(np.einsum("nij,nj->ni", turn, left), axis=1))
    film_size = np.median(np.linalg.norm(film.error, axis=1))
    if film_size <= plain_size:
        member = ready_film({**film_numbers(film, training, _family(film))}, training, machine)
        lab = member.predict(training.setting)[0]
        return member, -np.linalg.solve(turn, film.error[..., None])[..., 0] if lab is None else _film_left(film, turn), None
    return plain, left, sd


def _film_left(film: FilmFit, turn: np.ndarray) -> np.ndarray:
    return -np.linalg.solve(turn, film.error[..., None])[..., 0]


def _contradicted(left: np.ndarray, sd: np.ndarray | None, lab: np.ndarray, noise: np.ndarray) -> np.ndarray:
    size = np.linalg.norm(np.einsum("nij,nj->ni", metric(lab), left), axis=1) if sd is None else np.linalg.norm(left / sd, axis=1)
    size = size / np.sqrt(noise)
    far = size > OUTLIER_SIGMA * max(float(np.median(size)) / 1.54, 1e-9)  # 1.54: median length of three unit normals
    return far & (size >= np.quantile(size, 1 - MOST_ASIDE))
