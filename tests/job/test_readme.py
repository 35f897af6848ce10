"""README.txt explains the whole folder."""

from __future__ import annotations

import dataclasses
import io
import re
from pathlib import Path

import numpy as np
import pytest
from pieces import LASER, STEEL, layers_of, palette, pond
from pypdf import PdfReader

from tint.job.job import Job, write_job
from tint.job.masks import mask_name
from tint.job.readme import readme_text
from tint.job.sheet import sheet_pdf
from tint.job.summary import job_summary
from tint.layers.layers import Layers


def test_every_file_of_the_folder_is_explained(folder: Path, job: Job) -> None:
    text = (folder / "README.txt").read_text(encoding="utf-8")
    for path in folder.glob("[!.]*"):
        assert path.name in text, path.name
    for layer in job.layers:
        assert f"masks/{mask_name(layer)}" in text


def test_it_gives_order_settings_remarks_and_cautions(folder: Path, job: Job) -> None:
    text = (folder / "README.txt").read_text(encoding="utf-8")
    flat = " ".join(text.split())
    places = [flat.index(f"{layer.order}. {layer.name} settings: {layer.setting}") for layer in job.layers]
    assert places == sorted(places)
    for words in (*job.cautions, *job.remarks, *(str(layer.setting) for layer in job.layers)):
        assert " ".join(words.split()) in flat
    assert flat.index("Trial first.") < flat.index("For each layer")
    assert "scrap of the same batch (2026-03)" in flat


def test_no_line_is_wider_than_100_columns_however_long_the_names(folder: Path, tmp_path: Path) -> None:
    assert max(len(line) for line in (folder / "README.txt").read_text(encoding="utf-8").splitlines()) <= 100
    chosen = palette(3, stock=dataclasses.replace(STEEL, name="reserve plate " * 12, batch="spring" * 20))
    colours = tuple(dataclasses.replace(colour, name=f"{colour.name} {'wasserblau' * 12}") for colour in chosen.colours)
    piece = layers_of(pond(3), 0.5, dataclasses.replace(chosen, colours=colours, name="palette " * 30), name="otter " * 30)
    write_job(piece, LASER, tmp_path / "job", trial=True, hatch=True, inset_spot=0.25)
    assert max(len(line) for line in (tmp_path / "job" / "README.txt").read_text(encoding="utf-8").splitlines()) <= 100


def listed(folder: Path) -> set[str]:
    """Files a README names, each with its folder; a folder named alone stands for what the README says is in it."""
    text = (folder / "README.txt").read_text(encoding="utf-8")
    table = text.split("\nFiles\n-----\n")[1].split("\n\n")[0]
    first = {line.split()[0] for line in table.splitlines() if not line.startswith(" ")}
    paths = set(re.findall(r"\b(?:masks|hatch|trial)/[\w.-]+\.\w+", text))
    if "trial/" in first:
        inside = " ".join(table.split("trial/")[1].split())
        paths |= {f"trial/{name}" for name in re.findall(r"trial\.\w+|settings\.csv|reading\.csv|grid\.json", inside.split(" proof.png")[0])}
        paths |= {f"trial/{path}" for path in paths if path.startswith(("masks/", "hatch/"))}
    return {name for name in first | paths if not name.startswith(".") and not name.endswith("/")}


@pytest.mark.parametrize("which", ["folder", "full"])
def test_the_readme_lists_exactly_the_files_of_the_folder(which: str, request: pytest.FixtureRequest) -> None:
    place = request.getfixturevalue(which)
    there = {path.relative_to(place).as_posix() for path in place.rglob("*") if path.is_file() and not path.name.startswith(".")}
    assert listed(place) == there


def test_the_order_and_the_jitter_are_explained_in_plain_words(folder: Path, job: Job) -> None:
    flat = " ".join((folder / "README.txt").read_text(encoding="utf-8").split())
    assert "Colours that shift most under jitter are marked first, while the plate is cold" in flat
    assert f"Jitter is the mean shift of a colour (ΔE00) under {job.jitter}" in flat
    assert "loudest" not in flat.lower() and "sensitivity" not in flat and "palette no." not in flat


def test_notes_stand_in_the_readme_only(job: Job, layers: Layers) -> None:
    noted = dataclasses.replace(job, notes=("12 specks smaller than 0.0028 mm² joined a neighbour (0.02 mm² in all)",))
    assert noted.notes[0] in " ".join(readme_text(noted).split())
    sheet = PdfReader(io.BytesIO(sheet_pdf(noted, layers))).pages[0].extract_text()
    assert "specks" not in sheet and "specks" not in job_summary(noted)


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
    assert max(len(line) for line in text.splitlines()) <= 100


def test_the_readme_sends_nobody_to_itself_for_the_places(full: Path) -> None:
    flat = " ".join((full / "README.txt").read_text(encoding="utf-8").split())
    assert "gaps may close; places below." in flat and "places in README.txt" not in flat


def test_the_places_named_lie_on_the_strokes_they_are_about(full: Path) -> None:
    flat = " ".join((full / "README.txt").read_text(encoding="utf-8").split())
    x, y = re.search(r"narrower than the spot: 0\.199 mm² in 1 place, at ([\d.]+) ([\d.]+) mm", flat).groups()
    assert 6.0 < float(x) < 10.0 and 2.0 <= float(y) <= 2.05
    x, y = re.search(r"may close: 0\.124 mm² in 1 place, at ([\d.]+) ([\d.]+) mm", flat).groups()
    assert 5.0 <= float(x) <= 5.05 and 5.0 < float(y) < 7.5
