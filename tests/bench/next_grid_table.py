"""Prints how many colours a first grid of 24 and four proposed grids of 24 show, on SIMULATED lasers.

Run it from the project's folder: `python tests/bench/next_grid_table.py [--apart]`; `--apart` takes the lasers never used for
tuning. Colours are counted as the volume, in CIELAB, of
balls of 3 units around the true colours of all marks; the rival fills the box evenly with as many patches (Sobol), marked
on one plate and, for the error, also on five plates as the proposed ones are: each plate has a drift of its own to be
found. No way of choosing can pass `ceiling`: as many balls as patches, none touching another, over what the even grid shows.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from virtual import cases
from virtual_apart import apart

from tint.lab import delta_e00
from tint.measure.patches import Patches, join_patches
from tint.model.fit import fit
from tint.model.model import predict
from tint.model.propose import propose

STEP = 1.0  # of the lattice the volume is counted on [CIELAB units]


def volume(lab: np.ndarray) -> int:
    """Lattice points within 3 units of any colour."""
    span = np.arange(-3, 3.01, STEP)
    ball = np.stack(np.meshgrid(span, span, span), axis=-1).reshape(-1, 3)
    points = np.round(lab / STEP)[:, None, :] + ball[(ball**2).sum(axis=1) <= 9][None] / STEP
    return len(np.unique(points.reshape(-1, 3).astype(int), axis=0))


def plated(patches: Patches, more: Patches, turn: int) -> Patches:
    """The patches so far and those of the next plate."""
    return join_patches([patches, dataclasses.replace(more, ids=tuple(f"plate{turn}-{name}" for name in more.ids))])


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--apart", action="store_true")
    options = parser.parse_args()
    print(f"{'case':<18}{'even':>8}{'proposed':>10}{'ratio':>8}{'ceiling':>9}{'error even':>12}{'on 5 plates':>13}{'error proposed':>16}")
    ratios, all_errors = [], []
    plates = [
        (laser, seed) for laser in (apart() if options.apart else cases()) for seed in range(3, 3 + options.seeds)
    ]
    for laser, seed in plates:
        even = laser.settings(120, seed)
        patches = laser.mark(laser.settings(24, seed), seed)
        rival = laser.mark(even[:24], seed)
        for turn in range(4):
            model = fit(patches, laser.machine, laser.stock)
            more = laser.mark(propose(model, 24, seed=turn), 7 + seed + turn)
            patches = plated(patches, more, turn)
            rival = plated(rival, laser.mark(even[24 * (turn + 1) : 24 * (turn + 2)], 7 + seed + turn), turn)
        at = laser.settings(512, 1000)
        truth = laser.lab(at)
        errors = [
            np.median(delta_e00(predict(fit(p, laser.machine, laser.stock), at).lab, truth))
            for p in (laser.mark(even, seed), rival, patches)
        ]
        counts = volume(laser.lab(even)), volume(laser.lab(patches.setting))
        ratios.append((counts[1] / counts[0], len(even) * volume(np.zeros((1, 3))) / counts[0]))
        all_errors.append(errors)
        ratio, ceiling = ratios[-1]
        print(
            f"{laser.name:<18}{counts[0]:>8}{counts[1]:>10}{ratio:>8.2f}{ceiling:>9.2f}{errors[0]:>12.2f}"
            f"{errors[1]:>13.2f}{errors[2]:>16.2f}",
            flush=True,
        )
    print("mean ratio {:.2f}, ceiling {:.2f}".format(*np.mean(ratios, axis=0)))
    print("mean error even {:.2f}, on 5 plates {:.2f}, proposed {:.2f}".format(*np.mean(all_errors, axis=0)))


if __name__ == "__main__":
    main()
