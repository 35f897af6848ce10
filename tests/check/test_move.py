"""Another batch: what is worth marking, and what becomes of each colour; on SIMULATED patches."""

import dataclasses

import numpy as np
import pytest

from tint.check.move import KEPT, LOST, MOST_PATCHES, move_palette, moves_text, patches_for_move
from tint.lab import delta_e00
from tint.model.model import predict, read_model
from tint.palette.palette import read_palette

DATE = "2026-03-14T09:00:00+01:00"


@pytest.fixture(scope="module")
def made(shop):
    return read_palette(shop / "simulated" / "palette.json"), read_model(shop / "simulated" / "model.json")


def test_what_an_earlier_palette_said_of_twins_does_not_stay(made):
    palette, model = made
    twins = dataclasses.replace(palette, remarks=(*palette.remarks, "near twins: 1 pair of colours looks alike on the piece"))
    assert move_palette(twins, model, 2, DATE)[0].remarks == palette.remarks


def test_few_patches_hold_every_colours_own_setting_and_power_beside_it(made):
    palette, model = made
    worth = patches_for_move(palette, model)
    assert len(worth) == MOST_PATCHES
    rows = {tuple(row) for row in worth.table()}
    assert all(tuple(row) in rows for row in palette.setting.table()) and len(rows) == len(worth)
    palette.machine.check(worth)


def test_on_the_same_model_every_colour_keeps_its_setting(made):
    palette, model = made
    moved, moves = move_palette(palette, model, 2, DATE)
    assert {move.what for move in moves} == {KEPT} and moved.setting == palette.setting
    assert (
        moved.lineage.parent == palette.digest
        and moved.line == palette.line
        and all(colour.along for colour in moved.colours)
    )
    assert f"{len(palette)} kept, 0 moved, 0 lost" in moves_text(moves)


def test_a_colour_whose_setting_misses_moves_and_one_out_of_reach_is_lost(made):
    palette, model = made
    other = predict(model, palette.colours[3].setting).lab
    wanted = dataclasses.replace(palette.colours[0], lab=other)  # its old setting shows another colour now
    never = dataclasses.replace(palette.colours[1], lab=np.array([60.0, -90, 60]))
    changed = dataclasses.replace(palette, colours=(wanted, never, *palette.colours[2:]))
    moved, moves = move_palette(changed, model, 2, DATE)
    assert moves[0].what == "moved" and moves[0].new_de00 < 2.3 < moves[0].old_de00
    assert (
        moves[1].what == LOST
        and len(moved) == len(palette) - 1
        and never.name not in [colour.name for colour in moved.colours]
    )
    assert delta_e00(moved.colours[0].lab, other) == pytest.approx(moves[0].new_de00, abs=0.01)
