"""Prints how near the first answer to a wished colour comes, on SIMULATED lasers, beside the nearest measured patch.

Run it from the project's folder: `python tests/bench/match_table.py [--apart] [--seeds 2] [--wishes rare]`; `--apart` takes the lasers never
used for tuning. Wishes are true colours of settings in the box:
common ones at random, vivid ones among the most chromatic fifth, rare ones among those farthest from any other. Figures
are median ΔE00 of a noiseless mark to the wish, of 12 wishes a case; `one round` marks the 12 answers, refits, asks again.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from virtual import VirtualLaser, cases
from virtual_apart import apart

from tint.lab import delta_e00
from tint.measure.patches import join_patches
from tint.model.find import find_setting
from tint.model.fit import fit
from tint.model.model import ColourModel
from tint.setting import Setting

WISHES = 12


def wishes(laser: VirtualLaser, kind: str) -> np.ndarray:
    """(12, 3) colours of one kind."""
    lab = laser.lab(laser.settings(1024, 77))
    rng = np.random.default_rng(5)
    if kind == "vivid":
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        lab = lab[chroma >= np.quantile(chroma, 0.8)]
    if kind == "rare":
        away = np.sort(np.linalg.norm(lab[:, None] - lab[None], axis=-1), axis=1)[:, 8]
        lab = lab[away >= np.quantile(away, 0.9)]
    return lab[rng.permutation(len(lab))[:WISHES]]


def answers(model: ColourModel, wished: np.ndarray) -> Setting:
    """First candidate for each wish."""
    return Setting.from_table([find_setting(model, lab, n=1).candidates[0].setting.table() for lab in wished])


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--wishes", default="common,vivid,rare")
    parser.add_argument("--apart", action="store_true")
    options = parser.parse_args()
    print(f"{'case':<18}{'wishes':<8}{'first answer':>14}{'nearest patch':>15}{'one round':>11}")
    every: dict[str, list[list[float]]] = {}
    plates = [
        (laser, seed) for laser in (apart() if options.apart else cases()) for seed in range(1, options.seeds + 1)
    ]
    for laser, seed in plates:
        patches = laser.mark(laser.settings(96, seed), seed)
        model = fit(patches, laser.machine, laser.stock)
        for kind in options.wishes.split(","):
            wished = wishes(laser, kind)
            chosen = answers(model, wished)
            first = np.median(delta_e00(laser.lab(chosen), wished))
            near = delta_e00(patches.lab[:, None], wished[None]).argmin(axis=0)
            patch = np.median(delta_e00(laser.lab(patches.setting[near]), wished))
            again = laser.mark(chosen, 49 + seed)
            again = dataclasses.replace(again, ids=tuple(f"again-{name}" for name in again.ids))
            second = fit(join_patches([patches, again]), laser.machine, laser.stock)
            row = [first, patch, np.median(delta_e00(laser.lab(answers(second, wished)), wished))]
            every.setdefault(kind, []).append(row)
            print(f"{laser.name:<18}{kind:<8}{row[0]:>14.2f}{row[1]:>15.2f}{row[2]:>11.2f}", flush=True)
    for kind, rows in every.items():
        mean = np.mean(rows, axis=0)
        print(f"{'MEAN OF ALL':<18}{kind:<8}{mean[0]:>14.2f}{mean[1]:>15.2f}{mean[2]:>11.2f}")


if __name__ == "__main__":
    main()
