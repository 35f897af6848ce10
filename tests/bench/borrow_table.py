"""Prints how far settings borrowed from another machine land from the colour they made there, on SIMULATED lasers.

Run it from the project's folder: `python tests/bench/borrow_table.py`. Dial curves and true spots of the machines differ
from what they state. `watts alone` changes the dial so that watts stay and nothing else; `tuned` is the nearest of nine
marks per setting of the tuning grid; `inside` the share within the stated radius.
"""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from virtual import VirtualLaser, cases, moved

from tint.lab import delta_e00
from tint.model.borrow import borrow, tuning_settings
from tint.setting import Machine, Setting

ROWS = 16


def machines() -> list[tuple[Machine, float, float, float]]:
    """Machine as stated, its true spot [µm], exponent of its dial curve, loss toward high frequency."""
    wide = {"freq_khz": (1, 4000), "max_speed_mm_s": 12000, "field_mm": (175, 175)}
    return [
        (Machine("60 W", 60, (2, 500), spot_um=52, **wide), 50, 1.0, 0.0),
        (Machine("20 W", 20, (4, 200), (20, 1000), 8000, (110, 110), spot_um=40), 37, 1.12, 0.05),
        (Machine("100 W", 100, (2, 500), spot_um=60, **wide), 64, 0.97, 0.02),
        (Machine("180 W", 180, (2, 500), spot_um=75, **wide), 79, 1.12, 0.0),
        (Machine("30 W, widths listed", 30, (4, 8, 14, 30, 60, 100, 200), (20, 600), 7000, (150, 150), spot_um=45), 47, 1.03, 0.03),
        (Machine("50 W", 50, (2, 350), (20, 2000), 10000, (110, 110), spot_um=35), 37, 1.06, 0.0),
    ]  # fmt: skip


def measured(machine: Machine, gamma: float) -> Machine:
    """The machine with its power curve measured."""
    percent = np.linspace(5, 100, 20)
    return dataclasses.replace(
        machine, power_curve=[(float(p), float(machine.max_power_w * (p / 100) ** gamma)) for p in percent]
    )


def watts_alone(setting: Setting, old: Machine, new: Machine) -> Setting:
    """Settings with the dial turned so that watts stay, clipped to the new machine."""
    widths = np.asarray(new.pulse_ns)
    nearest = np.clip(setting.pulse_ns, widths[0], widths[-1])
    if not new.pulse_is_range:
        nearest = widths[np.abs(np.log(setting.pulse_ns[:, None] / widths)).argmin(axis=1)]
    return setting.replace(
        power_pct=np.clip(setting.power_pct * old.max_power_w / new.max_power_w, 1, 100), pulse_ns=nearest,
        freq_khz=np.clip(setting.freq_khz, *new.freq_khz), speed_mm_s=np.minimum(setting.speed_mm_s, new.max_speed_mm_s),
    )  # fmt: skip


def trial(laser: VirtualLaser, spec: tuple[Machine, float, float, float], curve: bool, seed: int) -> dict[str, np.ndarray]:
    """ΔE00 of each way at every setting, and the radius; `curve`: both machines measured their dials."""
    machine, spot, gamma, droop = spec
    other = moved(laser, machine, spot, gamma, droop)
    setting = laser.settings(ROWS, seed)
    truth = laser.lab(setting)
    old, new = (measured(m, g) if curve else m for m, g in ((laser.machine, laser.dial_gamma), (machine, gamma)))
    borrowed = borrow(setting, old, new)
    tuned = other.lab(tuning_settings(borrowed, 9 * ROWS))
    own = np.repeat(np.arange(ROWS), 9)
    away = delta_e00(tuned, truth[own])
    return {
        "watts alone": delta_e00(other.lab(watts_alone(setting, laser.machine, machine)), truth),
        "borrowed": delta_e00(other.lab(borrowed.setting), truth),
        "tuned": np.array([away[own == i].min() for i in range(ROWS)]),
        "radius": borrowed.de00_90,
        "wider": np.full(ROWS, np.log(machine.spot_um / laser.machine.spot_um)),
        "fluence": np.log(borrowed.ratio[:, 2]),
        "areal": np.log(borrowed.ratio[:, 3]),
    }  # fmt: skip


def main() -> None:
    """Prints the table."""
    print(f"{'to':<22}{'dials measured':<16}{'watts alone':>12}{'borrowed':>10}{'p90':>8}{'tuned':>8}{'p90':>8}{'radius':>8}{'inside':>8}")
    for curve in (False, True):
        every: dict[str, list[np.ndarray]] = {}
        for spec in machines():
            found: dict[str, list[np.ndarray]] = {}
            for laser in cases():
                for seed in (1, 2):
                    for name, values in trial(laser, spec, curve, seed).items():
                        found.setdefault(name, []).append(values)
                        every.setdefault(name, []).append(values)
            _line(spec[0].name, curve, found)
        _line("ALL", curve, every)


def _line(name: str, curve: bool, found: dict[str, list[np.ndarray]]) -> None:
    alone, borrowed, tuned, radius = (np.concatenate(found[key]) for key in ("watts alone", "borrowed", "tuned", "radius"))
    print(
        f"{name:<22}{'yes' if curve else 'no':<16}{np.median(alone):>12.1f}{np.median(borrowed):>10.1f}{np.quantile(borrowed, 0.9):>8.1f}"
        f"{np.median(tuned):>8.1f}{np.quantile(tuned, 0.9):>8.1f}{np.median(radius):>8.1f}{np.mean(borrowed <= radius):>8.2f}", flush=True
    )


if __name__ == "__main__":
    main()
