"""Words in pictures, with a font that lacks most signs."""

import pytest
from PIL import ImageFont

from tint.palette.lettering import drawable, fitting, wrapped


@pytest.fixture(scope="module")
def font():
    return ImageFont.load_default(20)


def test_no_sign_is_left_that_the_font_would_draw_as_an_empty_box(font):
    box = bytes(font.getmask("\U0010fffd"))
    for text in ("ΔE00 90 × 60 mm", "±2 % · 6 ns", "Łódź über 雀 √x² → a−b", "line\nbreak\tand\u0301 accent"):
        shown = drawable(text, font)
        assert all(sign.isascii() or bytes(font.getmask(sign)) != box for sign in shown) and "\n" not in shown
    assert drawable("ΔE00 × ±", font) == "dE00 x ±"


def test_lines_and_cut_texts_keep_to_their_room(font):
    text = "the reeds along the lower pond stand in water all summer"
    assert (
        all(font.getlength(line) <= 200 for line in wrapped(text, font, 200))
        and " ".join(wrapped(text, font, 200)) == text
    )
    assert font.getlength(fitting(text, font, 150)) <= 150 and fitting(text, font, 150).endswith("...")
    assert fitting("pond", font, 150) == "pond" and fitting("pond", font, 1) == "..."


def test_a_cut_text_is_as_long_as_its_room_allows_and_its_length_costs_nothing(font):
    text = "reedmace and water mint " * 800  # cut sign by sign from its end this took minutes
    shown = fitting(text, font, 300)
    longer = text[: len(shown) - 2] + "..."
    assert text.startswith(shown[:-3]) and font.getlength(shown) <= 300 < font.getlength(longer)
