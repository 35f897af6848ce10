"""Scatter from replicates, and the limits that follow."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.check.noise import (
    OWN_COUNTS,
    PRIOR,
    limit_de00,
    mark_covariance,
    own_covariance,
    own_dof,
    repeatability,
    turns,
)
from tint.lab import delta_e00
from tint.palette.lineage import Repeatability

LABS = st.tuples(st.floats(15, 90), st.floats(-60, 60), st.floats(-60, 60))
WAYS = st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1)).filter(lambda way: np.hypot.reduce(way) > 0.1)


@given(LABS, WAYS)
def test_small_differences_turned_have_the_length_of_their_de00(lab, way):
    step = 0.3 * np.array(way) / np.linalg.norm(way)
    apart = delta_e00(np.array(lab) + step / 2, np.array(lab) - step / 2)
    # near neutral the hue angle turns within the step, and the formula is no quadratic form there
    assert np.linalg.norm(turns(np.array([lab]))[0] @ step) == pytest.approx(
        apart, rel=0.03 if np.hypot(*lab[1:]) > 2 else 0.15
    )


def test_both_kinds_of_scatter_are_found_again_from_many_replicates():
    rng, g = np.random.default_rng(1), np.array([[60.0, 80, 0], [200, 0, 90], [0, 30, 120], [150, 150, 40]])
    marks = [0.4 * rng.normal(size=(200, 3)) + 0.012 * rng.normal(size=(200, 1)) * row for row in g]
    found = repeatability(marks, g)
    assert found.de00 == pytest.approx(0.4, rel=0.06) and found.heat_pct == pytest.approx(1.2, rel=0.08)
    assert found.dof == PRIOR.dof + 4 * 199


def test_without_replicates_what_is_known_stays():
    known = Repeatability(0.5, 1.0, 20)
    assert (
        repeatability([np.zeros((1, 3))], np.ones((1, 3)), known) == known
        and repeatability([], np.zeros((0, 3))) == PRIOR
    )


def test_two_equal_replicates_do_not_make_a_palette_perfectly_sure():
    found = repeatability([np.zeros((2, 3))] * 6, np.full((6, 3), 100.0))
    assert found.de00 > 0.1 and found.heat_pct > 0.2


@pytest.mark.parametrize("values", [(1, 1, 1), (4, 0.2, 0.2), (9, 1, 0.1)])
@pytest.mark.parametrize("chance", [0.05, 0.0027, 0.001])
def test_a_limit_is_crossed_as_often_as_it_says(values, chance):
    rng = np.random.default_rng(0)
    length = np.linalg.norm(rng.normal(size=(1_000_000, 3)) * np.sqrt(values), axis=1)
    assert limit_de00(np.diag(values).astype(float), chance, 1e9) == pytest.approx(
        np.quantile(length, 1 - chance), rel=0.04
    )


def test_a_limit_is_wider_where_the_scatter_itself_is_hardly_known():
    assert limit_de00(np.eye(3), 0.01, 6) > 1.2 * limit_de00(np.eye(3), 0.01, 600)


def test_a_limit_by_a_colours_own_few_replicates_is_crossed_as_often_as_it_says():
    # the colours of a palette scatter unlike each other, as the weight of their common scatter takes it: inverse Wishart
    from scipy.stats import invwishart

    rng, chance, crossed, plain = np.random.default_rng(4), 0.02, 0, 0
    for truth in invwishart(OWN_COUNTS + 2, np.eye(3) * OWN_COUNTS).rvs(3000, random_state=rng):
        marks = rng.multivariate_normal(np.zeros(3), truth, 4)
        apart = marks[:3] - marks[:3].mean(axis=0)
        guess = own_covariance(np.eye(3), apart.T @ apart, 2)
        crossed += np.linalg.norm(marks[3]) > limit_de00(guess, chance, own_dof(3))
        plain += np.linalg.norm(marks[3]) > limit_de00(guess, chance, 40.0)
    assert crossed / 3000 == pytest.approx(chance, rel=0.35) and plain / 3000 > 1.5 * chance


def test_a_colour_that_scatters_in_its_own_way_is_believed_the_more_replicates_it_has():
    common = mark_covariance(Repeatability(0.3, 1.0, 20), np.array([[100.0, 0, 0]]))[0]
    few, many = (own_covariance(common, dof * np.diag([0.1, 9.0, 0.1]), dof)[1, 1] for dof in (2, 200))
    assert common[1, 1] < few < many < 9.0
