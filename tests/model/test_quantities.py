"""The box of a grid: what lies outside it, with hatch angles as the lines they mean."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.model.answer import is_guess, prediction_remarks
from tint.model.dials import dials, middle_setting
from tint.model.model import predict
from tint.model.quantities import box, log_fields, outside, over_box, unlearned, varied
from tint.setting import Setting

ANGLES = st.floats(-360, 360).map(lambda angle: round(angle, 2))


def fields_at(*hatch_deg):
    return log_fields(Setting(20, 800, 300, 6, 0.002, hatch_deg=list(hatch_deg)))


def width_deg(*hatch_deg):
    return np.diff(box(fields_at(*hatch_deg))[:, -1]).item()


def test_lines_turned_half_round_are_the_same_mark_with_the_same_radius(invented_model):
    setting = invented_model.patches.setting[:5]
    same, turned, across = (predict(invented_model, setting.replace(hatch_deg=angle)) for angle in (0.0, 180.0, 90.0))
    assert np.array_equal(turned.lab, same.lab) and np.array_equal(turned.de00_90, same.de00_90)
    assert turned.outside.max() == 0 and turned.unlearned == () and not is_guess(turned)
    assert across.outside == pytest.approx(1) and across.unlearned == ("hatch_deg",) and "FAR OUTSIDE" in prediction_remarks(across)[0]


@given(st.lists(ANGLES, min_size=1, max_size=6), ANGLES, st.sampled_from([-360, -180, 180, 360]))
def test_a_half_turn_changes_neither_what_is_outside_nor_what_is_learned(seen, angle, turn):
    edges = box(fields_at(*seen))
    for half in (edges, box(fields_at(*(each + turn for each in seen)))):
        assert np.ptp(half[:, -1]) == pytest.approx(np.ptp(edges[:, -1]), abs=1e-9)
        assert outside(fields_at(*seen), half).max() == 0
        assert outside(fields_at(angle + turn), half) == pytest.approx(outside(fields_at(angle), edges), abs=1e-6)
        assert unlearned(fields_at(angle + turn), half) == unlearned(fields_at(angle), edges)


def test_the_range_of_angles_is_the_narrowest_that_holds_the_lines():
    assert width_deg(0, 180) == 0 and not varied(box(fields_at(0, 180))).any()
    assert width_deg(5, 185, 175) == pytest.approx(10)
    assert width_deg(0, 90) == 90 and width_deg(-10, 10) == 20 and width_deg(0, 45, 90, 135) == 135
    assert box(fields_at(-10, 10))[:, -1].tolist() == [-10, 10]  # as dialled where that is the narrowest
    assert outside(fields_at(1), box(fields_at(179))) == pytest.approx(2 / 90)
    assert np.isnan(box(fields_at(np.nan, np.nan))[:, -1]).all() and width_deg(np.nan, 30) == 0


def test_settings_half_a_turn_apart_are_near():
    at = over_box(fields_at(0, 90, 180), box(fields_at(0, 90)))[:, 0]
    assert at.tolist() == [0, 1, 0]


def test_a_grid_hatched_both_ways_round_varied_nothing(invented_model):
    hatch = np.resize([0.0, 180.0], len(invented_model.patches))
    setting = invented_model.patches.setting.replace(hatch_deg=hatch)
    model = dataclasses.replace(invented_model, patches=dataclasses.replace(invented_model.patches, setting=setting))
    assert dials(model)[-1].steady
    assert middle_setting(model).replace(hatch_deg=0.0) == middle_setting(invented_model)
