"""The cause named is the cause made, on the SIMULATED laser with its own curves."""

import numpy as np
import pytest
from marked import LASER, NAMES, promised, strip

from tint.check.cause import HEAT, WORDS
from tint.check.check import check_strip


def duller(lab):
    return lab * [1, 0.8, 0.8]


CAUSES = {
    "power": {"power": 0.96},
    "more power": {"power": 1.05},
    "frequency": {"change": lambda s: s.replace(freq_khz=s.freq_khz * 0.88)},
    "surface": {"lab": duller},
}


@pytest.mark.parametrize("made", CAUSES)
def test_a_cause_is_named_by_its_pattern(made):
    ours = promised()
    named = [check_strip(ours, strip(ours, seed, **CAUSES[made])).cause.name for seed in range(10, 18)]
    right = HEAT if "power" in made else (made,)
    assert sum(name in right for name in named) >= 7, named


def test_line_spacing_moves_colours_nearly_as_power_does_and_is_the_next_likeliest():
    ours = promised()
    for seed in (10, 11, 12):
        found = check_strip(ours, strip(ours, seed, change=lambda s: s.replace(spacing_mm=s.spacing_mm * 1.06))).cause
        assert (
            (found.name, found.rival) == ("power", "spacing")
            and found.explained > 0.9
            and "line spacing" in WORDS[found.name]
        )


def test_one_colour_marked_with_a_wrong_setting_is_named():
    ours = promised()
    patches = strip(
        ours,
        5,
        change=lambda s: s.replace(power_pct=np.where(np.arange(len(s)) // 3 == 2, s.power_pct * 1.15, s.power_pct)),
    )
    found = check_strip(ours, patches)
    assert (
        found.cause.name == "one colour"
        and found.colours[found.cause.colour].name == NAMES[2]
        and found.verdict == "out"
    )


def test_colours_that_go_each_their_own_way_are_called_so():
    ours = promised()
    rng = np.random.default_rng(2)
    away = np.repeat(rng.normal(0, 9, (6, 3)), 3, axis=0)
    assert (
        check_strip(ours, strip(ours, 5, lab=lambda lab: np.clip(lab + away, [1, -100, -100], 99))).cause.name == "each"
    )


def test_the_heat_shift_is_that_of_the_power():
    ours = promised()
    shifts = [check_strip(ours, strip(ours, seed, power=0.96)).heat.pct for seed in range(20, 30)]
    assert np.mean(shifts) == pytest.approx(-4, abs=0.8) and LASER.strength == 1
