"""The heat balance: growth with temperature as Arrhenius' law says, and its slopes."""

from __future__ import annotations

import numpy as np
import pytest

from tint.model import heat
from tint.model.latent import AXES

AXIS = {name: k for k, name in enumerate(AXES)}
POWER_ALONE = np.array([[3.0, 40.0, 1.0, 1.0]])  # growth 3, all of the rise by the lines, one axis


def test_film_grows_by_arrhenius_law_of_the_temperature():
    # 1200 K at the middle, of which 300 K are cold: with growth E / (2 T) = 3 the activation E is 7200 K, and film goes
    # with exp(-E / 2 T), the root of the rate
    kelvin = np.array([900.0, 1200.0, 1650.0])
    rise = np.log((kelvin - 300) / 900)[:, None]
    ours = heat.film(POWER_ALONE, rise)[0]
    assert ours == pytest.approx(-3600 / kelvin + 3600 / 1200, rel=1e-3)


def test_more_heat_always_grows_more_and_ever_less_of_it():
    film = heat.film(POWER_ALONE, np.linspace(-1, 2, 40)[:, None])[0]
    assert (np.diff(film) > 0).all()
    assert np.diff(film)[-1] < 0.5 * np.diff(film).max()


def test_nothing_is_added_in_the_middle_of_the_grid_whatever_the_parameters():
    parameters = np.random.default_rng(0).normal(size=(20, heat.count(4)))
    assert heat.film(parameters, np.zeros((1, 4))) == pytest.approx(0, abs=1e-12)


def test_the_slope_at_the_middle_is_that_of_a_finite_difference():
    mean, _ = heat.expected(np.arange(4))
    for axis in range(4):
        step = 1e-6 * np.eye(4)[[axis]]
        theirs = (heat.film(mean[None], step) - heat.film(mean[None], -step))[0, 0] / 2e-6
        assert heat.slope_at_middle(mean, axis) == pytest.approx(theirs, rel=1e-6)


def test_expected_heat_follows_the_process_formulas():
    # average power, pulse energy P / f and fluence P / (f d²): whatever leaves them alone heats no pulse more
    pulse = dict(zip(AXES, heat.PULSE_SLOPE, strict=True))
    assert pulse["average_power_w"] == -pulse["freq_khz"] == -pulse["spot_mm"] / 2 == 1
    assert pulse["speed_mm_s"] == pulse["spacing_mm"] == 0
    assert heat.LINE_SLOPE[AXIS["freq_khz"]] == heat.LINE_SLOPE[AXIS["pulse_ns"]] == 0
