"""The plate's energy balance against a worked textbook case and an independent integration."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp

from tint.errors import LimitError
from tint.job.heat import HeatInputs, cooling_wait_s, plate_of, rise_k
from tint.metal import metal_of
from tint.setting import Stock

PRINTED = 0.05  # half a digit of "5.2 s"


def test_the_worked_textbook_case_of_a_body_that_warms_as_one_comes_out() -> None:
    # Incropera, DeWitt, Bergman, Lavine, "Fundamentals of Heat and Mass Transfer", example 5.1 (from memory): a sphere of
    # 0.706 mm, ρ 8500 kg/m³, c 400 J/(kg K), h 400 W/(m² K) has τ = 1 s; from 25 °C in gas of 200 °C it is at 199 °C
    # after 5.2 s. Warming by gas is the same equation as warming by a laser whose steady rise is 175 K.
    diameter_m = 7.06e-4
    tau_s = 8500 * 400 * diameter_m / (6 * 400)
    assert tau_s == pytest.approx(1.0, abs=5e-4)
    assert rise_k(175.0, 1.0, tau_s, 5.2) == pytest.approx(174.0, abs=0.1)
    assert cooling_wait_s(175.0, 1.0, tau_s) == pytest.approx(5.2, abs=PRINTED)


@pytest.mark.parametrize("start_k", [0.0, 35.0])
def test_the_closed_form_agrees_with_a_numerical_integration_of_the_balance(start_k: float) -> None:
    mass_kg, heat_j_kg_k, h_w_m2_k, surface_m2, absorbed_w = 0.076, 477.0, 10.0, 0.0192, 4.3
    solved = solve_ivp(
        lambda _, rise: (absorbed_w - h_w_m2_k * surface_m2 * rise) / (mass_kg * heat_j_kg_k), (0, 600), [start_k],
        t_eval=[30, 200, 600], rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    tau_s = mass_kg * heat_j_kg_k / (h_w_m2_k * surface_m2)
    ours = [rise_k(absorbed_w, h_w_m2_k * surface_m2, tau_s, t, start_k) for t in solved.t]
    assert ours == pytest.approx(solved.y[0], rel=1e-7)


def test_after_the_cooling_wait_the_plate_has_exactly_the_allowed_temperature() -> None:
    wait_s = cooling_wait_s(43.0, 10.0, 190.0)
    assert rise_k(0.0, 0.2, 190.0, wait_s, 43.0) == pytest.approx(10.0, rel=1e-12)
    assert cooling_wait_s(9.9, 10.0, 190.0) == 0 and cooling_wait_s(0.0, 10.0, 190.0) == 0


def test_a_small_plate_has_the_mass_surface_and_time_constant_of_its_own_size() -> None:
    plate = plate_of(Stock("tag", "304", "2B", 1.0, (50, 30)), 40, 20)
    assert plate.whole
    assert plate.mass_kg == pytest.approx(0.05 * 0.03 * 0.001 * 7900)
    assert plate.surface_m2 == pytest.approx(2 * 0.05 * 0.03)
    assert plate.tau_s == pytest.approx(7900 * 477 * 0.001 / (2 * 10))  # ρ c d / 2 h: the face cancels


def test_a_large_sheet_warms_only_as_far_around_the_artwork_as_heat_spreads() -> None:
    plate = plate_of(Stock("sheet", "304", "2B", 1.0, (2000, 1000)), 40, 20)
    spread_m = math.sqrt(14.9 * 0.001 / 20)  # fin length √(k t / 2 h)
    assert not plate.whole
    assert plate.surface_m2 == pytest.approx(2 * (0.04 + 2 * spread_m) * (0.02 + 2 * spread_m))


@pytest.mark.parametrize(
    "grade, name",
    [
        ("304", "austenitic stainless steel"), ("1.4404", "austenitic stainless steel"), ("AISI 316L", "austenitic stainless steel"),
        ("430", "ferritic stainless steel"), ("1.4016", "ferritic stainless steel"), ("1.4510", "ferritic stainless steel"),
        ("1.4113", "ferritic stainless steel"), ("1.4526", "ferritic stainless steel"), ("1.4506", "austenitic stainless steel"),
        ("1.4571", "austenitic stainless steel"), ("316Ti", "austenitic stainless steel"), ("titanium grade 2", "titanium"),
        ("brass CuZn37", "brass"), ("carbon steel", "carbon steel"), ("aluminium 5754", "aluminium"),
    ],
)  # fmt: skip
def test_common_grades_are_known(grade: str, name: str) -> None:
    metal = metal_of(grade)
    assert metal is not None and metal.name == name


def test_an_unknown_grade_is_not_guessed() -> None:
    assert metal_of("niobium") is None


@pytest.mark.parametrize("change", [{"absorptivity": 1.2}, {"loss_w_m2_k": 0}, {"warm_start_k": -1}, {"thin_mm": math.nan}])
def test_inputs_that_cannot_be_are_refused_by_name(change: dict[str, float]) -> None:
    with pytest.raises(LimitError, match=next(iter(change))):
        HeatInputs(**change)
