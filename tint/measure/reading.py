"""An instrument's table of Lab readings, joined to the grid that was marked."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from tint.errors import FileError
from tint.lab import lab_d50_from, lab_problem
from tint.measure.patches import COLOUR, Patches, Row, read_table, white_of
from tint.plan.grid import Grid

BARE = "bare"  # id of a row that holds the unmarked metal


def patches_from_reading(grid: Grid, path: str | Path) -> Patches:
    """Patches of a grid with the colours of a CSV: columns `patch,L,a,b`, optionally `sd` and `flag`.

    Rows are matched by patch id, in any order; a row named "bare" is the unmarked metal. Several rows of one patch
    are averaged, and their spread goes into `sd`. Patches without a row are left out.

    Raises
    ------
    FileError
        Names line and column; an id that is not on the grid; no row that fits.
    """
    facts, rows = read_table(path, needed=("patch", *COLOUR), numbers=(*COLOUR, "sd"))
    white = white_of(facts, str(path))
    readings: dict[str, list[np.ndarray]] = {}
    sd: dict[str, list[float]] = {}
    flags: dict[str, str] = {}
    known = {*grid.ids, BARE}
    if facts.get("plate", grid.mark) != grid.mark:
        raise FileError(
            f"{path} was read from another plate ({facts['plate']}); this grid is {grid.mark}. Name the grid it was marked from."
        )
    for row in rows:
        name = row.text("patch")
        if not any(row.text(column) for column in (*COLOUR, "sd", "flag")):
            continue  # a patch not read, as in the table `tint grid` hands out
        if name not in known:
            raise row.wrong("patch", f"{name!r} is not on {grid.name} ({grid.ids[0]} to {grid.ids[-1]}, or {BARE})")
        readings.setdefault(name, []).append(_lab(row, white))
        stated = row.number("sd", math.nan)
        if stated < 0:
            raise row.wrong("sd", "is negative; it is a standard uncertainty as ΔE00, or empty")
        sd.setdefault(name, []).append(stated)
        flags[name] = flags.get(name) or row.text("flag")
    found = [i for i, name in enumerate(grid.ids) if name in readings]
    if not found:
        raise FileError(f"{path} has no reading of any patch of {grid.name}: fill in L, a and b.")
    ids = tuple(grid.ids[i] for i in found)
    if BARE in readings:
        facts = {**facts, "bare_lab": " ".join(f"{value:.3f}" for value in np.mean(readings[BARE], axis=0))}
    if white != "D50":
        facts = {**facts, "adapted": f"from {white} to D50 (Bradford)"}
    own = {"stock": grid.stock.name, "machine": grid.machine.name, "grid": grid.name, "plate": grid.mark}
    facts = {**facts, **own, "illuminant": "D50"}
    return Patches(
        ids, grid.setting[found], np.array([np.mean(readings[name], axis=0) for name in ids]),
        np.array([_sd(readings[name], sd[name]) for name in ids]), grid.order[found].astype(float), grid.xy_mm[found],
        tuple(flags[name] for name in ids), facts,
    )  # fmt: skip


def _lab(row: Row, white: str) -> np.ndarray:
    lab = np.array([row.number(name) for name in COLOUR])
    if problem := lab_problem(lab):
        raise FileError(f"{row.path} line {row.line}: {problem}")
    return lab if white == "D50" else lab_d50_from(lab, white)


def _sd(readings: list[np.ndarray], stated: list[float]) -> float:
    """Standard uncertainty [ΔE00] of the mean of readings: by their spread, or as stated, whichever is larger; NaN unknown.

    Two readings that happen to agree say nothing: a spread of 0 counts as unknown.
    """
    known = [value for value in stated if not math.isnan(value)]
    said = math.sqrt(sum(value**2 for value in known) / len(known) / len(readings)) if known else math.nan
    if len(readings) < 2:
        return said
    from tint.lab import delta_e00

    mean = np.mean(readings, axis=0)
    spread = float(np.sqrt(np.sum(delta_e00(readings, mean) ** 2) / (len(readings) - 1) / len(readings)))
    return float(np.fmax(spread or math.nan, said))
