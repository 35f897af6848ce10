"""Settings borrowed from another machine: what is kept, what cannot be, and the tuning grid."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tint.errors import DataError, LimitError
from tint.model.borrow import COMPARED, borrow, borrowed_text, tuning_settings
from tint.process import process
from tint.setting import Machine, Setting

THEIRS = Machine("theirs", 100, (2, 500), (1, 4000), 10000, (175, 175), spot_um=60)
SOME = Setting([18, 25, 33], [800, 1000, 650], [500, 350, 250], [6, 14, 30], 0.002)


def like(**changes) -> Machine:
    return dataclasses.replace(THEIRS, name="mine", **changes)


def test_the_same_machine_keeps_every_setting_as_it_is():
    borrowed = borrow(SOME, THEIRS, like())
    assert borrowed.setting == SOME
    assert borrowed.ratio == pytest.approx(1)
    assert borrowed.kept(0) == tuple(COMPARED.values()) and borrowed.lost(0) == ()


def test_half_the_source_needs_twice_the_dial_and_nothing_else():
    borrowed = borrow(SOME, THEIRS, like(max_power_w=50))
    assert borrowed.setting == SOME.replace(power_pct=2 * SOME.power_pct)


def test_a_wider_spot_keeps_fluence_energy_and_overlaps_when_nothing_is_in_the_way():
    # by hand, spot 1.5 × as wide: pulse energy × 2.25 keeps the fluence, pitches × 1.5 the overlaps; energy per area follows
    borrowed = borrow(SOME, THEIRS, like(spot_um=90))
    old, new = process(SOME, THEIRS), process(borrowed.setting, borrowed.machine)
    for name in ("fluence_j_cm2", "areal_energy_j_mm2", "pulse_overlap", "line_overlap", "average_power_w"):
        assert getattr(new, name) == pytest.approx(getattr(old, name), rel=0.02), name
    assert new.pulse_energy_uj / old.pulse_energy_uj == pytest.approx(2.25, rel=0.02)
    assert borrowed.lost(0) == ("pulse energy × 2.25",)


def test_settings_stay_inside_every_limit_and_what_is_lost_is_said():
    small = Machine("small", 20, (8, 30, 100, 200), (20, 200), 500, (110, 110), spot_um=40, full_energy_khz=(120, 100, 60, 40))
    many = Setting(np.linspace(10, 90, 12), np.linspace(300, 4000, 12), np.geomspace(30, 2000, 12), 14, 0.002)
    borrowed = borrow(many, THEIRS, small)
    small.check(borrowed.setting)
    assert set(borrowed.setting.pulse_ns) <= set(small.pulse_ns)
    assert any("pulse width" in word for word in borrowed.lost(0)) and "could not all be kept on small" in borrowed.remarks[-1]
    assert (borrowed.de00_90 >= 40).all()


def test_a_power_curve_turns_watts_into_the_right_percentage():
    curve = ((10, 4.0), (50, 40.0), (100, 100.0))
    borrowed = borrow(SOME, THEIRS, like(power_curve=curve))
    watts = np.interp(borrowed.setting.power_pct, *np.asarray(curve).T)
    assert watts == pytest.approx(THEIRS.average_power_w(SOME), rel=0.01)


def test_measured_dials_narrow_the_radius_and_unmeasured_ones_are_named():
    curve = ((1, 1.0), (100, 100.0))
    known, guessed = (borrow(SOME, *pair) for pair in (
        (dataclasses.replace(THEIRS, power_curve=curve), like(power_curve=curve)), (THEIRS, like(power_curve=curve))))  # fmt: skip
    assert (known.de00_90 < guessed.de00_90).all() and (known.de00_90 > 20).all()
    assert any("no power curve of theirs:" in remark for remark in guessed.remarks)
    assert not any("power curve" in remark for remark in known.remarks)


def test_a_setting_the_old_machine_cannot_do_is_refused():
    with pytest.raises(LimitError, match="outside this machine"):
        borrow(SOME, dataclasses.replace(THEIRS, freq_khz=(1, 300)), THEIRS)


def test_a_tuning_grid_holds_every_setting_and_steps_around_it_within_limits():
    borrowed = borrow(SOME, THEIRS, like(max_power_w=36))  # the strongest setting ends at 92 %
    grid = tuning_settings(borrowed, 29)
    borrowed.machine.check(grid)
    rows = {row.tobytes() for row in grid.table()}
    assert len(grid) == len(rows) == 29
    assert all(row.tobytes() in rows for row in borrowed.setting.table())
    first = grid[:10]
    assert first[0] == borrowed.setting[0]
    assert np.ptp(first.power_pct) > 0 and np.ptp(first.speed_mm_s) > 0
    assert np.ptp(first.freq_khz) == np.ptp(first.pulse_ns) == np.ptp(first.spacing_mm) == 0
    with pytest.raises(DataError, match="2 patches are too few to try 3 borrowed settings"):
        tuning_settings(borrowed, 2)


def test_what_is_kept_is_said_once_where_it_is_the_same_for_all():
    same = borrowed_text(borrow(SOME, THEIRS, like(spot_um=90)))
    assert same.count("kept: pulse width") == 1 and "\nall  kept: pulse width" in same and "\n     kept" not in same
    one = borrowed_text(borrow(SOME[:1], THEIRS, like(spot_um=90)))
    assert one.count("kept: pulse width") == 1 and "all  " not in one
    small = like(max_power_w=20, freq_khz=(1, 400))  # the settings lose different quantities
    several = borrow(SOME, THEIRS, small)
    assert len({several.kept(i) + several.lost(i) for i in range(3)}) > 1
    assert sum(line.startswith("     kept: ") for line in borrowed_text(several).splitlines()) == 3


def test_the_text_says_what_it_rests_on():
    text = borrowed_text(borrow(SOME, THEIRS, like(spot_um=90)))
    assert "NOT MEASURED" in text and "not kept: pulse energy × 2.25" in text and "9 of 10 within ΔE00" in text
