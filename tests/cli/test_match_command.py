"""`tint match`: a wished colour in every way a person types it."""

from __future__ import annotations

import json

import pytest
from calling import tint

from tint.cli.ask import _joined

WAYS = (
    ["--lab", "46,-10,-26"],
    ["--lab", "46 -10 -26"],
    ["--lab", "46", "-10", "-26"],
    ["--lab", "46,", "-10,", "-26"],
    ["--lab=46,-10,-26"],
)


@pytest.mark.parametrize("words", WAYS)
def test_three_numbers_are_one_colour_however_they_are_typed(shop, words):
    done = tint("match", shop / "simulated" / "model.json", *words, "-n", "1", "--json")
    assert done.exit_code in (0, 1), done.output
    assert json.loads(done.stdout)["wish_lab"] == [46.0, -10.0, -26.0]


def test_the_model_may_stand_behind_the_numbers_and_options_keep_theirs():
    assert _joined(["--lab", "46", "-10", "-26", "model.json", "-n", "3"]) == [
        "--lab",
        "46,-10,-26",
        "model.json",
        "-n",
        "3",
    ]
    assert _joined(["m.json", "-n", "3", "--srgb", "#446688"]) == ["m.json", "-n", "3", "--srgb", "#446688"]


def test_two_numbers_are_refused_in_one_line(shop):
    done = tint("match", shop / "simulated" / "model.json", "--lab", "46", "-10")
    assert done.exit_code == 2 and "'46,-10' is not a colour; write three numbers" in done.stderr


def test_the_answer_says_which_jitter_is_assumed(shop):
    text = tint("match", shop / "simulated" / "model.json", "--lab", "60", "0", "10").stdout
    assert "line spacing, focus never varied in the grid" in text and "not learned" in text
