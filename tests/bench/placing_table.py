"""Prints how often a reading's places are doubted, on SIMULATED plates read rightly and in six wrong ways.

Run it from the project's folder: `python tests/bench/placing_table.py [PLATES]`. Per number of patches: share of plates
doubted (rightly read: false alarms) and, in brackets, share where the verdict named the very way it was read. Plates
are of the six virtual lasers of `virtual.py`, which know nothing of the check, and of the invented shop's. The last lines
have a model's forecast in place of the neighbours: the true colours, off by a smooth error of the size stated.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from virtual import cases

from tint.demo.laser import DEMO_RANGES, SimulatedLaser, demo_machine, demo_stock
from tint.measure.patches import Patches
from tint.measure.placing import check_placing
from tint.measure.scan import scan
from tint.plan.first import plan_grid
from tint.plan.grid import Grid
from tint.plan.layout import lay_out

COUNTS = (24, 30, 36, 48, 60)
WAYS = ("right", "late by 1", "early by 1", "late from half", "turned 180°", "mirrored", "serpentine")
NAMED = {
    "late by 1": "before it", "early by 1": "behind it", "late from half": "before it", "turned 180°": "turned",
    "mirrored": "mirrored", "serpentine": "serpentine",
}  # fmt: skip


def plates(count: int, number: int):
    """Grids and their patches' Lab."""
    lasers = cases()
    for seed in range(number):
        if seed % 7 == 6:
            grid = plan_grid(demo_machine(), demo_stock(), count, ranges=DEMO_RANGES, seed=1000 + seed)
            yield grid, SimulatedLaser(grid.machine).mark(grid, seed=seed).lab
        else:
            laser = lasers[seed % 7]
            grid = lay_out(laser.settings(count, 1000 + seed), laser.machine, laser.stock, patch_mm=4, gap_mm=1, seed=seed)
            yield grid, laser.mark(grid.setting, seed).lab


def steps(grid: Grid, way: str) -> np.ndarray:
    """Patch that was really read at each step."""
    own = scan(grid, "row-wise")
    if way.startswith("late"):
        begin = 0 if way == "late by 1" else len(own) // 2
        return np.concatenate([own[:begin], np.roll(own[begin:], 1)])
    corner = {"turned 180°": "bottom-right", "mirrored": "top-right"}.get(way, "top-left")
    pattern = "serpentine" if way == "serpentine" else "row-wise"
    return np.roll(own, -1) if way == "early by 1" else scan(grid, pattern, corner)


def as_named(grid: Grid, lab: np.ndarray) -> Patches:
    n = len(grid)
    return Patches(grid.ids, grid.setting, lab, np.full(n, np.nan), grid.order.astype(float), grid.xy_mm, ("",) * n)


def main(number: int) -> None:
    """Prints the table."""
    print(f"{'patches':<18}" + "".join(f"{way:>18}" for way in WAYS))
    for count, error in [*((count, None) for count in COUNTS), (12, 4.0), (24, 8.0), (48, 12.0)]:
        doubted = {way: [] for way in WAYS}
        for grid, lab in plates(count, number):
            own = scan(grid, "row-wise")
            forecast = None if error is None else lab + error * np.random.default_rng(count).normal(0, 0.58, lab.shape)
            for way in WAYS:
                read = np.empty_like(lab)
                read[own] = lab[steps(grid, way)]
                verdict = check_placing(grid, as_named(grid, read), predicted=forecast)
                doubted[way].append((bool(verdict.likely), NAMED.get(way, "-") in verdict.likely))
        shares = {way: np.mean(found, axis=0) for way, found in doubted.items()}
        head = str(count) if error is None else f"{count}, model ± {error:g}"
        cells = [f"{shares[way][0]:.3f}" + ("" if way == "right" else f" ({shares[way][1]:.2f})") for way in WAYS]
        print(f"{head:<18}" + "".join(f"{cell:>18}" for cell in cells), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 210)
