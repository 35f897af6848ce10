"""A small palette on the SIMULATED laser of the demo, its curves taken from that laser itself, and strips of it."""

import dataclasses

import numpy as np

from tint.check.check import check_strip
from tint.check.correct import accepted
from tint.demo.laser import SimulatedLaser, demo_machine, demo_stock
from tint.measure.patches import Patches
from tint.palette.along import STEPS, Along
from tint.palette.palette import Palette, PaletteColour
from tint.setting import Setting

LASER = SimulatedLaser(demo_machine())
NAMES = ("dark purple", "blue", "light grey", "light blue-grey", "pale yellow", "pink")
SETTINGS = Setting(
    [20, 24, 26, 30, 34, 38],
    [1200, 1200, 1000, 900, 900, 700],
    [500, 300, 400, 250, 450, 300],
    [8, 14, 30, 14, 60, 30],
    0.002,
)
READ_SD = 0.25  # per Lab axis
FILM_SD = 0.008  # relative, from mark to mark


def along_truly():
    """Offsets of each colour as the simulated laser makes them."""
    here, steps = LASER.lab(SETTINGS), {name: np.array(values) for name, values in STEPS.items()}
    shifted = {
        name: [LASER.lab(SETTINGS.replace(**{name: getattr(SETTINGS, name) * np.exp(step)})) - here for step in values]
        for name, values in STEPS.items()
    }
    return [
        Along(steps, {name: np.stack([row[k] for row in rows]) for name, rows in shifted.items()})
        for k in range(len(NAMES))
    ]


def palette(**changes):
    """The palette, its promise what the laser makes, as a model might predict it with a radius of 2.5."""
    lab, along = LASER.lab(SETTINGS), along_truly()
    colours = tuple(PaletteColour(NAMES[k], SETTINGS[k], lab[k], 2.5, 1.0, along=along[k]) for k in range(len(NAMES)))
    values = {"name": "reserve signs (invented)", "machine": demo_machine(), "stock": demo_stock(), "colours": colours}
    return Palette(**{**values, "bare_lab": LASER.bare_lab(), "remarks": ("SIMULATED colours",), **changes})


def strip(of, seed, power=1.0, replicates=3, change=None, lab=None):
    """Patches of a strip: `power` scales the source, `change` alters the settings really marked, `lab` the colours read."""
    rng = np.random.default_rng(seed)
    table = np.repeat(of.setting.table(), replicates, axis=0)
    setting = Setting.from_table(table)
    marked = change(setting) if change else setting
    read = LASER.lab(marked, power, rng.normal(1, FILM_SD, len(table))) + rng.normal(0, READ_SD, (len(table), 3))
    read = lab(read) if lab else read
    n = len(table)
    facts = {"grid": "strip", "plate": f"s{seed}", "bare_lab": " ".join(f"{value:.2f}" for value in LASER.bare_lab())}
    return Patches(tuple(f"A{i + 1:02d}" for i in range(n)), setting, read.round(2), np.full(n, READ_SD), np.arange(n) + 1.0,
                   np.full((n, 2), np.nan), ("",) * n, facts)  # fmt: skip


def promised(seed=1):
    """The palette with a first strip accepted as its promise."""
    first = palette()
    return accepted(check_strip(first, strip(first, seed)), 2, "2026-03-14T09:00:00+01:00")


def with_lab(patches, row, lab):
    """The patches with the reading of one row replaced."""
    new = patches.lab.copy()
    new[row] = lab
    return dataclasses.replace(patches, lab=new)
