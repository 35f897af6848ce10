"""Prints how well a model carries over to another stock or machine, on SIMULATED lasers.

Run it from the project's folder: `python tests/bench/transfer_table.py [--patches 8,16,24] [--seeds 2] [--apart]`.
Medians are ΔE00 against the noiseless truth at 512 settings inside the new box. `--apart` carries between lasers never used for tuning.
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

from tint.errors import TintError
from tint.lab import delta_e00
from tint.model.adapt import adapt
from tint.model.fit import fit
from tint.model.model import predict
from tint.setting import Machine


def pairs() -> list[tuple[str, VirtualLaser, VirtualLaser]]:
    """Base and new stock of each kind of move."""
    austenitic, _, ferritic, brushed, titanium, _ = cases()
    strong = Machine("virtual 180 W", 180, (2, 500), (1, 4000), 12000, (175, 175), spot_um=75)
    box = {
        "power_pct": (12.0, 27.0),
        "speed_mm_s": (800.0, 2400.0),
        "freq_khz": (200.0, 800.0),
        "pulse_ns": (8.0, 48.0),
    }
    return [
        (
            "another batch",
            austenitic,
            dataclasses.replace(austenitic, middle_nm=101, pulse_k=830.0, outer_share=0.27, porous=0.03),
        ),
        (
            "another grade",
            austenitic,
            dataclasses.replace(austenitic, inner="spinel, invented", activation_k=7600, middle_nm=85),
        ),
        (
            "3 x the power",
            austenitic,
            dataclasses.replace(austenitic, machine=strong, box=box, true_spot_um=79, dial_gamma=1.12),
        ),
        ("ferritic, other machine", austenitic, ferritic),
        ("brushed, same machine", austenitic, brushed),
        ("titanium from steel", austenitic, titanium),
    ]


def pairs_apart() -> list[tuple[str, VirtualLaser, VirtualLaser]]:
    """The same for lasers apart from the six cases."""
    slowing, _, uneven = apart()
    weak = Machine("virtual 40 W", 40, (2, 500), (1, 2000), 8000, (110, 110), spot_um=50)
    box = {"power_pct": (35.0, 85.0), "speed_mm_s": (300.0, 950.0), "freq_khz": (90.0, 400.0), "pulse_ns": (6.0, 40.0)}
    return [
        ("apart: another batch", slowing, dataclasses.replace(slowing, middle_nm=107, outer_share=0.28, porous=0.02)),
        (
            "apart: another grade",
            slowing,
            dataclasses.replace(slowing, inner="spinel, invented", middle_nm=90, crack_nm=270),
        ),
        ("apart: other machine", uneven, dataclasses.replace(uneven, machine=weak, box=box, true_spot_um=47)),
    ]


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--patches", default="8,16,24")
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--apart", action="store_true")
    options = parser.parse_args()
    print(
        f"{'move':<26}{'patches':>8}{'base as is':>12}{'adapted':>10}{'scratch':>10}{'cover':>8}{'radius':>8}  chosen"
    )
    for name, old, new in pairs_apart() if options.apart else pairs():
        base = fit(old.mark(old.settings(200, 1), 1), old.machine, old.stock)
        at = new.settings(512, 1000)
        truth = new.lab(at)
        for n in map(int, options.patches.split(",")):
            rows, chosen = [], []
            for seed in range(1, options.seeds + 1):
                patches = new.mark(new.settings(n, 10 + seed), seed)
                as_is = dataclasses.replace(base, machine=new.machine)
                adapted = adapt(base, patches, new.machine, new.stock)
                guess = predict(adapted, at)
                try:
                    scratch = np.median(delta_e00(predict(fit(patches, new.machine, new.stock), at).lab, truth))
                except TintError:
                    scratch = np.nan
                cover = np.mean(delta_e00(guess.lab, new.fresh(at, np.random.default_rng(seed))) <= guess.de00_90)
                rows.append(
                    [np.median(delta_e00(predict(as_is, at).lab, truth)), np.median(delta_e00(guess.lab, truth)), scratch, cover,
                     np.median(guess.de00_90)]
                )  # fmt: skip
                chosen.append(adapted.kind.removeprefix("carried over: "))
            mean = np.mean(rows, axis=0)
            print(
                f"{name:<26}{n:>8}{mean[0]:>12.2f}{mean[1]:>10.2f}{mean[2]:>10.2f}{mean[3]:>8.2f}{mean[4]:>8.2f}  {' | '.join(chosen)}",
                flush=True,
            )


if __name__ == "__main__":
    main()
