"""Time and memory of a 24 MP PNG to label map and proof, beside Pillow decoding the same file. Pictures are synthetic.

    python tests/bench/picture_24mp.py

Each step runs in a process of its own, one after the other in one run, so ratios mean something on a busy machine.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

HEIGHT, WIDTH = 4000, 6000
MEASURE = """
import resource, sys, time
started = time.perf_counter()
{body}
used = resource.getrusage(resource.RUSAGE_SELF)
print(f"{{time.perf_counter() - started:.2f}} {{used.ru_utime + used.ru_stime:.2f}} {{used.ru_maxrss / 1024:.0f}}")
"""
STEPS = {
    "Pillow decodes": "from PIL import Image\nImage.open(sys.argv[1]).convert('RGB').tobytes()",
    "labels, nearest by ΔE00": """
from tint.artwork.artwork import read_artwork
from tint.layers.label import label_picture
from tint.palette.palette import read_palette
labels = label_picture(read_artwork(sys.argv[1], 120), read_palette(sys.argv[2]))""",
    "separate, with specks and proof": """
from tint.artwork.artwork import read_artwork
from tint.layers.proof import proof_image
from tint.layers.separate import separate
from tint.palette.palette import read_palette
layers = separate(read_artwork(sys.argv[1], 120), read_palette(sys.argv[2]))
proof_image(layers).save(sys.argv[3], compress_level=3)""",
    "the same, and outlines": """
from tint.artwork.artwork import read_artwork
from tint.layers.separate import separate
from tint.palette.palette import read_palette
outlines = separate(read_artwork(sys.argv[1], 120), read_palette(sys.argv[2])).outlines""",
}


def main() -> None:
    """Nothing; prints one table per picture: wall time [s], processor time [s], peak memory [MB], ratio to decoding."""
    palette = Path(__file__).parents[2] / "palettes" / "demo-304" / "palette.json"
    with tempfile.TemporaryDirectory() as folder:
        for name, noise in (("illustration, flat with soft edges", 0.0), ("photograph-like, fine noise", 0.012)):
            path = Path(folder) / "picture.png"
            # in a process of its own: a child's peak memory starts from its parent's
            draw = [sys.executable, __file__, str(path), str(noise)]
            colours = int(subprocess.run(draw, capture_output=True, text=True, check=True).stdout)
            print(f"\n{name}: {colours:,} different colours, {path.stat().st_size / 1e6:.0f} MB")
            decode = None
            for step, body in STEPS.items():
                code = MEASURE.format(body=body)
                done = subprocess.run(
                    [sys.executable, "-c", code, str(path), str(palette), str(Path(folder) / "proof.png")],
                    capture_output=True, text=True, check=True,
                )  # fmt: skip
                wall, cpu, peak = (float(value) for value in done.stdout.split())
                decode = decode or cpu
                print(f"  {step:34s} {wall:6.2f} s  {cpu:6.2f} s cpu  {peak:6.0f} MB  {cpu / decode:5.1f} × decode")


def _draw(path: Path, noise: float) -> int:
    import numpy as np
    from PIL import Image

    rng = np.random.default_rng(0)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    small = Image.fromarray((rng.random((20, 30, 3)) * 255).astype(np.uint8))
    picture = np.asarray(small.resize((WIDTH, HEIGHT), Image.Resampling.BICUBIC if noise else Image.Resampling.NEAREST)) / np.float32(255)
    picture = picture.copy()
    for _ in range(60):
        cx, cy, radius = rng.integers(0, WIDTH), rng.integers(0, HEIGHT), rng.integers(50, 600)
        cover = np.clip(radius - np.hypot(x - cx, y - cy), 0, 1)[..., None]
        picture = picture * (1 - cover) + cover * rng.random(3).astype(np.float32)
    if noise:
        picture += rng.normal(0, noise, picture.shape).astype(np.float32)
    pixels = (np.clip(picture, 0, 1) * 255).astype(np.uint8)
    Image.fromarray(pixels).save(path, compress_level=6)
    return len(np.unique(pixels.reshape(-1, 3).astype(np.uint32) @ np.array([65536, 256, 1], np.uint32)))


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(_draw(Path(sys.argv[1]), float(sys.argv[2])))
    else:
        main()
