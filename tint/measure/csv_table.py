"""CSV tables of Lab or spectra, as tint hands them out, as offices save them, as instruments' programs export them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from tint.errors import FileError
from tint.measure.conditions import Conditions, from_facts
from tint.measure.instrument import MAX_ROWS, Reading, read_bytes
from tint.measure.spectrum import colours, lab_columns, wavelength_of
from tint.measure.table import Row, read_table

# columns that name a row
NAMES = ("patch", "id", "sample", "name", "sample_id", "sample_name", "sampleid", "samplename")
SETTLED = ("geometry", "mode", "illuminant", "observer", "scale")


def read_csv(path: str | Path, said: Conditions | None = None) -> Reading:
    """Reading of a CSV file: a column that names the patch, and L, a, b or one column per wavelength.

    Parameters
    ----------
    said : what the operator says of the measurement where the file does not

    Raises
    ------
    FileError
        Names the line, the column, what was found and what to do.

    Notes
    -----
    Columns may be parted by commas, semicolons or tabs, and with the latter two numbers may have decimal commas. Facts
    on top (`# geometry: 45/0`, `# illuminant: D65`, `# observer: 2`, `# mode: M1`, `# scale: percent`) say how it was
    measured; Lab is D50/2° where they say nothing. `sd` and `flag` are optional.
    """
    source = str(path)
    read_bytes(path)  # refuses what is too large for a reading, or empty
    facts, rows = read_table(path, needed=(), numbers=(), office=True)
    if len(rows) > MAX_ROWS:
        raise FileError(f"{source} has {len(rows)} rows; a reading has up to {MAX_ROWS}.")
    header = list(rows[0].cells)
    naming = [name for name in header if name.lower().replace(" ", "_") in NAMES]
    lab_names = lab_columns(header)
    waves = {name: nm for name in header if (nm := wavelength_of(name)) is not None}
    if len(set(waves.values())) < len(waves):
        raise FileError(f"{source}: two columns state the same wavelength. Drop one.")
    if lab_names is None and len(waves) < 2:
        raise FileError(_no_colour(source, header))
    conditions = from_facts(facts, source).filled(said or Conditions(), source)
    if len(waves) >= 2:
        conditions.demand(["scale"], source)
    spectra = _numbers(rows, list(waves)) if len(waves) >= 2 else None
    read = [_filled(row, [*(lab_names or ()), *waves, "sd"]) for row in rows]  # a scratched patch may be flagged unread
    lab = None if lab_names is None else _numbers(rows, lab_names, needed=[ok and spectra is None for ok in read])
    places = tuple(f"line {row.line}" for row in rows)
    found, made = colours(source, places, lab, np.array(list(waves.values())), spectra, conditions)
    return Reading(
        source, tuple(tuple(text for name in naming if (text := row.text(name))) for row in rows), places, found,
        np.array([_sd(row) for row in rows]), tuple(row.text("flag") for row in rows), _facts(facts, conditions, made),
    )  # fmt: skip


def _facts(facts: dict[str, str], conditions: Conditions, made: dict[str, str]) -> dict[str, str]:
    """The file's facts with what the operator added; a geometry keeps the remark its file gives it."""
    settled = {name: getattr(conditions, name) for name in ("geometry", "mode") if getattr(conditions, name)}
    kept = {key: value for key, value in facts.items() if key not in SETTLED and value}
    if facts.get("geometry", "").startswith(settled.get("geometry", "-")):
        settled["geometry"] = facts["geometry"]
    return {**kept, **settled, "illuminant": "D50", **made}


def _no_colour(source: str, header: list[str]) -> str:
    near = [name for name in header if name in ("l", "A", "B")]
    if near and "L" in header and "b" not in header:
        return f"{source}: columns L, a and b are needed. There is {near[0]!r}: rename it."
    return (
        f"{source}: column L, a or b is missing; a reading has L, a, b (CIELAB), or one column per wavelength such as nm400. "
        f"It has: {', '.join(header)[:80]}."
    )


def _filled(row: Row, columns: list[str]) -> bool:
    return any(row.text(column) for column in columns)


def _numbers(rows: list[Row], columns: list[str] | tuple[str, ...], needed: list[bool] | None = None) -> np.ndarray:
    """(n, columns) numbers, NaN where a cell is empty; where `needed`, an empty cell is refused."""
    needed = needed or [False] * len(rows)
    return np.array(
        [
            [row.number(name, None if must else math.nan) for name in columns]
            for row, must in zip(rows, needed, strict=True)
        ]
    )


def _sd(row: Row) -> float:
    value = row.number("sd", math.nan)
    if value < 0:
        raise row.wrong("sd", "is negative; it is a standard uncertainty as ΔE00, or empty")
    return value
