"""Choosing the handful, against the proven optimum and on real marks."""

import numpy as np
import pytest
import shapely
from scipy.optimize import Bounds, LinearConstraint, milp

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.demo.shop import open_machine, open_patches, open_stock
from tint.errors import DataError
from tint.lab import delta_e00, lab_from_srgb1
from tint.model.fit import fit
from tint.palette.choose import artwork_wishes, choose_palette, locate, thin


@pytest.fixture(scope="module")
def model():
    return fit(open_patches(), open_machine(), open_stock())


def proven_optimum(cost, n):
    """Least possible sum, by mixed-integer programming (HiGHS): each wish served by one open candidate, n open."""
    wishes, candidates = cost.shape
    serve = np.zeros((wishes, wishes * candidates + candidates))
    for i in range(wishes):
        serve[i, i * candidates : (i + 1) * candidates] = 1
    only_open = np.zeros((wishes * candidates, wishes * candidates + candidates))
    only_open[np.arange(wishes * candidates), np.arange(wishes * candidates)] = 1
    only_open[np.arange(wishes * candidates), wishes * candidates + np.tile(np.arange(candidates), wishes)] = -1
    count = np.concatenate([np.zeros(wishes * candidates), np.ones(candidates)])[None]
    done = milp(
        np.concatenate([cost.ravel(), np.zeros(candidates)]),
        constraints=[LinearConstraint(serve, 1, 1), LinearConstraint(only_open, -np.inf, 0), LinearConstraint(count, n, n)],
        integrality=np.concatenate([np.zeros(wishes * candidates), np.ones(candidates)]), bounds=Bounds(0, 1),
    )  # fmt: skip
    return done.fun


@pytest.mark.parametrize("seed", range(6))
def test_greedy_then_swaps_comes_within_two_per_cent_of_the_proven_optimum(seed):
    rng = np.random.default_rng(seed)
    lab = rng.uniform([20, -40, -45], [85, 35, 40], (34, 3))
    cost = delta_e00(lab[:, None], lab[None]) * rng.uniform(0.2, 1, 34)[:, None]
    assert cost[:, locate(cost, 6)].min(axis=1).sum() <= 1.02 * proven_optimum(cost, 6)


def test_no_single_swap_helps_any_more():
    rng = np.random.default_rng(8)
    cost, free = rng.random((60, 40)), rng.random(60)
    chosen = locate(cost, 5, free)

    def total(columns):
        return np.minimum(cost[:, columns].min(axis=1), free).sum()

    for place in range(5):
        for other in set(range(40)) - set(chosen.tolist()):
            swapped = [other if k == place else c for k, c in enumerate(chosen)]
            assert total(swapped) >= total(chosen) - 1e-12


def test_thinning_keeps_the_surest_of_each_cell():
    lab = np.array([[50.2, 0, 0], [50.4, 0.5, 0], [80, 0, 0]])
    assert thin(lab, np.array([3.0, 1.0, 2.0]), cell=3).tolist() == [1, 2]


def test_a_palette_of_real_marks_spans_their_hues_with_settings_the_machine_can_do(model):
    palette = choose_palette(model, 8)
    model.machine.check(palette.setting)
    assert len(palette) == 8 and len({colour.name for colour in palette.colours}) == 8
    away = delta_e00(palette.lab[1:, None], palette.lab[None, 1:]) + 99 * np.eye(8)
    assert away.min() > 4  # told apart at a glance
    hue = np.degrees(np.arctan2(palette.lab[1:, 2], palette.lab[1:, 1])) % 360
    assert ((hue > 240) & (hue < 300)).any() and (hue > 310).any() and ((hue > 40) & (hue < 110)).any()
    assert palette.remarks[0].startswith("camera colours") and "bare metal was not measured" in palette.remarks[1]


def test_a_palette_for_an_artwork_serves_it_better_than_one_for_the_stock(model):
    shapes = tuple(
        Shape(shapely.box(i, 0, i + 1, 1), srgb, "test") for i, srgb in enumerate([(40, 80, 150), (60, 110, 180), (30, 50, 110), (90, 130, 200)])
    )
    art = Drawing("water", 4, 1, shapes)
    wishes, weight = artwork_wishes(art)

    def lost(palette):
        return (delta_e00(wishes[:, None], palette.lab[None]).min(axis=1) * weight).sum()

    assert lost(choose_palette(model, 4, artwork=art)) < 0.8 * lost(choose_palette(model, 4))


def test_the_wishes_of_a_picture_are_its_colours_by_area_without_the_transparent_ones():
    pixels = np.zeros((10, 10, 3), np.uint8)
    pixels[:, :3] = (200, 40, 40)
    pixels[:, 3:] = (40, 40, 200)
    bare = np.zeros((10, 10), bool)
    bare[:, 8:] = True
    wishes, weight = artwork_wishes(Picture("p", 10, 10, pixels, bare))
    assert weight.tolist() == [50 / 80, 30 / 80]
    np.testing.assert_allclose(wishes, lab_from_srgb1(np.array([[40, 40, 200], [200, 40, 40]]) / 255))
    with pytest.raises(DataError, match="wholly transparent"):
        artwork_wishes(Picture("p", 10, 10, pixels, np.ones((10, 10), bool)))


def test_more_colours_than_the_stock_has_are_refused(model, monkeypatch):
    with pytest.raises(DataError, match="a palette holds 1 to 255"):
        choose_palette(model, 0)
    monkeypatch.setattr("tint.palette.choose.THIN_LAB", 25.0)
    with pytest.raises(DataError, match=r"only \d+ colours of polished stainless \(open data\) can be told apart"):
        choose_palette(model, 250)
