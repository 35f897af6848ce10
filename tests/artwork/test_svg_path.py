"""Path data and curves: commands against each other, arcs and chords against their equations."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.artwork.svg_path import (
    Subpath,
    arc_curves,
    count_points,
    ellipse_subpath,
    flat_points,
    path_length,
    path_subpaths,
    rect_subpath,
)

EXACT = 1e-12


@pytest.mark.parametrize(
    ("short", "long"),
    [
        ("m1 2 3 4 5-6", "M1 2 L4 6 L9 0"),
        ("M1 2h3v4H0V0z", "M1,2 L4,2 L4,6 L0,6 L0,0 Z"),
        ("M0 0c1 1 2 1 3 0s2-1 3 0", "M0 0C1 1 2 1 3 0C4-1 5-1 6 0"),
        ("M0 0L3 0S2 5 4 4", "M0 0L3 0C3 0 2 5 4 4"),  # after a line S starts from the current point
        ("M0 0q1 2 3 0t3 0", "M0 0Q1 2 3 0Q5-2 6 0"),
        ("M0 0T5 5", "M0 0Q0 0 5 5"),
        ("M0 0H1zl2 2", "M0 0L1 0Z M0 0L2 2"),  # after Z the pen is back at the start
        ("M.5.5-1e1.25E1", "M 0.5 0.5 L -10 2.5"),
        ("M0 0a5 5 0 013 3", "M0 0A5 5 0 0 1 3 3"),  # flags need no space
        ("M0 0A0 5 0 0 1 3 3", "M0 0L3 3"),  # SVG 2, section 9.5.1: a radius of 0 is a line
        ("M0 0A-5 5 0 0 1 3 3", "M0 0A5 5 0 0 1 3 3"),
    ],
)
def test_a_short_form_means_its_long_form(short, long):
    assert len(path_subpaths(short)) == len(path_subpaths(long))
    for one, other in zip(path_subpaths(short), path_subpaths(long), strict=True):
        assert one.closed == other.closed and one.start == pytest.approx(other.start, abs=EXACT)
        for piece, same in zip(one.pieces, other.pieces, strict=True):
            assert np.allclose(piece, same, rtol=0, atol=EXACT)


@pytest.mark.parametrize(
    "data",
    [
        "M0 0L1",
        "M0 0X1 1",
        "M0 0L1 1,",
        "M0 0,,1 1",
        "5 5",
        "M0 0 L 1 2 3",
        "M0 0A1 1 0 1",
        "M0 0Lnan 0",
        "M0 0L1e400 0",
        "M",
    ],
)
def test_broken_path_data_is_never_drawn_in_part(data):
    with pytest.raises(ValueError, match="path data"):
        path_subpaths(data)


def test_a_lone_move_draws_nothing_but_a_closed_one_is_a_dot():
    assert path_subpaths("M5 5M6 6") == []
    assert path_subpaths("M5 5z") == [Subpath(5 + 5j, (), True)]


@given(
    st.floats(1, 50), st.floats(1, 50), st.floats(-180, 180), st.booleans(), st.booleans(),
    st.complex_numbers(min_magnitude=0.5, max_magnitude=80),
)  # fmt: skip
def test_an_arc_lies_on_its_ellipse_and_turns_as_its_flags_say(rx, ry, tilt_deg, large, sweep, end):
    curves = arc_curves(0j, rx, ry, tilt_deg, large, sweep, end)
    points = flat_points(Subpath(0j, tuple(curves), False), 1e-4)
    assert points[-1] == end
    circle = points / cmath.exp(1j * math.radians(tilt_deg))
    circle = circle.real / rx + 1j * circle.imag / ry  # the ellipse is a circle here, of radius 1 or grown to reach
    chord = circle[-1]
    radius = max(1.0, abs(chord) / 2)
    side = 1j if large == sweep else -1j  # SVG 2, appendix B.2.4: the centre's side of the chord
    centre = chord / 2 - side * chord / abs(chord) * math.sqrt(max(radius**2 - abs(chord) ** 2 / 4, 0))
    assert np.abs(np.abs(circle - centre) - radius).max() < 2e-6 * radius
    turns = np.angle((circle[1:] - centre) / (circle[:-1] - centre))
    assert (turns > 0).all() if sweep else (turns < 0).all()
    if radius == 1.0 and abs(chord) < 1.999:
        assert (abs(turns.sum()) > math.pi) == large


@pytest.mark.parametrize("radius", [1e6, 1e9, 1e15, 1e200])
def test_an_arc_of_a_far_centre_stays_on_its_chord(radius):
    start, end = 1.3 + 2.7j, 7.9 - 3.1j
    curves = arc_curves(start, radius, 0.7 * radius, 20, False, True, end)
    points = np.array([point for curve in curves for point in curve])
    away = np.abs(((points - start) / (end - start)).imag) * abs(end - start)
    assert curves[-1][-1] == end and away.max() <= abs(end - start) ** 2 / radius  # four times the bulge of the smaller radius
    if radius > 1e9:
        with pytest.raises(ValueError, match="radius 1e[+]15 is too large|radius 1e[+]200 is too large"):
            arc_curves(start, radius, radius, 20, True, True, end)


@given(st.lists(st.complex_numbers(max_magnitude=100), min_size=3, max_size=4), st.sampled_from([0.5, 0.05, 0.005]))
def test_chords_stay_within_the_tolerance_of_their_curve(points, tolerance):
    subpath = Subpath(points[0], (tuple(points[1:]),), False)
    flat = flat_points(subpath, tolerance)
    assert len(flat) - 1 == count_points([subpath], tolerance)
    t = (np.arange(len(flat) - 1) + 0.5) / (len(flat) - 1)  # the middle of each chord's stretch of curve
    curve = sum(
        math.comb(len(points) - 1, i) * t**i * (1 - t) ** (len(points) - 1 - i) * p for i, p in enumerate(points)
    )
    assert np.abs(curve - (flat[:-1] + flat[1:]) / 2).max() <= tolerance * (1 + 1e-9)


def test_lengths_are_those_of_geometry():
    assert path_length(rect_subpath(0, 0, 4, 3, 0, 0), 1e-3) == 14
    assert path_length(rect_subpath(0, 0, 8, 6, 2, 2), 1e-6) == pytest.approx(2 * (4 + 2) + 4 * math.pi, rel=1e-5)
    assert path_length(ellipse_subpath(3j, 5, 5), 1e-6) == pytest.approx(10 * math.pi, rel=1e-6)
