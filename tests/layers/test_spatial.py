"""Spatial error: fine patterns blend, even colours stay, distance matters."""

import numpy as np
import pytest

from tint.errors import LimitError
from tint.lab import delta_e00
from tint.layers.spatial import Viewed, errors_over, seen, spatial_error
from tint.palette.reach import lab_from_light, light_from_lab

ONE, OTHER = light_from_lab([[45.0, 20.0, -30.0], [75.0, -5.0, 25.0]])


def checks(side, count=96):
    y, x = np.mgrid[0:count, 0:count]
    return np.where(((y // side + x // side) % 2 == 0)[..., None], ONE, OTHER)


def test_an_even_colour_looks_as_it_is():
    even = np.broadcast_to(ONE, (50, 60, 3))
    np.testing.assert_allclose(seen(even, 0.05), np.broadcast_to(lab_from_light(ONE), (50, 60, 3)), atol=0.02)


def test_the_error_of_even_fields_is_their_colour_difference():
    one, other = (np.broadcast_to(each, (40, 40, 3)) for each in (ONE, OTHER))
    assert spatial_error(one, other, 0.05) == pytest.approx(float(delta_e00(lab_from_light(ONE), lab_from_light(OTHER))), abs=0.02)


def test_a_fine_pattern_looks_like_its_mean_and_a_coarse_one_does_not():
    mean = np.broadcast_to((ONE + OTHER) / 2, (96, 96, 3))
    fine, middle, coarse = (spatial_error(checks(side), mean, 0.05) for side in (1, 4, 16))
    assert fine < 0.5 < middle < coarse


def test_from_farther_away_patterns_blend_more():
    mean = np.broadcast_to((ONE + OTHER) / 2, (96, 96, 3))
    assert spatial_error(checks(4), mean, 0.05, 900) < 0.5 * spatial_error(checks(4), mean, 0.05, 300)


def test_stripes_fade_at_the_pace_of_the_published_kernels():
    # a Gaussian exp(-(r / s)^2) passes a cosine of f cycles per degree by exp(-(pi s f)^2). Opponent parts, weights and spreads
    # as published by Zhang and Wandell, from memory
    parts = np.array([[0.279, 0.720, -0.107], [-0.449, 0.290, -0.077], [0.086, -0.590, 0.501]])
    kernels = [
        ([0.921, 0.105, -0.108], [0.0283, 0.133, 4.336]),
        ([0.531, 0.330], [0.0392, 0.494]),
        ([0.488, 0.371], [0.0536, 0.386]),
    ]
    d50 = np.array([0.9643, 1.0, 0.8251])  # CIE 15, to four digits
    pixel_deg = np.degrees(np.arctan(0.02 / 300))
    x = np.arange(600)
    for period_px in (25, 60):
        cycles_deg = 1 / (period_px * pixel_deg)
        passed = [(np.array(w) * np.exp(-((np.pi * np.array(s) * cycles_deg) ** 2))).sum() / sum(w) for w, s in kernels]
        expected = (np.linalg.inv(parts) @ (passed * (parts @ d50)))[1]
        grey = 0.3 + 0.02 * np.cos(2 * np.pi * x / period_px)
        light = light_from_lab(seen(np.broadcast_to(grey[None, :, None], (60, 600, 3)), 0.02))[30, 150:450, 1]
        assert np.ptp(light) / 0.04 == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("pitch_mm", [0.02, 0.08, 0.3])
def test_a_part_looks_as_it_does_in_the_whole(pitch_mm):
    light = np.random.default_rng(1).dirichlet([1, 1], (140, 190)) @ np.stack([ONE, OTHER])
    viewed = Viewed((140, 190), lambda rows, columns: light[rows, columns], pitch_mm)
    whole = seen(light, pitch_mm)
    for part in (np.s_[0:30, 0:40], np.s_[50:98, 70:118], np.s_[101:140, 151:190]):
        np.testing.assert_allclose(viewed.lab(*part), whole[part], atol=0.02)


def test_wide_blurs_on_a_smaller_picture_are_those_of_the_picture_itself(monkeypatch):
    y, x = np.mgrid[0:200, 0:260] / 260
    light = ONE + (np.sin(9 * x) * np.cos(7 * y))[..., None] * (OTHER - ONE) * 0.5
    light[60:90, 80:200] = OTHER
    for border in (np.s_[:16], np.s_[-16:], np.s_[:, :16], np.s_[:, -16:]):  # a picture goes on beyond its border as at its border
        light[border] = ONE
    quick = seen(light, 0.08)
    monkeypatch.setattr("tint.layers.spatial._WIDE_PX", np.inf)
    off = delta_e00(quick, seen(light, 0.08))
    assert off.max() < 0.5 and off.mean() < 0.05


def test_errors_over_parts_are_those_of_these_places():
    one = np.broadcast_to(ONE, (60, 80, 3)).copy()
    other = one.copy()
    other[:, 40:] = OTHER
    pictures = [Viewed((60, 80), lambda rows, columns, each=each: each[rows, columns], 0.3) for each in (one, other)]
    left, right = (errors_over(pictures[0], pictures[1:], [part])[0] for part in (np.s_[:, :30], np.s_[:, 50:]))
    assert left < 5 < 15 < right


def test_a_distance_that_cannot_be_is_refused():
    with pytest.raises(LimitError, match="seen from 0 mm"):
        seen(checks(1), 0.05, 0)
