"""The few colours of a palette for an artwork, against trying all choices."""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely

from tint.artwork.artwork import Drawing, Shape
from tint.errors import DataError
from tint.lab import delta_e00, srgb255_from_lab
from tint.palette.choose import choose_palette
from tint.palette.fewer import fewer_colours
from tint.palette.twins import twins_told
from tint.palette.wishes import artwork_wishes


@pytest.fixture(scope="module")
def palette(model):
    return choose_palette(model, 7)


@pytest.fixture(scope="module")
def reeds(palette):
    """Artwork of colours near, not on, the palette's, of uneven areas."""
    wanted = palette.lab[1:] + np.random.default_rng(3).normal(0, 6, (7, 3))
    shapes = tuple(
        Shape(shapely.box(10 * i, 0, 10 * i + 1 + i, 1), tuple(int(v) for v in srgb), "reed")
        for i, srgb in enumerate(srgb255_from_lab(wanted))
    )
    return Drawing("reeds", 100, 1, shapes)


def lost(palette, artwork):
    wishes, weight = artwork_wishes(artwork)
    return float(delta_e00(wishes[:, None], palette.lab[None]).min(axis=1) @ weight)


@pytest.mark.parametrize("n", [1, 2, 3, 5, 7])
@pytest.mark.parametrize("kept", [0, 1])
def test_the_choice_is_as_good_as_the_best_of_all_choices(palette, reeds, n, kept):
    keep = [palette.colours[4].name] if kept else []
    chosen = fewer_colours(palette, n, reeds, keep=keep)
    names = [colour.name for colour in palette.colours]
    assert len(chosen) == n and [names.index(colour.name) for colour in chosen.colours] == sorted(
        names.index(colour.name) for colour in chosen.colours
    )
    assert set(keep) <= {colour.name for colour in chosen.colours}
    wishes, weight = artwork_wishes(reeds)
    away = delta_e00(wishes[:, None], palette.lab[None])
    best = min(
        away[:, [0, *(i + 1 for i in some)]].min(axis=1) @ weight
        for some in itertools.combinations(range(7), n) if not kept or 4 in some
    )  # fmt: skip
    assert lost(chosen, reeds) == pytest.approx(best, rel=0.02)


def test_what_was_said_of_twins_goes_with_the_twin(palette, reeds):
    old = palette.colours[0]
    both = dataclasses.replace(palette, colours=(*palette.colours, dataclasses.replace(old, name="its twin")))
    both = twins_told(both)
    assert any(line.startswith("near twins:") and "'its twin'" in line for line in both.remarks)
    assert not any("its twin" in line for line in fewer_colours(both, 3, reeds).remarks)


def test_what_cannot_be_chosen_is_refused(palette, reeds):
    names = [colour.name for colour in palette.colours]
    for n in (0, 8):
        with pytest.raises(DataError, match="has 7"):
            fewer_colours(palette, n, reeds)
    with pytest.raises(DataError, match="2 of them kept"):
        fewer_colours(palette, 1, reeds, keep=names[:2])
    with pytest.raises(DataError, match="'no such blue' is not a colour"):
        fewer_colours(palette, 3, reeds, keep=["no such blue"])
