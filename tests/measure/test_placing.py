"""Shifted, mirrored and turned readings are caught by their colours, right ones are left alone: on SIMULATED plates and real marks."""

import dataclasses

import numpy as np
import pytest

from tint.demo.laser import DEMO_RANGES, SimulatedLaser, demo_machine, demo_stock
from tint.demo.shop import open_machine, open_patches, open_stock
from tint.errors import DataError
from tint.lab import delta_e00
from tint.measure.placing import FEWEST, as_forecast, check_placing, refuse_misplaced
from tint.measure.scan import scan
from tint.plan.first import plan_grid
from tint.plan.grid import Grid


def plate(seed, count=48):
    """Grid of the invented shop and its patches as read rightly."""
    grid = plan_grid(demo_machine(), demo_stock(), count, ranges=DEMO_RANGES, seed=seed)
    return grid, SimulatedLaser(grid.machine).mark(grid, seed=seed)


def given_to(grid, patches, steps, rows="row-wise"):
    """Patches where the reading of each step, really of the patch in `steps`, was given to the next patch of the pattern."""
    own = scan(grid, rows)
    really = np.empty(len(own), int)
    really[own] = steps
    return dataclasses.replace(patches, lab=patches.lab[really], flags=tuple(patches.flags[i] for i in really))


def shifted(grid, by, begin=0, rows="row-wise"):
    own = scan(grid, rows)
    return np.concatenate([own[:begin], np.roll(own[begin:], by)])


WRONG = {  # how it was read: the verdict's words and remedy
    "turned": (lambda grid: scan(grid, "row-wise", "bottom-right"), "turned by 180°", "Then say --start bottom-right."),
    "mirrored": (lambda grid: scan(grid, "row-wise", "top-right"), "mirrored", "Then say --start top-right."),
    "upside down": (lambda grid: scan(grid, "row-wise", "bottom-left"), "upside down", "Then say --start bottom-left."),
    "late": (lambda grid: shifted(grid, 1), "belongs to the patch before it: one was read twice?", "Mend the rows there"),
    "early": (lambda grid: shifted(grid, -1), "belongs to the patch behind it: one was left out?", "Mend the rows there"),
    "late from D01": (lambda grid: shifted(grid, 1, 21), "from D01 on each reading belongs to the patch before it", "Mend the rows there"),
    "in marking order": (lambda grid: scan(grid, "order"), "in the order of marking", "Then say --rows order."),
    "serpentine": (lambda grid: scan(grid, "serpentine"), "read serpentine from top-left", "Then say --rows serpentine"),
    "by columns": (lambda grid: scan(grid, "column-wise"), "read column-wise from top-left", "Then say --rows column-wise"),
}  # fmt: skip


@pytest.mark.parametrize("way", WRONG)
def test_a_reading_in_another_way_is_caught_and_the_way_is_named(way):
    steps, words, remedy = WRONG[way]
    grid, patches = plate(1)
    verdict = check_placing(grid, given_to(grid, patches, steps(grid)))
    assert verdict.checked and words in verdict.likely and remedy in verdict.remedy and verdict.factor < 0.87


def test_plates_read_rightly_are_left_alone():
    verdicts = [check_placing(*plate(seed)) for seed in range(6)]
    assert all(verdict.checked and not verdict.likely for verdict in verdicts)


def test_the_remedy_puts_the_colours_where_they_belong():
    grid, patches = plate(3)
    wrong = given_to(grid, patches, scan(grid, "row-wise", "bottom-right"))
    assert not check_placing(grid, given_to(grid, wrong, scan(grid, "row-wise", "bottom-right"))).likely


def test_real_marks_read_rightly_are_left_alone_and_caught_when_turned_or_mirrored():
    # The open 6 ns grid (see its file): 100 real marks, settings in steps along rows and columns, so that neighbours are alike
    patches = open_patches()
    xy_mm = np.array([[7.5 * (i % 10) + 5, 7.5 * (i // 10) + 5] for i in range(100)])
    grid = Grid("open", open_machine(), open_stock(), patches.ids, patches.setting, np.arange(1, 101), xy_mm, 6.0, (100.0, 100.0))
    assert not check_placing(grid, patches).likely
    for start, word in (("bottom-right", "turned"), ("top-right", "mirrored")):
        assert word in check_placing(grid, given_to(grid, patches, scan(grid, "row-wise", start))).likely


def test_a_forecast_tells_on_a_small_plate_what_neighbours_cannot():
    grid, patches = plate(5, 12)
    turned = given_to(grid, patches, scan(grid, "row-wise", "bottom-right"))
    assert not check_placing(grid, turned).checked and len(grid) < FEWEST
    forecast = patches.lab + np.random.default_rng(1).normal(0, 4, patches.lab.shape) + [6.0, 0, 0]  # another day, another batch
    assert np.median(delta_e00(forecast, patches.lab)) > 4
    assert "turned" in check_placing(grid, turned, predicted=forecast).likely
    assert not check_placing(grid, patches, predicted=forecast).likely


def test_an_earlier_measurement_is_a_forecast_for_the_next():
    grid, patches = plate(6)
    known = as_forecast(grid, patches.take(slice(0, 45)))
    assert np.isnan(known).any(axis=1).sum() >= 3
    assert not check_placing(grid, patches, predicted=known).likely
    assert "before it" in check_placing(grid, given_to(grid, patches, shifted(grid, 1)), predicted=known).likely


def test_patches_not_read_or_flagged_do_not_mislead():
    grid, patches = plate(7)
    some = patches.take(np.arange(48) % 6 != 2)
    assert check_placing(grid, some).checked and not check_placing(grid, some).likely
    assert not check_placing(grid, patches.take(slice(0, 30))).checked  # too many holes to tell
    grey = dataclasses.replace(patches, lab=np.tile([50.0, 0, 0], (48, 1)))
    assert not check_placing(grid, grey).checked


def test_the_refusal_is_one_line_with_the_way_the_remedy_and_the_way_out():
    grid, patches = plate(1)
    refuse_misplaced(check_placing(grid, patches), "r.csv")
    turned = given_to(grid, patches, scan(grid, "row-wise", "bottom-right"))
    said = r"r.csv: the colours fit far better .* turned by 180° is .misfit × 0\.\d\d.. Then say --start bottom-right. .* --sure"
    with pytest.raises(DataError, match=said):
        refuse_misplaced(check_placing(grid, turned), "r.csv")
