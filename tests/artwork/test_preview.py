"""The smaller picture is what averaging in linear light gives, at the same size on the metal."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tint.artwork.artwork import Picture
from tint.artwork.preview import reduced
from tint.errors import LimitError


def picture(height, width, seed=0, bare=None):
    pixels = np.random.default_rng(seed).integers(0, 256, (height, width, 3)).astype(np.uint8)
    return Picture(
        "reeds", 60.0, 60.0 * height / width, pixels, np.zeros((height, width), bool) if bare is None else bare
    )


def linear1(srgb255):
    """IEC 61966-2-1, the plain formula."""
    srgb1 = np.asarray(srgb255) / 255
    return np.where(srgb1 <= 0.04045, srgb1 / 12.92, ((srgb1 + 0.055) / 1.055) ** 2.4)


def test_blocks_become_their_mean_in_linear_light():
    whole = picture(60, 90)
    small = reduced(whole, 30)
    assert small.srgb255.shape == (20, 30, 3) and (small.width_mm, small.height_mm) == (whole.width_mm, whole.height_mm)
    mean = linear1(whole.srgb255).reshape(20, 3, 30, 3, 3).mean(axis=(1, 3))
    level = np.where(mean <= 0.0031308, 12.92 * mean, 1.055 * mean ** (1 / 2.4) - 0.055) * 255
    assert np.abs(small.srgb255 - level).max() <= 0.51  # rounded to whole levels


def test_transparent_pixels_give_no_colour_and_half_of_them_leave_the_place_bare():
    bare = np.zeros((4, 4), bool)
    bare[:2, :2] = [[True, True], [True, False]]
    bare[2:, 2:] = [[True, False], [False, False]]
    whole = picture(4, 4, bare=bare)
    whole.srgb255[bare] = 255
    small = reduced(whole, 2)
    assert small.bare.tolist() == [[True, False], [False, False]]
    kept = linear1(whole.srgb255[2:, 2:][~bare[2:, 2:]]).mean(axis=0)
    assert np.abs(linear1(small.srgb255[1, 1]) - kept).max() < 0.01


@settings(deadline=None, max_examples=30)
@given(st.integers(1, 70), st.integers(1, 70), st.integers(1, 80))
def test_any_picture_keeps_its_proportions_and_its_limit(height, width, most):
    whole = picture(height, width)
    small = reduced(whole, most)
    rows, columns = small.bare.shape
    assert max(rows, columns) <= max(most, 1) and small.srgb255.shape == (rows, columns, 3)
    assert small is whole if max(height, width) <= most else max(rows, columns) == most
    assert abs(rows - height * max(rows, columns) / max(height, width)) <= 1


def test_a_picture_of_no_pixels_is_refused():
    with pytest.raises(LimitError, match="1 pixel or more"):
        reduced(picture(4, 4), 0)
