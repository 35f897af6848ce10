"""Registration marks: OpenCV reads them, each plate has its own, and they keep clear of the patches."""

import json

import numpy as np
import pytest
from PIL import Image

from tint.plan.first import plan_grid
from tint.plan.grid import read_grid, write_grid
from tint.plan.marks import MODULES, Mark, dark_setting, mark_cells, mark_numbers, mark_outline, mark_squares
from tint.plan.plate import MARKS_MASK, MASK_PITCH_MM, plate_svg, write_plate
from tint.setting import Machine, Stock

cv2 = pytest.importorskip("cv2")
LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
PLATE = Stock("plate", "304", "2B", 1.5, [100, 100])
DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)


def area(ring):
    x, y = ring.T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def test_every_code_word_is_the_one_of_opencv():
    for number in range(250):
        drawn = cv2.aruco.generateImageMarker(DICTIONARY, number, MODULES) == 0
        np.testing.assert_array_equal(mark_cells(number), drawn)


@pytest.mark.parametrize("n", [24, 60, 96, 140])
def test_marks_and_bare_squares_keep_clear_of_patches_edges_and_each_other(n):
    grid = plan_grid(LASER, PLATE, n)
    held = grid.registration
    assert len(held.marks) >= 4 and {mark.number % 8 for mark in held.marks} >= {0, 1, 2, 3}
    things = [(xy, grid.patch_mm, 0) for xy in grid.xy_mm] + [
        (np.array(m.xy_mm), m.side_mm, m.side_mm / MODULES) for m in held.marks
    ]
    things += [(xy, grid.patch_mm, 0) for xy in held.bare_xy_mm]
    for i, (one, side, rim) in enumerate(things):
        assert (one - side / 2 >= 0).all() and (one + side / 2 <= 100).all()
        for other, other_side, other_rim in things[:i]:
            clear = np.abs(one - other).max() - (side + other_side) / 2
            assert clear >= max(rim, other_rim) - 1e-6  # a module of bare metal about each mark


def test_a_plate_without_room_is_planned_without_marks_and_so_is_one_that_asks_for_none():
    from tint.plan.layout import lay_out

    assert plan_grid(LASER, PLATE, 144).registration is None
    assert lay_out(plan_grid(LASER, PLATE, 24).setting, LASER, PLATE, marks=False).registration is None


def test_two_plates_share_hardly_a_mark():
    one, other = (mark_numbers(plan_grid(LASER, PLATE, 24, seed=seed).mark) for seed in (1, 2))
    assert len(set(one)) == 8 and len(set(one) & set(other)) <= 1


def test_opencv_finds_every_mark_on_the_mask_and_only_those(tmp_path):
    grid = plan_grid(LASER, PLATE, 60)
    folder = write_plate(grid, tmp_path / "plate")
    picture = np.array(Image.open(folder / "masks" / MARKS_MASK).convert("L"))
    corners, numbers, _ = cv2.aruco.ArucoDetector(DICTIONARY).detectMarkers(picture)
    own = {mark.number: mark for mark in grid.registration.marks}
    assert sorted(numbers.ravel().tolist()) == sorted(own)
    for number, place in zip(numbers.ravel().tolist(), corners, strict=True):
        np.testing.assert_allclose((place.reshape(4, 2) + 0.5) * MASK_PITCH_MM, own[number].corners_mm, atol=0.25)


def test_masks_are_one_per_patch_in_marking_order_at_the_stated_pitch(tmp_path):
    grid = plan_grid(LASER, PLATE, 24)
    folder = write_plate(grid, tmp_path / "plate")
    names = sorted(item.name for item in (folder / "masks").iterdir())
    assert len(names) == 25 and names[0] == f"01-{grid.ids[int(np.argmin(grid.order))]}.png"
    for name in names[:3]:
        with Image.open(folder / "masks" / name) as picture:
            dark = ~np.array(picture.convert("1"))
            assert picture.info["dpi"][0] == pytest.approx(25.4 / MASK_PITCH_MM, rel=1e-3)
        rows, columns = np.nonzero(dark)
        at = np.array([columns.mean() + 0.5, rows.mean() + 0.5]) * MASK_PITCH_MM
        np.testing.assert_allclose(at, grid.xy_mm[grid.ids.index(name[3:-4])], atol=0.051)
        assert dark.sum() * MASK_PITCH_MM**2 == pytest.approx(36, rel=0.04)


@pytest.mark.parametrize("number", [0, 7, 100, 249])
def test_the_outline_of_a_mark_encloses_as_much_as_its_dark_modules(number):
    mark = Mark(number, (20.0, 30.0), 7.0)
    rings = mark_outline(mark)
    outer = max(rings, key=area)
    assert area(outer) == pytest.approx(49)
    # holes and islands alternate: the even-odd rule adds and takes away
    dark = Image.new("1", (140, 140))
    import PIL.ImageDraw

    for ring in rings:
        layer = Image.new("1", (140, 140))
        PIL.ImageDraw.Draw(layer).polygon([tuple(p) for p in ((ring - [16.5, 26.5]) * 20 - 0.5).tolist()], fill=1)
        dark = Image.fromarray(np.array(dark) ^ np.array(layer))
    modules = np.array(dark).reshape(7, 20, 7, 20)[:, 8:12, :, 8:12].mean(axis=(1, 3)) > 0.5
    np.testing.assert_array_equal(modules, mark_cells(number))
    assert len(mark_squares(mark)) == mark_cells(number).sum()


def test_the_drawing_holds_the_marks_in_a_group_of_their_own():
    grid = plan_grid(LASER, PLATE, 24)
    text = plate_svg(grid)
    assert text.count('id="registration"') == 1 and all(f'id="mark-{mark.number}"' for mark in grid.registration.marks)
    assert "bare</text>" in plate_svg(grid, names=True) and "bare</text>" not in text


def test_marks_survive_the_file_and_a_file_of_the_first_version_reads_as_a_plate_without(tmp_path):
    grid = plan_grid(LASER, PLATE, 24)
    path = write_grid(grid, tmp_path / "grid.json")
    back = read_grid(path)
    assert back.registration.marks == grid.registration.marks and back.registration.setting == grid.registration.setting
    np.testing.assert_array_equal(back.registration.bare_xy_mm, grid.registration.bare_xy_mm)
    body = json.loads(path.read_text(encoding="utf-8"))
    body["format"] = "tint-grid/1"
    del body["registration"]
    path.write_text(json.dumps(body), encoding="utf-8")
    old = read_grid(path)
    assert old.registration is None and old.mark == grid.mark and old.marks_time_s == 0


@pytest.mark.parametrize(
    "laser",
    [
        LASER,
        Machine("small", 20, [100], [20, 100], 7000, [110, 110], spot_um=40),
        Machine("slow", 100, [4, 200], [200, 800], 300, [110, 110], spot_um=40),
        Machine(
            "steps",
            60,
            [4, 8, 14, 30, 60, 200],
            [1, 2000],
            8000,
            [110, 110],
            spot_um=60,
            full_energy_khz=[900, 600, 400, 220, 130, 60],
        ),
    ],
    ids=lambda laser: laser.name,
)
def test_the_dark_setting_is_one_the_machine_can_do(laser):
    from tint.process import process

    setting = dark_setting(laser)
    laser.check(setting)
    assert 10 <= float(process(setting, laser).areal_energy_j_mm2) <= 35 and float(setting.passes) == 1
