"""README.txt explains the whole folder."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from pieces import LASER, layers_of, palette

from tint.job.job import Job, write_job
from tint.job.masks import mask_name


def test_every_file_of_the_folder_is_explained(folder: Path, job: Job) -> None:
    text = (folder / "README.txt").read_text(encoding="utf-8")
    for path in folder.glob("[!.]*"):
        assert path.name in text, path.name
    for layer in job.layers:
        assert f"masks/{mask_name(layer)}" in text


def test_it_gives_order_settings_remarks_and_cautions(folder: Path, job: Job) -> None:
    text = (folder / "README.txt").read_text(encoding="utf-8")
    flat = " ".join(text.split())
    places = [flat.index(f"{layer.order}. layer {layer.number}, {layer.name}") for layer in job.layers]
    assert places == sorted(places)
    for words in (*job.cautions, *job.remarks, *(str(layer.setting) for layer in job.layers)):
        assert " ".join(words.split()) in flat
    assert flat.index("Trial first.") < flat.index("For each layer")
    assert "scrap of the same batch (2026-03)" in flat


def test_no_line_runs_off_a_screen(folder: Path) -> None:
    assert max(len(line) for line in (folder / "README.txt").read_text(encoding="utf-8").splitlines()) <= 110


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    labels = np.zeros((160, 240), dtype=np.uint8)
    labels[20:80, 20:120] = 1
    labels[40, 120:200] = 1  # a stroke of 0.05 mm
    labels[120, 150] = 2  # a dot of 0.05 mm
    labels[100:150, 20:100] = 2
    labels[100:150, 101:140] = 2  # a gap of 0.05 mm
    folder = tmp_path_factory.mktemp("full") / "job"
    write_job(layers_of(labels, 0.05, palette(2)), LASER, folder, date="2026-03-14", trial=True, hatch=True, inset_spot=0.5)
    return folder


def test_trial_hatch_inset_and_thin_strokes_are_explained_in_words(full: Path) -> None:
    text = (full / "README.txt").read_text(encoding="utf-8")
    flat = " ".join(text.split())
    for path in full.glob("[!.]*"):
        assert path.name in text, path.name
    for words in (
        "hatch/01-dark-blue.svg", "mark each line once, with no filling", "OR the hatch, never two of them",
        "Mark the 2 squares of the folder trial, 4 mm each, on the bottom edge of the blank", "scrap of the same batch (2026-03)",
        "0.5 of the spot (0.03 mm) smaller on every side, the masks are not", "Centre lines (drawing layers named centre) are followed once",
        "too small to mark after the inset, 1: 0.0025 mm² at 7.53 6.03 mm", "narrower than the spot: 0.199 mm² in 1 place",
        "gaps narrower than the spot, which may close: 0.124 mm² in 1 place",
    ):  # fmt: skip
        assert words in flat, words
    assert max(len(line) for line in text.splitlines()) <= 110


def test_the_places_named_lie_on_the_strokes_they_are_about(full: Path) -> None:
    flat = " ".join((full / "README.txt").read_text(encoding="utf-8").split())
    x, y = re.search(r"narrower than the spot: 0\.199 mm² in 1 place, at ([\d.]+) ([\d.]+) mm", flat).groups()
    assert 6.0 < float(x) < 10.0 and 2.0 <= float(y) <= 2.05
    x, y = re.search(r"may close: 0\.124 mm² in 1 place, at ([\d.]+) ([\d.]+) mm", flat).groups()
    assert 5.0 <= float(x) <= 5.05 and 5.0 < float(y) < 7.5
