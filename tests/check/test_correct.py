"""Corrected and accepted versions: what they hold, and that the colours come back on the SIMULATED laser."""

import dataclasses

import numpy as np
import pytest
from marked import LASER, NAMES, palette, promised, strip

from tint.check.check import check_strip
from tint.check.correct import accepted, corrected, find_correction, refuse_correction, worth_correcting
from tint.check.text import correction_text
from tint.errors import DataError
from tint.lab import delta_e00

DATE = "2026-03-14T09:00:00+01:00"
OURS = promised()


def test_an_accepted_strip_becomes_the_promise_with_its_scatter_parent_and_reason():
    first = palette()
    check = check_strip(first, strip(first, 1))
    new = accepted(check, 2, DATE)
    for k, colour in enumerate(new.colours):
        marks = check.marks.lab[check.marks.number == k]
        np.testing.assert_allclose(colour.lab, marks.mean(axis=0), atol=6e-4)
        np.testing.assert_allclose(colour.scatter, np.cov(marks.T))
        assert colour.marks == 3 and colour.setting == first.colours[k].setting
    lineage = new.lineage
    assert (lineage.version, lineage.parent, lineage.line, lineage.strip) == (2, first.digest, first.line, "strip (s1)")
    assert "accepted" in lineage.reason and new.repeatability == check.repeatability and first.colours[0].marks == 0


def test_nine_of_ten_fresh_marks_land_within_the_radius_of_an_accepted_promise():
    inside = []
    for seed in range(12):
        first = palette()
        new = accepted(check_strip(first, strip(first, 400 + seed)), 2, DATE)
        fresh = strip(new, 500 + seed)
        inside += (
            delta_e00(fresh.lab, np.repeat(new.lab[1:], 3, axis=0)) <= np.repeat([c.de00_90 for c in new.colours], 3)
        ).tolist()
    assert 0.85 <= np.mean(inside) <= 0.98


@pytest.mark.parametrize("power", [0.95, 1.04])
def test_one_change_of_power_brings_the_colours_back(power):
    patches = strip(OURS, 30, power=power)
    check = check_strip(OURS, patches)
    assert worth_correcting(check)
    correction = find_correction(check, patches)
    assert correction.way == "heat" and correction.power_pct == pytest.approx(100 * (1 / power - 1), abs=1.2)
    new = corrected(check, correction, 3, DATE)
    after = delta_e00(LASER.lab(new.setting, power), OURS.lab[1:])
    before = delta_e00(LASER.lab(OURS.setting, power), OURS.lab[1:])
    assert np.median(after) < 0.4 * np.median(before)
    assert np.median(np.abs(after - correction.after_de00)) < 1.0 and "Expected after it" in correction_text(
        check, correction
    )
    for colour, old in zip(new.colours, OURS.colours, strict=True):
        np.testing.assert_array_equal(colour.lab, old.lab)  # the promise stays
        assert colour.setting.replace(power_pct=1) == old.setting.replace(power_pct=1)
    assert new.lineage.parent == OURS.digest and "corrected, power" in new.lineage.reason


def test_a_machine_at_its_end_of_power_says_which_colours_are_not_brought_back():
    machine = dataclasses.replace(OURS.machine, power_curve=((5, 3.0), (38.5, 23.1)))
    weak = dataclasses.replace(OURS, machine=machine)
    check = check_strip(weak, strip(weak, 31, power=0.93))
    correction = find_correction(check, strip(weak, 31, power=0.93))
    assert (
        correction.way == "heat"
        and correction.setting.power_pct.max() == 38.5
        and "end of the machine's power" in correction.remarks[0]
    )


def test_what_one_change_of_power_does_not_bring_back_needs_a_model():
    patches = strip(OURS, 32, change=lambda s: s.replace(freq_khz=s.freq_khz * 0.87))
    check = check_strip(OURS, patches)
    assert check.verdict == "out"
    with pytest.raises(DataError, match="give --model MODEL"):
        find_correction(check, patches)


def test_scatter_is_not_corrected():
    within = check_strip(OURS, strip(OURS, 33))
    assert not worth_correcting(within)
    with pytest.raises(DataError, match="nothing to correct"):
        refuse_correction(within)
    rng = np.random.default_rng(1)
    uneven = check_strip(OURS, strip(OURS, 1, power=0.95, lab=lambda lab: lab + rng.normal(0, 5, lab.shape)))
    assert uneven.uneven and not worth_correcting(uneven)
    with pytest.raises(DataError, match="differ too much"):
        refuse_correction(uneven)
    refuse_correction(check_strip(OURS, strip(OURS, 30, power=0.95)))


def test_a_strip_accepted_although_it_was_out_says_so_for_good():
    new = accepted(check_strip(OURS, strip(OURS, 30, power=0.95)), 3, DATE)
    assert "although out" in new.lineage.reason and "although" not in OURS.lineage.reason


def test_what_was_edited_by_hand_is_told_until_a_strip_of_it_is_accepted():
    edited = dataclasses.replace(OURS, edited=(f"setting of {NAMES[1]!r}", f"setting of {NAMES[4]!r}"))
    patches = strip(edited, 30, power=0.95)
    check = check_strip(edited, patches)
    assert corrected(check, find_correction(check, patches), 3, DATE).edited == edited.edited
    assert accepted(check, 3, DATE).edited == ()
    without = accepted(
        check_strip(edited, patches.take(np.r_[0:12, 15:18])), 3, DATE
    )  # the fifth colour is not on the strip
    assert without.edited == (f"setting of {NAMES[4]!r}",)
