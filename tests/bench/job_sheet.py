"""Prints what a job sheet costs: seconds and kB for 1, 4, 10 and 24 layers of an invented (simulated) piece.

Run it from the project's folder: `python tests/bench/job_sheet.py`. The first sheet, which loads the PDF library, is not
counted. `large` is a label map of 24 million pixels.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "job"))

from pieces import LASER, layers_of, palette, pond

from tint.job.job import plan_job
from tint.job.sheet import sheet_pdf
from tint.layers.layers import Layers

LARGE = (4000, 6000)


def measure(piece: Layers) -> tuple[float, float]:
    """Time of one sheet [s] and its size [kB]."""
    job = plan_job(piece, LASER, date="2026-03-14")
    began = time.perf_counter()
    data = sheet_pdf(job, piece)
    return time.perf_counter() - began, len(data) / 1e3


def main() -> None:
    measure(layers_of(pond(1), 0.5, palette(1)))
    print(f"{'layers':>8s} {'s':>6s} {'kB':>6s}")
    for count in (1, 4, 10, 24):
        print("{:8d} {:6.2f} {:6.0f}".format(count, *measure(layers_of(pond(count), 0.5, palette(count)))))
    labels = pond(4).repeat(LARGE[0] // 80, axis=0).repeat(LARGE[1] // 120, axis=1)
    small = layers_of(pond(4), 0.5, palette(4))
    scale = small.width_mm / labels.shape[1]
    large = Layers(small.name, scale, labels, small.palette, small.wanted_lab, small.lost_de00, drawn=small.outlines,
                   size_mm=(small.width_mm, small.height_mm))  # fmt: skip
    print("{:>8s} {:6.2f} {:6.0f}".format("large", *measure(large)))


if __name__ == "__main__":
    main()
