"""The course of patches in time, and drift found without a film; SIMULATED colours."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from grown import film_lab, film_patches, film_plate, film_settings

from tint.lab import delta_e00
from tint.measure.patches import join_patches
from tint.model.drift import NO_DRIFT, Drift, course, estimate, shifted
from tint.model.fit import fit
from tint.model.model import predict
from tint.setting import Setting


def ordered(*order: float):
    return dataclasses.replace(film_patches(len(order), 0), order=np.array(order, dtype=float))


def test_the_course_runs_from_the_first_patch_of_a_plate_to_its_last():
    assert course(ordered(3, 1, 2, 5, 4))[:, 0] == pytest.approx([0.5, 0, 0.25, 1, 0.75])


def test_a_plate_begins_where_an_order_number_comes_again():
    found = course(ordered(1, 2, 3, 1, 3, 2, 2, 1))
    assert found.shape == (8, 3)
    assert found[:, 0] == pytest.approx([0, 0.5, 1, 0, 1, 0.5, 1, 0])
    assert found[:, 1].tolist() == [0, 0, 0, 1, 1, 1, 0, 0] and found[:, 2].tolist() == [0, 0, 0, 0, 0, 0, 1, 1]


@pytest.mark.parametrize("sizes", [(12, 60), (24, 60), (60, 24)])
def test_plates_of_any_size_are_told_apart_by_the_tables_they_came_from(sizes):
    wrong = 0
    for seed in range(5):
        joined = join_patches([film_plate(n, seed + n) for n in sizes])
        assert course(joined)[:, 1].tolist() == [0] * sizes[0] + [1] * sizes[1]
        for rows in (slice(0, sizes[0]), slice(sizes[0], None)):
            assert sorted(course(joined)[rows, 0]) == pytest.approx(np.linspace(0, 1, len(joined.order[rows])))
        nameless = course(dataclasses.replace(joined, plates=()))
        wrong += int((nameless[:, 1] != course(joined)[:, 1]).sum())
    assert (wrong > 0) == (sizes[1] > sizes[0])  # by order numbers alone the first rows of a larger plate are misread


def test_a_step_to_a_larger_plate_is_found(machine, stock):
    first, second = film_plate(12, 195), film_plate(60, 1195, share=0.96)  # by order numbers alone 17 rows were misread
    model = fit(join_patches([first, second]), machine, stock)
    assert model.report.plate_steps_pct[0] == pytest.approx(-4, abs=1)
    assert np.median(delta_e00(predict(model, film_settings(100, 7)).lab, film_lab(film_settings(100, 7)))) < 1


def test_few_unknown_orders_stand_in_the_middle_and_many_tell_nothing():
    assert course(ordered(1, 2, np.nan, 4, 5))[2, 0] == 0.5
    assert course(ordered(1, 2, np.nan, np.nan, 5)) is None
    assert course(ordered(1)) is None


def test_drift_is_found_from_what_a_member_leaves_over():
    rng = np.random.default_rng(0)
    setting = Setting(rng.uniform(20, 45, 60), 900, 400, 20, 0.003)
    along = np.stack([rng.permutation(60) / 59, np.arange(60) >= 30], axis=1)

    def predict(at: Setting) -> np.ndarray:
        turn = 2 * np.log(at.power_pct / 30)
        return np.stack([55 + 15 * turn, 20 * np.sin(turn), 20 * np.cos(turn)], axis=1)

    lab = predict(shifted(setting, along @ [-0.03, 0.02])) + rng.normal(0, 0.2, (60, 3))
    left = lab - predict(setting)
    left -= left.mean(axis=0)  # the mean effect is already in a member
    left[7] += 25  # a spoilt patch does not count
    found = estimate(left, lab, np.ones(60), setting, along, predict)
    assert found.pct == pytest.approx(-3, abs=0.4) and found.steps_pct[0] == pytest.approx(2, abs=0.4)
    assert 0 < found.sd_pct < 0.5


def test_what_was_not_looked_for_is_not_claimed():
    unknown = Drift(np.zeros(3), np.zeros(3))
    assert unknown.pct is None and unknown.sd_pct is None and unknown.steps_pct == ()
    assert NO_DRIFT.pct is None and NO_DRIFT.shift(None, 4).tolist() == [0, 0, 0, 0]
