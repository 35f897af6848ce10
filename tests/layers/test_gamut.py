"""The gamut of a palette: what can be mixed stays, what cannot comes as near as the weights stated allow."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import palette

from tint.lab import delta_e00, lab_from_srgb1
from tint.layers.gamut import WEIGHTS, Gamut
from tint.layers.mixture import Mixing, mixture_lab
from tint.palette.reach import lab_from_light

BOOK = palette()
rng = np.random.default_rng(4)
WISHES = lab_from_srgb1(rng.random((300, 3)))


def mixtures(lab, count, mixing=None):
    area = np.random.default_rng(8).dirichlet(np.full(len(lab), 0.5), count)
    return mixture_lab(area, lab, mixing or Mixing())


@pytest.mark.parametrize("n", [1.0, 1.8])
def test_what_can_be_mixed_stays_what_it_is(n):
    gamut = Gamut(BOOK.lab, Mixing(n))
    mixed = mixtures(BOOK.lab, 300, Mixing(n))
    assert delta_e00(gamut.colour(gamut.nearest(mixed)), mixed).max() < 0.3
    assert gamut.inside(mixed).mean() > 0.98  # some lie on the border, where rounding decides


def test_no_mixture_is_nearer_than_the_nearest():
    gamut = Gamut(BOOK.lab)
    mixed = mixtures(BOOK.lab, 20_000)
    weights = np.array([2.0, 1.0, 1.0])
    found = gamut.colour(gamut.nearest(WISHES, (2.0, 1.0, 1.0)))
    away = np.linalg.norm((found - WISHES) * weights, axis=1)
    best = np.array([np.linalg.norm((mixed - wish) * weights, axis=1).min() for wish in WISHES])
    assert (away <= best + 0.05).all()


def hue_deg(lab):
    return np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))


def test_the_hue_map_turns_hues_less_than_the_nearest_does():
    # CIE 156:2004, guidelines for evaluating gamut maps, asks that hue shifts be told
    gamut = Gamut(BOOK.lab)
    wishes = WISHES[np.hypot(*WISHES[:, 1:].T) > 20]
    turn = {}
    for how in ("nearest", "hue"):
        found = gamut.colour(gamut.nearest(wishes, WEIGHTS[how]))
        coloured = np.hypot(*found[:, 1:].T) > 10
        turn[how] = np.abs((hue_deg(found) - hue_deg(wishes) + 180) % 360 - 180)[coloured].mean()
    assert turn["hue"] < 0.8 * turn["nearest"]


def test_the_order_of_the_palette_does_not_change_the_map():
    order = [0, 3, 5, 1, 4, 2]
    one, other = (Gamut(lab) for lab in (BOOK.lab, BOOK.lab[order]))
    np.testing.assert_allclose(one.colour(one.nearest(WISHES)), other.colour(other.nearest(WISHES)), atol=0.05)


@given(st.integers(0, 10_000), st.integers(1, 7))
def test_any_palette_maps_any_colour_to_a_mixture(seed, count):
    some = np.random.default_rng(seed)
    lab = some.uniform([15, -40, -40], [90, 40, 40], (count, 3))
    gamut = Gamut(lab)
    root = gamut.nearest(WISHES[:40])
    share = gamut.shares(root)
    assert delta_e00(mixture_lab(share / share.sum(axis=1, keepdims=True), lab), gamut.colour(root)).max() < 0.5


@pytest.mark.parametrize("n", [1.0, 2.0])
@pytest.mark.parametrize("levels", [(0.1, 0.5), (0.1, 0.3, 0.5)])
def test_a_palette_in_even_steps_whose_gamut_has_flat_simplices_maps_any_colour_to_a_mixture(levels, n):
    # of eight corners of a box, or of many colours in one of its sides, some four lie in one plane and span no volume
    steps = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(-1, 3)
    lab = lab_from_light(steps**n)
    gamut = Gamut(lab, Mixing(n))
    root = gamut.nearest(WISHES)
    assert delta_e00(mixture_lab(gamut.shares(root), lab, Mixing(n)), gamut.colour(root)).max() < 0.05
