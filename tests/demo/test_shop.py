"""The demo's folder: complete, honest about what is simulated, and readable by the library that wrote it."""

import csv
import json

import pytest
from PIL import Image

from tint.job.record import read_job
from tint.layers.folder import read_layers
from tint.measure.patches import read_patches
from tint.model.model import read_model
from tint.palette.palette import read_palette
from tint.plan.grid import read_grid

SIDES = ("simulated", "real-marks")


@pytest.mark.parametrize("side", SIDES)
def test_every_file_of_a_side_is_read_back(shop, side):
    place = shop / side
    palette, model = read_palette(place / "palette.json"), read_model(place / "model.json")
    assert len(palette) == 9 and len(read_patches(place / "patches.csv")) in (96, 100) and model.report.patches >= 90
    for name in ("sign", "shaded"):
        layers, job = read_layers(place / f"layers-{name}"), read_job(place / f"job-{name}")
        assert layers.palette.as_dict() == palette.as_dict()
        assert len(job.layers) == len(layers.used)


def test_the_plate_and_its_readings_belong_together(shop):
    grid, patches = read_grid(shop / "simulated" / "plate-1"), read_patches(shop / "simulated" / "patches.csv")
    assert patches.ids == grid.ids and patches.setting == grid.setting and patches.bare_lab is not None


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", ["sign", "shaded"])
def test_a_job_folder_holds_what_its_readme_lists(shop, side, name):
    folder = shop / side / f"job-{name}"
    readme = (folder / "README.txt").read_text(encoding="utf-8")
    for item in folder.glob("[!.]*"):
        assert item.name in readme
    with (folder / "settings.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(line for line in stream if not line.startswith("#")))
    assert [int(row["order"]) for row in rows] == list(range(1, len(rows) + 1)) and len(list((folder / "masks").iterdir())) == len(rows)


def test_what_is_simulated_and_what_are_camera_colours_is_said_on_every_side(shop):
    for side, word in zip(SIDES, ("simulated", "camera"), strict=True):
        for path in ("report.txt", "palette.json", "patches.csv", "job-sign/README.txt", "job-sign/job.json"):
            assert word in (shop / side / path).read_text(encoding="utf-8").lower(), f"{side}/{path} does not say {word}"


def test_the_picture_for_a_first_look_shows_both_sides(shop):
    with Image.open(shop / "side-by-side.png") as picture:
        left, right = picture.crop((0, 80, picture.width // 2, 600)), picture.crop((picture.width // 2, 80, picture.width, 600))
    assert len(left.getcolors(100_000)) > 5 and len(right.getcolors(100_000)) > 5


def test_the_cautions_are_where_settings_are(shop):
    for side in SIDES:
        assert "hexavalent chromium" in (shop / side / "job-sign" / "README.txt").read_text(encoding="utf-8")
        assert "hexavalent chromium" in json.dumps(json.loads((shop / side / "job-sign" / "job.json").read_text(encoding="utf-8")))
    assert "Class 4" in (shop / "README.txt").read_text(encoding="utf-8")
