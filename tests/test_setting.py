"""Settings, machines and stocks: what they accept, what they refuse and how they say it."""

import math

import numpy as np
import pytest

from tint.errors import FileError, LimitError
from tint.setting import Machine, Setting, Stock, read_machine, read_stock, toml_text

LASER = Machine("bench", 100, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("sign plate", "304", "2B", 1.5, [120, 80], "A1")


def test_a_setting_takes_scalars_and_arrays_and_broadcasts_them():
    many = Setting([10, 20, 30], 800, 300, 6, 0.002)
    assert many.shape == (3,) and many.speed_mm_s.tolist() == [800, 800, 800]
    assert many[1] == Setting(20, 800, 300, 6, 0.002)
    assert Setting.from_table(many.table()) == many
    assert Setting.from_dict(many[2].as_dict()) == many[2]


def test_an_unknown_hatch_angle_is_nan_and_survives_json():
    setting = Setting(10, 800, 300, 6, 0.002, hatch_deg=math.nan)
    assert setting.as_dict()["hatch_deg"] is None
    assert Setting.from_dict(setting.as_dict()) == setting


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("power_pct", 0, "power 0 %"),
        ("speed_mm_s", -5, "speed -5 mm/s"),
        ("freq_khz", math.nan, "frequency nan kHz"),
        ("spacing_mm", math.inf, "line spacing inf mm"),
        ("passes", 1.5, "a whole number"),
        ("focus_mm", math.nan, "focus nan mm"),
    ],
)
def test_a_value_no_mark_can_have_is_refused_by_name(field, value, said):
    values = {"power_pct": 20, "speed_mm_s": 800, "freq_khz": 300, "pulse_ns": 6, "spacing_mm": 0.002, field: value}
    with pytest.raises(LimitError, match=said):
        Setting(**values)


def test_the_row_of_a_bad_value_is_named():
    with pytest.raises(LimitError, match="row 2"):
        Setting([10, -1, 5], 800, 300, 6, 0.002)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"power_pct": 101}, "power 101 % is outside this machine"),
        ({"speed_mm_s": 20000}, r"speed 20000 mm/s is outside this machine \(0–10000 mm/s\)"),
        ({"freq_khz": 0.5}, r"frequency 0.5 kHz is outside this machine \(1–4000 kHz\). Drop row 1, or check machine.toml"),
        ({"pulse_ns": 1}, r"pulse width 1 ns is outside this machine \(2–500 ns\). "),
    ],
)
def test_a_setting_beyond_the_machine_is_refused_with_what_is_allowed(change, said):
    setting = Setting([20, 20], 800, 300, 6, 0.002).replace(**change)
    with pytest.raises(LimitError, match=said):
        LASER.check(setting)


def test_a_machine_with_single_pulse_widths_refuses_one_between():
    laser = Machine("steps", 60, [4, 8, 14], [1, 2000], 8000, [175, 175], spot_um=60)
    laser.check(Setting(20, 800, 300, 8, 0.002))
    with pytest.raises(LimitError, match="4, 8, 14 ns"):
        laser.check(Setting(20, 800, 300, 10, 0.002))


def test_below_the_full_energy_frequency_the_average_power_falls_with_the_frequency():
    laser = Machine("steps", 60, [4, 8, 14], [1, 2000], 8000, [175, 175], spot_um=60, full_energy_khz=[900, 600, 400])
    at = laser.average_power_w(Setting(50, 800, [300, 600, 1200], 8, 0.002))
    assert at.tolist() == [15, 30, 30]
    # pulse energy stays at its limit below that frequency
    assert (at[0] / 300, at[1] / 600) == (0.05, 0.05)


def test_a_power_curve_replaces_the_straight_line():
    laser = Machine("metered", 60, [4, 500], [1, 2000], 8000, [175, 175], spot_um=60, power_curve=[[10, 4], [50, 28], [100, 57]])
    assert laser.average_power_w(Setting([10, 30, 100], 800, 300, 8, 0.002)).tolist() == [4, 16, 57]
    with pytest.raises(LimitError, match="power 5 % is outside this machine"):
        laser.check(Setting(5, 800, 300, 8, 0.002))  # nobody measured there


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"max_power_w": -1}, "max_power_w -1 cannot be"),
        ({"max_power_w": "60"}, "max_power_w needs numbers"),
        ({"pulse_ns": [500, 2]}, "rising order"),
        ({"freq_khz": [4000, 1]}, "lowest, highest"),
        ({"freq_khz": [1, 2, 3]}, "needs 2 numbers, found 3"),
        ({"spot_um": None}, "spot_um, or beam_mm with lens_focal_mm"),
        ({"full_energy_khz": [100]}, "1 numbers for 2 pulse widths"),
        ({"power_curve": [[10, 5], [5, 9]]}, "both rising"),
        ({"power_curve": [[10, 4], [50]]}, "both rising"),
        ({"power_curve": "x"}, "both rising"),
        ({"power_curve": [[10, 4], [50, math.nan]]}, "power_curve nan cannot be"),
        ({"pulse_ns": [4, 4, 8]}, "rising order"),
        ({"field_mm": 175}, "needs a list of numbers"),
    ],
)
def test_a_machine_that_cannot_be_is_refused(change, said):
    values = {"name": "x", "max_power_w": 60, "pulse_ns": [2, 500], "freq_khz": [1, 4000], "max_speed_mm_s": 8000,
              "field_mm": [175, 175], "spot_um": 60}  # fmt: skip
    with pytest.raises(LimitError, match=said):
        Machine(**{**values, **change})


def test_machine_and_stock_survive_their_files(tmp_path):
    laser = Machine('bench "one" \\ ü \U000e0001', 60, [4, 8], [1, 2000], 8000, [175, 175], beam_mm=7.5, lens_focal_mm=254,
                    full_energy_khz=[900, 600], power_curve=[[10, 4], [100, 57]])  # fmt: skip
    (tmp_path / "machine.toml").write_text(toml_text(laser, ("a remark",)), encoding="utf-8")
    (tmp_path / "stock.toml").write_text(toml_text(SHEET), encoding="utf-8")
    assert read_machine(tmp_path / "machine.toml") == laser
    assert read_stock(tmp_path / "stock.toml") == SHEET


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name = 'a'\nmax_power_w = 12,5", "point, not a comma"),
        ("name = 'a'", "max_power_w is missing"),
        ("colour = 1", "colour is not a field of a machine"),
        ("name = 'a'\ngrade = '304'", "grade is not a field of a machine; this is a stock's file"),
        ("name = 'a'\ngrade = '304'\ncolour = 1", "is not a field of a machine; known are name"),
        ("", "name is missing"),
    ],
)
def test_a_machine_file_that_is_wrong_names_the_file_and_the_fault(tmp_path, text, said):
    path = tmp_path / "machine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match=said) as caught:
        read_machine(path)
    assert "machine.toml" in str(caught.value) and "\n" not in str(caught.value)


def test_settings_do_not_change_after_they_are_made():
    source = np.array([10.0, 20.0])
    setting = Setting(source, 800, 300, 6, 0.002)
    source[0] = 99
    assert setting.power_pct[0] == 10
    with pytest.raises(ValueError, match="read-only"):
        setting.power_pct[0] = 5
