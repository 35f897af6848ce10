"""Time and memory of reading an SVG of 2,000 overlapping circles, beside Pillow painting the same. The drawing is synthetic.

    python tests/bench/drawing_2000_shapes.py
"""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

import numpy as np

from tint.artwork.vector import read_drawing


def main() -> None:
    """Nothing; prints seconds, number of shapes and peak memory."""
    from PIL import Image, ImageDraw

    rng = np.random.default_rng(8)
    stones = list(zip(rng.uniform(0, 120, 2000), rng.uniform(0, 90, 2000), rng.uniform(0.5, 2, 2000), strict=True))
    circles = "".join(f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{r:.3f}" fill="#{n % 4096:03x}"/>' for n, (x, y, r) in enumerate(stones))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stones.svg"
        path.write_text(
            f'<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="90mm" viewBox="0 0 120 90">{circles}</svg>', encoding="utf-8"
        )
        start = time.perf_counter()
        drawing = read_drawing(path)
        read_s = time.perf_counter() - start
    start = time.perf_counter()
    draw = ImageDraw.Draw(Image.new("RGB", (2400, 1800)))
    for n, (x, y, r) in enumerate(stones):
        draw.ellipse([20 * (x - r), 20 * (y - r), 20 * (x + r), 20 * (y + r)], fill=n)
    paint_s = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{len(drawing.shapes)} visible shapes in {read_s:.2f} s ({read_s / paint_s:.0f} × Pillow painting them); peak {peak:.0f} MB")


if __name__ == "__main__":
    main()
