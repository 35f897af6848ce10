"""Colour to setting, the pool of candidates, and sensitivity."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
import pytest

from tint.errors import DataError, LimitError
from tint.lab import delta_e00
from tint.model.answer import found_dict, found_text
from tint.model.find import Jitter, candidate_pool, find_setting, sensitivity
from tint.model.fit import fit
from tint.model.jitter import assumed_fields, jitter_words
from tint.model.model import predict
from tint.setting import Setting


def test_a_measured_colour_is_found_again(open_model):
    for i in (20, 70):
        found = find_setting(open_model, open_model.patches.lab[i])
        assert found.reachable and found.candidates[0].de00 < 2.3


def test_candidates_are_ranked_predicted_and_possible(open_model):
    found = find_setting(open_model, [50, 5, -36], n=4)
    assert len(found.candidates) == 4
    hoped = [candidate.expected_de00 for candidate in found.candidates]
    assert all(later >= first - 0.1 for first, later in pairwise(hoped))
    for candidate in found.candidates:
        assert np.allclose(predict(open_model, candidate.setting).lab, candidate.lab)
        assert candidate.de00 == pytest.approx(float(delta_e00(candidate.lab, [50, 5, -36])))
        assert candidate.time_s_cm2 == pytest.approx(62.5)  # 100 mm² / (800 mm/s · 0.002 mm)


def test_measured_patches_are_among_the_candidates(open_model):
    pool = candidate_pool(open_model, 500)
    named = [i for i, name in enumerate(pool.patch) if name]
    assert len(named) == len(open_model.patches) - len(open_model.report.outliers)
    i = named[7]
    row = open_model.patches.ids.index(pool.patch[i])
    assert np.array_equal(pool.setting[i].table(), open_model.patches.setting[row].table(), equal_nan=True)


def test_a_colour_out_of_reach_is_answered_with_the_nearest(open_model):
    found = find_setting(open_model, [50, 70, 50])
    pool = candidate_pool(open_model, 2000)
    assert not found.reachable
    assert 10 < found.nearest_de00 <= float(delta_e00(pool.lab, [50, 70, 50]).min()) + 0.2


def test_a_locked_field_keeps_its_value(open_model):
    for candidate in find_setting(open_model, [50, 5, -36], locked={"freq_khz": 350}).candidates:
        assert candidate.setting.freq_khz == 350
    with pytest.raises(DataError, match="not a field"):
        find_setting(open_model, [50, 5, -36], locked={"colour": 3})
    with pytest.raises(LimitError, match="outside this machine"):
        find_setting(open_model, [50, 5, -36], locked={"freq_khz": 9000})


def test_only_pulse_widths_the_machine_has_are_offered(machine, stock, invented):
    listed = dataclasses.replace(machine, pulse_ns=(6.0, 20.0, 60.0))
    model = fit(invented(30), listed, stock)
    pool = candidate_pool(model, 800)
    assert set(np.unique(pool.setting.pulse_ns)) <= {6.0, 20.0, 60.0}
    assert set(np.unique(find_setting(model, [55, 10, 10]).candidates[0].setting.pulse_ns)) <= {6.0, 20.0, 60.0}


def test_a_pool_of_no_settings_is_refused(open_model):
    for n in (0, -3):
        with pytest.raises(DataError, match="ask for 1 or more"):
            candidate_pool(open_model, n)
    assert len(candidate_pool(open_model, 1)) <= len(open_model.patches) + 1


def test_a_pool_stays_inside_the_focus_the_grid_marked(invented_model):
    focus = np.resize([-0.336, 0.128, 0.336], len(invented_model.patches))  # finer than the hundredths that are dialled
    setting = invented_model.patches.setting.replace(focus_mm=focus)
    model = dataclasses.replace(invented_model, patches=dataclasses.replace(invented_model.patches, setting=setting))
    pool = candidate_pool(model, 500)
    assert predict(model, pool.setting).outside.max() == 0


def test_a_jitter_that_cannot_be_is_refused():
    for wrong in ({"power_rel_pct": 100}, {"speed_rel_pct": -1}, {"spacing_rel_pct": np.nan}, {"focus_mm": np.inf}):
        with pytest.raises(LimitError, match=f"jitter {next(iter(wrong))}"):
            Jitter(**wrong)


def test_a_wish_that_is_no_colour_is_refused(open_model):
    for wish in ([50, 0], [np.nan, 0, 0], [0.5, 200, 0]):
        with pytest.raises(DataError):
            find_setting(open_model, wish)


def test_the_same_seed_gives_the_same_answer(open_model):
    one, other = (find_setting(open_model, [45, 0, -25], seed=3) for _ in range(2))
    assert [str(c.setting) for c in one.candidates] == [str(c.setting) for c in other.candidates]


def test_sensitivity_grows_with_jitter_and_vanishes_without(open_model):
    at = Setting([25, 35], 800, [350, 220], 6, 0.002)
    still, usual, wild = (
        sensitivity(open_model, at, jitter) for jitter in (Jitter(0, 0, 0, 0), Jitter(), Jitter(4, 4, 2, 0.4))
    )
    assert still == pytest.approx(0, abs=1e-6)
    assert (usual > 0).all() and (wild > 1.5 * usual).all()


def test_jitter_in_fields_the_grid_never_varied_is_said_to_be_assumed(open_model, invented_model):
    # the open grid varied power and frequency only, the invented one speed too
    assert find_setting(open_model, [45, 0, -25]).assumed == ("speed_mm_s", "spacing_mm", "focus_mm")
    assert assumed_fields(invented_model) == ("spacing_mm", "focus_mm")
    assert assumed_fields(invented_model, Jitter(spacing_rel_pct=0, focus_mm=0)) == ()
    assert jitter_words(invented_model).endswith("focus ±0.2 mm (line spacing, focus assumed: never varied in the grid)")
    assert "assumed" not in jitter_words(invented_model, Jitter(spacing_rel_pct=0, focus_mm=0))
    text = found_text(find_setting(open_model, [45, 0, -25]))
    assert "speed, line spacing, focus never varied in the grid" in text and "not learned" in text
    assert found_dict(find_setting(open_model, [45, 0, -25]))["jitter_assumed"] == [
        "speed_mm_s",
        "spacing_mm",
        "focus_mm",
    ]


def test_blue_is_quieter_than_pink_on_the_open_grid(open_model):
    # ideal films: straw and light blue change little with thickness, pinks and greens much
    pool = candidate_pool(open_model, 2000)
    chroma, hue = np.hypot(*pool.lab[:, 1:].T), np.degrees(np.arctan2(pool.lab[:, 2], pool.lab[:, 1]))
    pink, blue = (np.abs(hue + 10) < 25) & (chroma > 12), (np.abs(hue + 90) < 15) & (chroma > 12)
    assert np.median(pool.sensitivity_de00[pink]) > 1.5 * np.median(pool.sensitivity_de00[blue])
