"""Drift, outliers, the choice between members, and the radius, on SIMULATED patches of known truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from grown import film_lab, film_plate, film_settings
from scipy.special import erf
from scipy.stats.mstats import hdquantiles

from tint.lab import delta_e00
from tint.measure.patches import join_patches
from tint.model.fit import fit
from tint.model.folds import BASELINES, baseline_predict
from tint.model.model import predict
from tint.model.quantities import log_fields
from tint.model.radius import GROWTH_PER_WIDTH, Calibration, calibrate, cross_coverage, spread_de00, upper_quantile
from tint.model.report import GUESSES, report_text
from tint.process import process
from tint.setting import Machine, Stock


@pytest.fixture(scope="module")
def drifted(machine: Machine, stock: Stock):
    """A model of a plate along which the laser lost 4 % of its power."""
    return fit(film_plate(60, 1, drift=-0.04), machine, stock)


def test_drift_along_the_marking_order_is_found_and_taken_out(drifted):
    assert drifted.report.drift_pct == pytest.approx(-4, abs=1.0)
    at = film_settings(200, 9)
    assert np.median(delta_e00(predict(drifted, at).lab, film_lab(at))) < 1.2


def test_a_plate_without_drift_is_left_alone(machine, stock):
    model = fit(film_plate(60, 1), machine, stock)
    assert abs(model.report.drift_pct) < 0.6


def test_without_a_marking_order_no_drift_is_claimed(machine, stock):
    patches = film_plate(24, 2)
    model = fit(dataclasses.replace(patches, order=np.full(24, np.nan)), machine, stock)
    assert model.report.drift_pct is None and not model.log_power.any()


def test_where_power_never_varied_no_drift_is_claimed(machine, stock):
    patches = film_plate(24, 2)
    setting = patches.setting.replace(power_pct=30.0)
    model = fit(dataclasses.replace(patches, setting=setting, lab=film_lab(setting)), machine, stock)
    assert model.report.drift_pct is None and not model.log_power.any()


def test_where_power_never_varied_no_step_between_plates_is_claimed(machine, stock):
    plates = []
    for seed in (2, 3):
        patches = film_plate(24, seed)
        setting = patches.setting.replace(power_pct=30.0)
        ids = tuple(f"{seed}-{name}" for name in patches.ids)
        plates.append(dataclasses.replace(patches, setting=setting, lab=film_lab(setting), ids=ids))
    report = fit(join_patches(plates), machine, stock).report
    assert report.plate_steps_pct == () and "first plate" not in report_text(report)


def test_a_step_of_power_between_two_plates_is_found(machine, stock):
    one, other = film_plate(48, 1), film_plate(24, 2)
    other = dataclasses.replace(
        other, lab=film_lab(other.setting, 0.95), ids=tuple(f"again-{name}" for name in other.ids)
    )
    model = fit(join_patches([one, other]), machine, stock)
    assert model.report.plate_steps_pct[0] == pytest.approx(-5, abs=1.0)
    assert "From the first plate to the next" in report_text(model.report)
    at = film_settings(200, 9)
    assert np.median(delta_e00(predict(model, at).lab, film_lab(at))) < 1.2


def test_film_colour_from_24_patches_beats_every_plain_rival(machine, stock):
    model = fit(film_plate(24, 5), machine, stock)
    at = film_settings(200, 8)
    truth = film_lab(at)
    ours = np.median(delta_e00(predict(model, at).lab, truth))
    x, q = (log_fields(setting)[:, :3] for setting in (model.patches.setting, at))
    low, width = x.min(axis=0), np.ptp(x, axis=0)
    for name in BASELINES:
        lab = baseline_predict(name, (x - low) / width, model.patches.lab, (q - low) / width)
        assert ours < (0.35 if name in GUESSES else 0.8) * np.median(delta_e00(lab, truth)), name


def test_where_film_colour_fails_the_plain_process_predicts_and_the_report_says_so(machine, stock):
    # colours no film can have, swung fast by areal energy alone
    rng = np.random.default_rng(3)
    setting = film_settings(80, 3)
    swing = np.log(process(setting, machine).areal_energy_j_mm2)
    lab = np.stack(
        [50 + 20 * np.tanh(3 * np.sin(4 * swing)), 60 * np.sin(5 * swing), 50 * np.sin(7 * swing + 1)], axis=1
    )
    patches = dataclasses.replace(film_plate(80, 3), setting=setting, lab=lab + rng.normal(0, 0.2, lab.shape))
    model = fit(patches, machine, stock)
    assert [member.kind for member in model.members] == ["process"]
    assert "process" in model.kind and "film" not in model.kind
    assert any("thin-film colour did not win" in remark for remark in model.report.remarks)


def test_gross_errors_hardly_move_the_model(machine, stock):
    clean = film_plate(40, 4)
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


def test_coverage_is_that_of_a_radius_which_spoilt_patches_do_not_widen():
    rng = np.random.default_rng(1)
    spread, fold = np.ones(60), np.arange(60) % 5
    error, aside = np.abs(rng.normal(0, 1.0, 60)), np.zeros(60, dtype=bool)
    clean = cross_coverage(error, spread, 0.3, fold, aside)
    assert 0.8 < clean < 1
    error, aside = np.append(error, [70.0, 70.0, 70.0]), np.append(aside, [True, True, True])
    spread, fold = np.append(spread, [1.0, 1.0, 1.0]), np.append(fold, [0, 1, 2])
    assert cross_coverage(error, spread, 0.3, fold, aside) == pytest.approx(60 * clean / 63)


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
