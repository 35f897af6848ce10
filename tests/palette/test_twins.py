"""Near twins: colours nobody can tell apart."""

from dataclasses import replace

import numpy as np

from tint.lab import delta_e00
from tint.palette.palette import Palette, PaletteColour
from tint.palette.twins import near_twins, told_apart, twin_remark, twins_told
from tint.setting import Machine, Setting, Stock


def test_pairs_nearer_than_can_be_seen_or_than_jitter_moves_them_are_twins():
    lab = np.array([[40, 0, -30], [41, 0, -30], [60, 0, 0], [64, 0, 0], [80, 0, 30]], float)
    quiet = near_twins(lab, np.full(5, 0.1))
    assert quiet[0].tolist() == [[0, 1]] and quiet[1][0] == delta_e00(lab[0], lab[1])
    assert near_twins(lab, np.full(5, 3.0))[0].tolist() == [[0, 1], [2, 3]]


def test_a_chain_of_twins_leaves_every_other_one():
    lab = np.column_stack([np.arange(40, 52, 2.0), np.zeros(6), np.zeros(6)])
    pairs, _ = near_twins(lab, np.zeros(6))
    assert told_apart(6, pairs) == 3 and told_apart(3, np.empty((0, 2), int)) == 3


def test_the_remark_names_the_closest_pair_and_is_silent_where_there_is_none():
    lab = np.array([[40, 0, -30], [42, 0, -30], [42.5, 0, -30]], float)
    said = twin_remark(["blue", "reed", "pond"], lab, np.zeros(3))
    assert "'reed' and 'pond' are 0.5 ΔE00 apart" in said and "about 1 of 3" in said and "\n" not in said
    assert twin_remark(["a", "b"], np.array([[40, 0, -30], [60, 0, -30]]), np.zeros(2)) == ""


def test_a_palette_tells_the_twins_of_the_colours_it_has_now():
    laser = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    sheet = Stock("plate", "304", "2B", 1.5, [100, 100])
    setting = Setting(20, 800, 300, 6, 0.002)
    labs = {"blue": (40, 0, -30), "pond": (40.5, 0, -30), "straw": (75, 5, 35)}
    colours = tuple(PaletteColour(name, setting, lab, 2.0, 0.1) for name, lab in labs.items())
    whole = twins_told(Palette("signs", laser, sheet, colours, [80.0, 0, 3], ("simulated",)))
    assert len(whole.remarks) == 2 and "about 2 of 3 can be told apart" in whole.remarks[1]
    assert twins_told(whole).remarks == whole.remarks
    assert twins_told(replace(whole, colours=colours[1:])).remarks == ("simulated",)
    assert twins_told(replace(whole, colours=colours[:1])).remarks == ("simulated",)
