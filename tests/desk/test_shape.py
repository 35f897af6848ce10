"""What the page sends is checked by the same shapes that describe it."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.desk.routes import ROUTES, description
from tint.desk.shape import FLAG, NAME, TEXT, checked, many, maybe, number, one_of, record, whole
from tint.errors import DataError

SHAPE = record(
    {"n": whole(1, 9), "word": one_of("a", "b")},
    {"x": number(0, 1), "on": FLAG, "names": many(TEXT, 2), "file": maybe(NAME)},
)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ([], "fields by name"),
        ({"n": 1}, "word is missing"),
        ({"n": 1, "word": "c"}, "one of: a, b"),
        ({"n": 1.5, "word": "a"}, "whole number"),
        ({"n": True, "word": "a"}, "whole number"),
        ({"n": 10, "word": "a"}, "between 1 and 9"),
        ({"n": 1, "word": "a", "x": math.nan}, "number"),
        ({"n": 1, "word": "a", "x": math.inf}, "number"),
        ({"n": 1, "word": "a", "x": "0.5"}, "number"),
        ({"n": 1, "word": "a", "on": 1}, "true or false"),
        ({"n": 1, "word": "a", "names": ["a", "b", "c"]}, "0 to 2"),
        ({"n": 1, "word": "a", "names": ["a" * 81]}, "too long"),
        ({"n": 1, "word": "a", "file": "../x"}, "not a name the desk gave"),
        ({"n": 1, "word": "a", "more": 1}, "not known here"),
    ],
)
def test_what_does_not_fit_is_named(value, said):
    with pytest.raises(DataError, match=said):
        checked(value, SHAPE)


def test_what_fits_comes_through():
    value = {"n": 3.0, "word": "a", "x": 1, "on": True, "names": ["heron"], "file": None}
    assert checked(value, SHAPE) == {**value, "n": 3}


FIELDS = st.sampled_from(["n", "word", "x", "on", "names", "file"])
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(FIELDS | st.text(max_size=3), inner, max_size=6),
    max_leaves=12,
)  # fmt: skip


@given(ANYTHING)
def test_anything_at_all_is_either_taken_or_refused_in_one_line(value):
    try:
        checked(value, SHAPE)
    except DataError as error:
        assert "\n" not in str(error)


def test_the_description_holds_every_route_and_is_plain_json():
    told = json.loads(json.dumps(description()))
    assert {f"/api/{route.path}" for route in ROUTES} <= set(told["paths"])
    for path, methods in told["paths"].items():
        for what in methods.values():
            assert what["summary"], f"{path} says nothing of itself"
