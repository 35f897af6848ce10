"""Grids: inside every limit, spread, shuffled, repeated, and refused where they do not fit."""

import dataclasses
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from tint.errors import DataError, FileError, LimitError
from tint.measure.patches import read_settings
from tint.plan.first import AREAL_J_MM2, REPEATS, plan_grid
from tint.plan.grid import read_grid, write_grid
from tint.plan.layout import lay_out
from tint.plan.plate import plate_svg, time_words, write_plate
from tint.process import process
from tint.setting import Machine, Stock

LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
STEPS = Machine("steps", 60, [4, 8, 14, 30, 60, 200], [1, 2000], 8000, [110, 110], spot_um=60, full_energy_khz=[900, 600, 400, 220, 130, 60])
PLATE = Stock("plate", "304", "2B", 1.5, [100, 100])


@pytest.mark.parametrize("laser", [LASER, STEPS])
@pytest.mark.parametrize("seed", range(3))
def test_a_grid_stays_inside_machine_plate_and_useful_energy(laser, seed):
    grid = plan_grid(laser, PLATE, 60, seed=seed)
    laser.check(grid.setting)
    areal = process(grid.setting, laser).areal_energy_j_mm2
    assert areal.min() >= AREAL_J_MM2[0] and areal.max() <= AREAL_J_MM2[1]
    half = grid.patch_mm / 2
    assert (grid.xy_mm - half).min() >= 0 and (grid.xy_mm + half).max() <= 100
    apart = np.abs(grid.xy_mm[:, None] - grid.xy_mm[None]).max(axis=-1) + 100 * np.eye(60)
    assert apart.min() >= grid.patch_mm  # no two patches overlap


def test_the_middle_setting_is_repeated_far_apart_and_the_order_is_shuffled():
    grid = plan_grid(LASER, PLATE, 60)
    table, index, count = np.unique(grid.setting.table(), axis=0, return_inverse=True, return_counts=True)
    assert sorted(count)[-1] == REPEATS and len(table) == 60 - REPEATS + 1
    at = grid.xy_mm[index.ravel() == int(np.argmax(count))]
    assert np.ptp(at, axis=0).min() > 40
    assert abs(np.corrcoef(grid.order, np.arange(60))[0, 1]) < 0.4


def test_settings_are_spread_more_evenly_than_random_ones():
    grid = plan_grid(LASER, PLATE, 48, ranges={"power_pct": (15, 45), "speed_mm_s": (400, 1600), "freq_khz": (150, 700),
                                               "pulse_ns": (5, 60), "spacing_mm": (0.002, 0.002)})  # fmt: skip

    def nearest(unit):
        distance = np.linalg.norm(unit[:, None] - unit[None], axis=-1) + 9 * np.eye(len(unit))
        return distance.min(axis=1).mean()

    logs = np.log(np.unique(grid.setting.table()[:, :4], axis=0))
    unit = (logs - logs.min(axis=0)) / np.ptp(logs, axis=0)
    random = [nearest(np.random.default_rng(seed).random(unit.shape)) for seed in range(20)]
    assert nearest(unit) > max(random)


def test_stated_ranges_are_kept_and_equal_numbers_fix_a_field():
    grid = plan_grid(LASER, PLATE, 24, ranges={"pulse_ns": (6, 6), "speed_mm_s": (700, 900), "passes": (1, 2)})
    assert set(grid.setting.pulse_ns.tolist()) == {6} and set(grid.setting.passes.tolist()) == {1, 2}
    assert 700 <= grid.setting.speed_mm_s.min() < grid.setting.speed_mm_s.max() <= 900


def test_a_grid_survives_its_file_and_the_same_seed_gives_the_same_grid(tmp_path):
    grid = plan_grid(STEPS, PLATE, 30, seed=4)
    back = read_grid(write_grid(grid, tmp_path / "grid.json"))
    again = plan_grid(STEPS, PLATE, 30, seed=4)
    for other in (back, again):
        assert other.setting == grid.setting and other.ids == grid.ids and other.machine == grid.machine
        np.testing.assert_array_equal(other.order, grid.order)
        np.testing.assert_array_equal(other.xy_mm, grid.xy_mm)


@pytest.mark.parametrize(
    ("call", "error", "said"),
    [
        ({"n": 5}, DataError, "at least 12"),
        ({"n": 400}, DataError, r"400 patches of 6 mm do not fit: 144 fit on 100 × 100 mm inside the field.*--patch-mm 3 fits"),
        ({"ranges": {"speed_mm_s": (400, 20000)}}, LimitError, "speed 400–20000 mm/s is outside this machine"),
        ({"ranges": {"speed_mm_s": (900, 400)}}, LimitError, "give lowest:highest"),
        ({"ranges": {"power_pct": (0, 40)}}, LimitError, "power starts above 0"),
        ({"ranges": {"colour": (1, 2)}}, DataError, "colour is not a field"),
        ({"ranges": {"power_pct": (1, 2), "speed_mm_s": (9000, 9900)}}, DataError, "between 5 and 36 J/mm²"),
        ({"ranges": {f: (6, 6) for f in ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm")}}, DataError, "no field varies"),
        ({"n": 24, "ranges": {"power_pct": (20, 20), "speed_mm_s": (800, 800), "freq_khz": (500, 500), "pulse_ns": (6, 6),
                              "spacing_mm": (0.002, 0.002), "passes": (1, 4)}}, DataError, "only 4 different settings"),
        ({"ranges": {"passes": (1, 2.5)}}, LimitError, "passes 1–2.5 cannot be; they are whole numbers"),
        ({"patch_mm": -1}, LimitError, "above 0"),
        ({"patch_mm": float("nan")}, LimitError, "above 0"),
        ({"gap_mm": float("inf")}, LimitError, "above 0"),
        ({"n": 4200}, DataError, "use several plates"),
    ],
)
def test_a_grid_that_cannot_be_is_refused(call, error, said):
    with pytest.raises(error, match=said):
        plan_grid(LASER, PLATE, **{"n": 60, **call})


@pytest.mark.parametrize("size", [(300, 17), (17, 300)])
def test_a_plate_of_one_row_or_column_is_planned(size):
    wide = Machine("wide", 60, [2, 500], [1, 4000], 10000, [300, 300], spot_um=60)
    grid = plan_grid(wide, Stock("bar", "304", "2B", 1.5, size), 24)
    assert len(grid) == 24 and len(set(map(tuple, grid.xy_mm.tolist()))) == 24


def test_the_drawing_of_the_plate_measures_what_the_grid_says():
    grid = plan_grid(LASER, PLATE, 24)
    root = ET.fromstring(plate_svg(grid))
    assert root.get("width") == "100mm" and root.get("viewBox") == "0 0 100 100"
    space = "{http://www.w3.org/2000/svg}"
    patches = {item.get("id"): item for item in root.iter(f"{space}g") if (item.get("id") or "").startswith("patch-")}
    assert len(patches) == 24
    for name, (x, y) in zip(grid.ids, grid.xy_mm, strict=True):
        square = patches[f"patch-{name}"].find(f"{space}rect")
        assert "text" not in plate_svg(grid)  # the names are on the map only
        assert float(square.get("x")) + 3 == pytest.approx(x, abs=1e-3) and float(square.get("y")) + 3 == pytest.approx(y, abs=1e-3)


def test_the_map_says_which_plate_it_is_in_the_rim_where_nothing_is_marked():
    grid = plan_grid(LASER, PLATE, 24, name="plate 7")
    (caption,) = [item for item in ET.fromstring(plate_svg(grid, names=True)).iter() if item.get("id") == "caption"]
    assert "plate 7" in caption.text and grid.mark in caption.text and "not to be marked" in caption.text
    size = float(caption.get("font-size"))
    assert 1.5 <= size and 95 + size < float(caption.get("y")) < 100 - size / 4  # patches and marks keep 5 mm from the edge
    assert "caption" not in plate_svg(grid)


def test_a_plate_says_how_long_it_takes_a_small_one_too():
    few = lay_out(plan_grid(LASER, PLATE, 12).setting, LASER, PLATE, patch_mm=1, marks=False)
    said = time_words(few)
    assert said == f"about {few.time_s / 60:.1f} min of scanning, {few.turn_s / 60:.1f} of turn-round" and "0.0" not in said
    many = plan_grid(LASER, PLATE, 60)
    assert time_words(many).startswith(f"about {many.time_s / 60:.0f} min of scanning")
    assert time_words(many).endswith(f"{many.marks_time_s / 60:.1f} for registration marks")


def test_steps_at_the_machine_are_numbered_through_with_and_without_marks(tmp_path):
    marked = plan_grid(LASER, PLATE, 24)
    counts = []
    for name, grid in (("marked", marked), ("unmarked", dataclasses.replace(marked, registration=None))):
        readme = (write_plate(grid, tmp_path / name) / "README.txt").read_text(encoding="utf-8")
        steps = re.findall(r"^(\w+)\. ", readme, re.M)
        assert steps == [str(number) for number in range(1, len(steps) + 1)]
        counts.append(len(steps))
    assert counts == [6, 5]


def test_the_folder_of_a_plate_holds_settings_in_marking_order_and_a_table_to_fill_in(tmp_path):
    grid = plan_grid(LASER, PLATE, 24)
    folder = write_plate(grid, tmp_path / "plate")
    assert {item.name for item in folder.glob("[!.]*")} == {"grid.json", "settings.csv", "plate.svg", "masks", "map.svg", "reading.csv", "README.txt"}
    assert read_settings(folder / "settings.csv") == grid.setting[np.argsort(grid.order)]
    assert read_grid(folder).ids == grid.ids
    blank = (folder / "reading.csv").read_text(encoding="utf-8")
    assert all(re.search(rf"^{name},", blank, re.M) for name in (*grid.ids, "bare"))
    readme = (folder / "README.txt").read_text(encoding="utf-8")
    assert all(word in readme for word in ("Class 4", "1064 nm", "hexavalent chromium", "food"))


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": "tint-palette/1"}', '{"format": "tint-grid/9"}', '{"format": "tint-grid/1"}',
                                  '{"format": "tint-grid/1", "patches": [1]}'])  # fmt: skip
def test_a_damaged_grid_file_is_one_clear_line(tmp_path, text):
    path = tmp_path / "grid.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        read_grid(path)
    assert "\n" not in str(caught.value) and "grid.json" in str(caught.value)


def test_given_settings_are_laid_out_each_once():
    setting = plan_grid(LASER, PLATE, 24).setting
    grid = lay_out(setting, LASER, PLATE, seed=3)
    assert sorted(map(tuple, grid.setting.table().tolist())) == sorted(map(tuple, setting.table().tolist()))
    assert sorted(grid.order.tolist()) == list(range(1, 25))
    with pytest.raises(DataError, match="do not fit"):
        lay_out(setting, LASER, Stock("tag", "304", "2B", 1, [20, 20]))
