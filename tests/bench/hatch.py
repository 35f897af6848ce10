"""Prints what hatching costs: 100 × 100 mm at 0.01 mm, whole and cut into six invented (simulated) layers.

Run it from the project's folder: `python tests/bench/hatch.py`. `compute s` is for all lines of all layers, `write s` for
streaming them as SVG to the null device, `peak MB` the most memory Python held while computing band by band.
"""

from __future__ import annotations

import os
import time
import tracemalloc

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter

from tint.job.hatch import HatchLines, hatch_bands, write_hatch_svg
from tint.job.order import JobLayer
from tint.layers.outline import trace_outlines
from tint.setting import Setting

SIZE_MM, PITCH_MM, SPACING_MM = 100.0, 0.05, 0.01


def pieces() -> dict[str, list[object]]:
    """Outlines of each piece: one square, and a map of soft blobs in six layers."""
    rng = np.random.default_rng(0)
    side = round(SIZE_MM / PITCH_MM)
    blobs = np.stack([gaussian_filter(rng.normal(size=(side, side)), 12) for _ in range(6)]).argmax(axis=0)
    traced = trace_outlines(blobs.astype(np.uint8) + 1, PITCH_MM, 6)[1:]
    return {"square": [shapely.box(0, 0, SIZE_MM, SIZE_MM)], "blobs": list(traced)}


def bands(outline: object, angle: float) -> list[HatchLines]:
    return list(hatch_bands(outline, SPACING_MM, angle, PITCH_MM))


def main() -> None:
    print(f"{'piece':8s} {'angle':>6s} {'corners':>8s} {'lines':>9s} {'compute s':>10s} {'write s':>8s} {'peak MB':>8s} {'area off':>9s}")
    layer = JobLayer(1, 1, "blue", Setting(18, 800, 500, 6, SPACING_MM), (40.0, 0.0, -30.0), 2.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0)
    for name, outlines in pieces().items():
        for angle in (0.0, 37.5):
            began = time.perf_counter()
            made = [bands(outline, angle) for outline in outlines]
            compute_s = time.perf_counter() - began
            count = sum(len(band) for layer_bands in made for band in layer_bands)
            area = sum(band.length_mm for layer_bands in made for band in layer_bands) * SPACING_MM
            del made
            tracemalloc.start()
            for outline in outlines:
                for _ in hatch_bands(outline, SPACING_MM, angle, PITCH_MM):
                    pass
            peak = tracemalloc.get_traced_memory()[1] / 1e6
            tracemalloc.stop()
            began = time.perf_counter()
            with open(os.devnull, "w", encoding="utf-8") as stream:
                for outline in outlines:
                    write_hatch_svg(stream, layer, hatch_bands(outline, SPACING_MM, angle, PITCH_MM), (SIZE_MM, SIZE_MM))
            write_s = time.perf_counter() - began
            corners = sum(len(shapely.get_coordinates(outline)) for outline in outlines)
            off = area / sum(outline.area for outline in outlines) - 1
            print(f"{name:8s} {angle:6.1f} {corners:8d} {count:9d} {compute_s:10.3f} {write_s:8.2f} {peak:8.1f} {off:9.1e}")


if __name__ == "__main__":
    main()
