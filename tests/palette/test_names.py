"""Plain colour names, checked against the CSS colour keywords people know."""

import numpy as np
import pytest

from tint.lab import lab_from_hex
from tint.palette.names import colour_name, colour_names


@pytest.mark.parametrize(
    ("css", "word"),
    # CSS Color Module Level 4, named colours; the word is what its keyword says
    [("#ffa500", "orange"), ("#ffff00", "yellow"), ("#008000", "green"), ("#008080", "teal"), ("#0000ff", "indigo"), ("#4169e1", "blue"),
     ("#87ceeb", "sky blue"), ("#800080", "purple"), ("#ffc0cb", "pink"), ("#a52a2a", "red"), ("#808000", "olive"), ("#dc143c", "crimson"),
     ("#808080", "grey"), ("#000000", "black"), ("#8b4513", "brown")],
)  # fmt: skip
def test_known_colours_get_their_known_word(css, word):
    assert word in colour_name(lab_from_hex(css))


def test_dark_and_light_are_said():
    assert colour_name([30, 0, 0]) == "dark grey" and colour_name([75, 0, 0]) == "light grey"
    assert colour_name([10, 0, 0]) == "black" and colour_name([35, 10, -30]).startswith("dark")


def test_a_hue_a_hair_below_red_has_a_name():
    assert colour_name([50, 50, -1e-15]) == colour_name([50, 50, 0]) == "vivid crimson"


def test_every_lab_has_a_name_and_doubles_get_a_number():
    rng = np.random.default_rng(3)
    lab = rng.uniform([0, -100, -100], [100, 100, 100], (400, 3))
    names = colour_names(np.concatenate([lab, lab[:5]]))
    assert all(names) and len(set(names)) == len(names)
    assert colour_names([[50, 0, 0], [51, 0, 0], [51.2, 0, 0]]) == ["grey L50", "grey L51", "grey L51 (2)"]
    assert colour_name([70, -6, -12]) == "light blue-grey"
