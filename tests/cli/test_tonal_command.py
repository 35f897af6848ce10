"""`tint separate` with tones, maps, background and ink."""

import json

import numpy as np
import pytest
from calling import one_line, tint
from PIL import Image

from tint.layers.gamut import MAPS
from tint.layers.mixture import Mixing, mixture_lab, mixtures_text, strip_areas
from tint.palette.palette import read_palette


@pytest.fixture
def signs(shop, tmp_path):
    y, x = np.mgrid[0:90, 0:120] / 120
    sky = np.clip(np.stack([90 + 120 * x, 110 + 90 * y, 210 - 60 * x], axis=-1), 0, 255).astype(np.uint8)
    sky[:20] = 255
    Image.fromarray(sky).save(tmp_path / "sky.png")
    return tmp_path / "sky.png", shop / "simulated" / "palette.json", tmp_path


def test_tonal_layers_are_layers_that_a_job_takes(signs, shop):
    sky, palette, place = signs
    done = tint("separate", sky, palette, "--width-mm", 12, "--tonal", "--cell-mm", 0.1, "-o", place / "tones")
    assert done.exit_code == 0, done.output
    said = " ".join(done.stderr.split())
    assert "tonal: " in said and "jump time" in said
    body = json.loads((place / "tones" / "layers.json").read_text(encoding="utf-8"))
    assert body["pitch_mm"] == 0.1 and body["simplify_px"] == 0
    labels = np.asarray(Image.open(place / "tones" / "labels.png"))
    assert labels.shape == (90, 120) and not labels[:20].any() and len(np.unique(labels[20:])) > 2
    job = tint("job", place / "tones", shop / "simulated" / "machine.toml", "-o", place / "job")
    assert job.exit_code == 0 and (place / "job" / "layers.svg").stat().st_size > 10_000


def test_the_maps_differ_and_their_names_are_those_of_the_package(signs):
    sky, palette, place = signs
    labels = {}
    for how in MAPS:
        done = tint("separate", sky, palette, "--width-mm", 12, "--tonal", "--cell-mm", 0.1, "--map", how, "-o", place / how)
        assert done.exit_code == 0, done.output
        labels[how] = np.asarray(Image.open(place / how / "labels.png"))
    assert (labels["nearest"] != labels["tone"]).any()
    assert tint("separate", sky, palette, "--map", "vivid").exit_code == 2


def test_the_maps_are_shown_side_by_side_before_anything_is_overwritten(signs):
    sky, palette, place = signs
    done = tint("separate", sky, palette, "--width-mm", 6, "--tonal", "--ordered", "--compare", place / "maps.png", "-o", place / "a")
    assert done.exit_code == 0 and Image.open(place / "maps.png").width > 1200
    said = one_line(tint("separate", sky, palette, "--width-mm", 6, "--compare", place / "maps.png", "-o", place / "b"), 2)
    assert "maps.png is already there" in said and not (place / "b").exists()


def test_a_measured_strip_of_mixtures_changes_the_cells(signs):
    sky, palette, place = signs
    book = read_palette(palette)
    names, area = [colour.name for colour in book.colours], strip_areas(len(book))
    lab = mixture_lab(area, book.lab, Mixing(1.5, np.array([0, *[0.08] * len(book)])))
    (place / "mixtures.csv").write_text(mixtures_text(area, names, lab, "SIMULATED"), encoding="utf-8")
    words = ["separate", sky, palette, "--width-mm", 12, "--tonal", "--cell-mm", 0.1]
    assert tint(*words, "-o", place / "plain").exit_code == 0
    done = tint(*words, "--mixtures", place / "mixtures.csv", "-o", place / "fitted")
    assert done.exit_code == 0 and "grown as the measured strip of mixtures told" in " ".join(done.stderr.split())
    marked = [(np.asarray(Image.open(place / name / "labels.png")) > 0).mean() for name in ("plain", "fitted")]
    assert marked[1] < marked[0] - 0.01  # marks that grow are asked for less of


def test_what_does_not_go_together_is_refused(signs):
    sky, palette, place = signs
    for words in (["--cell-mm", 0.1], ["--ordered"], ["--mixtures", place / "none.csv"]):
        done = tint("separate", sky, palette, "--width-mm", 12, *words, "-o", place / "x")
        assert done.exit_code == 2 and "belong to --tonal" in done.stderr
    one_line(tint("separate", sky, palette, "--width-mm", 12, "--background", "sky", "-o", place / "x"), 2)
    one_line(tint("separate", sky, palette, "--width-mm", 12, "--tonal", "--cell-mm", 0.01, "-o", place / "x"), 1)
    one_line(tint("separate", sky, palette, "--width-mm", 12, "--tonal", "--smooth", "-o", place / "x"), 1)
    assert not (place / "x").exists()
