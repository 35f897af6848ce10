"""The shortcut through cells of the colour cube never changes which colour is nearest: colour-science says which is."""

import colour
import numpy as np
import pytest

from tint.lab import lab_from_srgb1
from tint.layers import nearest
from tint.layers.nearest import nearest_of_codes

TIE_DE00 = 1e-9  # two candidates so equally far are both nearest; their order hangs on the last digit


def colours(count, rng):
    """Codes of random colours, half of them near grey, where hues turn round."""
    anywhere = rng.integers(0, 256, (count // 2, 3))
    grey = np.clip(rng.integers(0, 256, (count // 2, 1)) + rng.integers(-6, 7, (count // 2, 3)), 0, 255)
    rgb = np.unique(np.concatenate([anywhere, grey]), axis=0)
    return (rgb @ [1, 256, 65536]).astype(np.uint32), lab_from_srgb1(rgb / 255)


def hold_against_colour_science(codes, lab, candidates):
    each = np.stack([colour.delta_E(lab, one, method="CIE 2000") for one in candidates], axis=-1)
    number = nearest_of_codes(codes, candidates)
    assert number.dtype == np.uint8
    chosen = np.take_along_axis(each, number[:, None].astype(int), axis=1)[:, 0]
    assert (chosen - each.min(axis=1)).max() < TIE_DE00


@pytest.mark.parametrize("seed", range(6))
def test_every_colour_gets_the_candidate_nearest_by_colour_sciences_delta_e(seed):
    rng = np.random.default_rng(seed)
    codes, lab = colours(40_000, rng)
    width = (60, 10, 80, 40, 3, 90)[seed]
    hold_against_colour_science(
        codes, lab, rng.uniform([10, -width, -width], [95, width, width], (int(rng.integers(2, 16)), 3))
    )


@pytest.mark.parametrize("seed", range(2))
def test_the_smallest_cells_decide_the_same(seed, monkeypatch):
    monkeypatch.setattr(nearest, "_SAVED_BY_SMALLER", 1e9)
    rng = np.random.default_rng(seed)
    codes, lab = colours(40_000, rng)
    hold_against_colour_science(codes, lab, rng.uniform([10, -60, -60], [95, 60, 60], (7, 3)))
    monkeypatch.setattr(nearest, "_NODES_AT_ONCE", 1)  # a plane of cells at a time
    hold_against_colour_science(codes[::7], lab[::7], rng.uniform([10, -60, -60], [95, 60, 60], (5, 3)))


def test_as_many_candidates_as_a_label_map_has_numbers_are_told_apart():
    rng = np.random.default_rng(1)
    codes, lab = colours(3_000, rng)
    hold_against_colour_science(codes, lab, lab_from_srgb1(rng.random((256, 3))))


def test_of_equal_candidates_the_first_is_taken():
    codes, lab = colours(500, np.random.default_rng(2))
    assert not nearest_of_codes(codes, np.repeat(lab[:1], 3, axis=0)).any()
    assert nearest_of_codes(codes, lab[:1]).tolist() == [0] * len(codes)


def test_no_colour_at_all_is_no_trouble():
    assert len(nearest_of_codes(np.empty(0, np.uint32), np.array([[50.0, 0, 0], [60, 0, 0]]))) == 0


def test_the_order_of_the_candidates_is_that_of_the_numbers():
    rng = np.random.default_rng(3)
    codes, _ = colours(5_000, rng)
    candidates = rng.uniform([10, -60, -60], [95, 60, 60], (9, 3))
    order = rng.permutation(9)
    np.testing.assert_array_equal(
        order[nearest_of_codes(codes, candidates[order])], nearest_of_codes(codes, candidates)
    )
