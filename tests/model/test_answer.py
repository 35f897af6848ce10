"""What a reader of predictions is told."""

from __future__ import annotations

import numpy as np

from tint.model.answer import is_guess, prediction_remarks
from tint.model.model import Prediction


def prediction(outside: list[float] | float, unlearned: tuple[str, ...] = ()) -> Prediction:
    away = np.array(outside)
    return Prediction(np.zeros((*away.shape, 3)), np.ones(away.shape), away, unlearned)


def test_inside_the_grid_nothing_needs_saying():
    assert prediction_remarks(prediction([0.0, 0.0])) == [] and not is_guess(prediction([0.0, 0.0]))


def test_a_little_outside_is_said_of_one_setting_and_of_many():
    assert prediction_remarks(prediction(0.1)) == ["The setting lies a little outside the grid: the radius is widened."]
    assert prediction_remarks(prediction([0, 0.1, 0.1]))[0].startswith("2 of 3 settings lie a little outside the grid")
    assert not is_guess(prediction([0, 0.1, 0.1]))


def test_rows_far_outside_are_counted_from_one_and_are_guesses():
    remark = prediction_remarks(prediction([0, 0.1, 0.3, 2.0]))[0]
    assert remark.startswith("FAR OUTSIDE the grid (row 3, 4): ") and is_guess(prediction([0, 0.3]))
    assert "(row 1, 2, 3, 4, 5, 6, 7, 8 …)" in prediction_remarks(prediction([1.0] * 9))[0]


def test_a_field_the_grid_never_varied_makes_a_guess_inside_the_box_too():
    asked = prediction(0.0, ("spacing_mm", "passes"))
    assert prediction_remarks(asked)[0].startswith("line spacing, passes: never varied in the grid") and is_guess(asked)
