"""A table in a text file: its facts and rows, and every way it can be wrong told by line and column."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tint.errors import FileError
from tint.files.own import MOST_SIGNS
from tint.files.text import read_text
from tint.words import FIELDS, WORDS

OTHER_UNITS = (
    "w", "kw", "percent", "%", "mm_min", "m_s", "m_min", "mm_sec", "in_s", "ips", "hz", "mhz", "us", "µs", "ps", "fs", "s", "um", "µm", "in", "inch",
    "mil", "cm", "m", "rad", "mm", "ns", "khz", "pct", "deg", "°",
)  # fmt: skip
MAX_ROWS = 100_000
MAX_CELLS = 2_000_000  # 0.4 GB in memory; the largest plate of 1,000 patches with spectra by 1 nm has 0.4 million
MAX_COLUMNS = 2000  # a spectrum in steps of 1 nm has 401


@dataclass(frozen=True)
class Row:
    """One row of a table: its line in the file, and its cells by column; `comma` where numbers may have a decimal comma."""

    path: str
    line: int
    cells: dict[str, str]
    comma: bool = False

    def text(self, column: str) -> str:
        """Cell without surrounding blanks; "" where the column is not there."""
        return self.cells.get(column, "").strip()

    def number(self, column: str, empty: float | None = None) -> float:
        """Number of a cell; `empty` where the cell is empty.

        Raises
        ------
        FileError
            A word, a decimal comma, infinity, or an empty cell where a number is needed.
        """
        text = self.text(column)
        if not text:
            if empty is None:
                raise self.wrong(column, "is empty; a number is needed")
            return empty
        try:
            value = float(with_point(text) if self.comma else text.replace("−", "-"))
        except ValueError:
            if text.count(",") == 1 and text.replace(",", "", 1).lstrip("+-−").isdigit():
                raise self.wrong(column, f"{text!r} has a decimal comma; write {text.replace(',', '.')}") from None
            raise self.wrong(column, f"{text[:60]!r} is not a number") from None
        if math.isnan(value) and empty is not None:
            return empty
        if not math.isfinite(value):
            raise self.wrong(column, f"{text[:60]!r} is not a number")
        return value

    def wrong(self, column: str, problem: str) -> FileError:
        """Error that names file, line and column."""
        return FileError(f"{self.path} line {self.line}, column {column}: {problem}.")


def with_point(text: str) -> str:
    """Number text with a point where it had a decimal comma; for tables whose columns are not parted by commas.

    Examples
    --------
    >>> with_point("-12,5"), with_point("1.234,5")
    ('-12.5', '1.234,5')
    """
    text = text.replace("−", "-")
    return text.replace(",", ".") if text.count(",") == 1 and "." not in text else text


def read_table(
    path: str | Path, needed: Sequence[str], numbers: Sequence[str], *, office: bool = False, known: Sequence[str] = ()
) -> tuple[dict[str, str], list[Row]]:
    """Facts and rows of a comma-separated table.

    Parameters
    ----------
    needed : columns that must be there
    numbers : every column name tint knows with a unit; a look-alike in another unit is refused by name
    known : the columns there can be, in capitals or not; others are refused by name. Empty: any, as they are written
    office : columns may also be parted by semicolons or tabs, as offices write them; numbers may then have decimal commas

    Raises
    ------
    FileError
        Empty, a wrong separator, decimal commas, a column missing, doubled, not known or in another unit, a row too short or long.
    """
    path = str(path)
    text = read_text(path)
    if "\0" in text:
        raise FileError(f"{path} is not a text table. Save it as CSV (UTF-8, comma separated).")
    facts: dict[str, str] = {}
    lines = text.splitlines()
    start = 0
    while start < len(lines) and (lines[start].lstrip().startswith("#") or not lines[start].strip()):
        key, colon, value = lines[start].strip().lstrip("#").partition(":")
        if len(lines[start]) > MOST_SIGNS:
            raise FileError(f"{path} line {start + 1}: a fact of {len(lines[start]):,} signs; up to {MOST_SIGNS:,} can be.")
        if colon and key.strip():
            facts[key.strip()] = value.strip(" \t;" if office else None)
        start += 1
    if start == len(lines):
        raise FileError(f"{path} is empty: a header row and one row per line are needed.")
    separator = _separator(lines[start]) if office else ","
    header = _header(path, start + 1, lines[start], needed, numbers, separator, known)
    rows: list[Row] = []
    reader = csv.reader(io.StringIO("\n".join(lines[start + 1 :])), strict=True, delimiter=separator)
    try:
        for cells in reader:
            line = start + 1 + reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if len(rows) == MAX_ROWS:
                raise FileError(f"{path} has more than {MAX_ROWS} rows. Split it.")
            if (len(rows) + 1) * len(header) > MAX_CELLS:
                raise FileError(f"{path} has more than {MAX_CELLS:,} cells. Drop columns that are not needed, or split it.")
            if len(cells) != len(header):
                hint = " Decimal commas? Numbers need a point." if len(cells) > len(header) else ""
                raise FileError(f"{path} line {line} has {len(cells)} values for {len(header)} columns.{hint}")
            rows.append(Row(path, line, dict(zip(header, cells, strict=True)), separator != ","))
    except csv.Error as error:
        raise FileError(f"{path} line {start + 1 + reader.line_num}: {error}. Check the quotes.") from None
    if not rows:
        raise FileError(f"{path} has a header but no rows.")
    return facts, rows


def _separator(header: str) -> str:
    return max(",;\t", key=header.count)  # the comma where they are even


def _header(
    path: str, line: int, text: str, needed: Sequence[str], numbers: Sequence[str], separator: str, known: Sequence[str]
) -> list[str]:
    for sign, word in ((";", "semicolons"), ("\t", "tabs"), ("|", "upright strokes")):
        if sign != separator and text.count(sign) > text.count(separator):
            raise FileError(
                f"{path} line {line}: columns are parted by {word}; tint reads commas, and points in numbers. In the "
                "spreadsheet choose English number format and save as CSV (comma separated, UTF-8)."
            )
    try:
        header = [name.strip() for name in next(csv.reader([text], delimiter=separator))]
    except csv.Error:
        raise FileError(f"{path} line {line}: this is no header row of a table.") from None
    spelt = {name.lower(): name for name in known}
    header = [spelt.get(name.lower(), name) for name in header]
    if len(header) > MAX_COLUMNS:
        raise FileError(
            f"{path} line {line}: {len(header)} columns; a table has up to {MAX_COLUMNS}. Is it the right file?"
        )
    for name in header:
        if header.count(name) > 1 and name:
            raise FileError(f"{path} line {line}: column {name[:60]} is there twice. Drop one.")
    stems = {name.split("_")[0]: name for name in numbers if "_" in name}
    for name in header:
        stem, _, rest = re.sub(r"[ (\[_/]+", "_", name.lower()).rstrip(")]_").partition("_")
        meant = stems.get(stem)
        if (
            name not in numbers
            and meant
            and meant not in header
            and (rest in OTHER_UNITS or (not rest and meant in FIELDS))
        ):
            raise FileError(
                f"{path} line {line}: column {name[:60]!r} has a unit tint does not read; convert it to {meant}."
            )
    for name in needed:
        if name not in header:
            hint = ""
            if near := [found for found in header if found.lower() == name.lower()]:
                hint = f" There is {near[0]!r}: rename it."
            elif name in FIELDS and {"L", "a", "b"} <= set(header):
                hint = " A reading? Join it to its grid first: tint measure."
            said = f" ({WORDS[name]})" if name in WORDS else ""
            raise FileError(f"{path} line {line}: column {name}{said} is missing.{hint}")
    for name in header:
        if known and name and name not in known:
            raise FileError(
                f"{path} line {line}: column {name[:60]!r} is not known; there can be {', '.join(known)}. Rename or drop it."
            )
    return header
