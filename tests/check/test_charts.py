"""Control charts against a published table and a handbook's worked example."""

import csv
from pathlib import Path

import numpy as np
import pytest

from tint.check.charts import ACTION, WARNING, d2, ewma, ewma_sd, sigma_from_moving_range

TABLE = Path(__file__).parents[1] / "data" / "control_chart_constants.csv"
ROWS = list(csv.DictReader(line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")))
PRINTED = {"A2": 6e-4, "d2": 6e-4}  # half of the last digit printed, and a little


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["n"])
def test_constants_are_those_of_the_published_table(row):
    n = int(row["n"])
    assert d2(n) == pytest.approx(float(row["d2"]), abs=PRINTED["d2"])
    assert 3 / (d2(n) * n**0.5) == pytest.approx(float(row["A2"]), abs=PRINTED["A2"])


# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4, EWMA control charts: target 50, s 2.0539, weight 0.3; from memory,
# and its arithmetic checked by hand
DATA = [
    52.0,
    47.0,
    53.0,
    49.3,
    50.1,
    47.0,
    51.0,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
EWMA = [
    50.60,
    49.52,
    50.56,
    50.18,
    50.16,
    49.21,
    49.75,
    49.85,
    50.26,
    50.33,
    50.11,
    49.36,
    49.52,
    50.05,
    49.38,
    49.92,
    50.73,
    51.23,
    51.94,
    51.99,
]


def test_the_ewma_of_the_handbooks_example_is_reproduced():
    np.testing.assert_allclose(ewma(DATA, 50.0, 0.3), EWMA, atol=0.006)
    limit = 3 * ewma_sd(1000, 2.0539, 0.3)
    assert (50 + limit, 50 - limit) == pytest.approx((52.5884, 47.4115), abs=6e-4)


def test_early_limits_of_an_ewma_are_narrower_and_its_first_is_the_weight_times_sigma():
    assert ewma_sd(1, 2.0, 0.3) == pytest.approx(0.6)
    assert (np.diff(ewma_sd(np.arange(1, 12), 2.0)) > 0).all()


def test_the_moving_range_gives_sigma_of_single_values_even_when_their_level_creeps():
    rng = np.random.default_rng(3)
    steady, creeping = rng.normal(0, 2, 4000), rng.normal(0, 2, 4000) + np.linspace(0, 40, 4000)
    assert sigma_from_moving_range(steady) == pytest.approx(2, rel=0.05)
    assert sigma_from_moving_range(creeping) == pytest.approx(2, rel=0.05)
    assert np.isnan(sigma_from_moving_range([1.0]))


def test_limits_have_the_chance_of_two_and_three_standard_deviations():
    assert (WARNING, ACTION) == pytest.approx((0.0455, 0.0027), abs=5e-5)


def test_a_constant_of_one_value_is_refused():
    with pytest.raises(ValueError, match="2 or more"):
        d2(1)
