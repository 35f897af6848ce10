"""`job.json`: everything in it comes back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tint.errors import FileError
from tint.job.job import Job, read_job
from tint.job.record import job_text


def test_a_job_read_back_equals_the_job_written(folder: Path, job: Job) -> None:
    assert read_job(folder) == job
    assert read_job(folder / "job.json") == job


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
        "tint-job file is needed": {**body, "format": "tint-palette/1"},
    }
    for message, text in broken.items():
        (tmp_path / "job.json").write_text(json.dumps(text))
        with pytest.raises(FileError, match=message) as caught:
            read_job(tmp_path)
        assert "\n" not in str(caught.value)
