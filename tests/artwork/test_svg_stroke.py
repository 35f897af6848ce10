"""Stroke outlines against areas and extents known in closed form."""

import math

import numpy as np
import pytest
import shapely

from tint.artwork.flatten import filled
from tint.artwork.svg_path import Subpath, ellipse_subpath, rect_subpath
from tint.artwork.svg_stroke import Pen, stroke_rings

LINE = Subpath(0j, ((10 + 0j,),), False)
STROKER = {"rel": 1e-3}  # the tolerance of 0.001 mm along borders of shapes some millimetres across


def region(subpath, pen):
    return filled(stroke_rings([subpath], pen, 1.0, 0.001), "nonzero")


@pytest.mark.parametrize(
    ("pen", "area"),
    [(Pen(2), 20), (Pen(2, cap="square"), 24), (Pen(2, cap="round"), 20 + math.pi), (Pen(2, dashes=(2.0, 3.0)), 8),
     (Pen(2, dashes=(2.0, 3.0), dash_offset=1.0), 8), (Pen(2, dashes=(1.0, 1.0), dash_offset=-0.5), 10)],
)  # fmt: skip
def test_a_line_has_the_area_of_its_cap_and_dashes(pen, area):
    assert region(LINE, pen).area == pytest.approx(area, **STROKER)


@pytest.mark.parametrize("angle_deg", [30, 60, 90, 135, 170])
def test_a_miter_reaches_as_far_as_its_angle_says_until_the_limit(angle_deg):
    """SVG 2, section 13.5.6: miter length over width is 1 / sin(θ/2), θ the angle between the segments."""
    half = math.radians(angle_deg) / 2
    legs = Subpath(10 * np.exp(1j * half), ((0j,), (10 * np.exp(-1j * half),)), False)
    reach = 1 / math.sin(half)
    long = region(legs, Pen(2, miter_limit=reach * 1.01))
    short = region(legs, Pen(2, miter_limit=max(reach * 0.99, 1.0)))
    assert -long.bounds[0] == pytest.approx(reach, rel=2e-3)
    assert -short.bounds[0] == pytest.approx(math.sin(half), abs=2e-3)  # cut off as a bevel


def test_a_ring_is_the_circle_outside_less_the_circle_inside():
    ring = region(ellipse_subpath(0j, 5, 5), Pen(2))
    assert ring.area == pytest.approx(math.pi * (36 - 16), **STROKER)
    assert len(ring.interiors) == 1
    full = region(ellipse_subpath(0j, 1, 1), Pen(4))  # wider than the circle: no hole
    assert full.area == pytest.approx(math.pi * 9, **STROKER) and not full.interiors


@pytest.mark.parametrize("join", ["miter", "round", "bevel"])
@pytest.mark.parametrize("width", [0.1, 0.3, 2.0])
def test_a_line_that_runs_back_on_itself_is_drawn_once(width, join):
    end = {"round": math.pi * (width / 2) ** 2 / 2}.get(join, 0.0)  # half a circle where it turns
    for back in (Subpath(0j, ((18 + 0j,), (0j,)), False), Subpath(0j, ((18 + 0j,),), True)):
        turns = 2 if back.closed else 1
        assert region(back, Pen(width, join=join)).area == pytest.approx(18 * width + turns * end, rel=2e-3)


@pytest.mark.parametrize("width", [0.1, 0.3, 2.0])
@pytest.mark.parametrize("tip", [18 + 0.1j, 18 + 0.001j])
def test_a_needle_is_stroked_all_round(width, tip):
    """Oracle: shapely's buffer of the outline, whose joins are round too."""
    needle = Subpath(0j, ((tip,), (0.2j,)), True)
    true = shapely.LinearRing([(0, 0), (tip.real, tip.imag), (0, 0.2)]).buffer(width / 2, quad_segs=200)
    assert region(needle, Pen(width, join="round")).symmetric_difference(true).area <= 0.002 * true.length


def test_a_stroke_far_from_the_origin_is_as_exact():
    far = Subpath(5000 + 5000j, ((5010 + 5000j,),), False)
    assert region(far, Pen(2)).area == pytest.approx(20, rel=1e-6)


@pytest.mark.parametrize("offset", [-2.0, 1.8, 1.8 - 3.8 * 7, -1e-14])
def test_a_dash_that_ends_where_the_line_starts_has_no_cap_there(offset):
    pen = Pen(2, cap="square", dashes=(1.8, 2.0), dash_offset=offset)
    first = 0.0 if offset == -1e-14 else 2.0
    assert region(LINE, pen).bounds[0] == pytest.approx(first - 1, abs=1e-9)


@pytest.mark.parametrize("offset", [0.0, 5.0, -2.5, 1.0, 0.1])
@pytest.mark.parametrize("repeats", [1, 2])
def test_a_dot_is_drawn_where_a_line_starts_and_none_where_it_ends(offset, repeats):
    def dots(pitch, side):
        pen = Pen(side, cap="square", dashes=(0.0, pitch) * repeats, dash_offset=offset)
        return round(region(LINE, pen).area / side**2, 6)

    assert dots(2.5, 0.5) == 4 and dots(0.1, 0.05) == 100  # sums of tenths end near 10, not at it


@pytest.mark.parametrize("dash", [1e-5, 1e-308])
@pytest.mark.filterwarnings("error")
def test_dashes_without_number_are_refused(dash):
    with pytest.raises(ValueError, match="dashes"):
        stroke_rings([LINE], Pen(2, dashes=(dash, dash)), 1.0, 0.001)


@pytest.mark.parametrize(
    "bend", [(0, 6 + 5j, -4 + 5j, 3), (0, 4 + 4j, 1 + 4j, 4), (0, 1 + 3j, 2 + 3j, 3), (0, 0.5j, 1 + 0.5j, 1)]
)
@pytest.mark.parametrize("width", [0.5, 3.0])
def test_a_curve_covers_all_that_its_width_sweeps(bend, width):
    """SVG 2, section 13.5: all points on lines of the stroke's width drawn square to the path, here at 4,000 places."""
    t = np.linspace(0, 1, 4001)
    at = sum(math.comb(3, i) * t**i * (1 - t) ** (3 - i) * point for i, point in enumerate(bend))
    speed = sum(math.comb(2, i) * t**i * (1 - t) ** (2 - i) * 3 * (bend[i + 1] - bend[i]) for i in range(3))
    arm = 1j * speed / np.abs(speed) * width / 2
    ends = np.stack([at + arm, at - arm], axis=1)
    steps = np.concatenate([ends[:-1], ends[1:]], axis=1)
    swept = shapely.union_all(shapely.convex_hull(shapely.multipoints(np.stack([steps.real, steps.imag], axis=-1))))
    stroke = region(Subpath(bend[0], (tuple(bend[1:]),), False), Pen(width))
    assert stroke.symmetric_difference(swept).area <= 2 * 0.001 * swept.length  # the tolerance along the border


def test_a_dot_is_drawn_only_where_a_dash_begins():
    dot = Subpath(3 + 3j, (), True)
    assert region(dot, Pen(2, cap="round", dashes=(2.0, 3.0))).area == pytest.approx(math.pi, rel=2e-3)
    assert region(dot, Pen(2, cap="round", dashes=(2.0, 3.0), dash_offset=4.0)).is_empty
    assert region(dot, Pen(2, cap="square")).area == pytest.approx(4)


def test_dashes_on_a_closed_line_meet_over_its_start():
    square = rect_subpath(0, 0, 10, 10, 0, 0)
    dashed = region(square, Pen(2, dashes=(10.0, 10.0), dash_offset=5.0))  # dashes centred on two corners
    pieces = sorted(round(piece.area, 9) for piece in shapely.get_parts(dashed))
    assert pieces == [20.0, 20.0]  # 5 + 5 long, mitered: 8 + 8 straight and a corner of 4
    assert region(square, Pen(2, dashes=(50.0, 1.0))).area == pytest.approx(region(square, Pen(2)).area)
