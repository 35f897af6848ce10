"""Hues and effects a model reports, on SIMULATED patches."""

from __future__ import annotations

import dataclasses

import numpy as np

from tint.lab import delta_e00
from tint.model.insight import effects, missing_hues
from tint.model.model import predict
from tint.setting import Setting


def test_the_colour_of_an_outlier_is_no_hue_the_grid_reaches(spoilt_model):
    lab = spoilt_model.patches.lab.copy()
    lab[spoilt_model.patches.ids.index("p11")] = [40.0, 5.0, -50.0]  # a blue no other patch shows
    blue = dataclasses.replace(spoilt_model, patches=dataclasses.replace(spoilt_model.patches, lab=lab))
    assert "blue" in missing_hues(spoilt_model) and "blue" in missing_hues(blue)
    trusted = dataclasses.replace(blue, report=dataclasses.replace(blue.report, outliers=()))
    assert "blue" not in missing_hues(trusted)


def test_effects_are_shifts_from_the_lowest_to_the_highest_value_largest_first(invented_model):
    found = dict(effects(invented_model))
    assert set(found) == {"power_pct", "speed_mm_s", "freq_khz", "pulse_ns"}  # what the grid varied
    assert list(found.values()) == sorted(found.values(), reverse=True)
    table, speed = invented_model.patches.setting.table(), invented_model.patches.setting.speed_mm_s
    ends = []
    for value in (speed.min(), speed.max()):
        table[:, 1] = value
        ends.append(predict(invented_model, Setting.from_table(table)).lab)
    assert abs(found["speed_mm_s"] - np.median(delta_e00(*ends))) < 0.1  # values are rounded as a person types them
