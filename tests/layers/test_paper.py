"""Background and ink: what stays bare, what becomes the darkest mark."""

import dataclasses
import re

import numpy as np
import pytest
import shapely
from invented import LABS, palette, picture

from tint.artwork.alike import alike
from tint.artwork.artwork import Drawing, Shape
from tint.errors import DataError, LimitError
from tint.lab import srgb255_from_lab
from tint.layers.paper import colour_or_none, without_background
from tint.layers.separate import separate


def with_lab(book, **lab):
    """The palette with some colours renamed and changed."""
    colours = [
        dataclasses.replace(colour, name=name.replace("_", " "), lab=np.array(value, float))
        for colour, (name, value) in zip(book.colours, lab.items(), strict=False)
    ]
    return dataclasses.replace(book, colours=(*colours, *book.colours[len(colours) :]))


BOOK = palette()
LIGHT_BOOK = with_lab(palette("straw", "blue", "dark"), white=(94, 0, 2))


def test_paper_white_stays_bare_although_a_white_mark_is_nearer():
    pixels = np.full((40, 40, 3), 255, np.uint8)
    pixels[10:30, 10:30] = srgb255_from_lab(np.array(LABS["blue"], float))
    layers = separate(picture(pixels, 4), LIGHT_BOOK)
    assert layers.used == (2,) and any("12.0 mm² in the background's colour stay bare" in line for line in layers.remarks)
    marked = separate(picture(pixels, 4), LIGHT_BOOK, background=None)
    assert marked.used == (1, 2)


def test_another_background_can_be_named_and_noise_about_it_counts():
    rng = np.random.default_rng(0)
    pixels = np.clip(np.array([70, 130, 180]) + rng.integers(-6, 7, (40, 40, 3)), 0, 255).astype(np.uint8)
    pixels[:20] = (200, 30, 30)
    layers = separate(picture(pixels, 4), BOOK, background=(70, 130, 180))
    assert (layers.labels[20:] == 0).all() and (layers.labels[:20] > 0).all()
    with pytest.raises(DataError, match="all of it is the background's colour. Add --background none"):
        without_background(picture(pixels[20:], 4), (70, 130, 180))


def test_black_becomes_the_darkest_mark_also_in_a_drawing():
    book = with_lab(palette("straw", "dark", "blue"), deep_red=(16, 30, 20))  # the darkest mark is farther from black by hue
    pixels = np.zeros((20, 20, 3), np.uint8)
    drawing = Drawing("post", 2, 2, (Shape(shapely.box(0, 0, 2, 2), (0, 0, 0), "post"),))
    assert separate(picture(pixels, 2), book).used == separate(drawing, book, pitch_mm=0.1).used == (1,)
    assert separate(picture(pixels, 2), book, ink=None).used == separate(drawing, book, pitch_mm=0.1, ink=None).used


def test_white_shapes_of_a_drawing_stay_bare():
    shapes = (Shape(shapely.box(0, 0, 2, 4), (255, 255, 255), "paper"), Shape(shapely.box(2, 0, 4, 4), (20, 20, 120), "water"))
    assert 1 not in separate(Drawing("pond", 4, 4, shapes), LIGHT_BOOK, pitch_mm=0.1).used
    assert 1 in separate(Drawing("pond", 4, 4, shapes), LIGHT_BOOK, pitch_mm=0.1, background=None).used


def test_colours_are_read_and_others_refused():
    assert colour_or_none("#4466aa", "--ink") == (0x44, 0x66, 0xAA) and colour_or_none("NONE", "--ink") is None
    assert alike(np.array([[255, 255, 250], [248, 255, 255]]), (255, 255, 255)).tolist() == [True, False]
    assert colour_or_none(" 46A ", "--ink") == (0x44, 0x66, 0xAA)
    for wrong in ("pink", "", "#none", "#12345", "+f+f+f", "# f f f", "#1_2_3_", "#٤٤٦٦٨٨"):
        with pytest.raises(LimitError, match=f"--ink {re.escape(repr(wrong))} is not a colour; write it as '#ffffff', or none"):
            colour_or_none(wrong, "--ink")
