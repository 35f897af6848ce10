"""Numbers, lengths, colours, transforms and view boxes as the standards write them."""

import math

import numpy as np
import pytest

from tint.artwork.svg_values import (
    IDENTITY,
    colour,
    fitted,
    length,
    number,
    numbers,
    part,
    stretch,
    times,
    transform,
    view_box,
)


@pytest.mark.parametrize(
    ("text", "px"),
    [
        ("1in", 96),
        ("2.54cm", 96),
        ("25.4mm", 96),
        ("101.6Q", 96),
        ("72pt", 96),
        ("6pc", 96),
        ("96px", 96),
        (" 96 ", 96),
        ("48%", 96),
    ],
)
def test_an_inch_is_an_inch_in_every_unit(text, px):
    assert length(text, 200) == pytest.approx(px, rel=1e-12)


@pytest.mark.parametrize("text", ["", "five", "nan", "inf", "1e999", "5 5", "5furlong", "5rem", "--5"])
def test_what_is_not_a_length_is_refused(text):
    with pytest.raises(ValueError):
        length(text, 100)


def test_numbers_may_touch_where_they_cannot_be_misread():
    assert numbers(" 1,2 3-4.5.5e1+6 ") == [1, 2, 3, -4.5, 5, 6]
    for broken in ("1,,2", ",1", "1,", "1 x", "1;2"):
        with pytest.raises(ValueError):
            numbers(broken)
    with pytest.raises(ValueError):
        number("0x10")


def test_an_opacity_is_held_between_nothing_and_all():
    assert [part("50%"), part("0.25"), part("7"), part("-1")] == [0.5, 0.25, 1, 0]


def test_transforms_apply_from_right_to_left():
    # SVG 2, section 8.4: translate(10 0) rotate(90) first turns, then shifts
    a, b, _, _, e, f = transform("translate(10 0) rotate(90)")
    assert (a * 1 + e, b * 1 + f) == pytest.approx((10, 1))
    assert transform("rotate(90 5 5)") == pytest.approx(transform("translate(5 5) rotate(90) translate(-5 -5)"))
    assert transform("rotate(0.25turn)") == pytest.approx(transform("rotate(100grad)"))
    assert transform("scale(2)") == transform("scale(2,2)") and transform("none") == transform("") == IDENTITY
    assert transform("skewX(45)")[2] == pytest.approx(1)


@pytest.mark.parametrize(
    "text",
    [
        "rotate()",
        "rotate(1 2)",
        "scale(a)",
        "matrix(1 0 0 1 0)",
        "translate(5%)",
        "rotate(3",
        "spin(3)",
        "perspective(3)",
    ],
)
def test_a_transform_that_cannot_be_read_is_refused(text):
    with pytest.raises(ValueError):
        transform(text)


def test_the_stretch_of_a_matrix_is_its_largest_singular_value():
    rng = np.random.default_rng(1)
    for _ in range(50):
        a, b, c, d = rng.normal(size=4)
        assert stretch((a, b, c, d, 5, 6)) == pytest.approx(np.linalg.norm([[a, c], [b, d]], 2), rel=1e-9)
    assert times(transform("scale(2)"), transform("translate(3 4)"))[4:] == (6, 8)


@pytest.mark.parametrize(
    ("keep", "corner", "far"),  # where (0, 0) and (10, 10) of a 10 × 10 box land in a 40 × 20 viewport
    [
        (None, (10, 0), (30, 20)),
        ("xMidYMid meet", (10, 0), (30, 20)),
        ("xMinYMax", (0, 0), (20, 20)),
        ("xMaxYMin meet", (20, 0), (40, 20)),
        ("none", (0, 0), (40, 20)),
        ("xMidYMin slice", (0, 0), (40, 40)),
        ("xMinYMid slice", (0, -10), (40, 30)),
        ("defer xMaxYMax slice", (0, -20), (40, 20)),
    ],
)
def test_a_view_box_is_fitted_as_asked(keep, corner, far):
    a, b, c, d, e, f = fitted((0, 0, 10, 10), 40, 20, keep)
    assert (b, c) == (0, 0) and (e, f) == corner and (10 * a + e, 10 * d + f) == far


def test_a_view_box_needs_four_numbers_and_no_negative_size():
    assert view_box("0, 1 2 3") == (0, 1, 2, 3) and view_box(None) is None
    for broken in ("0 0 5", "0 0 -5 5", "a b c d"):
        with pytest.raises(ValueError):
            view_box(broken)


def test_colours_keep_their_alpha_and_words_that_are_no_colour_are_refused():
    assert colour("#f008", "black") == ((255, 0, 0), pytest.approx(136 / 255))
    assert colour("hsl(240 100% 50%)", "black") == ((0, 0, 255), 1.0)
    assert colour("currentColor", "currentColor") == ((0, 0, 0), 1.0)
    for broken in ("", "#12345", "rgb(1,2)", "lab(50% 10 10)", "device-cmyk(0 1 1 0)", "color(srgb 1)"):
        with pytest.raises(ValueError):
            colour(broken, "black")
    assert math.isclose(colour("transparent", "black")[1], 0)
