"""The job folder: complete, or not there."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from pieces import LASER, STEEL, layers_of, palette, pond
from PIL import Image

from tint.errors import DataError, FileError, LimitError
from tint.job.job import Job, plan_job, write_job
from tint.layers.layers import Layers
from tint.measure.patches import read_settings, read_table
from tint.setting import FIELDS, Setting


def test_the_folder_holds_every_file_and_nothing_else(folder: Path, job: Job) -> None:
    assert {path.name for path in folder.iterdir()} - {".tint"} == {
        "job.json", "settings.csv", "layers.svg", "layers.dxf", "masks", "proof.png", "sheet.pdf", "README.txt",
    }  # fmt: skip
    assert len(list((folder / "masks").iterdir())) == len(job.layers)
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]  # no temporary folder left


def test_settings_csv_lists_the_layers_in_marking_order_and_reads_back_exactly(folder: Path, job: Job) -> None:
    read = read_settings(folder / "settings.csv")
    assert read == Setting.from_table(np.stack([layer.setting.table() for layer in job.layers]))
    first = (folder / "settings.csv").read_text(encoding="utf-8").splitlines()[0]
    assert first == ",".join(("order", "layer", "name", *FIELDS))
    _, rows = read_table(folder / "settings.csv", FIELDS, FIELDS)
    assert [(row.number("order"), row.number("layer"), row.text("name")) for row in rows] == [
        (layer.order, layer.number, layer.name) for layer in job.layers
    ]


def test_the_proof_has_one_pixel_per_label(folder: Path, layers: Layers) -> None:
    height, width = layers.labels.shape
    assert Image.open(folder / "proof.png").size == (width, height)


def test_a_job_that_is_there_is_replaced_only_by_force(layers: Layers, tmp_path: Path) -> None:
    place = tmp_path / "job"
    write_job(layers, LASER, place, date="2026-03-14")
    with pytest.raises(FileError, match="--force"):
        write_job(layers, LASER, place, date="2026-03-15")
    assert '"2026-03-14"' in (place / "job.json").read_text(encoding="utf-8")
    write_job(layers, LASER, place, date="2026-03-15", force=True)
    assert '"2026-03-15"' in (place / "job.json").read_text(encoding="utf-8")


def test_the_same_job_written_twice_is_the_same_byte_for_byte(layers: Layers, folder: Path, tmp_path: Path) -> None:
    write_job(layers, LASER, tmp_path / "again", date="2026-03-14")
    for path in sorted(folder.rglob("*.*")):
        assert (tmp_path / "again" / path.relative_to(folder)).read_bytes() == path.read_bytes(), path.name


def test_a_job_that_fails_half_way_leaves_nothing_behind(layers: Layers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> bytes:
        raise MemoryError

    monkeypatch.setattr("tint.job.sheet.sheet_pdf", fail)
    with pytest.raises(MemoryError):
        write_job(layers, LASER, tmp_path / "job")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "stock, machine, message",
    [
        (STEEL, dataclasses.replace(LASER, field_mm=(50, 175)), r"60 × 40 mm is larger than the field of the machine \(50 × 175"),
        (dataclasses.replace(STEEL, size_mm=(45, 70)), LASER, r"larger than the blank \(45 × 70 mm\).*Turned by 90° it fits"),
        (STEEL, dataclasses.replace(LASER, max_speed_mm_s=700), "speed 800 mm/s is outside this machine"),
    ],
)
def test_a_job_the_machine_or_blank_cannot_hold_is_refused_in_one_line(stock, machine, message: str, tmp_path: Path) -> None:
    piece = layers_of(pond(4), 0.5, palette(4, stock=stock))
    with pytest.raises(LimitError, match=message) as caught:
        write_job(piece, machine, tmp_path / "job")
    assert "\n" not in str(caught.value) and not (tmp_path / "job").exists()


def test_artwork_without_a_marked_place_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="nothing to mark"):
        write_job(layers_of(np.zeros((4, 4), dtype=np.uint8), 1.0, palette(2)), LASER, tmp_path / "job")
    assert list(tmp_path.iterdir()) == []


def test_the_artwork_is_centred_on_the_blank_or_put_where_asked(layers: Layers) -> None:
    assert plan_job(layers, LASER).at_mm == (30, 20)
    assert plan_job(layers, LASER, at_mm=(0, 40)).at_mm == (0, 40)
    for outside in ((61, 0), (0, 40.5), (-1, 0), (float("nan"), 0)):
        with pytest.raises(LimitError, match="does not lie on the blank"):
            plan_job(layers, LASER, at_mm=outside)


def test_remarks_tell_first_what_the_palette_is_then_of_another_machine_and_an_inexact_pitch() -> None:
    piece = layers_of(pond(4), 0.3, palette(4))
    assert plan_job(piece, LASER).remarks[0] == "simulated: invented colours, not from a real plate"
    assert any(line.startswith("Masks: a PNG cannot state 0.3 mm") for line in plan_job(piece, LASER).remarks)
    other = dataclasses.replace(LASER, name="second laser (invented)")
    assert "made on bench laser (invented), this job is for second laser" in plan_job(piece, other).remarks[1]
    worn = dataclasses.replace(LASER, max_power_w=55)
    assert "has changed since the palette" in plan_job(piece, worn).remarks[1]


def test_a_date_that_is_none_is_refused(layers: Layers) -> None:
    with pytest.raises(LimitError, match=r"14\.3\.2026"):
        plan_job(layers, LASER, date="14.3.2026")
