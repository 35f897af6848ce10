"""`tint measure --kind photo`: from a (SIMULATED) photo to a table and a picture of what was read, or one line and nothing."""

import sys
from pathlib import Path

import numpy as np
import pytest
from calling import one_line, tint

sys.path.insert(0, str(Path(__file__).parents[1] / "measure" / "photo"))
pytest.importorskip("cv2")

from photo_scene import View, film_reflectances, save, take

from tint.lab import delta_e00
from tint.measure.patches import read_patches
from tint.plan.first import plan_grid
from tint.plan.plate import write_plate
from tint.setting import Machine, Stock

LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
CHART = ("--kind", "photo", "--chart", "before-nov-2014")


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photo")
    grid = plan_grid(LASER, Stock("plate", "304", "2B", 1.5, [100, 100]), 24, seed=1)
    write_plate(grid, folder / "plate-1")
    view = View(light="D65", size_px=(1200, 800))
    shot = take(grid, film_reflectances(24), view)
    save(shot, folder / "photo.jpg", view)
    corners = shot.px(np.array([[0, 0], [100, 0], [100, 100], [0, 100]]))
    (folder / "corners").write_text(" ".join(f"{x:.1f},{y:.1f}" for x, y in corners), encoding="utf-8")
    return folder


def test_a_photo_becomes_a_table_and_a_picture_beside_it(place, tmp_path):
    done = tint("measure", place / "plate-1", place / "photo.jpg", *CHART, "-o", tmp_path / "patches.csv")
    assert done.exit_code == 0, done.output
    assert (
        done.stdout.startswith("24 patches in ")
        and "camera colours" in done.stderr
        and "patches.overlay.png" in done.stderr
    )
    patches = read_patches(tmp_path / "patches.csv")
    assert len(patches) == 24 and patches.facts["geometry"] == "photo" and patches.bare_lab is not None
    assert {item.name for item in tmp_path.iterdir()} == {"patches.csv", "patches.overlay.png"}
    again = tint("measure", place / "plate-1", place / "photo.jpg", *CHART, "-o", tmp_path / "patches.csv")
    assert "is already there" in one_line(again, 2)


def test_stated_corners_read_the_same_patches_as_the_marks_do_and_turned_ones_read_others(place, tmp_path):
    corners = (place / "corners").read_text(encoding="utf-8")
    turned = " ".join([*corners.split()[2:], *corners.split()[:2]])
    read = {}
    for name, options in (("marks", ()), ("stated", ("--corners", corners)), ("turned", ("--corners", turned))):
        done = tint("measure", place / "plate-1", place / "photo.jpg", *CHART, *options, "-o", tmp_path / f"{name}.csv")
        if done.exit_code == 0:
            read[name] = read_patches(tmp_path / f"{name}.csv")
        else:
            assert name == "turned", done.output
    assert read["stated"].ids == read["marks"].ids
    assert np.median(delta_e00(read["stated"].lab, read["marks"].lab)) < 0.5
    assert "turned" not in read or np.median(delta_e00(read["turned"].lab, read["marks"].lab)) > 5


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--kind", "photo"), "needs --chart, the edition of the chart: before-nov-2014 or after-nov-2014"),
        ((*CHART, "--corners", "1,2 3,4"), "is not four points"),
        ((*CHART, "--cells", "2x3"), "--cells needs --corners, --machine and --stock"),
        ((*CHART, "--machine", "m.toml"), "go with --cells"),
        ((*CHART, "--rows", "serpentine"), "--rows: not for photos"),
        ((*CHART, "--merge"), "--merge: not for photos"),
        (("--kind", "csv", "--chart", "before-nov-2014"), "go with --kind photo"),
    ],
)
def test_options_that_do_not_go_together_are_refused(place, tmp_path, words, said):
    done = tint("measure", place / "plate-1", place / "photo.jpg", *words, "-o", tmp_path / "p.csv")
    assert done.exit_code == 2 and said in " ".join(done.stderr.split()) and not list(tmp_path.iterdir())


def test_what_cannot_be_read_is_one_line_and_leaves_nothing(place, tmp_path):
    (tmp_path / "text.jpg").write_text("not a picture", encoding="utf-8")
    done = tint("measure", place / "plate-1", tmp_path / "text.jpg", *CHART, "-o", tmp_path / "p.csv")
    assert "is not a picture" in one_line(done, 2)
    assert [item.name for item in tmp_path.iterdir()] == ["text.jpg"]
