"""Prints one table: how near the colour model and plain rivals come on SIMULATED lasers, case by case.

Run it from the project's folder: `python tests/bench/model_table.py [--patches 24,48,96,200] [--seeds 2] [--wide] [--apart]`;
`--apart` takes the lasers never used for tuning.
Medians and p90 are ΔE00 against the noiseless truth at 512 settings inside the box; `out` is the median 20 % beyond it;
`cover` the share of fresh marks inside `de00_90` in the box and beyond it; `radius` the median `de00_90`.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from virtual import VirtualLaser, cases
from virtual_apart import apart

from tint.lab import delta_e00
from tint.model.fit import fit
from tint.model.folds import BASELINES, baseline_predict
from tint.model.model import predict
from tint.setting import Setting

COLUMNS = ("median", "p90", "out", "cover", "cover out", "radius", "fit s", "100k s")


def run(laser: VirtualLaser, n: int, seed: int, wide: bool) -> dict[str, list[float]]:
    """Figures of every way of predicting, for one plate of one case."""
    marked = laser.settings(n, seed, wide=wide)
    patches = laser.mark(marked, seed)
    inside = laser.settings(512, 1000 + seed, wide=wide)
    beyond = outside_box(laser, laser.settings(2048, 2000 + seed, stretch=1.4))
    truth, truth_out = laser.lab(inside), laser.lab(beyond)
    start = time.perf_counter()
    model = fit(patches, laser.machine, laser.stock)
    fit_s = time.perf_counter() - start
    guess, guess_out = predict(model, inside), predict(model, beyond)
    many = Setting.from_table(np.resize(inside.table(), (100_000, 8)))
    start = time.perf_counter()
    predict(model, many)
    predict_s = time.perf_counter() - start
    rng = np.random.default_rng(seed)
    cover = np.mean(delta_e00(guess.lab, laser.fresh(inside, rng)) <= guess.de00_90)
    cover_out = np.mean(delta_e00(guess_out.lab, laser.fresh(beyond, rng)) <= guess_out.de00_90)
    error = delta_e00(guess.lab, truth)
    rows = {
        "tint": [
            np.median(error), np.quantile(error, 0.9), np.median(delta_e00(guess_out.lab, truth_out)), cover, cover_out,
            np.median(guess.de00_90), fit_s, predict_s,
        ]
    }  # fmt: skip
    x, q = np.log(marked.table()[:, :6]), np.log(inside.table()[:, :6])
    moved = np.ptp(x, axis=0) > 1e-9
    low, width = x[:, moved].min(axis=0), np.ptp(x[:, moved], axis=0)
    for name in BASELINES[1:]:
        error = delta_e00(
            baseline_predict(name, (x[:, moved] - low) / width, patches.lab, (q[:, moved] - low) / width), truth
        )
        rows[name] = [np.median(error), np.quantile(error, 0.9)]
    return rows


def outside_box(laser: VirtualLaser, setting: Setting) -> Setting:
    """Settings whose largest excursion from the box is up to 20 % of its width."""
    beyond = np.zeros(len(setting))
    for name, (low, high) in laser.box.items():
        share = np.log(getattr(setting, name) / low) / np.log(high / low)
        beyond = np.maximum(beyond, np.maximum(-share, share - 1))
    return setting[(beyond > 0.02) & (beyond <= 0.2)][:512]


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--patches", default="24,48,96,200")
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--wide", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--apart", action="store_true")
    options = parser.parse_args()
    print(f"{'patches':>7} {'case':<18} {'model':<24}" + "".join(f"{name:>10}" for name in COLUMNS))
    for n in map(int, options.patches.split(",")):
        every: dict[str, list[list[float]]] = {}
        for laser in apart() if options.apart else cases():
            if options.only not in laser.name:
                continue
            found = [run(laser, n, seed, options.wide) for seed in range(options.first, options.first + options.seeds)]
            for name in found[0]:
                rows = [rows[name] for rows in found]
                every.setdefault(name, []).extend(rows)
                print_row(n, laser.name, name, np.mean(rows, axis=0))
        for name, rows in every.items():
            print_row(n, "MEAN OF ALL", name, np.mean(rows, axis=0))
        print_row(n, "WORST RUN COVER", "tint", np.min(np.array(every["tint"]), axis=0))


def print_row(n: int, case: str, name: str, figures: np.ndarray) -> None:
    """One line of the table."""
    print(f"{n:>7} {case:<18} {name:<24}" + "".join(f"{value:>10.2f}" for value in figures), flush=True)


if __name__ == "__main__":
    main()
