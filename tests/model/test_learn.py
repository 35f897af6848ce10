"""Drift, outliers, the choice between members, and the radius, on SIMULATED patches of known truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.special import erf
from scipy.stats.mstats import hdquantiles

from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import delta_e00, lab_from_reflectance
from tint.measure.patches import Patches, join_patches
from tint.model.fit import fit
from tint.model.model import predict
from tint.model.radius import GROWTH_PER_WIDTH, Calibration, calibrate, spread_de00, upper_quantile
from tint.model.report import report_text
from tint.process import process
from tint.setting import Machine, Setting, Stock


def film_lab(setting: Setting, power: np.ndarray | float = 1.0) -> np.ndarray:
    """SIMULATED: one magnetite film whose thickness saturates with areal and pulse energy."""
    heat = (setting.power_pct * power / 30) ** 1.4 * (900 / setting.speed_mm_s) ** 0.8 * (400 / setting.freq_khz) ** 0.5
    nm = 400 * (1 - np.exp(-heat / 4))
    shine = reflectance(WAVELENGTH_NM, [(material_index("magnetite"), nm)], material_index("austenitic steel"), 8.0)
    return lab_from_reflectance(WAVELENGTH_NM, 0.9 * shine + 0.02)


def film_settings(n: int, seed: int) -> Setting:
    rng = np.random.default_rng(seed)
    return Setting(rng.uniform(20, 45, n), rng.uniform(500, 1500, n), rng.uniform(200, 800, n), 20, 0.003)


def film_patches(n: int, seed: int, drift: float = 0.0) -> Patches:
    rng = np.random.default_rng(seed)
    setting, order = film_settings(n, seed), rng.permutation(n) + 1.0
    lab = film_lab(setting, 1 + drift * (order - 1) / (n - 1)) + rng.normal(0, 0.3, (n, 3))
    return Patches(
        tuple(f"m{i}" for i in range(n)), setting, lab, np.full(n, 0.3), order, np.full((n, 2), np.nan), ("",) * n,
        {"source": "SIMULATED"},
    )  # fmt: skip


@pytest.fixture(scope="module")
def drifted(machine: Machine, stock: Stock):
    """A model of a plate along which the laser lost 4 % of its power."""
    return fit(film_patches(60, 1, drift=-0.04), machine, stock)


def test_drift_along_the_marking_order_is_found_and_taken_out(drifted):
    assert drifted.report.drift_pct == pytest.approx(-4, abs=1.0)
    at = film_settings(200, 9)
    assert np.median(delta_e00(predict(drifted, at).lab, film_lab(at))) < 1.2


def test_a_plate_without_drift_is_left_alone(machine, stock):
    model = fit(film_patches(60, 1), machine, stock)
    assert abs(model.report.drift_pct) < 0.6


def test_without_a_marking_order_no_drift_is_claimed(machine, stock):
    patches = film_patches(24, 2)
    model = fit(dataclasses.replace(patches, order=np.full(24, np.nan)), machine, stock)
    assert model.report.drift_pct is None and not model.log_power.any()


def test_where_power_never_varied_no_drift_is_claimed(machine, stock):
    patches = film_patches(24, 2)
    setting = patches.setting.replace(power_pct=30.0)
    model = fit(dataclasses.replace(patches, setting=setting, lab=film_lab(setting)), machine, stock)
    assert model.report.drift_pct is None and not model.log_power.any()


def test_a_step_of_power_between_two_plates_is_found(machine, stock):
    one, other = film_patches(48, 1), film_patches(24, 2)
    other = dataclasses.replace(
        other, lab=film_lab(other.setting, 0.95), ids=tuple(f"again-{name}" for name in other.ids)
    )
    model = fit(join_patches([one, other]), machine, stock)
    assert model.report.plate_steps_pct[0] == pytest.approx(-5, abs=1.0)
    assert "From the first plate to the next" in report_text(model.report)
    at = film_settings(200, 9)
    assert np.median(delta_e00(predict(model, at).lab, film_lab(at))) < 1.2


def test_film_colour_from_24_patches_beats_every_plain_rival(machine, stock):
    model = fit(film_patches(24, 5), machine, stock)
    at = film_settings(200, 8)
    truth = film_lab(at)
    ours = np.median(delta_e00(predict(model, at).lab, truth))
    table, asked = np.log(model.patches.setting.table()[:, :3]), np.log(at.table()[:, :3])
    nearest = ((asked[:, None] - table[None]) ** 2).sum(axis=-1).argmin(axis=1)
    assert ours < 0.35 * np.median(delta_e00(model.patches.lab[nearest], truth))


def test_where_film_colour_fails_the_plain_process_predicts_and_the_report_says_so(machine, stock):
    # colours no film can have, swung fast by areal energy alone
    rng = np.random.default_rng(3)
    setting = film_settings(80, 3)
    swing = np.log(process(setting, machine).areal_energy_j_mm2)
    lab = np.stack(
        [50 + 20 * np.tanh(3 * np.sin(4 * swing)), 60 * np.sin(5 * swing), 50 * np.sin(7 * swing + 1)], axis=1
    )
    patches = dataclasses.replace(film_patches(80, 3), setting=setting, lab=lab + rng.normal(0, 0.2, lab.shape))
    model = fit(patches, machine, stock)
    assert [member.kind for member in model.members] == ["process"]
    assert "process" in model.kind and "film" not in model.kind
    assert any("thin-film colour did not win" in remark for remark in model.report.remarks)


def test_gross_errors_hardly_move_the_model(machine, stock):
    clean = film_patches(40, 4)
    lab = clean.lab.copy()
    lab[[5, 30]] = [[30, 40, 40], [90, -30, 0]]
    at = film_settings(150, 7)
    whole = fit(clean, machine, stock)
    spoilt = fit(dataclasses.replace(clean, lab=lab), machine, stock)
    assert {"m5", "m30"} <= set(spoilt.report.outliers) and not set(whole.report.outliers)
    assert np.median(delta_e00(predict(whole, at).lab, predict(spoilt, at).lab)) < 0.6


def test_nine_of_ten_fresh_marks_land_inside_the_radius(drifted):
    at, rng = film_settings(400, 11), np.random.default_rng(0)
    fresh = film_lab(at) + rng.normal(0, 0.3, (400, 3))
    guess = predict(drifted, at)
    assert np.mean(delta_e00(guess.lab, fresh) <= guess.de00_90) > 0.85


def test_a_calibrated_radius_covers_nine_of_ten_of_its_own_errors():
    rng = np.random.default_rng(0)
    spread = rng.uniform(0.5, 3, 400)
    error = np.abs(rng.normal(0, 2.0 * spread))
    plain = calibrate(error, spread, 0.3, flattery=0)
    assert calibrate(error, spread, 0.3).scale > plain.scale  # the allowance for what flatters patches held out
    inside = error <= plain.radius_de00(spread, np.zeros(400))
    assert 0.9 <= inside.mean() < 0.92


def test_the_radius_grows_by_the_stated_share_outside():
    calibration = Calibration(2.0, 0.3)
    inner, outer = calibration.radius_de00(np.ones(2), np.array([0.0, 0.2]))
    assert outer / inner == pytest.approx(1 + GROWTH_PER_WIDTH * 0.2)


def test_spread_in_de00_agrees_with_small_differences():
    # against the full formula: mean square ΔE00 of random small errors; first order leaves out the blue rotation
    rng = np.random.default_rng(2)
    lab = np.array([[50.0, 30, 10], [70, -20, 30], [40, 5, 8], [60, 0, 0]])
    sd = np.array([[0.3, 0.2, 0.4]])
    draws = lab + rng.normal(size=(4000, 1, 3)) * sd
    seen = np.sqrt((delta_e00(draws, lab) ** 2).mean(axis=0))
    assert spread_de00(lab, np.repeat(sd, 4, axis=0)) == pytest.approx(seen, rel=0.2)


def test_the_upper_quantile_counts_the_fresh_draw():
    # on average nine of ten fresh draws stay below it, however few it was found from
    rng = np.random.default_rng(4)
    for n in (19, 48, 200):
        found = np.array([upper_quantile(row) for row in np.abs(rng.normal(size=(4000, n)))])
        assert np.mean(erf(found / np.sqrt(2))) == pytest.approx(0.9, abs=0.005)
    assert upper_quantile(np.arange(1.0, 9.0)) == 8  # eight draws cannot leave one out


def test_the_upper_quantile_covers_more_steadily_than_the_value_in_its_place():
    # absolute normal errors of 48 patches
    draws = np.abs(np.random.default_rng(5).normal(size=(3000, 48)))
    ours = erf(np.array([upper_quantile(row) for row in draws]) / np.sqrt(2))
    plain = erf(np.quantile(draws, 0.9 * 49 / 48, axis=1) / np.sqrt(2))
    assert ours.std() < 0.95 * plain.std() and np.quantile(ours, 0.02) > np.quantile(plain, 0.02)


def test_the_upper_quantile_agrees_with_another_implementation():
    values = np.random.default_rng(6).gamma(2.0, size=37)
    assert upper_quantile(values) == pytest.approx(float(hdquantiles(values, [0.9])[0]), rel=1e-12)
