"""The first grid of a stock: settings that fill the box evenly, inside every limit of the machine."""

from __future__ import annotations

import math

import numpy as np

from tint.errors import DataError, LimitError
from tint.plan.grid import Grid
from tint.plan.layout import GAP_MM, PATCH_MM, lay_out
from tint.process import process, spot_mm
from tint.setting import FIELDS, UNITS, WORDS, Machine, Setting, Stock

REPEATS = 4  # marks of the middle setting, spread over the plate: they tell repeatability and field effects apart
# Areal energies [J/mm²] worth scouting on steel: the named-colour table of the open repository
# MOPA_Laser_Stainless_Colors (MIT) runs from 7.9 to 22.5; widened by a factor of 1.6 either way.
AREAL_J_MM2 = (5.0, 36.0)
# Power [%], speed [mm/s], frequency [kHz], pulse width [ns] around the same table (18–30, 700–800, mostly 200–570, 6–60);
# a threefold to twelvefold span is what some 60 to 100 patches can learn. What the machine cannot do is cut off.
USUAL = {
    "power_pct": (15.0, 60.0),
    "speed_mm_s": (300.0, 2400.0),
    "freq_khz": (150.0, 1500.0),
    "pulse_ns": (4.0, 200.0),
}
SPACING_OF_SPOT = 1 / 25  # line spacing as a share of the spot: 0.002–0.003 mm for 60 µm in that table
MOST_PATCHES = 1000  # of 4096 candidates; a plate of 10,000 mm² holds a few hundred


def plan_grid(
    machine: Machine,
    stock: Stock,
    n: int = 60,
    *,
    ranges: dict[str, tuple[float, float]] | None = None,
    name: str = "plate 1",
    patch_mm: float = PATCH_MM,
    gap_mm: float = GAP_MM,
    seed: int = 0,
) -> Grid:
    """Grid of n patches that fills the box of settings evenly, inside every limit of machine and stock.

    Parameters
    ----------
    machine, stock : what it is to be marked on
    n : patches, the repeats of the middle setting among them
    ranges : (lowest, highest) by field name; equal numbers keep a field fixed. Fields left out take what usually
        colours steel, cut to what the machine can do; line spacing is 1/25 of the spot
    name : what to call the plate
    patch_mm, gap_mm : side of a patch, and bare metal between two [mm]
    seed : picks the settings and shuffles the marking order

    Raises
    ------
    DataError
        The plate or the field is too small, or no setting of the box is worth marking.
    LimitError
        A range the machine cannot do.

    Notes
    -----
    Candidates fill the box along the logarithm of each field (Sobol points); those whose areal energy leaves 5–36
    J/mm² are dropped unless the ranges were all stated; n are then picked so that each is as far as can be from those
    before. The marking order is shuffled, so that a drift of the laser is not mistaken for an effect of a setting.
    """
    if n < 12:
        raise DataError(f"a grid of {n} patches is too few to learn from; plan at least 12, better 48 or more.")
    ranges = dict(ranges or {})
    for field in ranges:
        if field not in FIELDS:
            raise DataError(f"{field} is not a field of a setting; known are {', '.join(FIELDS)}.")
    stated = {"power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm"} <= set(ranges)
    box = _box(machine, ranges)
    pool = _pool(machine, box, seed)
    if not stated:
        areal = process(pool, machine).areal_energy_j_mm2
        pool = pool[(areal >= AREAL_J_MM2[0]) & (areal <= AREAL_J_MM2[1])]
    repeats = REPEATS if n >= 24 else 2
    if n > MOST_PATCHES:
        raise DataError(f"{n} patches are more than a plan holds ({MOST_PATCHES}); use several plates.")
    if len(pool) < n - repeats + 1 and stated:
        raise DataError(
            f"only {len(pool)} different settings lie in this box, {n - repeats + 1} are needed. State wider ranges, or fewer patches (-n)."
        )
    if len(pool) < n - repeats + 1:
        raise DataError(
            f"only {len(pool)} settings of this box lie between {AREAL_J_MM2[0]:g} and {AREAL_J_MM2[1]:g} J/mm². "
            "State wider ranges, or all five of power, speed, frequency, pulse width and spacing to mark the box as it is."
        )
    chosen = _spread(pool, n - repeats + 1)
    table = np.concatenate([np.repeat(chosen.table()[:1], repeats, axis=0), chosen.table()[1:]])
    return lay_out(
        Setting.from_table(table),
        machine,
        stock,
        name=name,
        patch_mm=patch_mm,
        gap_mm=gap_mm,
        repeats=repeats,
        seed=seed,
    )


def _box(machine: Machine, ranges: dict[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    spacing = float(f"{spot_mm(machine) * SPACING_OF_SPOT:.1g}")
    limits = {
        "power_pct": machine.power_range_pct,
        "speed_mm_s": (0.0, machine.max_speed_mm_s),
        "freq_khz": machine.freq_khz,
        "pulse_ns": (machine.pulse_ns[0], machine.pulse_ns[-1]),
    }
    box = {"spacing_mm": (spacing, spacing), "passes": (1.0, 1.0), "focus_mm": (0.0, 0.0), "hatch_deg": (0.0, 0.0)}
    for field, usual in USUAL.items():
        low, high = max(usual[0], limits[field][0]), min(usual[1], limits[field][1])
        if field == "pulse_ns" and not machine.pulse_is_range and high >= low:
            widths = [width for width in machine.pulse_ns if low <= width <= high]
            low, high = (widths[0], widths[-1]) if widths else (high, low)
        # a machine wholly outside what is usual: take what it has
        box[field] = (low, high) if high >= low else (max(limits[field][0], 1e-3), limits[field][1])
    for field, (low, high) in ranges.items():
        allowed = limits.get(field)
        if not (math.isfinite(low) and math.isfinite(high)) or low > high:
            raise LimitError(f"range {low:g} to {high:g} of {WORDS[field]} cannot be; give lowest:highest.")
        if field in ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm", "passes") and low <= 0:
            raise LimitError(f"{WORDS[field]} starts above 0, found {low:g}.")
        if field == "passes" and (low != round(low) or high != round(high)):
            raise LimitError(f"passes {low:g}–{high:g} cannot be; they are whole numbers, such as 1:3.")
        if allowed and (low < allowed[0] * (1 - 1e-9) or high > allowed[1] * (1 + 1e-9)):
            raise LimitError(
                f"{WORDS[field]} {low:g}–{high:g} {UNITS[field]} is outside this machine ({allowed[0]:g}–{allowed[1]:g} {UNITS[field]})."
            )
        box[field] = (float(low), float(high))
    return box


def _pool(machine: Machine, box: dict[str, tuple[float, float]], seed: int) -> Setting:
    from scipy.stats import qmc

    varied = [field for field, (low, high) in box.items() if high > low]
    if not varied:
        raise DataError("no field varies; give at least one range such as --speed-mm-s 400:1600.")
    unit = qmc.Sobol(len(varied), seed=seed).random(4096)
    unit[0] = 0.5  # the middle of the box: the setting that is repeated
    columns = {field: np.full(len(unit), low) for field, (low, _) in box.items()}
    for share, field in zip(unit.T, varied, strict=True):
        low, high = box[field]
        if field == "pulse_ns" and not machine.pulse_is_range:
            widths = np.array([width for width in machine.pulse_ns if low * (1 - 1e-9) <= width <= high * (1 + 1e-9)])
            if not widths.size:
                raise LimitError(f"this machine has no pulse width from {low:g} to {high:g} ns.")
            columns[field] = widths[np.minimum((share * len(widths)).astype(int), len(widths) - 1)]
        elif field == "passes":
            columns[field] = np.minimum(np.floor(low + share * (high - low + 1)), high)
        elif field in ("focus_mm", "hatch_deg"):
            columns[field] = np.round(low + share * (high - low), 2 if field == "focus_mm" else 0)
        else:
            columns[field] = _dial(low * (high / low) ** share, low, high)
    return _each_once(Setting(**columns))


def _each_once(pool: Setting) -> Setting:
    """The pool without the settings that repeat one before: a coarse field gives the same few over and over."""
    _, first = np.unique(pool.table(), axis=0, return_index=True)
    return pool[np.sort(first)]


def _dial(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Values rounded to three digits, as a person types them, and kept inside the range."""
    digits = 10.0 ** (np.floor(np.log10(values)) - 2)
    return np.clip(np.round(np.round(values / digits) * digits, 6), low, high)


def _spread(pool: Setting, n: int) -> Setting:
    """n settings of the pool, the middle one first, each as far as can be from those before (in log units of the box)."""
    table = pool.table()
    logs = np.concatenate([np.log(table[:, :6]), table[:, 6:]], axis=1)
    width = np.ptp(logs, axis=0)
    logs = logs[:, width > 0] / width[width > 0]
    first = int(np.argmin(((logs - (logs.max(axis=0) + logs.min(axis=0)) / 2) ** 2).sum(axis=1)))
    chosen, distance = [first], np.full(len(logs), np.inf)
    for _ in range(n - 1):
        distance = np.minimum(distance, ((logs - logs[chosen[-1]]) ** 2).sum(axis=1))
        chosen.append(int(np.argmax(distance)))
    return pool[chosen]
