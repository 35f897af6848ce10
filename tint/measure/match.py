"""Rows of a reading given to the patches of a grid: by id, or by the order they were read in."""

from __future__ import annotations

import re

import numpy as np

from tint.errors import FileError
from tint.measure.instrument import BARE, Reading
from tint.measure.patches import Patches
from tint.measure.scan import BY_ID, PATTERNS, STARTS, scan
from tint.measure.spread import sd_of_mean
from tint.plan.grid import Grid


def match(grid: Grid, reading: Reading, rows: str = BY_ID, start: str = STARTS[0]) -> Patches:
    """Patches of a grid with the colours of a reading, in the grid's order; patches without a colour are left out.

    Parameters
    ----------
    rows : "id": by name; or a pattern of `scan.PATTERNS`, in which the rows follow each other over the plate
    start : corner the reading started at; with "id", where the names were given as if from the top left

    Raises
    ------
    FileError
        The reading is of another plate, an id is not on the grid, there are more or fewer rows than patches, or no colour.

    Notes
    -----
    A row named "bare" is the unmarked metal. Several rows of one patch are averaged, the good ones where some are
    flagged, and their spread goes into `sd`.
    """
    if reading.facts.get("plate", grid.mark) != grid.mark:
        raise FileError(
            f"{reading.source} was read from another plate ({reading.facts['plate']}); this grid is {grid.mark}. Name the grid it was marked from."
        )
    patch = _by_id(grid, reading, start) if rows == BY_ID else _by_order(grid, reading, rows, start)
    bare = np.flatnonzero(reading.bare & reading.read)
    groups: dict[int, list[int]] = {}
    for row, index in enumerate(patch):
        if index >= 0:
            groups.setdefault(int(index), []).append(row)
    if not groups:
        raise FileError(f"{reading.source} has no reading of any patch of {grid.name}: fill in L, a and b.")
    found = sorted(groups)
    means = [_mean(reading, groups[index]) for index in found]
    own = {"stock": grid.stock.name, "machine": grid.machine.name, "grid": grid.name, "plate": grid.mark}
    facts = {
        **reading.facts,
        **own,
        **({} if (rows, start) == (BY_ID, STARTS[0]) else {"rows": f"{rows} from {start}"}),
    }
    if bare.size:
        facts["bare_lab"] = " ".join(f"{value:.3f}" for value in reading.lab[bare].mean(axis=0))
    return Patches(
        tuple(grid.ids[i] for i in found), grid.setting[found], np.array([lab for lab, _, _ in means]),
        np.array([sd for _, sd, _ in means]), grid.order[found].astype(float), grid.xy_mm[found],
        tuple(flag for _, _, flag in means), facts,
    )  # fmt: skip


def _mean(reading: Reading, rows: list[int]) -> tuple[np.ndarray, float, str]:
    good = [row for row in rows if not reading.flags[row]]
    used = good or rows
    flag = "" if good else reading.flags[rows[0]]
    return reading.lab[used].mean(axis=0), sd_of_mean(reading.lab[used], reading.sd[used]), flag


def _by_id(grid: Grid, reading: Reading, start: str) -> np.ndarray:
    """(n,) index of each row's patch, −1 for bare metal and for rows not read."""
    meant = {
        _plain(grid.ids[named]): really
        for named, really in zip(scan(grid, PATTERNS[1]), scan(grid, PATTERNS[1], start), strict=True)
    }
    out = np.full(len(reading), -1)
    for row, labels in enumerate(reading.labels):
        if reading.bare[row] or not reading.read[row]:
            continue
        hits = {meant[_plain(label)] for label in labels if _plain(label) in meant}
        if len(hits) == 1:
            out[row] = hits.pop()
            continue
        named = " / ".join(repr(label[:40]) for label in labels) or "a row without a name"
        said = "names two patches" if hits else f"is not on {grid.name} ({grid.ids[0]} to {grid.ids[-1]}, or {BARE})"
        raise FileError(
            f"{reading.source} {reading.places[row]}: {named} {said}. Name the patch, or, where rows follow the plate, say how: "
            f"--rows {'|'.join(PATTERNS)}."
        )
    return out


def _plain(label: str) -> str:
    """Id without what does not tell patches apart: blanks, small letters, zeros in front of the number."""
    return re.sub(r"^([A-Z]+)0+(?=\d)", r"\1", label.strip().upper())


def _by_order(grid: Grid, reading: Reading, rows: str, start: str) -> np.ndarray:
    steps = scan(grid, rows, start)
    at = np.flatnonzero(~reading.bare)
    if len(at) != len(steps):
        times = (
            f" Read {len(at) // len(steps)} times? Part it into files and use --merge."
            if len(at) and len(at) % len(steps) == 0
            else ""
        )
        raise FileError(
            f"{reading.source} has {len(at)} rows for {len(steps)} patches of {grid.name}; in {rows} order each patch needs its row, "
            f"left empty where it was not read.{times}"
        )
    out = np.full(len(reading), -1)
    out[at] = steps
    names = {_plain(name): index for index, name in enumerate(grid.ids)}
    for row in at:
        for label in reading.labels[row]:
            if names.get(_plain(label), out[row]) != out[row]:
                raise FileError(
                    f"{reading.source} {reading.places[row]} is named {label!r}, but by --rows {rows} it is {grid.ids[out[row]]}. "
                    "Leave --rows away to go by the names, or drop the names."
                )
    out[~reading.read] = -1
    return out
