"""The nearest place on a hull: no other place of its faces is nearer, whatever the weights, and the faces may be lines or points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial import ConvexHull

from tint.lab import lab_from_srgb1
from tint.palette.hull import Hull
from tint.palette.reach import lab_from_light, light_from_lab


def hull_of(seed, count, n=1.0):
    lab = np.random.default_rng(seed).uniform([20, -30, -30], [85, 30, 30], (count, 3))
    root = np.maximum(light_from_lab(lab), 0) ** (1 / n)
    return Hull(root[ConvexHull(root).simplices], n)


def off(hull, lab, metric, root):
    delta = lab_from_light(root**hull.n) - lab
    return np.einsum("ni,ij,nj->n", delta, metric, delta) ** 0.5


@given(st.integers(0, 10_000), st.integers(4, 14), st.sampled_from([1.0, 1.8]), st.sampled_from([1.0, 6.0]))
def test_no_place_on_any_face_is_nearer(seed, count, n, hue_weight):
    hull, rng = hull_of(seed, count, n), np.random.default_rng(seed + 1)
    metric = np.diag([4.0, 1.0, hue_weight])
    wish = lab_from_srgb1(rng.random((40, 3)))
    found = off(hull, wish, metric, hull.nearest(wish, metric))
    share = rng.dirichlet(np.full(3, 0.6), 400)
    places = np.einsum("gc,tcx->tgx", share, hull.corners).reshape(-1, 3)
    best = np.min([off(hull, wish, metric, np.broadcast_to(one, wish.shape)) for one in places], axis=0)
    assert (found <= best + 0.05).all()


@given(st.integers(0, 10_000), st.integers(5, 14))
def test_near_a_corner_where_faces_fold_no_place_on_any_face_is_nearer(seed, count):
    hull, rng = hull_of(seed, count), np.random.default_rng(seed + 1)
    corners = lab_from_light(hull.corners.reshape(-1, 3))
    wish = corners[rng.integers(0, len(corners), 40)] + rng.normal(0, 5, (40, 3))
    metric = np.diag([4.0, 1.0, 1.0])
    found = off(hull, wish, metric, hull.nearest(wish, metric))
    places = np.einsum("gc,tcx->tgx", rng.dirichlet(np.full(3, 0.6), 400), hull.corners).reshape(-1, 3)
    best = np.min([off(hull, wish, metric, np.broadcast_to(one, wish.shape)) for one in places], axis=0)
    assert (found <= best + 0.05).all()


def test_scipy_finds_nothing_nearer_from_the_place_found():
    # SLSQP of SciPy on the shares of the face, started in the middle of every face
    hull, metric = hull_of(3, 8), np.diag([4.0, 1.0, 1.0])
    wish = np.random.default_rng(7).uniform([0, -50, -50], [100, 50, 50], (12, 3))
    found = off(hull, wish, metric, hull.nearest(wish, metric))
    for lab, ours in zip(wish, found, strict=True):
        theirs = min(
            minimize(
                lambda share, face=face, lab=lab: off(hull, lab[None], metric, share @ face[None])[0],
                np.full(3, 1 / 3),
                bounds=[(0, 1)] * 3,
                constraints={"type": "eq", "fun": lambda share: share.sum() - 1},
                method="SLSQP",
            ).fun
            for face in hull.corners
        )
        assert ours <= theirs + 0.01


@pytest.mark.parametrize("corners", [1, 2])
def test_a_line_and_a_point_are_faces_too(corners):
    lab = np.array([[60.0, 20, 10], [40.0, -10, 5]])[:corners]
    hull = Hull(light_from_lab(lab)[None])
    found = lab_from_light(hull.nearest(np.vstack([lab, [[60.0, 25, 15]]]), np.eye(3)))
    np.testing.assert_allclose(found[:corners], lab, atol=1e-4)
    np.testing.assert_allclose(found[-1], lab[0], atol=2.0)


def test_very_dark_colours_lie_on_the_straight_part_of_cielab():
    lab = np.array([[0.5, 0, 0], [3.0, 1, -1], [6.0, -1, 1]])
    hull = Hull(light_from_lab(lab)[None])
    np.testing.assert_allclose(lab_from_light(hull.nearest(lab, np.eye(3))), lab, atol=1e-3)
