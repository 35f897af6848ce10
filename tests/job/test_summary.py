"""The summary on the terminal."""

from __future__ import annotations

import dataclasses
import re

import pytest
from pieces import LASER, STEEL, layers_of, palette, pond

from tint.job.job import Job, plan_job
from tint.job.order import clock
from tint.job.summary import job_summary


def test_it_names_every_layer_in_marking_order_with_setting_time_and_wait(job: Job) -> None:
    text = job_summary(job)
    rows = re.split(r"\n(?=  \d  )", text)[1:]
    assert [int(line[:3]) for line in rows] == [layer.order for layer in job.layers]
    for row, layer in zip(rows, job.layers, strict=True):
        assert layer.name in row and str(layer.setting) in row and clock(layer.time_s) in row
    assert [f"after cooling {clock(layer.wait_s)}" in text for layer in job.layers if layer.wait_s].count(False) == 0
    assert text.endswith(f"together {clock(job.total_s)} (estimated)") and "4 layers in marking order" in text


@pytest.mark.parametrize("count", [1, 4, 10])
@pytest.mark.parametrize("length", [1, 9])
def test_no_line_is_wider_than_100_columns_however_long_the_names(count: int, length: int) -> None:
    chosen = palette(count, stock=dataclasses.replace(STEEL, name="reserve plate " * length))
    colours = tuple(dataclasses.replace(colour, name=colour.name + "wasserblau" * length) for colour in chosen.colours)
    piece = layers_of(pond(count), 0.5, dataclasses.replace(chosen, colours=colours), name="otter " * 8 * length)
    text = job_summary(plan_job(piece, LASER))
    assert max(len(line) for line in text.splitlines()) <= 100
    for colour in colours:
        assert "".join(colour.name.split()) in "".join(text.split()) and str(colour.setting) in text
    if count == 1:
        assert "1 layer in marking order" in " ".join(text.split())
