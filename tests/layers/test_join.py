"""Layers put together: every place goes where it was sent, nothing is lost, nothing overlaps."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import palette, picture

from tint.artwork.artwork import Drawing, Shape
from tint.errors import DataError, LimitError
from tint.lab import srgb255_from_lab
from tint.layers.join import join_layers
from tint.layers.separate import separate

INKS = palette()
COLOURS = srgb255_from_lab(INKS.lab)


def stripes():
    return separate(
        picture(np.repeat(COLOURS[None], 6, axis=0).repeat(4, axis=1), 24.0),
        INKS,
        speck_mm2=0,
        background=None,
        ink=None,
    )


def drawn():
    shapes = tuple(
        Shape(shapely.box(4 * k, 0, 4 * k + 4, 6), tuple(int(v) for v in COLOURS[k]), "reed") for k in range(1, 6)
    )
    return separate(Drawing("reeds", 24.0, 6.0, shapes), INKS, background=None, ink=None)


@pytest.mark.parametrize("layers", [stripes(), drawn()], ids=["picture", "drawing"])
def test_a_colour_joined_to_another_is_marked_in_it(layers):
    joined = join_layers(layers, {3: 2})
    assert 3 not in joined.used and set(joined.used) == set(layers.used) - {3}
    assert joined.area_mm2(2) == pytest.approx(layers.area_mm2(2) + layers.area_mm2(3))
    assert (joined.labels == np.where(layers.labels == 3, 2, layers.labels)).all()
    assert joined.remarks[-1] == "blue joined purple on request"
    assert np.isnan(joined.lost_de00[3])
    assert shapely.union_all(joined.outlines).symmetric_difference(
        shapely.union_all(layers.outlines)
    ).area == pytest.approx(0, abs=1e-9)


def test_a_colour_joined_to_the_bare_metal_is_not_marked():
    layers = drawn()
    joined = join_layers(layers, {1: 0})
    assert 1 not in joined.used and sum(joined.area_mm2(k) for k in joined.used) == pytest.approx(96.0)


def test_joining_nothing_gives_the_same_layers():
    layers = stripes()
    assert join_layers(layers, {}) is layers and join_layers(layers, {2: 2}) is layers


def test_numbers_that_are_not_there_and_a_piece_without_marks_are_refused():
    layers = stripes()
    with pytest.raises(LimitError, match="layer 9 is not in the palette of 5"):
        join_layers(layers, {9: 1})
    with pytest.raises(LimitError, match="layer -1"):
        join_layers(layers, {1: -1})
    with pytest.raises(DataError, match="nothing is left"):
        join_layers(layers, {k: 0 for k in range(1, 6)})


@settings(deadline=None, max_examples=40)
@given(st.dictionaries(st.integers(0, 5), st.integers(1, 5), max_size=6))
def test_every_place_goes_where_it_was_sent(into):
    layers = stripes()
    joined = join_layers(layers, into)
    sent = np.array([into.get(k, k) for k in range(6)])
    assert (joined.labels == sent[layers.labels]).all()
