"""`job.json`: everything in it comes back."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from pieces import LASER, layers_of, palette, pond

from tint.errors import FileError
from tint.job.job import Job, read_job, write_job
from tint.job.record import job_text
from tint.layers.layers import Layers


def test_a_job_read_back_equals_the_job_written(folder: Path, job: Job) -> None:
    assert read_job(folder) == job
    assert read_job(folder / "job.json") == job


def test_trial_inset_hatch_and_thin_places_come_back_too(layers: Layers, tmp_path: Path) -> None:
    piece = layers_of(np.pad(np.kron(pond(4), np.ones((2, 2))), ((0, 1), (0, 1)), constant_values=2), 0.05, palette(4))
    job = write_job(piece, LASER, tmp_path / "job", date="2026-03-14", trial=True, hatch=True, inset_spot=0.5)
    assert job.trial is not None and job.hatched and job.inset_spot == 0.5 and job.thin
    assert read_job(tmp_path / "job") == job


def test_a_job_of_the_first_tint_is_still_read(tmp_path: Path, job: Job) -> None:
    body = json.loads(job_text(job))
    for name in ("thin", "inset_spot", "vanished", "hatched", "trial", "in_full", "notes"):
        del body[name]
    for layer in body["layers"]:
        for name in ("scan_s", "lines", "jumps", "jump_mm"):
            del layer[name]
    (tmp_path / "job.json").write_text(json.dumps(body))
    read = read_job(tmp_path)
    assert read.in_full == len(job.remarks) and read.notes == ()
    assert read.trial is None and read.thin == () and read.layers[0].lines == 0 and read.layers[0].setting == job.layers[0].setting


def test_job_json_names_its_format_and_says_what_each_layer_needs(folder: Path, job: Job) -> None:
    body = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    assert body["format"] == "tint-job/1"
    assert body["date"] == "2026-03-14" and (body["width_mm"], body["height_mm"]) == (60, 40)
    assert body["remarks"][0].startswith("simulated") and len(body["cautions"]) >= 5
    assert body["total_s"] == pytest.approx(sum(item["time_s"] + item["wait_s"] for item in body["layers"]), abs=0.01)
    first = body["layers"][0]
    wanted = {"order", "number", "name", "setting", "lab", "de00_90", "sensitivity_de00", "area_mm2", "time_s", "mask", "remark"}
    assert wanted <= set(first)
    assert (folder / first["mask"]).is_file()
    assert first["setting"]["spacing_mm"] == 0.002


def test_a_damaged_or_newer_job_is_refused_in_one_line(tmp_path: Path, job: Job) -> None:
    body = json.loads(job_text(job))
    broken = {
        "newer than this tint": {**body, "format": "tint-job/2"},
        "pitch_mm is missing": {key: value for key, value in body.items() if key != "pitch_mm"},
        "is damaged": {**body, "layers": [{**body["layers"][0], "lab": [1, 2]}]},
        "at_mm is missing": {**body, "trial": {"edge": "top"}},
        "is not of the kind a job needs": {**body, "trial": {"at_mm": [1, 2], "field_mm": [3, 4], "colour": "red"}},
        "value is not of the kind": {**body, "thin": [{"number": 1, "at_mm": []}]},
        "tint-job file is needed": {**body, "format": "tint-palette/1"},
    }
    for message, text in broken.items():
        (tmp_path / "job.json").write_text(json.dumps(text))
        with pytest.raises(FileError, match=message) as caught:
            read_job(tmp_path)
        assert "\n" not in str(caught.value)
