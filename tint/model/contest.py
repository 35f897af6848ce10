"""Members against each other on patches held out; the shares that predicted those best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.lab import delta_e00
from tint.model.film_gp import film_numbers, ready_film, search_film
from tint.model.learn import Learned
from tint.model.members import KINDS, Ready
from tint.model.process_gp import process_numbers, ready_process
from tint.model.radius import spread_de00
from tint.setting import Machine

SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)  # of the film; finer shares follow the noise of the held-out errors
TIE = 1.01  # shares this near the best are equal; of equals the most even is taken, as blends err less where nothing was marked
CLIP_DE00 = 20.0  # errors count up to this: a spoilt patch should not choose the model


@dataclass(frozen=True, eq=False)
class Contest:
    """Held-out results.

    Attributes
    ----------
    kinds, shares : members and their shares, adding up to 1
    errors_de00 : per member, (n,) error at each patch held out
    lab, error_de00, spread_de00 : (n, 3), (n,), (n,) of the members blended by their shares
    """

    kinds: tuple[str, ...]
    shares: np.ndarray
    errors_de00: tuple[np.ndarray, ...]
    lab: np.ndarray
    error_de00: np.ndarray
    spread_de00: np.ndarray


def blend(means: np.ndarray, sds: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean (q, 3) and spread [ΔE00] (q,) of members' means and deviations (k, q, 3) by weight (k,)."""
    lab = np.einsum("k,kqc->qc", weights, means)
    variance = np.einsum("k,kqc->qc", weights, sds**2 + (means - lab) ** 2)
    return lab, spread_de00(lab, np.sqrt(variance))


def hold_out(learned: Learned, machine: Machine, fold: np.ndarray, seed: int) -> Contest:
    """Every member fitted without each fold (n,) in turn, and the shares that did best on what was left out."""
    training, kinds = learned.training, tuple(KINDS)
    means, sds = np.empty((len(kinds), *training.lab.shape)), np.empty((len(kinds), *training.lab.shape))
    for k in np.unique(fold):
        here = fold == k
        rest, at = training.take(~here), training.setting[here]
        family = learned.numbers["film"]["family"]
        film = search_film(rest, machine, family, seed + int(k) + 1, learned.film)
        members: tuple[Ready, ...] = (
            ready_film(film_numbers(film, rest, family, learned.numbers["film"]), rest, machine),
            ready_process(process_numbers(rest, machine, learned.numbers["process"]), rest, machine),
        )
        for i, member in enumerate(members):
            means[i, here], sds[i, here] = member.predict(at)
    errors = tuple(delta_e00(mean, training.lab) for mean in means)
    shares = _best_shares(means, training.lab, ~learned.aside)
    lab, spread = blend(means, sds, shares)
    return Contest(kinds, shares, errors, lab, delta_e00(lab, training.lab), spread)


def _best_shares(means: np.ndarray, lab: np.ndarray, count: np.ndarray) -> np.ndarray:
    def score(share: float) -> float:
        error = delta_e00(share * means[0] + (1 - share) * means[1], lab)[count]
        return float(np.minimum(error, CLIP_DE00).mean())

    scores = {share: score(share) for share in SHARES}
    best = min(scores.values())
    share = min((share for share in SHARES if scores[share] <= TIE * best), key=lambda share: abs(share - 0.5))
    return np.array([share, 1 - share])
