"""Marking order, time and heat of a job."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from pieces import LASER, STEEL, layers_of, palette, pond

from tint.errors import LimitError
from tint.job.heat import HeatInputs
from tint.job.order import Timing, clock, heat_remarks, layer_time, plan_order
from tint.layers.layers import Layers
from tint.setting import Machine, Setting, Stock

NO_EXTRAS = Timing(turn_ms=0, jump_ms=0)


def test_the_loudest_colour_is_marked_first_and_each_used_layer_once(layers: Layers) -> None:
    planned = plan_order(layers, LASER)
    assert [layer.name for layer in planned] == ["purple", "reed green", "dark blue", "straw"]
    assert [layer.order for layer in planned] == [1, 2, 3, 4]
    assert sorted(layer.number for layer in planned) == list(layers.used) == [1, 2, 3, 4]


def test_among_equally_loud_colours_the_one_with_less_heat_comes_first() -> None:
    labels = np.ones((10, 10), dtype=np.uint8)
    labels[0, :3] = 2  # rust red, 3.0, beside dark blue, 2.9: equal within half a ΔE00, but a far smaller area
    chosen = palette(5)
    pair = dataclasses.replace(chosen, colours=(chosen.colours[0], chosen.colours[4]))
    assert [layer.number for layer in plan_order(layers_of(labels, 1.0, pair), LASER)] == [2, 1]


def test_scan_time_is_area_times_passes_over_spacing_and_speed() -> None:
    # 40 × 10 mm, lines 0.002 mm apart at 800 mm/s, two passes: 5000 lines of 40 mm, twice, by hand
    setting = Setting(18, 800, 500, 6, 0.002, passes=2)
    took = layer_time(shapely.box(0, 0, 40, 10), setting, LASER, Timing(turn_ms=1, jump_ms=0))
    assert took.scan_s == pytest.approx(2 * 5000 * 40 / 800)
    assert took.lines == pytest.approx(2 * 5000)
    assert took.turn_s == pytest.approx(10.0)


def counted_lines(shape: shapely.Geometry, spacing_mm: float, hatch_deg: float) -> int:
    """Scan lines counted by cutting real lines with the shape (shapely), angle anticlockwise as seen, y down."""
    turned = shapely.affinity.rotate(shape, hatch_deg, origin=(0, 0))  # y down: a positive turn is clockwise as seen
    x0, y0, x1, y1 = turned.bounds
    count = 0
    for y in np.arange(y0 + spacing_mm / 2, y1, spacing_mm):
        cut = turned.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)]))
        count += len([part for part in getattr(cut, "geoms", [cut]) if part.length > 0])
    return count


@pytest.mark.parametrize("hatch_deg", [0, 30, 90, 145])
def test_the_number_of_scan_lines_agrees_with_lines_really_cut(hatch_deg: float) -> None:
    ring = shapely.Point(10, 8).buffer(6).difference(shapely.Point(11, 8).buffer(2.5))
    leaning = shapely.Polygon([(20, 12), (26, 1), (28, 2), (23, 13)])  # tells a turn from its mirror image
    shape = shapely.MultiPolygon([ring, leaning])
    setting = Setting(18, 800, 500, 6, 0.01, hatch_deg=hatch_deg)
    took = layer_time(shape, setting, LASER)
    assert took.lines == pytest.approx(counted_lines(shape, 0.01, hatch_deg), rel=0.004)  # one line in 250, at tips


def test_the_hatch_angle_changes_the_turns_and_an_unknown_one_counts_as_zero() -> None:
    bar = shapely.box(0, 0, 40, 2)
    flat, upright, unknown = (
        layer_time(bar, Setting(18, 800, 500, 6, 0.01, hatch_deg=angle), LASER).lines for angle in (0, 90, math.nan)
    )
    assert (flat, upright) == pytest.approx((200, 4000))
    assert unknown == flat


def test_regions_cost_a_jump_each_and_the_way_between_them() -> None:
    far = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(100, 0, 101, 1)])
    took = layer_time(far, Setting(18, 800, 500, 6, 0.01), LASER, Timing(turn_ms=0, jump_ms=2, jump_speed_mm_s=1000))
    assert took.jump_s == pytest.approx(100 / 1000 + 2 * 0.002)


def test_layers_wait_until_the_plate_has_cooled_to_the_stated_temperature(layers: Layers) -> None:
    heat = HeatInputs(warm_start_k=4)
    planned = plan_order(layers, LASER, heat=heat)
    assert planned[0].wait_s == 0 and planned[0].start_k == 0
    assert any(layer.wait_s for layer in planned)
    for before, layer in pairwise(planned):
        assert layer.start_k <= heat.warm_start_k + 0.005  # the file keeps hundredths
        assert layer.wait_s > 0 or before.end_k <= heat.warm_start_k + 0.005
        assert (f"cool for {clock(layer.wait_s)}" in layer.remark) == (layer.wait_s > 0)


def test_a_thin_small_plate_is_warned_about_and_a_thick_large_one_is_not() -> None:
    def remarks(stock: Stock, grade: str = "304") -> tuple[str, ...]:
        piece = layers_of(pond(4)[::4, ::4], 2.0, palette(4, stock=dataclasses.replace(stock, grade=grade)))
        return heat_remarks(piece, plan_order(piece, LASER))

    thin = dataclasses.replace(STEEL, thickness_mm=0.3, size_mm=(60.0, 40.0))
    assert any("clamp the plate on a thick metal block" in line for line in remarks(thin))
    assert any("bow out of focus" in line for line in remarks(thin))
    assert remarks(dataclasses.replace(STEEL, thickness_mm=10.0, size_mm=(300.0, 300.0))) == ()
    assert "niobium" in remarks(dataclasses.replace(STEEL, thickness_mm=10.0, size_mm=(300.0, 300.0)), "niobium")[0]


def test_a_setting_outside_the_machine_is_refused(layers: Layers) -> None:
    slow = Machine("old laser (invented)", 60, [2, 500], [1, 4000], 500, [175, 175], spot_um=60)
    with pytest.raises(LimitError, match=r"dark blue \(palette no. 1\): speed 800 mm/s is outside this machine"):
        plan_order(layers, slow)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_any_map_is_planned_with_finite_times_and_rising_orders(seed: int) -> None:
    rng = np.random.default_rng(seed)
    labels = rng.integers(0, 5, (int(rng.integers(1, 12)), int(rng.integers(1, 12)))).astype(np.uint8)
    piece = layers_of(labels, 0.2, palette(4))
    planned = plan_order(piece, LASER)
    assert [layer.order for layer in planned] == list(range(1, len(piece.used) + 1))
    for layer in planned:
        assert layer.area_mm2 == pytest.approx((labels == layer.number).sum() * 0.04)
        assert math.isfinite(layer.time_s) and layer.time_s > 0
        assert layer.end_k >= layer.start_k >= 0


@pytest.mark.parametrize("change", [{"turn_ms": -1}, {"jump_ms": math.inf}, {"jump_speed_mm_s": 0}])
def test_timing_that_cannot_be_is_refused_by_name(change: dict[str, float]) -> None:
    with pytest.raises(LimitError, match=next(iter(change))):
        Timing(**change)
