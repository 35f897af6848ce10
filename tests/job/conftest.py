"""One small invented piece, planned and written once for all tests of the job folder."""

from __future__ import annotations

from pathlib import Path

import pytest
from pieces import LASER, layers_of, palette, pond

from tint.job.job import Job, write_job
from tint.layers.layers import Layers


@pytest.fixture(scope="session")
def layers() -> Layers:
    return layers_of(pond(4), 0.5, palette(5))  # 60 × 40 mm, colour 5 unused


@pytest.fixture(scope="session")
def written(layers: Layers, tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Path]:
    folder = tmp_path_factory.mktemp("jobs") / "kingfisher"
    return write_job(layers, LASER, folder, date="2026-03-14"), folder


@pytest.fixture(scope="session")
def job(written: tuple[Job, Path]) -> Job:
    return written[0]


@pytest.fixture(scope="session")
def folder(written: tuple[Job, Path]) -> Path:
    return written[1]
