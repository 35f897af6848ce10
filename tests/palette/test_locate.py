"""Facility location against the proven optimum of a mixed-integer program (HiGHS, through scipy)."""


import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix, eye, hstack, kron

from tint.lab import delta_e00
from tint.palette.locate import locate


def proven_optimum(cost, n, fixed=()):
    """Least possible sum: each wish served by one open candidate, n open; only the opening needs whole numbers."""
    wishes, candidates = cost.shape
    pairs = wishes * candidates
    serve = hstack([kron(eye(wishes), np.ones((1, candidates))), csr_matrix((wishes, candidates))])
    only_open = hstack([eye(pairs), -kron(np.ones((wishes, 1)), eye(candidates))])
    count = np.concatenate([np.zeros(pairs), np.ones(candidates)])[None]
    least = np.zeros(pairs + candidates)
    least[pairs + np.array(fixed, dtype=int)] = 1
    done = milp(
        np.concatenate([cost.ravel(), np.zeros(candidates)]),
        constraints=[LinearConstraint(serve, 1, 1), LinearConstraint(only_open, -np.inf, 0), LinearConstraint(count, n, n)],
        integrality=np.concatenate([np.zeros(pairs), np.ones(candidates)]), bounds=Bounds(least, 1),
    )  # fmt: skip
    assert done.status == 0
    return done.fun


def table(seed, size, wishes=None):
    rng = np.random.default_rng(seed)
    lab = rng.uniform([20, -40, -45], [85, 35, 40], (size, 3))
    wanted = lab if wishes is None else rng.uniform([20, -40, -45], [85, 35, 40], (wishes, 3))
    return delta_e00(wanted[:, None], lab[None]) * rng.uniform(0.2, 1, len(wanted))[:, None]


@pytest.mark.parametrize("seed", range(8))
def test_greedy_swaps_and_fresh_starts_come_within_one_and_a_half_per_cent_of_the_proven_optimum(seed):
    cost = table(seed, 60)
    for n in (4, 9):
        assert cost[:, locate(cost, n)].min(axis=1).sum() <= 1.015 * proven_optimum(cost, n)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_fixed_stays_and_the_rest_is_still_near_the_proven_optimum(seed):
    cost, fixed = table(seed, 40, 50), [3, 17]
    chosen = locate(cost, 6, fixed=fixed)
    assert set(fixed) <= set(chosen.tolist()) and len(set(chosen.tolist())) == 6
    assert cost[:, chosen].min(axis=1).sum() <= 1.015 * proven_optimum(cost, 6, fixed)


def test_no_single_swap_helps_any_more():
    rng = np.random.default_rng(8)
    cost, free = rng.random((60, 40)), rng.random(60)
    chosen = locate(cost, 5, free)

    def total(columns):
        return np.minimum(cost[:, columns].min(axis=1), free).sum()

    for place in range(5):
        for other in set(range(40)) - set(chosen.tolist()):
            swapped = [other if k == place else c for k, c in enumerate(chosen)]
            assert total(swapped) >= total(chosen) * (1 - 1e-5)


def test_all_none_loose_and_one_are_chosen_rightly():
    cost = table(2, 9)
    assert locate(cost, 9).tolist() == list(range(9))
    assert locate(cost, 2, fixed=[5, 1]).tolist() == [1, 5]
    assert locate(cost, 1).tolist() == [int(cost.sum(axis=0).argmin())]
    for n, fixed in ((0, ()), (10, ()), (1, (2, 3))):
        with pytest.raises(ValueError, match="cannot open"):
            locate(cost, n, fixed=fixed)
