"""Halftones: each cell one colour, means kept, no worms, no clumps."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import palette

from tint.errors import LimitError
from tint.lab import srgb255_from_lab
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.halftone import HANDED_ON, MASK_SIDE, blue_noise, diffused, ordered, pattern
from tint.layers.mixture import Mixing, mixture_lab
from tint.palette.reach import light_from_lab

BOOK = palette()
MAP = GamutMap("nearest", Gamut(BOOK.lab), ink=None)
LIGHT = light_from_lab(BOOK.lab)


WAYS = ("one by one", "by the table")


def in_order(way, *args, **kwargs):
    """`ordered` in each of the two ways that it decides cells."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tint.layers.halftone.EXACT_CELLS", 10**9 if way == WAYS[0] else 0)
        return ordered(*args, **kwargs)


def even(shares, side=60):
    return np.broadcast_to(np.asarray(shares, float) @ LIGHT, (side, side, 3))


def even_bytes(shares, side=60):
    """sRGB bytes (side, side, 3) of a mixture."""
    return np.broadcast_to(srgb255_from_lab(mixture_lab(np.asarray(shares, float), BOOK.lab)), (side, side, 3))


def cell_by_cell(wanted, colours):
    """Error diffusion as published, one cell after another, to hold the waves against."""
    from tint.layers import halftone

    metric = (halftone._LAB_LIKE.T @ halftone._LAB_LIKE).astype(np.float32)
    height, width = wanted.shape[:2]
    error = np.zeros((height + 1, width + 2, 3))
    labels = np.zeros((height, width), np.uint8)
    for y in range(height):
        for x in range(width):
            due = error[y, x + 1]
            off = wanted[y, x] + halftone.FEEDBACK * due - colours
            labels[y, x] = np.einsum("ki,ij,kj->k", off, metric, off).argmin()
            left = wanted[y, x] + due - colours[labels[y, x]]
            for share, (down, across) in zip(HANDED_ON, ((0, 1), (1, -1), (1, 0), (1, 1)), strict=True):
                error[y + down, x + 1 + across] += share * left
    return labels


@pytest.mark.parametrize("shape", [(17, 23), (30, 4), (5, 3), (1, 9), (9, 1), (4, 2), (1, 1)])
def test_waves_decide_as_one_cell_after_another(monkeypatch, shape):
    monkeypatch.setattr("tint.layers.halftone.WOBBLE", 0.0)
    share = np.random.default_rng(3).dirichlet(np.ones(6), shape)
    wanted = share @ LIGHT
    assert (diffused(wanted, LIGHT) == cell_by_cell(wanted, LIGHT)).mean() > 0.98  # rounding turns a few


@pytest.mark.parametrize("way", ["diffused", *WAYS])
@settings(max_examples=20)
@given(seed=st.integers(0, 10_000))
def test_the_mean_light_of_an_even_field_is_the_light_wanted(way, seed):
    share = np.random.default_rng(seed).dirichlet(np.ones(6))
    labels = diffused(even(share), LIGHT) if way == "diffused" else in_order(way, even_bytes(share), MAP)
    assert labels.dtype == np.uint8 and labels.max() <= 5
    np.testing.assert_allclose(LIGHT[labels].mean(axis=(0, 1)), share @ LIGHT, atol=0.02)


def test_an_even_field_of_a_palette_colour_is_that_colour_everywhere():
    for number in range(6):
        assert (diffused(even(np.eye(6)[number]), LIGHT) == number).all()
        # the map reads its table between nodes 8 levels apart, so a corner of the gamut comes out a little inside it
        for way in WAYS:
            assert (in_order(way, even_bytes(np.eye(6)[number], MASK_SIDE), MAP) == number).mean() > 0.85


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5])
def test_even_tones_show_no_rows_and_no_clumps(share):
    # worms and clumps are slow waves: a pattern that spreads its dots keeps them out of the lowest frequencies
    shares = [1 - share, 0, 0, 0, 0, share]
    for labels in (diffused(even(shares, 128), LIGHT), *(in_order(way, even_bytes(shares, 128), MAP) for way in WAYS)):
        dots = LIGHT[labels][..., 1]
        power = np.abs(np.fft.fft2(dots - dots.mean())) ** 2 / dots.size
        frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(128), np.fft.fftfreq(128)))
        slow = power[(frequency > 0) & (frequency < 0.08)].mean()
        assert slow < 0.05 * dots.var()  # scattered at random it would be the variance itself


def test_bare_places_stay_bare_and_hand_nothing_on():
    bare = np.zeros((40, 40), bool)
    bare[:, 15:25] = True
    shares = [0, 0, 0.5, 0.5, 0, 0]
    for labels in (diffused(even(shares, 40), LIGHT, bare), *(in_order(way, even_bytes(shares, 40), MAP, bare) for way in WAYS)):
        assert (labels[bare] == 0).all() and (labels[~bare] > 0).all()


def test_another_order_of_the_palette_gives_the_same_cells():
    order = np.array([0, 4, 2, 5, 1, 3])
    wanted = np.random.default_rng(2).dirichlet(np.ones(6), (30, 30)) @ LIGHT
    np.testing.assert_array_equal(order[diffused(wanted, LIGHT[order])], diffused(wanted, LIGHT))


def test_bytes_and_their_light_give_the_same_cells():
    from tint.layers.difference import lab_of_srgb255

    srgb255 = np.random.default_rng(5).integers(60, 200, (40, 40, 3), dtype=np.uint8)
    light = light_from_lab(lab_of_srgb255(*srgb255.reshape(-1, 3).T).T).reshape(srgb255.shape)
    assert (diffused(srgb255, LIGHT) == diffused(light, LIGHT)).mean() > 0.98


def test_the_same_seed_gives_the_same_cells_and_another_does_not():
    wanted = even([0.3, 0, 0, 0.7, 0, 0])
    np.testing.assert_array_equal(diffused(wanted, LIGHT, seed=1), diffused(wanted, LIGHT, seed=1))
    assert (diffused(wanted, LIGHT, seed=1) != diffused(wanted, LIGHT, seed=2)).any()


@pytest.mark.parametrize("way", WAYS)
def test_marks_that_grow_are_given_less_area_by_the_pattern(way):
    mixing = Mixing(gain=np.array([0, 0.2, 0, 0, 0, 0]))
    shares = np.array([0.6, 0.4, 0, 0, 0, 0])
    labels = in_order(way, even_bytes(shares, MASK_SIDE), GamutMap("nearest", Gamut(BOOK.lab, mixing), ink=None))
    given_area = np.bincount(labels.ravel(), minlength=6) / labels.size
    np.testing.assert_allclose(mixing.covered(given_area), shares, atol=0.03)


@pytest.mark.parametrize("way", WAYS)
def test_a_small_change_of_the_picture_changes_only_the_cells_under_it(way):
    srgb255 = np.random.default_rng(1).integers(0, 256, (50, 70, 3), dtype=np.uint8)
    other = srgb255.copy()
    other[10:20, 30:45] = 0
    changed = in_order(way, srgb255, MAP) != in_order(way, other, MAP)
    assert changed[10:20, 30:45].any()
    changed[10:20, 30:45] = False
    assert not changed.any()


@pytest.mark.parametrize("how", ["nearest", "tone"])
def test_the_table_shows_what_deciding_one_by_one_does(how):
    ramp = np.linspace(40, 220, 128).astype(np.uint8)
    srgb255 = np.stack([*np.broadcast_arrays(ramp[:, None], ramp[None], ramp[::-1, None])], axis=-1)
    mapped = GamutMap(how, Gamut(BOOK.lab))
    one, other = (LIGHT[in_order(way, srgb255, mapped)].reshape(8, 16, 8, 16, 3).mean(axis=(1, 3)) for way in WAYS)
    assert np.abs(one - other).mean() < 0.01  # light, over blocks of 16 × 16 cells


@pytest.mark.parametrize("ranks", [blue_noise(32), pattern()], ids=["made", "shipped"])
def test_the_pattern_holds_every_rank_once_and_keeps_dots_apart(ranks):
    side = len(ranks)
    np.testing.assert_array_equal(np.sort(ranks.ravel()), np.arange(side**2))
    count = side**2 // 25
    first = np.argwhere(ranks < count)
    gap = np.abs(first[:, None] - first[None])
    gap = np.hypot(*np.moveaxis(np.minimum(gap, side - gap), -1, 0)) + 99 * np.eye(count)
    assert gap.min() >= 3  # dots on a twenty-fifth of the cells are 5.4 apart at best; at random the nearest two touch


def test_a_pattern_of_few_cells_cannot_be():
    with pytest.raises(LimitError, match="blue-noise pattern of 2 cells"):
        blue_noise(2)
