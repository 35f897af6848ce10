"""Carrying a model over to a new stock or machine; SIMULATED patches."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from grown import film_lab, film_patches, film_settings

from tint.errors import DataError
from tint.lab import delta_e00
from tint.model.adapt import HOLDS, adapt
from tint.model.fit import fit
from tint.model.model import predict, read_model, write_model


@pytest.fixture(scope="module")
def base(machine, stock):
    """A model of 48 patches of the old batch."""
    return fit(film_patches(48, 1), machine, stock)


@pytest.fixture(scope="module")
def carried(base, machine, stock):
    """The base carried over by 12 patches to a batch that grows 12 % more film."""
    return adapt(base, film_patches(12, 2, 1.12), machine, dataclasses.replace(stock, name="new batch"))


def test_twelve_patches_of_another_batch_bring_the_base_back_to_the_mark(base, carried):
    at = film_settings(200, 5)
    truth = film_lab(at, growth=1.12)
    before, after = (np.median(delta_e00(predict(model, at).lab, truth)) for model in (base, carried))
    assert before > 4  # 12 % of film is plain to see
    assert after < before / 3


def test_the_report_names_every_way_that_was_tried(carried):
    names = [score.name for score in carried.report.scores]
    assert names[0] == "this model"
    assert {"base as it is", "fitted from scratch", *(hold.name for hold in HOLDS)} <= set(names)
    assert sum(score.weight for score in carried.report.scores) == pytest.approx(1)
    assert sum(member.weight for member in carried.members) == pytest.approx(1)
    assert any("SIMULATED patches" in remark for remark in carried.report.remarks)


def test_a_machine_of_twice_the_power_answers_as_the_base_in_watts(base, machine, stock):
    strong = dataclasses.replace(machine, max_power_w=2 * machine.max_power_w)
    same = film_patches(8, 3)
    halved = dataclasses.replace(same, setting=same.setting.replace(power_pct=same.setting.power_pct / 2))
    model = adapt(base, halved, strong, stock)
    at = film_settings(100, 6)
    assert np.median(delta_e00(predict(model, at.replace(power_pct=at.power_pct / 2)).lab, film_lab(at))) < 1.0


def test_a_field_the_base_never_varied_may_stand_elsewhere_on_the_new_stock(base, machine, stock):
    # the base saw one line spacing only; here lines lie twice as wide apart and the film does not care
    def wide(setting):
        return setting.replace(spacing_mm=0.006)

    same = film_patches(8, 3)
    model = adapt(base, dataclasses.replace(same, setting=wide(same.setting)), machine, stock)
    at = film_settings(100, 6)
    assert np.median(delta_e00(predict(model, wide(at)).lab, film_lab(at))) < 1.5


def test_a_carried_model_is_written_and_read_exactly(carried, tmp_path):
    again = read_model(write_model(carried, tmp_path / "new.json"))
    at = film_settings(50, 7)
    assert np.array_equal(predict(again, at).lab, predict(carried, at).lab)
    assert np.array_equal(predict(again, at).de00_90, predict(carried, at).de00_90)
    assert np.array_equal(again.held_out_lab, carried.held_out_lab)
    error = delta_e00(carried.held_out_lab, carried.patches.lab)
    assert np.median(error) == pytest.approx(carried.report.scores[0].median_de00)


def test_one_spoilt_patch_among_eight_is_set_aside_and_named(base, machine, stock):
    clean = film_patches(8, 2, 1.12)
    lab = clean.lab.copy()
    lab[3] = [15, 0, 0]
    at = film_settings(100, 5)
    good, spoilt = (
        adapt(base, dataclasses.replace(clean, lab=colours), machine, stock) for colours in (clean.lab, lab)
    )
    assert good.report.outliers == () and spoilt.report.outliers == ("m3",)
    error = [np.median(delta_e00(predict(model, at).lab, film_lab(at, growth=1.12))) for model in (good, spoilt)]
    assert error[1] < error[0] + 1.0


def test_a_base_without_film_and_too_few_patches_are_refused(base, machine, stock):
    with pytest.raises(DataError, match="only 4 good patches"):
        adapt(base, film_patches(4, 2), machine, stock)
    alike = film_patches(12, 2)
    with pytest.raises(DataError, match="share one or two settings"):
        adapt(base, dataclasses.replace(alike, setting=alike.setting[np.zeros(12, dtype=int)]), machine, stock)
    with pytest.raises(DataError, match="share one or two settings, hatch angle aside"):
        turned = alike.setting[np.zeros(12, dtype=int)].replace(hatch_deg=np.tile([0.0, 45, 90], 4))
        adapt(base, dataclasses.replace(alike, setting=turned), machine, stock)
    bare = dataclasses.replace(base, members=(dataclasses.replace(base.members[0], kind="process", weight=1.0),))
    with pytest.raises(DataError, match="cannot be carried over"):
        adapt(bare, film_patches(12, 2), machine, stock)


def test_patches_of_one_colour_are_carried_over_without_claiming_to_be_sure(base, machine, stock):
    plate = film_patches(12, 2)
    model = adapt(base, dataclasses.replace(plate, lab=np.tile([50.0, 10, 10], (12, 1))), machine, stock)
    assert sum(member.weight for member in model.members) == pytest.approx(1)
    guess = predict(model, plate.setting)
    assert np.isfinite(guess.lab).all() and guess.de00_90.min() >= 0.75


def test_drift_of_a_short_plate_is_found_with_the_base_and_taken_out(base, machine, stock):
    # 24 patches of another batch along which the laser lost 3 % of its power, in shuffled order
    rng, clean = np.random.default_rng(8), film_patches(24, 8, 1.06)
    order = rng.permutation(24) + 1.0
    weaker = clean.setting.replace(power_pct=clean.setting.power_pct * (1 - 0.03 * (order - 1) / 23))
    drifted = dataclasses.replace(clean, lab=film_lab(weaker, growth=1.06) + rng.normal(0, 0.3, (24, 3)), order=order)
    model = adapt(base, drifted, machine, stock)
    assert model.report.drift_pct == pytest.approx(-3, abs=0.8)
    assert model.log_power.min() == pytest.approx(model.report.drift_pct / 100)
    at = film_settings(100, 6)
    assert np.median(delta_e00(predict(model, at).lab, film_lab(at, growth=1.06))) < 1.0
    unknown = adapt(base, dataclasses.replace(drifted, order=np.full(24, np.nan)), machine, stock)
    assert unknown.report.drift_pct is None and not unknown.log_power.any()


def test_a_short_plate_without_drift_is_not_given_one(base, machine, stock):
    plate = film_patches(16, 9, 1.06)
    model = adapt(base, dataclasses.replace(plate, order=np.random.default_rng(1).permutation(16) + 1.0), machine, stock)
    assert abs(model.report.drift_pct) < 0.8
    assert model.report.drift_sd_pct < 1.0  # the expectation alone is 1 %
