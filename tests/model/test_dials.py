"""Dials stay inside the machine, hold what the grid marked, and the colours along them are the model's own."""

import dataclasses

import numpy as np
import pytest

from tint.errors import LimitError
from tint.model.dials import Dial, colours_along, dials, middle_setting
from tint.model.model import predict
from tint.setting import FIELDS, Machine


def test_every_field_has_a_dial_that_holds_the_grid_and_stays_inside_the_machine(open_model):
    found = dials(open_model)
    assert [dial.field for dial in found] == list(FIELDS)
    table = np.nan_to_num(open_model.patches.setting.table())
    for k, dial in enumerate(found):
        assert dial.low <= dial.seen_low == table[:, k].min() and dial.high >= dial.seen_high == table[:, k].max()
        middle = middle_setting(open_model)
        for end in (dial.low, dial.high):
            open_model.machine.check(middle.replace(**{dial.field: end}))
    moved = {dial.field for dial in found if not dial.steady}
    assert moved == {"power_pct", "freq_khz"}  # the open grid varied these two


def test_a_machine_of_single_pulse_widths_has_them_on_its_dial(open_model):
    machine = dataclasses.replace(open_model.machine, pulse_ns=(2.0, 6.0, 20.0))
    dial = next(each for each in dials(dataclasses.replace(open_model, machine=machine)) if each.field == "pulse_ns")
    assert dial.values == (2.0, 6.0, 20.0) and (dial.low, dial.high) == (2.0, 20.0)


def test_a_limit_the_machine_states_is_not_rounded_beyond_itself(open_model):
    machine = dataclasses.replace(open_model.machine, max_speed_mm_s=20000 / 3)
    model = dataclasses.replace(open_model, machine=machine)
    dial = next(each for each in dials(model) if each.field == "speed_mm_s")
    values, _ = colours_along(model, middle_setting(model), dial, 5)  # refuses what the machine cannot do
    assert values[-1] == 20000 / 3


def test_a_hatch_angle_that_some_patches_lack_is_seen_where_it_is_known(open_model):
    hatch = np.where(np.arange(len(open_model.patches)) < 5, np.nan, 45.0)
    setting = open_model.patches.setting.replace(hatch_deg=hatch)
    dial = dials(dataclasses.replace(open_model, patches=dataclasses.replace(open_model.patches, setting=setting)))[-1]
    assert (dial.field, dial.seen_low, dial.seen_high) == ("hatch_deg", 45.0, 45.0)


def test_a_measured_power_curve_bounds_the_dial(open_model):
    curve = ((10.0, 8.0), (60.0, 55.0), (90.0, 92.0))
    machine = Machine(**{**open_model.machine.as_dict(), "power_curve": curve})
    dial = dials(dataclasses.replace(open_model, machine=machine))[0]
    assert (dial.low, dial.high) == (10.0, 90.0)


def test_the_middle_is_a_patch_of_the_grid(open_model):
    known = np.nan_to_num(open_model.patches.setting.table()).tolist()
    assert np.nan_to_num(middle_setting(open_model).table()).tolist() in known


def test_colours_along_a_dial_are_the_predictions_of_those_settings(open_model):
    setting = middle_setting(open_model)
    for dial in dials(open_model):
        values, along = colours_along(open_model, setting, dial, 9)
        assert (np.diff(values) > 0).all() and values[0] == dial.low and values[-1] == dial.high
        for i in (0, len(values) // 2, -1):
            one = predict(open_model, setting.replace(**{dial.field: values[i]}))
            assert np.allclose(along.lab[i], one.lab, atol=1e-9) and np.isclose(along.de00_90[i], one.de00_90)


def test_steps_are_even_in_the_logarithm_and_even_for_focus(open_model):
    by_name = {dial.field: dial for dial in dials(open_model)}
    speed, _ = colours_along(open_model, middle_setting(open_model), by_name["speed_mm_s"], 6)
    focus, _ = colours_along(open_model, middle_setting(open_model), by_name["focus_mm"], 6)
    assert np.allclose(np.diff(np.log(speed)), np.diff(np.log(speed))[0], rtol=1e-6)
    assert np.allclose(np.diff(focus), np.diff(focus)[0])


def test_a_strip_of_one_colour_is_refused(open_model):
    with pytest.raises(LimitError, match="2 or more"):
        colours_along(open_model, middle_setting(open_model), Dial("power_pct", 1, 100, 10, 20), 1)
