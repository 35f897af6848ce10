"""Mixtures side by side, against colour-science and against mixtures tried at random."""

import colour
import numpy as np
import pytest

from tint.palette.reach import LIGHTNESS_WEIGHT, Reach, lab_from_light, light_from_lab

LABS = np.array([[82, 0.5, 3], [72, 8, 36], [40, 28, -24], [42, -2, -34], [60, -22, -4], [24, 4, -10]])  # invented


def weighted(lab):
    return lab * np.array([LIGHTNESS_WEIGHT, 1, 1])


def test_light_is_xyz_over_white_as_colour_science_has_it():
    rng = np.random.default_rng(0)
    lab = rng.uniform([0, -80, -80], [100, 80, 80], (500, 3))
    white = np.array([0.9642, 1.0, 0.8249])
    known = colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(white)) / white
    np.testing.assert_allclose(
        light_from_lab(lab), known, atol=2e-5
    )  # colour-science rounds the white to a chromaticity
    np.testing.assert_allclose(lab_from_light(light_from_lab(lab)), lab, atol=1e-9)


def test_a_mixture_is_inside_and_stays_what_it_is():
    share = np.random.default_rng(1).dirichlet(np.full(6, 0.7), 400)
    lab = lab_from_light(share @ light_from_lab(LABS))
    reach = Reach(LABS)
    np.testing.assert_allclose(reach.nearest(lab), lab, atol=0.02)
    assert reach.inside(lab_from_light(light_from_lab(LABS).mean(axis=0)[None])).all()
    assert not reach.inside(np.array([[50.0, 60, 60], [99, 0, 0], [5, 0, 0]])).any()


@pytest.mark.parametrize("count", [1, 2, 3, 4, 6])
def test_no_mixture_tried_at_random_is_nearer_than_the_nearest(count):
    rng = np.random.default_rng(2)
    wish = rng.uniform([5, -70, -70], [98, 70, 70], (60, 3))
    found = Reach(LABS[:count]).nearest(wish)
    share = np.concatenate([rng.dirichlet(np.full(count, spread), 6000) for spread in (0.2, 1.0)])
    tried = lab_from_light(share @ light_from_lab(LABS[:count]))
    ours = np.linalg.norm(weighted(found - wish), axis=1)
    theirs = np.linalg.norm(weighted(tried[None]) - weighted(wish[:, None]), axis=2).min(axis=1)
    assert (ours <= theirs + 0.1).all()


def test_what_is_found_can_be_mixed():
    wish = np.random.default_rng(3).uniform([5, -70, -70], [98, 70, 70], (200, 3))
    equations = Reach(LABS)._hull.equations
    light = light_from_lab(Reach(LABS).nearest(wish))
    assert (light @ equations[:, :3].T + equations[:, 3]).max() < 1e-6


def test_colours_in_one_plane_have_a_reach_too():
    light = np.array([[0.2, 0.2, 0.2], [0.6, 0.6, 0.6], [0.5, 0.3, 0.3], [0.3, 0.4, 0.4], [0.4, 0.4, 0.4]])
    lab = lab_from_light(light)
    np.testing.assert_allclose(Reach(lab).nearest(lab), lab, atol=0.2)
