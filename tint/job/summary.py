"""A job in a few lines, for the terminal."""

from __future__ import annotations

from tint.job.order import clock
from tint.job.record import Job


def job_summary(job: Job) -> str:
    """Text of a job: its layers in marking order with settings and times, and the whole time."""
    lines = [
        f"{job.name}: {job.width_mm:g} × {job.height_mm:g} mm on {job.stock.name}, {len(job.layers)} layers in marking order"
    ]
    width = max(len(layer.name) for layer in job.layers)
    for layer in job.layers:
        wait = f"  after cooling {clock(layer.wait_s)}" if layer.wait_s else ""
        lines.append(
            f"{layer.order:3d}  {layer.name:{width}s}  {layer.setting}  {layer.area_mm2:8.1f} mm²  {clock(layer.time_s):>7s}{wait}"
        )
    lines.append(
        f"marking {clock(job.marking_s)}, cooling waits {clock(job.wait_s)}, together {clock(job.total_s)} (estimated)"
    )
    return "\n".join(lines)
