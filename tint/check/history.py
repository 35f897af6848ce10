"""The record beside a palette: every strip checked and every version written, in one SQLite file that only grows.

Rows are added in transactions that reach the disk before they count; triggers refuse to change or delete one. Order is the order of
arrival, whatever a clock says. A version is recorded before its file is written, so a disk that fills up loses nothing.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
import math
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint.check.judged import Check
from tint.errors import DataError, FileError
from tint.files.own import json_from, json_text, reading
from tint.files.text import MAX_TEXT_BYTES
from tint.palette.lineage import digest
from tint.palette.palette import VERSION, Palette, palette_from

FILE_NAME = "palette-history.sqlite"  # one for all palettes of a folder
WORK_S = 10.0  # a hundred thousand strips are read in less
BUSY_S = 20.0  # to wait for another tint that is writing; a row takes some milliseconds
FORMAT = 1
APPLICATION = 0x74696E74  # "tint", where SQLite files say whose they are
_SCHEMA = """
CREATE TABLE IF NOT EXISTS versions (
  id INTEGER PRIMARY KEY AUTOINCREMENT, line TEXT NOT NULL, version INTEGER NOT NULL, digest TEXT NOT NULL, parent TEXT NOT NULL,
  date TEXT NOT NULL, reason TEXT NOT NULL, strip TEXT NOT NULL, palette TEXT NOT NULL, UNIQUE (line, version, digest));
CREATE TABLE IF NOT EXISTS checks (
  id INTEGER PRIMARY KEY AUTOINCREMENT, line TEXT NOT NULL, version INTEGER NOT NULL, digest TEXT NOT NULL, date TEXT NOT NULL,
  strip TEXT NOT NULL, verdict TEXT NOT NULL, cause TEXT NOT NULL, heat_pct REAL, heat_sd_pct REAL, watch_pct REAL, out_pct REAL,
  ewma_pct REAL, ewma_limit_pct REAL, median_de00 REAL NOT NULL, max_de00 REAL NOT NULL, tolerance_de00 REAL, colours TEXT NOT NULL,
  patches TEXT NOT NULL);
""" + "\n".join(
    f"CREATE TRIGGER IF NOT EXISTS {table}_{verb.lower()} BEFORE {verb} ON {table} "
    "BEGIN SELECT RAISE(ABORT, 'the history only grows'); END;"
    for table in ("versions", "checks") for verb in ("UPDATE", "DELETE")
)  # fmt: skip
_NUMBERS = (
    "heat_pct",
    "heat_sd_pct",
    "watch_pct",
    "out_pct",
    "ewma_pct",
    "ewma_limit_pct",
    "median_de00",
    "max_de00",
    "tolerance_de00",
)


@dataclass(frozen=True)
class VersionRow:
    """A version of a palette as recorded."""

    version: int
    digest: str
    parent: str
    date: str
    reason: str
    strip: str


@dataclass(frozen=True)
class CheckRow:
    """A strip as recorded; numbers that were not known are NaN.

    Attributes
    ----------
    number : counts the checks of a history file, in order of arrival
    colours : per colour its name, Lab, ΔE00, limits and verdict
    readings : signs that tell the strip's table from every other
    """

    number: int
    version: int
    digest: str
    date: str
    strip: str
    verdict: str
    cause: str
    heat_pct: float
    heat_sd_pct: float
    watch_pct: float
    out_pct: float
    ewma_pct: float
    ewma_limit_pct: float
    median_de00: float
    max_de00: float
    tolerance_de00: float
    colours: tuple[dict[str, Any], ...]
    readings: str = ""


@dataclass(frozen=True)
class History:
    """Versions and checks of one palette, each in order of arrival."""

    versions: tuple[VersionRow, ...]
    checks: tuple[CheckRow, ...]

    def heat_pct(self, palette: Palette, patches_csv: str = "") -> tuple[float, ...]:
        """Heat shifts [%] of the strips of one version so far, each once however often it was checked, the one at hand left out."""
        last = {row.readings: row.heat_pct for row in self.checks if row.digest == palette.digest}
        last.pop(digest(patches_csv), None)
        return tuple(value for value in last.values() if not math.isnan(value))

    @property
    def clock_set_back(self) -> bool:
        """True where a row bears an earlier time than the one before it."""
        return any(
            _moment(later.date) < _moment(before.date)
            for before, later in zip(self.checks, self.checks[1:], strict=False)
        )


def history_path(palette_path: str | Path) -> Path:
    """Path of the history beside a palette's file."""
    return Path(palette_path).absolute().parent / FILE_NAME


def now() -> str:
    """Date and time of this place with its offset, as ISO 8601."""
    return datetime.datetime.now().astimezone().isoformat(timespec="seconds")


def record_check(path: str | Path, check: Check, patches_csv: str, date: str) -> int:
    """Number of the check, added to the history with the palette it judged.

    Parameters
    ----------
    patches_csv : the strip's table as it was read, kept so that it can be judged again

    Raises
    ------
    FileError
        The place cannot be written, the disk is full, or another tint writes for longer than 20 s.
    """
    heat = check.heat
    numbers = (
        [None] * 6
        if heat is None
        else [heat.pct, heat.sd_pct, heat.watch_pct, heat.out_pct, heat.ewma_pct, heat.ewma_limit_pct]
    ) + [float(np.median(check.de00)), float(check.de00.max()), check.tolerance_de00]
    colours = [
        {"number": item.number, "name": item.name, "marks": item.marks, "lab": item.lab.round(3).tolist(),
         "promise_lab": item.promise_lab.round(3).tolist(), "de00": round(item.de00, 3), "watch_de00": round(item.watch_de00, 3),
         "out_de00": round(item.out_de00, 3), "verdict": item.verdict}
        for item in check.colours
    ]  # fmt: skip
    palette = check.palette
    with _writing(path) as base:
        _remember(base, palette, date)
        row = base.execute(
            f"INSERT INTO checks (line, version, digest, date, strip, verdict, cause, {', '.join(_NUMBERS)}, colours, patches) "
            f"VALUES ({', '.join('?' * (len(_NUMBERS) + 9))})",
            (palette.line, palette.lineage.version, palette.digest, date, check.strip, check.verdict, check.cause.name, *numbers,
             json.dumps(colours, ensure_ascii=False), patches_csv),
        )  # fmt: skip
        return int(row.lastrowid or 0)


def add_version(path: str | Path, parent: Palette, make: Callable[[int], Palette], date: str) -> Palette:
    """Palette that `make` gives for the next free version number, recorded with its parent.

    Raises
    ------
    FileError
        As `record_check`.
    """
    with _writing(path) as base:
        _remember(base, parent, date)
        (last,) = base.execute("SELECT MAX(version) FROM versions WHERE line = ?", (parent.line,)).fetchone()
        palette = make(max(int(last or 0), parent.lineage.version) + 1)
        _remember(base, palette, date)
    return palette


def read_history(path: str | Path, palette: Palette) -> History:
    """History of a palette and all it descends from or that descends from it; empty where none was begun.

    Raises
    ------
    FileError
        Not a history tint wrote, newer than this tint, or damaged.
    """
    if not Path(path).exists():
        return History((), ())
    columns = "id, version, digest, date, strip, verdict, cause, " + ", ".join(_NUMBERS) + ", colours, patches"
    with _reading(path) as base, reading(path, "the history.", _damaged(path), also=(RecursionError,)):
        versions = base.execute(
            "SELECT version, digest, parent, date, reason, strip FROM versions WHERE line = ? ORDER BY id",
            (palette.line,),
        ).fetchall()
        checks = base.execute(f"SELECT {columns} FROM checks WHERE line = ? ORDER BY id", (palette.line,)).fetchall()
        return History(
            tuple(VersionRow(int(version), *_texts(row)) for version, *row in versions),
            tuple(_check_row(*row) for row in checks),
        )


def _check_row(*row: Any) -> CheckRow:
    values: dict[str, Any] = dict(zip(CheckRow.__dataclass_fields__, row, strict=True))
    _texts([values[name] for name in ("digest", "date", "strip", "verdict", "cause", "readings")])
    _moment(values["date"])
    values |= {name: math.nan if values[name] is None else _finite(values[name]) for name in _NUMBERS}
    colours = tuple(_colour(item) for item in json_from(values["colours"], "a row"))
    return CheckRow(**{**values, "colours": colours, "readings": digest(values["readings"])})


def _colour(item: dict[str, Any]) -> dict[str, Any]:
    """One colour of a strip as `record_check` wrote it; raises where it is of another kind."""
    kinds: dict[str, Callable[[Any], Any]] = {"number": int, "marks": int, "name": str, "verdict": str, "lab": _lab, "promise_lab": _lab}
    numbers = dict.fromkeys(("de00", "watch_de00", "out_de00"), _finite)
    return {name: kind(item[name]) for name, kind in (kinds | numbers).items()}


def _lab(values: list[float]) -> list[float]:
    lightness, a, b = values
    return [_finite(lightness), _finite(a), _finite(b)]


def _finite(value: Any) -> float:
    if not math.isfinite(value):
        raise ValueError("a number is needed")
    return float(value)


def _texts(values: Sequence[Any]) -> Sequence[str]:
    if not all(isinstance(value, str) for value in values):
        raise TypeError("texts are needed")
    return values


def _damaged(path: str | Path) -> str:
    return f"{path} is damaged: a row is not as tint writes it. Move it away; a new one begins with the next check."


def recorded_palettes(path: str | Path, palette: Palette) -> tuple[Palette, ...]:
    """All versions of a palette as recorded, the first one first."""
    if not Path(path).exists():
        return ()
    with _reading(path) as base:
        rows = base.execute("SELECT palette FROM versions WHERE line = ? ORDER BY id", (palette.line,)).fetchall()
    with reading(path, "a palette in the history.", _damaged(path), also=(RecursionError,)):
        return tuple(palette_from(json_from(text, str(path)), str(path)) for (text,) in rows)


def recorded_version(path: str | Path, palette: Palette, version: int) -> Palette:
    """Palette exactly as version `version` was recorded; where a file was edited by hand, the one tint wrote first.

    Raises
    ------
    DataError
        No such version in the history.
    """
    found = [item for item in recorded_palettes(path, palette) if item.lineage.version == version]
    if not found:
        known = sorted({item.lineage.version for item in recorded_palettes(path, palette)})
        said = (
            f"known are {', '.join(map(str, known))}"
            if known
            else "nothing is recorded yet; tint check begins a history"
        )
        raise DataError(f"version {version} of {palette.name} is not in {path}: {said}.")
    return found[0]


def history_csv(history: History) -> str:
    """CSV text of a history: one row per colour of every check."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    own = ("number", "name", "marks", "de00", "watch_de00", "out_de00", "verdict")
    writer.writerow(
        ["check", "version", "digest", "date", "strip", "verdict", "cause", *_NUMBERS, "colour", *(f"colour_{name}" for name in own[1:]),
         "L", "a", "b", "promise_L", "promise_a", "promise_b"]
    )  # fmt: skip
    for row in history.checks:
        numbers = ["" if math.isnan(value) else round(value, 4) for value in (getattr(row, name) for name in _NUMBERS)]
        for item in row.colours:
            writer.writerow(
                [row.number, row.version, row.digest, row.date, row.strip, row.verdict, row.cause, *numbers, *(item[name] for name in own),
                 *item["lab"], *item["promise_lab"]]
            )  # fmt: skip
    return out.getvalue()


def _remember(base: sqlite3.Connection, palette: Palette, date: str) -> None:
    """Records a version where it is not there yet."""
    lineage = palette.lineage
    body = {**palette.as_dict(), "lineage": {**lineage.as_dict(), "line": palette.line}}
    base.execute(
        "INSERT OR IGNORE INTO versions (line, version, digest, parent, date, reason, strip, palette) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (palette.line, lineage.version, palette.digest, lineage.parent, lineage.date or date,
         "edited by hand" if palette.edited else lineage.reason or "chosen", lineage.strip, json_text("palette", VERSION, body)),
    )  # fmt: skip


@contextmanager
def _writing(path: str | Path) -> Iterator[sqlite3.Connection]:
    with _told(path, "write"), closing(sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)) as base:
        _bound(base)
        base.execute("PRAGMA synchronous = EXTRA")
        base.execute("BEGIN IMMEDIATE")
        try:
            _own(base, path)
            for statement in _statements():
                base.execute(statement)
            base.execute(f"PRAGMA application_id = {APPLICATION}")
            base.execute(f"PRAGMA user_version = {FORMAT}")
            yield base
            base.execute("COMMIT")
        except BaseException:
            if base.in_transaction:
                base.execute("ROLLBACK")
            raise


@contextmanager
def _reading(path: str | Path) -> Iterator[sqlite3.Connection]:
    with _told(path, "read"), closing(sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)) as base:
        _bound(base)
        _own(base, path)
        yield base


def _bound(base: sqlite3.Connection) -> None:
    """Bounds what a file that is not as tint wrote it can cost: the size of a value, and the work of a statement."""
    base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MAX_TEXT_BYTES)
    until = time.monotonic() + BUSY_S + WORK_S
    base.set_progress_handler(lambda: int(time.monotonic() > until), 100_000)  # every 100,000 steps, some milliseconds


def _own(base: sqlite3.Connection, path: str | Path) -> None:
    """Nothing; raises where the file is not a history, or one of a newer tint."""
    (application,), (version,) = (
        base.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version")
    )
    (tables, views) = base.execute("SELECT COUNT(*), COALESCE(SUM(type = 'view'), 0) FROM sqlite_master").fetchone()
    if tables and (application != APPLICATION or views):
        raise FileError(f"{path} is a database, but not a history tint wrote. Move it away.")
    if version > FORMAT:
        raise FileError(
            f"{path} was written by a newer tint (history {version}; this one reads {FORMAT}). Update tint."
        )


def _statements() -> list[str]:
    out, held = [], ""
    for line in _SCHEMA.strip().splitlines():
        held += line + "\n"
        if sqlite3.complete_statement(held):
            out.append(held)
            held = ""
    return out


@contextmanager
def _told(path: str | Path, verb: str) -> Iterator[None]:
    """Block whose SQLite errors become one line."""
    try:
        yield
    except sqlite3.OperationalError as error:
        said = str(error).replace("attempt to write a readonly database", "this file or its folder may not be written")
        if said == "interrupted":
            raise FileError(f"{path} takes too long to read: it is damaged, or not as tint writes it. Move it away.") from None
        if "locked" in said:
            raise FileError(f"cannot {verb} {path}: another tint is writing. Try again.") from None
        barred = "may not be written" in said or "unable to open" in said
        advice = f"{'' if barred else 'free space or '}take another place, or add --no-record to only look"
        raise FileError(
            f"cannot {verb} {path}: {said}. Nothing was lost; {advice}."
        ) from None
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise FileError(
            f"{path} is damaged or not a history ({error}). Move it away; a new one begins with the next check."
        ) from None
    except OSError as error:
        raise FileError(f"cannot {verb} {path}: {error.strerror or error}.") from None


def _moment(text: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(text).astimezone()  # a date without an offset is of this place
