"""What loud, unsure and slow settings are charged."""

import numpy as np
import pytest

from tint.errors import LimitError
from tint.palette.locate import locate
from tint.palette.penalty import Penalty, expected_miss, slow_de00, spread_de00


def test_of_two_settings_of_one_colour_the_quicker_and_the_quieter_is_chosen():
    away = np.array([[4.0, 4.0]])
    slow = expected_miss(away, np.zeros(2), slow_de00(np.array([80.0, 40.0]), 40.0))
    loud = expected_miss(away, spread_de00(np.array([3.0, 1.0]), np.zeros(2)), np.zeros(2))
    assert locate(slow, 1).tolist() == [1] and locate(loud, 1).tolist() == [1]


def test_a_slow_setting_is_taken_where_it_comes_nearer_by_more_than_it_is_charged():
    late = slow_de00(np.array([80.0, 40.0]), 40.0)
    assert late.tolist() == [0.5, 0.0]
    assert locate(expected_miss(np.array([[3.4, 4.0]]), np.zeros(2), late), 1).tolist() == [0]
    assert locate(expected_miss(np.array([[3.6, 4.0]]), np.zeros(2), late), 1).tolist() == [1]


def test_weights_that_cannot_be_are_refused_and_the_words_state_them():
    for bad in ({"slow_de00": -1}, {"sensitive": float("nan")}, {"sensitive": float("inf")}):
        with pytest.raises(LimitError, match="0 leaves it out"):
            Penalty(**bad)
    assert "0.5 ΔE00 for each doubling" in Penalty().words() and "2 × jitter" in Penalty(sensitive=2).words()
