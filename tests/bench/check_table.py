"""Prints how well a check strip sees drift, names its cause and is corrected, on SIMULATED lasers.

Run it from the project's folder: `python tests/bench/check_table.py`. Each case fits a model to 96 patches, chooses eight colours,
accepts a first strip (3 marks of each) as the promise and checks later strips. Every strip, the first one too, is marked on a day of
its own: the source's power differs by 0.3 % (sd) from day to day. Shares carry Wilson's 95 % interval. A focus error widens the spot as
a Gaussian beam's; how much depends on the case's own spot.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from virtual import VirtualLaser, cases

from tint.check.cause import HEAT
from tint.check.check import check_strip
from tint.check.correct import accepted, corrected, find_correction
from tint.check.judged import Check
from tint.demo.laser import DEMO_RANGES, MARK_NOISE, READ_NOISE, SimulatedLaser, demo_machine, demo_stock
from tint.errors import TintError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.fit import fit
from tint.model.model import ColourModel
from tint.palette.choose import choose_palette
from tint.palette.palette import Palette
from tint.plan.first import plan_grid
from tint.process import rayleigh_mm
from tint.setting import Setting

COLOURS, MARKS, DAY_PCT = 8, 3, 0.3
CORRECTED = {
    "power -3 %": 1000,
    "focus 0.3 mm": 3,
}  # strips that are corrected and marked again; carrying a model over takes seconds
DROP, FOCUS_MM = 0.97, 0.3
Marker = Callable[..., np.ndarray]


def from_virtual(laser: VirtualLaser) -> tuple[str, ColourModel, Marker]:
    """Name, model and marker `mark(setting, rng, power, focus_mm)` of a virtual laser."""
    model = fit(laser.mark(laser.settings(96, 1), 1), laser.machine, laser.stock)
    reach = rayleigh_mm(dataclasses.replace(laser.machine, spot_um=laser.true_spot_um))

    def mark(
        setting: Setting, rng: np.random.Generator | None, power: float = 1.0, focus_mm: float = 0.0
    ) -> np.ndarray:
        spot = laser.true_spot_um * np.sqrt(1 + (focus_mm / reach) ** 2)
        used = dataclasses.replace(laser, true_spot_um=spot, home=laser) if focus_mm else laser
        return used.lab(setting, power) if rng is None else used.fresh(setting, rng, power)

    return laser.name, model, mark


def from_demo() -> tuple[str, ColourModel, Marker]:
    """The same of the laser of the demo."""
    laser = SimulatedLaser(demo_machine())
    grid = plan_grid(demo_machine(), demo_stock(), 96, ranges=DEMO_RANGES, seed=1)
    model = fit(laser.mark(grid, seed=2), demo_machine(), demo_stock())

    def mark(
        setting: Setting, rng: np.random.Generator | None, power: float = 1.0, focus_mm: float = 0.0
    ) -> np.ndarray:
        setting = setting.replace(focus_mm=setting.focus_mm + focus_mm)
        if rng is None:
            return laser.lab(setting, power)
        return laser.lab(setting, power, rng.normal(1, MARK_NOISE, len(setting))) + rng.normal(
            0, READ_NOISE, (len(setting), 3)
        )

    return "demo", model, mark


def read(
    palette: Palette, mark: Marker, rng: np.random.Generator, change: dict[str, float] | None = None, **how: Any
) -> Patches:
    """Patches of a strip on a day of its own; `change` multiplies fields of the settings really marked."""
    setting = Setting.from_table(np.repeat(palette.setting.table(), MARKS, axis=0))
    really = setting.replace(**{name: getattr(setting, name) * by for name, by in (change or {}).items()})
    power = how.pop("power", 1.0) * np.exp(rng.normal(0, DAY_PCT / 100))
    lab = mark(really, rng, power, **how)
    n = len(lab)
    return Patches(tuple(f"s{i}" for i in range(n)), setting, np.clip(lab, [0, -128, -128], [100, 128, 128]), np.full(n, np.nan),
                   np.arange(n) + 1.0, np.full((n, 2), np.nan), ("",) * n, {"source": "SIMULATED"})  # fmt: skip


def share(hits: int, n: int) -> str:
    """A share with Wilson's 95 % interval."""
    z, p = 1.96, hits / max(n, 1)
    middle, half = (
        (p + z * z / 2 / n) / (1 + z * z / n),
        z * np.sqrt(p * (1 - p) / n + z * z / 4 / n / n) / (1 + z * z / n),
    )
    return f"{p:4.0%} [{max(middle - half, 0):4.0%},{min(middle + half, 1):5.0%}]"


def duller(patches: Patches, rng: np.random.Generator) -> Patches:
    """The patches with a fifth of their chroma lost."""
    return dataclasses.replace(patches, lab=patches.lab * [1, 0.8, 0.8])


def scratched(patches: Patches, rng: np.random.Generator) -> Patches:
    """The patches with one of them scratched."""
    lab = patches.lab.copy()
    lab[rng.integers(len(lab)), 0] = max(lab[:, 0].min() - 5, 5)
    return dataclasses.replace(patches, lab=lab)


def after(
    check: Check, patches: Patches, model: ColourModel, mark: Marker, rng: np.random.Generator, **how: Any
) -> tuple[float, float, float]:
    """Median ΔE00 to the promise of fresh marks before and after the correction, and of fresh marks to their own mean."""
    promise = np.repeat(check.palette.lab[1:], MARKS, axis=0)
    own = delta_e00(read(check.palette, mark, rng).lab, np.repeat(mark(check.palette.setting, None), MARKS, axis=0))
    before = delta_e00(read(check.palette, mark, rng, **how).lab, promise)
    try:
        new = corrected(check, find_correction(check, patches, model), 3, "")
    except TintError:
        return float(np.median(before)), np.nan, float(np.median(own))
    fresh = delta_e00(read(new, mark, rng, **how).lab, promise)
    return float(np.median(before)), float(np.median(fresh)), float(np.median(own))


def main() -> None:
    """Prints the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--strips", type=int, default=100)
    options = parser.parse_args()
    n = options.strips
    kinds: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
        "unchanged": ({}, ()), "power -3 %": ({"power": DROP}, HEAT), "focus 0.3 mm": ({"focus_mm": FOCUS_MM}, HEAT),
        "frequency -12 %": ({"change": {"freq_khz": 0.88}}, ("frequency",)), "spacing +8 %": ({"change": {"spacing_mm": 1.08}}, ("spacing",)),
        "chroma -20 %": ({"after": duller}, ("surface",)), "one patch scratched": ({"after": scratched}, ("scratched",)),
    }  # fmt: skip
    print(
        f"{n} strips each of {COLOURS} colours, {MARKS} marks; SIMULATED. Counts of alarms: watch or out; seen: of those, rightly attributed"
    )
    print(
        f"{'case':<18}{'what':<21}{'alarm':>18}{'out':>18}{'named rightly':>18}{'before':>8}{'after':>7}{'own':>6}{'ratio':>7}  named as"
    )
    total = {kind: Counter() for kind in kinds}
    makers = [from_demo, *((lambda laser=laser: from_virtual(laser)) for laser in cases())]
    for number, maker in enumerate(makers):
        name, model, mark = maker()
        chosen = choose_palette(model, COLOURS)
        promised = []
        for seed in range(n):
            first = read(chosen, mark, np.random.default_rng([number, seed]))
            promised.append(accepted(check_strip(chosen, first), 2, ""))
        for place, (kind, (how, right)) in enumerate(kinds.items()):
            how = dict(how)
            change = how.pop("after", None)
            count, named, values = Counter(), Counter(), []
            for seed in range(n):
                rng, ours = np.random.default_rng([number, seed, place + 1]), promised[seed]
                patches = read(ours, mark, rng, **how)
                patches = change(patches, rng) if change else patches
                check = check_strip(ours, patches)
                word = "scratched" if check.scratched and kind == "one patch scratched" else check.cause.name
                seen = check.verdict != "within" or kind == "one patch scratched"
                count.update(
                    alarm=check.verdict != "within", out=check.verdict == "out", seen=seen, right=seen and word in right
                )
                named.update([word] if seen else [])
                if check.verdict == "out" and len(values) < CORRECTED.get(kind, 0):
                    values.append(after(check, patches, model, mark, rng, **how))
            total[kind].update(count, n=n)
            before, came, own = np.nanmedian(values, axis=0) if values else (np.nan,) * 3
            told = share(count["right"], count["seen"]) if right and count["seen"] else ""
            said = f"{before:8.2f}{came:7.2f}{own:6.2f}{came / own:7.2f}" if values else " " * 28
            print(
                f"{name:<18}{kind:<21}{share(count['alarm'], n):>18}{share(count['out'], n):>18}{told:>18}{said}  {dict(named.most_common(4))}",
                flush=True,
            )
    for kind, count in total.items():
        told = share(count["right"], count["seen"]) if kinds[kind][1] and count["seen"] else ""
        print(
            f"{'all':<18}{kind:<21}{share(count['alarm'], count['n']):>18}{share(count['out'], count['n']):>18}{told:>18}"
        )


if __name__ == "__main__":
    main()
