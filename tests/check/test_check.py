"""Checks of strips on the SIMULATED laser: verdicts, false alarms, and strips that are not what they should be."""

import dataclasses

import numpy as np
import pytest
from marked import FILM_SD, LASER, NAMES, READ_SD, palette, promised, strip, with_lab

from tint.check.check import ISO_MEAN_DE00, ISO_MOST_DE00, check_strip
from tint.check.correct import accepted
from tint.check.text import check_text
from tint.errors import DataError, LimitError
from tint.lab import delta_e00

OURS = promised()


def test_false_alarms_are_rare_and_a_drop_of_four_per_cent_is_seen():
    # thirty strips each: five alarms among thirty good ones would be far beyond one in twenty (p = 0.016)
    quiet = [check_strip(OURS, strip(OURS, 100 + seed)).verdict for seed in range(30)]
    loud = [check_strip(OURS, strip(OURS, 200 + seed, power=0.96)).verdict for seed in range(30)]
    assert quiet.count("within") >= 26 and loud.count("out") >= 28


def test_a_first_strip_is_judged_by_the_models_radius_and_an_accepted_one_by_its_scatter():
    first = check_strip(palette(), strip(palette(), 1))
    assert not first.measured and "--accept makes them the promise" in check_text(first)
    second = check_strip(OURS, strip(OURS, 2))
    assert second.measured and np.median([item.out_de00 for item in second.colours]) < np.median(
        [item.out_de00 for item in first.colours]
    )


def test_iso_12647_7_is_quoted_as_the_standard_has_it():
    assert (ISO_MEAN_DE00, ISO_MOST_DE00) == (2.5, 5.0)  # mean and largest ΔE00 of a proof's control strip; from memory
    assert "ISO 12647-7 asks of proofs 2.5 and 5: kept" in check_text(check_strip(OURS, strip(OURS, 2)))


def test_a_tolerance_judges_in_place_of_the_limits_and_says_so():
    patches = strip(OURS, 3, power=0.97)
    assert check_strip(OURS, patches, tolerance_de00=30).verdict == "within"
    tight = check_strip(OURS, patches, tolerance_de00=0.5)
    assert tight.verdict == "out" and "tolerance of ΔE00 0.5 you set" in check_text(tight)
    for bad in (0, -1, float("nan"), float("inf")):
        with pytest.raises(LimitError, match="tolerance"):
            check_strip(OURS, patches, tolerance_de00=bad)


def test_a_scratched_patch_is_named_and_left_out():
    patches = strip(OURS, 4)
    found = check_strip(OURS, with_lab(patches, 7, patches.lab[7] + [-9, 3, 2]))
    assert found.scratched == (patches.ids[7],) and found.verdict == "within" and patches.ids[7] in check_text(found)


def test_flagged_missing_and_foreign_patches_are_told_and_the_rest_is_judged():
    patches = strip(OURS, 5)
    patches = dataclasses.replace(patches, flags=("scratched", *patches.flags[1:]))
    setting = patches.setting.table()
    setting[-1, 1] *= 1.5
    patches = dataclasses.replace(patches, setting=type(patches.setting).from_table(setting)).take(np.r_[0:6, 9:18])
    found = check_strip(OURS, patches)
    said = " ".join(found.remarks)
    assert (
        NAMES[2] in found.marks.missing
        and "not on this strip" in said
        and "flagged, left out: A01" in said
        and "A18" in said
    )
    assert [item.marks for item in found.colours] == [2, 3, 3, 3, 2]


def test_a_strip_hatched_half_a_turn_round_is_the_palettes_own():
    patches = strip(OURS, 4)
    turned, across = (dataclasses.replace(patches, setting=patches.setting.replace(hatch_deg=angle)) for angle in (180.0, 90.0))
    found = check_strip(OURS, turned)
    assert found.marks.number.tolist() == check_strip(OURS, patches).marks.number.tolist() and found.marks.foreign == ()
    with pytest.raises(DataError, match="none of the 18 patches has a setting"):
        check_strip(OURS, across)


def test_a_strip_of_another_palette_or_version_is_refused_by_name():
    other = dataclasses.replace(
        OURS,
        colours=tuple(
            dataclasses.replace(c, setting=c.setting.replace(speed_mm_s=c.setting.speed_mm_s * 1.1))
            for c in OURS.colours
        ),
    )
    with pytest.raises(DataError, match="a strip of another palette"):
        check_strip(OURS, strip(other, 1))
    with pytest.raises(DataError, match="these are the settings of version 2"):
        check_strip(OURS, strip(other, 1), others=(OURS, other))
    with pytest.raises(DataError, match="are flagged"):
        check_strip(OURS, dataclasses.replace(strip(OURS, 1), flags=("dirty",) * 18))


def test_swapped_rows_are_said_with_the_likely_mapping_and_can_be_taken_so():
    patches = strip(OURS, 6)
    order = np.arange(18)
    order[[1, 10]] = order[[10, 1]]
    wrong = dataclasses.replace(patches, lab=patches.lab[order])
    with pytest.raises(
        DataError,
        match=r"rows of this strip look swapped: row A\d\d belongs to A\d\d, row A\d\d belongs to A\d\d.*--remap",
    ):
        check_strip(OURS, wrong)
    right = check_strip(OURS, wrong, remap=True)
    assert right.verdict == "within" and "rows taken as they seem" in right.remarks[0]
    np.testing.assert_allclose(right.de00, check_strip(OURS, patches).de00)


def test_a_strip_read_from_the_wrong_end_is_swapped_rows_and_a_drift_is_not():
    patches = strip(OURS, 7)
    with pytest.raises(DataError, match="look swapped"):
        check_strip(OURS, dataclasses.replace(patches, lab=patches.lab[::-1]))
    assert check_strip(OURS, strip(OURS, 7, power=0.90)).verdict == "out"


def test_a_setting_edited_by_hand_is_told_and_its_colour_not_judged():
    changed = dataclasses.replace(OURS.colours[1], setting=OURS.colours[1].setting.replace(power_pct=29))
    edited = dataclasses.replace(
        OURS, colours=(OURS.colours[0], changed, *OURS.colours[2:]), edited=(f"setting of {NAMES[1]!r}",)
    )
    found = check_strip(edited, strip(edited, 8))
    assert (
        found.colours[1].de00 > found.colours[1].out_de00
        and found.colours[1].verdict == "not judged"
        and found.verdict == "within"
    )
    assert "edited by hand" in " ".join(found.remarks) and abs(found.heat.pct) < found.heat.out_pct


def test_a_palette_whose_settings_were_all_edited_is_not_called_within():
    edited = dataclasses.replace(OURS, edited=tuple(f"setting of {name!r}" for name in NAMES))
    with pytest.raises(DataError, match="nothing is left to judge"):
        check_strip(edited, strip(edited, 8))


def test_marks_that_differ_wildly_from_each_other_are_out_even_on_a_first_strip():
    rng = np.random.default_rng(1)
    first = palette()
    found = check_strip(first, strip(first, 1, lab=lambda lab: lab + rng.normal(0, 5, lab.shape)))
    assert found.scatter.verdict == "out" and found.verdict == "out" and "UNEVEN" in check_text(found)


def test_without_curves_colours_are_still_judged_and_the_model_is_asked_for():
    bare = dataclasses.replace(OURS, colours=tuple(dataclasses.replace(c, along=None) for c in OURS.colours))
    found = check_strip(bare, strip(bare, 9, power=0.94))
    assert found.heat is None and found.verdict == "out" and "--model" in " ".join(found.remarks)


def test_bare_metal_that_reads_otherwise_is_told():
    patches = strip(OURS, 2)
    found = check_strip(OURS, dataclasses.replace(patches, facts={**patches.facts, "bare_lab": "70 0 3"}))
    assert "calibrate the instrument" in " ".join(found.remarks) and LASER.bare_lab()[0] > 75


def test_a_slow_creep_is_warned_of_by_the_ewma_before_any_strip_is_out():
    earlier: list[float] = []
    for seed in range(12):
        found = check_strip(OURS, strip(OURS, 300 + seed, power=0.987), earlier_heat_pct=earlier)
        earlier.append(found.heat.pct)
        assert found.heat.shift_verdict != "out"
        if found.heat.creep_verdict == "watch":
            break
    assert found.verdict == "watch" and 3 <= found.heat.strips <= 12
    assert f"average of {found.heat.strips} strips" in check_text(found) and "Mark another strip soon" in check_text(
        found
    ).replace("\n  ", " ")


def test_limits_are_crossed_no_more_often_than_they_say_while_nothing_changes():
    # 20 promises and strips, each on a day of its own: 0.9 alarms expected; four or more would come by chance once in 75
    rng, alarms, out = np.random.default_rng(11), 0, 0
    for seed in range(20):
        first, days = palette(), np.exp(rng.normal(0, 0.003, 2))
        ours = accepted(check_strip(first, strip(first, 5000 + seed, power=days[0])), 2, "")
        verdict = check_strip(ours, strip(ours, 6000 + seed, power=days[1])).verdict
        alarms, out = alarms + (verdict != "within"), out + (verdict == "out")
    assert alarms < 4 and out < 2


def test_the_uncertainty_of_a_de00_is_that_of_the_way_it_points():
    check = check_strip(OURS, strip(OURS, 12, power=0.95))
    loud = max(check.colours, key=lambda item: item.de00)
    rng = np.random.default_rng(1)
    truth = LASER.lab(OURS.setting[loud.number - 1], 0.95)
    marks = LASER.lab(OURS.setting[loud.number - 1], 0.95, rng.normal(1, FILM_SD, (4000, 3, 1)).mean(axis=1))
    spread = delta_e00(marks.reshape(-1, 3) + rng.normal(0, READ_SD / 3**0.5, (4000, 3)), loud.promise_lab).std()
    # both means scatter, and days differ: √2 of one mean's spread or somewhat more; a mean over all three ways would be below
    assert 1.0 < loud.sd_de00 / (2**0.5 * spread) < 1.8 and truth.shape == (3,)


def test_the_strip_that_made_the_promise_is_told_to_prove_nothing():
    own = check_strip(OURS, strip(palette(), 1))
    assert "proves nothing" in own.remarks[0] and "proves nothing" not in " ".join(
        check_strip(OURS, strip(OURS, 2)).remarks
    )


def test_the_verdict_says_which_limit_was_crossed_and_what_to_do_next():
    drifted = check_text(check_strip(OURS, strip(OURS, 3, power=0.95)))
    assert "OUT, beyond an action limit: heat of all colours" in drifted and "Next: clean the lens" in drifted
    quiet = check_text(check_strip(OURS, strip(OURS, 2)))
    assert "WITHIN its limits." in quiet and "Next: work on." in quiet and quiet.count("T²") == 1


def test_one_colour_alone_can_be_checked():
    found = check_strip(OURS, strip(OURS, 2).take(slice(0, 3)))
    assert len(found.colours) == 1 and found.verdict in ("within", "watch")
