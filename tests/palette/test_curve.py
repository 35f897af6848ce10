"""The error curve and the number it suggests."""

import dataclasses
import io

import numpy as np
import pytest
from PIL import Image

from tint.errors import DataError
from tint.palette.choose import choose_from
from tint.palette.curve import Curve, enough, error_curve
from tint.palette.offer import offer_of
from tint.palette.plot import curve_picture


@pytest.fixture(scope="module")
def offer(model):
    return offer_of(model)


def test_more_colours_never_miss_more_and_the_suggestion_lies_among_them(offer):
    curve = error_curve(offer, 14)
    assert curve.counts.tolist() == list(range(1, 15)) and curve.suggested in curve.counts
    assert (
        np.diff(curve.miss_de00) < 0.02 * curve.miss_de00[:-1]
    ).all()  # each number is chosen anew: near the best, not at it
    assert (curve.away_de00 <= curve.miss_de00).all() and (curve.far_de00 >= curve.away_de00).all()


def test_the_curve_tells_what_a_palette_of_that_size_comes_to(offer):
    from tint.lab import delta_e00

    curve = error_curve(offer, 5)
    palette = choose_from(offer, 5, "five")
    away = delta_e00(offer.wishes[:, None], palette.lab[None]).min(axis=1) @ offer.weight
    assert abs(away - curve.away_de00[-1]) < 0.3


def test_the_suggestion_is_where_the_curve_turns_flat():
    turn = np.concatenate([np.linspace(20, 5, 6), np.full(12, 5.0)])
    assert enough(turn) == 5
    assert enough(np.linspace(20, 1, 18)) == 17  # never flat: all of them
    assert enough(np.array([4.0])) == 0 and enough(np.full(6, 3.0)) == 0


def test_the_picture_of_the_curve_is_a_png_and_its_words_name_the_number():
    counts = np.arange(1, 9)
    curve = Curve(counts, 12.0 / counts, 11.0 / counts, 20.0 / counts, 4)
    picture = Image.open(io.BytesIO(curve_picture(curve, "signs")))
    assert picture.format == "PNG" and picture.width > 800
    assert curve.words().startswith("4 colours suggested: on average 2.8 ΔE00")
    assert Curve(counts, 12.0 / counts, 11.0 / counts, 20.0 / counts, 1).words().startswith("1 colour suggested:")
    assert curve.words().endswith("within 5.0; 8 colours would come to 1.4 and 2.5.")
    assert dataclasses.replace(curve, suggested=8).words().endswith("within 2.5.")


def test_more_kept_than_looked_at_is_said(offer):
    crowd = dataclasses.replace(offer, kept=(None,) * 9)
    with pytest.raises(DataError, match="9 colours are to be kept; a suggestion looks at up to 5"):
        error_curve(crowd, 5)
