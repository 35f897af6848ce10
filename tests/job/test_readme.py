"""README.txt explains the whole folder."""

from __future__ import annotations

from pathlib import Path

from tint.job.job import Job
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
