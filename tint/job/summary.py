"""A job in a few lines, for the terminal."""

from __future__ import annotations

import textwrap

from tint.job.order import clock
from tint.job.record import Job

COLUMNS = 100
NAME_COLUMNS = 24  # the longest names get their settings on a line of their own


def job_summary(job: Job) -> str:
    """Text of a job, at most 100 columns wide: its layers in marking order with settings and times, and the whole time."""
    count = "1 layer" if len(job.layers) == 1 else f"{len(job.layers)} layers"
    head = f"{job.name}: {job.width_mm:g} × {job.height_mm:g} mm on {job.stock.name}, {count} in marking order"
    lines = textwrap.wrap(head, COLUMNS, subsequent_indent="  ")
    width = min(max(len(layer.name) for layer in job.layers), NAME_COLUMNS)
    wide = min(
        max(len(str(layer.setting)) for layer in job.layers), COLUMNS - width - 27
    )  # what else stands on the line
    for layer in job.layers:
        wait = f"after cooling {clock(layer.wait_s)}" if layer.wait_s else ""
        facts = f"{layer.setting!s:{wide}s}  {layer.area_mm2:7.1f} mm²  {clock(layer.time_s):>5s}"
        first = f"{layer.order:3d}  {layer.name:{width}s}  "
        for part in (facts, wait):
            if part and len(first) + len(part) > COLUMNS:
                lines += textwrap.wrap(first.rstrip(), COLUMNS, subsequent_indent=" " * 5)
                first = " " * 5
            first += f"{part}  " if part else ""
        lines += [first.rstrip()]
    lines.append(
        f"marking {clock(job.marking_s)}, cooling waits {clock(job.wait_s)}, together {clock(job.total_s)} (estimated)"
    )
    if job.trial is not None:
        lines.append("trial: one square per layer in the folder trial, to be marked first; its time comes on top")
    if job.hatched:
        lines.append("scan lines of every layer are in the folder hatch")
    return "\n".join(lines)
