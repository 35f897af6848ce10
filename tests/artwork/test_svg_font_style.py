"""CSS values that choose a font, worked out by hand from CSS Fonts Module Level 4."""

import pytest

from tint.artwork.svg_font_style import font_families, font_longhands, font_weight
from tint.artwork.svg_tree import Node, computed


def styled(parent, own):
    return computed(Node("tspan", {}, own, (), 1, "", ""), parent)


@pytest.mark.parametrize(
    ("above", "word", "weight"),
    [  # the table of section 2.2.1, one row a range
        ("50", "bolder", 400), ("100", "bolder", 400), ("300", "bolder", 400), ("normal", "bolder", 700), ("500", "bolder", 700),
        ("600", "bolder", 900), ("bold", "bolder", 900), ("900", "bolder", 900), ("950", "bolder", 950),
        ("50", "lighter", 50), ("300", "lighter", 100), ("500", "lighter", 100), ("600", "lighter", 400), ("bold", "lighter", 400),
        ("800", "lighter", 700), ("1000", "lighter", 700),
    ],
)  # fmt: skip
def test_bolder_and_lighter_step_from_the_weight_above(above, word, weight):
    assert font_weight(styled({"font-weight": above}, {"font-weight": word})["font-weight"]) == weight


def test_sizes_and_spacings_in_em_refer_to_the_size_above_and_are_inherited_as_lengths():
    outer = styled({"font-size": "10mm"}, {"font-size": "50%", "letter-spacing": "0.1em"})
    px = 5 / 25.4 * 96
    assert float(outer["font-size"]) == pytest.approx(px)
    inner = styled(outer, {"font-size": "2em"})
    assert float(inner["font-size"]) == pytest.approx(2 * px)
    assert float(inner["letter-spacing"]) == pytest.approx(0.1 * px)


def test_a_line_through_an_ancestors_text_cannot_be_taken_off_below():
    assert styled({"text-decoration": "underline"}, {"text-decoration": "none"})["text-decoration"] == "underline"


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("12px Otter", {"font-size": "12px", "font-family": "Otter", "font-weight": "normal", "font-style": "normal"}),
        ("oblique 300 condensed 1em/1.5 'A B', serif",
         {"font-style": "oblique", "font-weight": "300", "font-stretch": "condensed", "font-size": "1em", "font-family": "'A B', serif"}),
        ("normal small-caps 5mm / 6mm X", {"font-variant": "small-caps", "font-size": "5mm", "font-family": "X"}),
        ("inherit", {"font-size": "inherit", "font-family": "inherit"}),
    ],
)  # fmt: skip
def test_the_font_shorthand_sets_each_part(text, found):
    longhands = font_longhands(text)
    assert {name: longhands[name] for name in found} == found


@pytest.mark.parametrize("text", ["12px", "caption", "bold", ""])
def test_a_font_shorthand_without_size_and_family_is_not_read(text):
    assert font_longhands(text) is None


def test_a_quoted_word_is_a_name_and_a_bare_one_may_be_generic():
    assert font_families("\"serif\", 'A, B', System-UI") == [("serif", False), ("A, B", False), ("System-UI", True)]


@pytest.mark.parametrize("text", ["0", "1001", "heavy", "nan", ""])
def test_a_weight_that_cannot_be_is_refused(text):
    with pytest.raises(ValueError, match="font-weight"):
        font_weight(text)
