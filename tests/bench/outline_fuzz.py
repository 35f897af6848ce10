"""Fuzz of the outlines: many simulated noise maps, each checked against its own pixels. Prints the count of failures.

    python tests/bench/outline_fuzz.py [MAPS] [SEED] [smooth]
"""

from __future__ import annotations

import sys
import time

import numpy as np
import shapely

from tint.layers.outline import trace_outlines

REACH_PX = 0.8  # how far a border may lie from the pixel border
GAP_MM2 = 1e-6  # what may overlap between two layers


def noise_map(rng: np.random.Generator, kind: int) -> tuple[np.ndarray, int]:
    """Simulated label map of one of several kinds, and its highest label."""
    height, width = rng.integers(1, 90, 2)
    count = int(rng.integers(1, 12))
    if kind == 0:  # pure noise of two labels
        return (rng.random((height, width)) < rng.uniform(0.05, 0.95)).astype(np.uint8), 1
    if kind == 1:  # pure noise of many
        return rng.integers(0, count + 1, (height, width)).astype(np.uint8), count
    if kind == 2:  # blobs: noise smoothed and cut into levels
        field = rng.normal(size=(height, width))
        for axis in (0, 1):
            for _ in range(int(rng.integers(1, 12))):
                field = (np.roll(field, 1, axis) + field + np.roll(field, -1, axis)) / 3
        edges = np.quantile(field, np.linspace(0, 1, count + 2)[1:-1])
        return np.digitize(field, edges).astype(np.uint8), count
    labels = np.zeros((height, width), dtype=np.uint8)
    if kind == 3:  # sloped half-planes and discs: long stairs and nodes
        y, x = np.mgrid[:height, :width]
        for _ in range(int(rng.integers(1, 15))):
            a, b, r = rng.normal(), rng.normal(), rng.uniform(0.5, 30)
            disc = (x - rng.uniform(0, width)) ** 2 + (y - rng.uniform(0, height)) ** 2 < r * r
            stripe = np.abs(a * (x - width / 2) + b * (y - height / 2)) < rng.uniform(0.3, 8)
            labels[disc if rng.random() < 0.5 else stripe] = rng.integers(0, count + 1)
        return labels, count
    specks = rng.random((height, width)) < rng.uniform(0, 0.3)  # specks on large blocks
    labels[: height // 2, width // 3 :] = count
    labels[specks] = rng.integers(0, count + 1, int(specks.sum()))
    return labels, count


def faults(labels: np.ndarray, count: int, pitch_mm: float, simplify_px: float, smooth: bool = False) -> list[str]:
    """What is wrong with the outlines of one map; empty when nothing is."""
    found = []
    outlines = trace_outlines(labels, pitch_mm, count, simplify_px=simplify_px, smooth=smooth)
    if not all(shapely.is_valid(outlines)):
        found.append("invalid: " + "; ".join(shapely.is_valid_reason(o) for o in outlines if not o.is_valid))
    if not shapely.coverage_is_valid(list(outlines)):
        found.append("not a coverage")
    frame_mm2 = labels.size * pitch_mm**2
    if abs(sum(o.area for o in outlines) - frame_mm2) > 1e-12 * frame_mm2:
        found.append("areas do not add up to the frame")
    if not found:
        union = shapely.union_all(outlines)
        height, width = labels.shape
        if union.symmetric_difference(shapely.box(0, 0, width * pitch_mm, height * pitch_mm)).area > GAP_MM2:
            found.append("the frame moved")
        tree = shapely.STRtree(outlines)
        one, two = tree.query(outlines, predicate="intersects")
        pair = one < two
        overlap = shapely.intersection(np.array(outlines)[one[pair]], np.array(outlines)[two[pair]])
        if (shapely.area(overlap) > GAP_MM2).any():
            found.append("overlap")
    y, x = np.mgrid[: labels.shape[0], : labels.shape[1]] + 0.5
    x, y = x * pitch_mm, y * pitch_mm
    for number, outline in enumerate(outlines):
        if outline.is_empty:
            differs = labels == number
        else:
            shapely.prepare(outline)
            differs = shapely.contains_xy(outline, x, y) != (labels == number)
        if not differs.any():
            continue
        if simplify_px == 0:
            found.append(f"label {number} differs at pixel centres")
            continue
        border = shapely.transform(_pixels(labels == number).boundary, lambda xy: xy * pitch_mm)
        far = shapely.distance(shapely.points(x[differs], y[differs]), border)
        if (far > REACH_PX * pitch_mm).any():
            found.append(f"label {number} is {far.max() / pitch_mm:.2f} px off")
    return found


def _pixels(mask: np.ndarray) -> shapely.Geometry:
    y, x = np.nonzero(mask)
    return shapely.union_all(shapely.box(x, y, x + 1, y + 1))


def main(maps: int = 300, seed: int = 1, smooth: bool = False) -> int:
    """Number of maps with a fault, after printing them; smooth outlines at 0.45 and 0.1 px, others at 0.45 and 0."""
    tolerances_px = (0.45, 0.1) if smooth else (0.45, 0.0)
    rng, failed, began = np.random.default_rng(seed), 0, time.perf_counter()
    for number in range(maps):
        labels, count = noise_map(rng, number % 5)
        pitch_mm = float(rng.choice([0.02, 0.05, 1.0, 1 / 30]))
        for simplify_px in tolerances_px:
            found = faults(labels, count, pitch_mm, simplify_px, smooth)
            if found:
                failed += 1
                print(f"map {number} {labels.shape} simplify_px {simplify_px}: {'; '.join(found)}")
    kind = "smooth outlines" if smooth else "outlines"
    print(f"{kind} of {maps} simulated noise maps, each at simplify_px {tolerances_px}: {failed} failures, {time.perf_counter() - began:.0f} s")
    return failed


if __name__ == "__main__":
    numbers = [int(argument) for argument in sys.argv[1:] if argument.isdigit()]
    sys.exit(bool(main(*numbers, smooth="smooth" in sys.argv)))
