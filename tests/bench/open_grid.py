"""Prints hold-out errors on the open 6 ns grid (real marks, camera colours): each member, their mean, and plain rivals.

Run it from the project's folder: `python tests/bench/open_grid.py`. A plain Gaussian process on log power and log
frequency reached, over all 100 patches, median 1.41 with a frequency column left out and 1.03 with a power row left out;
without the flagged patches 1.15 and 0.80.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tint.lab import delta_e00
from tint.measure.patches import Patches, read_patches
from tint.model.film_gp import film_numbers, ready_film, search_film
from tint.model.folds import BASELINES, baseline_predict
from tint.model.process_gp import process_numbers, ready_process
from tint.model.training import Training
from tint.setting import Machine

GRID = Path(__file__).parents[2] / "palettes" / "open-6ns" / "patches.csv"
MACHINE = Machine("open 100 W", 100, (2, 500), (1, 4000), 10000, (175, 175), spot_um=60)  # the spot is assumed
FAMILY = "austenitic steel"


def predictions(known: Patches, asked: Patches) -> dict[str, np.ndarray]:
    """Lab of the asked patches by every way of predicting."""
    training = Training(known.setting, known.lab, np.ones(len(known)))
    film = ready_film(film_numbers(search_film(training, MACHINE, FAMILY, 0), training, FAMILY), training, MACHINE)
    process = ready_process(process_numbers(training, MACHINE), training, MACHINE)
    out = {"film": film.predict(asked.setting)[0], "process": process.predict(asked.setting)[0]}
    out["both"] = (out["film"] + out["process"]) / 2
    x, q = (np.log(np.stack([p.setting.power_pct, p.setting.freq_khz], axis=1)) for p in (known, asked))
    low, width = x.min(axis=0), np.ptp(x, axis=0)
    for name in BASELINES:
        out[name] = baseline_predict(name, (x - low) / width, known.lab, (q - low) / width)
    return out


def main() -> None:
    """Prints the table."""
    everything = read_patches(GRID)
    print(f"{'patches':>7} {'left out':<24} {'model':<24} {'median':>7} {'p90':>7}")
    for patches in (everything, everything.take(everything.good)):
        groups = {
            "a frequency column": [patches.setting.freq_khz == v for v in np.unique(patches.setting.freq_khz)],
            "a power row": [patches.setting.power_pct == v for v in np.unique(patches.setting.power_pct)],
            "all but 24 at random": [_all_but(len(patches), 24, seed) for seed in range(5)],
        }
        for name, held in groups.items():
            errors: dict[str, list[np.ndarray]] = {}
            for here in held:
                for model, lab in predictions(patches.take(~here), patches.take(here)).items():
                    errors.setdefault(model, []).append(delta_e00(lab, patches.lab[here]))
            for model, parts in errors.items():
                error = np.concatenate(parts)
                print(f"{len(patches):>7} {name:<24} {model:<24} {np.median(error):>7.2f} {np.quantile(error, 0.9):>7.2f}", flush=True)


def _all_but(n: int, kept: int, seed: int) -> np.ndarray:
    held = np.ones(n, dtype=bool)
    held[np.random.default_rng(seed).permutation(n)[:kept]] = False
    return held


if __name__ == "__main__":
    main()
