"""Halftones looked over once more: nearer to what is wanted as the eye sees it, and nothing else changed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import palette
from scipy.signal import convolve2d

from tint.layers.halftone import diffused
from tint.layers.refine import _REACH, CHROMA_WEIGHT, _Field, _kernel, _sharpened, refined
from tint.layers.spatial import LEAST_BLUR_DEG, spatial_error
from tint.palette.reach import light_from_lab

LIGHT = light_from_lab(palette().lab)
CELL_MM = 0.08


def soft(height, width, seed=0):
    """Mixtures that change slowly from place to place, (h, w, 3)."""
    from PIL import Image

    share = np.random.default_rng(seed).dirichlet(np.full(6, 0.5), (4, 5)).astype(np.float32)
    planes = [np.asarray(Image.fromarray(share[..., i]).resize((width, height), Image.Resampling.BILINEAR)) for i in range(6)]
    return np.stack(planes, axis=-1) @ LIGHT


def error_as_seen(labels, wanted, bare=None):
    """The sum that each change lessens, from its definition: the blurred error squared, weighted by lightness and chroma."""
    field = _Field(labels, wanted, LIGHT, CELL_MM, 300, bare)
    at_cells = field.seen[_REACH : -_REACH - 1, _REACH : -_REACH - 1]
    axes = field.colours[labels] - wanted @ np.linalg.lstsq(LIGHT, field.colours, rcond=None)[0]
    if bare is not None:
        axes[bare] = 0
    return float((at_cells * axes).sum())


def test_what_is_lessened_is_the_squared_error_blurred_as_the_eye_blurs_it():
    wanted = soft(40, 50)  # more rows than are blurred at once
    labels = diffused(wanted, LIGHT)
    cell_deg = np.degrees(np.arctan(CELL_MM / 300))
    expected = 0.0
    axes = np.array([[0, 116, 0], [500, -500, 0], [0, 200, -200]]) * [[1], [CHROMA_WEIGHT], [CHROMA_WEIGHT]]
    for spread_deg, weights in zip(LEAST_BLUR_DEG, axes, strict=True):
        blur = np.exp(-((np.arange(-3, 4) * cell_deg / spread_deg) ** 2))
        error = (LIGHT[labels] - wanted) @ weights
        expected += (convolve2d(error, np.outer(blur, blur) / blur.sum() ** 2) ** 2).sum()  # convolve2d of SciPy
    assert error_as_seen(labels, wanted) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("seed", range(3))
def test_a_halftone_looks_nearer_to_what_is_wanted(seed):
    wanted = soft(120, 150, seed)
    before = diffused(wanted, LIGHT)
    after = refined(before, wanted, LIGHT, CELL_MM)
    errors = [spatial_error(LIGHT[each], wanted, CELL_MM) for each in (before, after)]
    assert errors[1] < 0.85 * errors[0]


@settings(max_examples=15)
@given(height=st.integers(1, 30), width=st.integers(1, 30), seed=st.integers(0, 1000))
def test_every_change_lessens_the_error_as_seen_at_any_size(height, width, seed):
    wanted = np.random.default_rng(seed).dirichlet(np.ones(6), (height, width)) @ LIGHT
    labels = np.random.default_rng(seed + 1).integers(0, 6, (height, width), dtype=np.uint8)
    after = refined(labels, wanted, LIGHT, CELL_MM)
    goal = _sharpened(wanted)
    assert after.shape == labels.shape and after.max() <= 5
    assert error_as_seen(after, goal) <= error_as_seen(labels, goal) * (1 + 1e-5) + 1e-4


@pytest.mark.parametrize("pairs_at_once", [8_000, 10])  # all rows of pairs, and one or two of them
def test_the_error_kept_up_to_date_is_that_reckoned_anew(monkeypatch, pairs_at_once):
    monkeypatch.setattr("tint.layers.refine._BAND_PAIRS", pairs_at_once)
    wanted = soft(40, 50)
    field = _Field(diffused(wanted, LIGHT), wanted, LIGHT, CELL_MM, 300, None)
    for y, x, across in ((0, 0, True), (5, 5, False), (3, 5, True), (2, 1, False), (5, 0, False), (0, 5, True)):
        field.decide(y, x, across)
    again = _Field(field.number, wanted, LIGHT, CELL_MM, 300, None)
    np.testing.assert_allclose(field.seen, again.seen, atol=2e-3)


def test_bare_cells_stay_bare_and_draw_no_colour_to_them():
    wanted = soft(60, 60)
    bare = np.zeros((60, 60), bool)
    bare[20:40, 10:50] = True
    labels = diffused(wanted, LIGHT, bare)
    assert (refined(labels, wanted, LIGHT, CELL_MM, bare)[bare] == 0).all()
    hidden = wanted.copy()
    hidden[22:38, 12:48] = LIGHT[5]  # deeper than what is beside the border
    np.testing.assert_array_equal(refined(labels, wanted, LIGHT, CELL_MM, bare), refined(labels, hidden, LIGHT, CELL_MM, bare))


def test_an_even_field_of_a_palette_colour_stays_as_it_is():
    for number in range(6):
        even = np.full((30, 30), number, np.uint8)
        np.testing.assert_array_equal(refined(even, np.broadcast_to(LIGHT[number], (30, 30, 3)), LIGHT, CELL_MM), even)


def test_means_are_kept():
    share = np.array([0.2, 0.1, 0.3, 0.1, 0.1, 0.2])
    wanted = np.broadcast_to(share @ LIGHT, (90, 90, 3))
    after = refined(diffused(wanted, LIGHT), wanted, LIGHT, CELL_MM)
    np.testing.assert_allclose(LIGHT[after].mean(axis=(0, 1)), share @ LIGHT, atol=0.02)


def test_the_overlap_of_two_blurs_never_counts_less_than_none():
    for cell_mm in (0.03, 0.08, 0.3, 1.0):
        kernel = _kernel(cell_mm, 300)
        assert kernel.shape == (2 * _REACH + 1, 3)
        np.testing.assert_allclose(kernel.sum(axis=0), 1, rtol=1e-5)
        assert np.fft.fft(np.fft.ifftshift(kernel, axes=0), axis=0).real.min() > -1e-6


def test_the_same_seed_gives_the_same_cells():
    wanted = soft(50, 50)
    labels = diffused(wanted, LIGHT)
    np.testing.assert_array_equal(refined(labels, wanted, LIGHT, CELL_MM, seed=4), refined(labels, wanted, LIGHT, CELL_MM, seed=4))
