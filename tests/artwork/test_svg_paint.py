"""Flat colours and pens as style and references say."""

import pytest

from tint.artwork.svg_paint import Paints, pen_of, word
from tint.artwork.svg_path import Subpath
from tint.artwork.svg_stroke import Pen
from tint.artwork.svg_tree import Node, Refusals

LINE = [Subpath(0j, ((10 + 0j,),), False)]


def node(tag="path", children=(), **attributes):
    return Node(tag, attributes, {}, tuple(children), 1, attributes.get("id", ""), "")


def paints(*definitions):
    styles = {stop: dict(stop.attributes) for definition in definitions for stop in definition.children}
    return Paints({item.attributes["id"]: item for item in definitions}, styles, Refusals("sign.svg"))


def stop(**style):
    return node("stop", **{name.replace("_", "-"): value for name, value in style.items()})


def test_a_gradient_of_one_colour_is_that_colour():
    moss = node("linearGradient", [stop(stop_color="#4f7942")], id="moss")
    again = node("linearGradient", id="again", href="#moss")
    both = node("radialGradient", [stop(stop_color="teal"), stop(stop_color="#008080")], id="both")
    known = paints(moss, again, both)
    assert known.flat("fill", node(), {"fill": "url(#again)"}) == (79, 121, 66)
    assert known.flat("stroke", node(), {"stroke": "url('#both')"}) == (0, 128, 128)
    assert not known.refusals.found


def test_gradients_that_change_and_references_without_end_are_not_flat():
    shade = node("linearGradient", [stop(stop_color="red"), stop(stop_color="blue")], id="shade")
    loop = node("linearGradient", id="loop", href="#loop")
    known = paints(shade, loop)
    assert known.flat("fill", node(), {"fill": "url(#shade)"}) is None
    assert known.flat("fill", node(), {"fill": "url(#loop)"}) is None  # no stops: nothing is painted
    assert list(known.refusals.found) == ["gradient 'shade' in fill of path (line 1)"]


def test_a_missing_reference_takes_its_fallback():
    assert paints().flat("fill", node(), {"fill": "url(#gone) #123456"}) == (18, 52, 86)


def test_fill_is_black_and_stroke_is_nothing_unless_said():
    assert paints().flat("fill", node(), {}) == (0, 0, 0) and paints().flat("stroke", node(), {}) is None


@pytest.mark.parametrize(
    ("style", "pen"),
    [
        ({}, Pen(1.0)),
        ({"stroke-width": "0"}, None),
        ({"stroke-width": "10%", "stroke-linecap": "ROUND", "stroke-linejoin": "bevel"}, Pen(5.0, "round", "bevel")),
        ({"stroke-dasharray": "1, 2 3"}, Pen(1.0, dashes=(1, 2, 3, 1, 2, 3))),
        ({"stroke-dasharray": "0 0"}, Pen(1.0)),
        ({"stroke-dasharray": "4 1", "stroke-dashoffset": "7"}, Pen(1.0, dashes=(4, 1), dash_offset=2)),
    ],
)
def test_a_pen_is_what_its_style_says(style, pen):
    assert pen_of(node(), style, LINE, 50.0, 0.001) == pen


def test_a_stated_path_length_scales_the_dashes():
    pen = pen_of(node(pathLength="5"), {"stroke-dasharray": "1"}, LINE, 50.0, 0.001)
    assert pen.dashes == (2.0, 2.0)
    with pytest.raises(ValueError, match="pathLength"):
        pen_of(node(pathLength="0"), {"stroke-dasharray": "1"}, LINE, 50.0, 0.001)


@pytest.mark.parametrize(
    "style",
    [{"stroke-width": "-1"}, {"stroke-miterlimit": "0.5"}, {"stroke-linecap": "flat"}, {"stroke-dasharray": "1 -1"}],
)
def test_a_pen_that_cannot_be_is_refused(style):
    with pytest.raises(ValueError):
        pen_of(node(), style, LINE, 50.0, 0.001)


def test_a_word_is_the_first_unless_set():
    assert word({}, "fill-rule", ("nonzero", "evenodd")) == "nonzero"
    assert word({"fill-rule": " EvenOdd "}, "fill-rule", ("nonzero", "evenodd")) == "evenodd"
