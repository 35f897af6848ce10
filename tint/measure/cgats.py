"""CGATS.17 / ISO 28178 text files, as most colour instruments' programs export them: Lab or spectra.

The format: keyword lines, the names of the columns between BEGIN_DATA_FORMAT and END_DATA_FORMAT, rows between BEGIN_DATA
and END_DATA, then perhaps another table. Names are quoted where they hold blanks; "#" starts a remark.
"""

from __future__ import annotations

import dataclasses
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tint.errors import FileError
from tint.measure.conditions import Conditions, stated
from tint.measure.instrument import MAX_ROWS, Reading, read_bytes
from tint.measure.spectrum import colours, lab_columns, wavelength_of
from tint.measure.table import with_point

MAX_TABLES = 100
# of one keyword, and signs of one value: what lies beyond says nothing of a measurement
MAX_VALUES, MAX_VALUE = 20, 500
MAX_FIELDS = 2000  # two per wavelength at 1 nm steps, and some
# Columns that name a row, most telling last; blanks, strokes and capitals do not count
NAMES = ("sampleid", "samplenumber", "sampleno", "id", "samplename", "name", "patch", "samplelocation", "sampleloc")
# Keywords by what they tell. ISO 28178 names MEASUREMENT_GEOMETRY, WEIGHTING_FUNCTION, MEASUREMENT_SOURCE, FILTER and
# POLARIZATION; the others are variations met in files (from memory).
GEOMETRY = ("MEASUREMENT_GEOMETRY", "GEOMETRY", "DEVICE_GEOMETRY", "INSTRUMENT_GEOMETRY", "DIFFUSE_GEOMETRY")
MODE = ("MEASUREMENT_CONDITION", "MEASUREMENT_MODE", "MEASUREMENT_CONDITIONS", "ILLUMINATION_CONDITION", "MODE")
ILLUMINANT = ("ILLUMINANT", "ILLUMINATION", "ILLUMINATION_NAME", "ILLUM")
OBSERVER = ("OBSERVER", "OBSERVER_ANGLE", "STANDARD_OBSERVER", "OBSERVER_NAME")
SCALE = ("SPECTRAL_NORM", "SPECTRAL_SCALE", "SCALE")
KEPT = {
    "ORIGINATOR": "originator",
    "CREATED": "date",
    "INSTRUMENTATION": "instrument",
    "SERIAL": "serial",
    "DESCRIPTOR": "description",
}


@dataclass
class Table:
    """One table of a file: its keywords, column names, and rows of texts, each with its line."""

    keywords: dict[str, list[str]]
    columns: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    began: int = 0

    def first(self, names: tuple[str, ...]) -> str:
        """First value of any of the keywords; "" where none is there."""
        return next((value for name in names for value in self.keywords.get(name, ()) if value), "")


def read_cgats(path: str | Path, said: Conditions | None = None, table: int | None = None) -> Reading:
    """Reading of a CGATS.17 / ISO 28178 text file.

    Parameters
    ----------
    said : what the operator says of the measurement where the file does not
    table : which of several tables with colours; 1 is the first

    Raises
    ------
    FileError
        Names the line, what was found and what to do; a file that states no geometry is refused unless `said` does.
    """
    source, text = str(path), _text(path)
    found = [one for one in _tables(source, text) if _spectral(one.columns) or lab_columns(one.columns)]
    chosen = _choose(source, found, table, said or Conditions())
    return _reading(source, chosen, said or Conditions())


def _text(path: str | Path) -> str:
    try:
        text = read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileError(f"{path} is not UTF-8 text. Open it in a text editor and save it as UTF-8.") from None
    if "\0" in text:
        raise FileError(f"{path} is not a CGATS text file: it holds zero bytes. Export the readings again.")
    return text


def _tables(source: str, text: str) -> list[Table]:
    """Tables of the file; each takes over the keywords of those before it."""
    tables, current, inside = [], Table({}), ""
    pending: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        word = bare.split(maxsplit=1)[0].upper() if bare else ""
        if not bare or (word.startswith("#") if inside != "data" else word == "#"):  # "#1" names a sample
            continue
        if word in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
            if inside:
                raise FileError(
                    f"{source} line {number}: {word} inside another block; END_{inside.upper()} is missing before it."
                )
            inside, current.began = ("data_format", number) if word == "BEGIN_DATA_FORMAT" else ("data", number)
            pending = []
        elif word == "END_DATA_FORMAT":
            current.columns = [cell for at, part in pending for cell in _cells(source, at, part)]
            inside = ""
            if not 0 < len(current.columns) <= MAX_FIELDS:
                raise FileError(
                    f"{source} line {number}: {len(current.columns)} column names; 1 to {MAX_FIELDS} can be."
                )
        elif word == "END_DATA":
            current.rows = _rows(source, current, pending)
            tables.append(current)
            if len(tables) > MAX_TABLES:
                raise FileError(f"{source} has more than {MAX_TABLES} tables. Is it the right file?")
            current, inside = Table({name: list(values) for name, values in current.keywords.items()}), ""
            current.keywords.pop("NUMBER_OF_SETS", None)
        elif inside:
            pending.append((number, line))
        else:
            _keyword(current, source, number, bare)
    if inside:
        raise FileError(f"{source}: END_{inside.upper()} is missing; the file was cut short. Export it again.")
    if not tables:
        raise FileError(f"{source} has no BEGIN_DATA block: no CGATS file with readings. Export the readings again.")
    return tables


def _keyword(table: Table, source: str, number: int, line: str) -> None:
    cells = _cells(source, number, line)
    if len(cells) > 1:
        name, value = cells[0].upper(), " ".join(cells[1:])
        new = name not in table.keywords or name in ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS")
        if name == "KEYWORD":
            return  # it announces a keyword of one's own, and says nothing
        table.keywords[name] = [value[:MAX_VALUE], *([] if new else table.keywords[name])][:MAX_VALUES]


# without backtracking: a quoted text of 15 MB would take 2 GB to remember each sign it could go back to
_CELL = re.compile(r'"((?:[^"]++|"")*+)"(?=\s|$)|([^\s"]\S*)')


def _cells(source: str, number: int, line: str) -> list[str]:
    """Words of a line; a quoted one is one word, "" in it a quotation mark, and "#" after a blank starts a remark."""
    cells: list[str] = []
    at = 0
    while at < len(line):
        if line[at].isspace():
            at += 1
            continue
        if line[at] == "#" and cells:
            break
        match = _CELL.match(line, at)
        if not match:
            raise FileError(f"{source} line {number}: a quotation mark is not closed. Mend that line, or export again.")
        cells.append(match[1].replace('""', '"') if match[1] is not None else match[2])
        at = match.end()
    return cells


def _rows(source: str, table: Table, lines: list[tuple[int, str]]) -> list[tuple[int, list[str]]]:
    """Rows as the column names cut them: a line each, or wrapped over several where the stated number of sets agrees."""
    width = len(table.columns)
    if not width:
        raise FileError(f"{source} line {table.began}: BEGIN_DATA without column names before it (BEGIN_DATA_FORMAT).")
    said = table.first(("NUMBER_OF_SETS",))
    if said and not said.isdecimal():
        raise FileError(f"{source}: NUMBER_OF_SETS {said[:40]!r} is not a whole number.")
    sets = int(said[:9]) if said else None
    rows = [(number, _row(source, number, line, width)) for number, line in lines]
    rows = [(number, cells) for number, cells in rows if cells]
    wrong = next(((number, cells) for number, cells in rows if len(cells) != width), None)
    if wrong and sets and sum(len(cells) for _, cells in rows) == sets * width:
        flat = [(number, cell) for number, cells in rows for cell in cells]
        rows = [(flat[i][0], [cell for _, cell in flat[i : i + width]]) for i in range(0, len(flat), width)]
    elif wrong:
        raise FileError(
            f"{source} line {wrong[0]} has {len(wrong[1])} values for {width} columns. Quote names that hold blanks, or export again."
        )
    if sets is not None and len(rows) != sets:
        raise FileError(
            f"{source}: NUMBER_OF_SETS says {sets}, but there are {len(rows)} rows. Was it cut short? Export it again."
        )
    if len(rows) > MAX_ROWS:
        raise FileError(f"{source} has {len(rows)} rows; a reading has up to {MAX_ROWS}.")
    return rows


def _row(source: str, number: int, line: str, width: int) -> list[str]:
    by_tab = [cell.strip() for cell in line.strip("\r\n").split("\t")]
    if len(by_tab) == width > 1:  # names with blanks need no quotes where tabs part the columns
        return [cell[1:-1].replace('""', '"') if cell[:1] == cell[-1:] == '"' else cell for cell in by_tab]
    return _cells(source, number, line)


def _choose(source: str, tables: list[Table], number: int | None, said: Conditions) -> Table:
    if not tables:
        raise FileError(
            f"{source} has no table with Lab or spectra. Export it with LAB_L LAB_A LAB_B, or with spectral values."
        )
    if number is not None:
        if not 1 <= number <= len(tables):
            raise FileError(f"{source} has {len(tables)} tables with colours; --table {number} is not there.")
        return tables[number - 1]
    if len(tables) > 1:
        modes = [_conditions(source, one).mode for one in tables]
        fitting = [one for one, mode in zip(tables, modes, strict=True) if said.mode and mode == said.mode]
        if len(fitting) == 1:
            return fitting[0]
        told = f" (modes {', '.join(mode or 'unsaid' for mode in modes[:8])})" if any(modes) else ""
        raise FileError(
            f"{source} has {len(tables)} tables with colours{told}. Say which: --table 1 to --table {len(tables)}."
        )
    return tables[0]


def _conditions(source: str, table: Table) -> Conditions:
    """How the table was measured, by its keywords; nothing is taken for granted where they are silent."""
    words = {name: table.first(names) for name, names in
             (("geometry", GEOMETRY), ("mode", MODE), ("illuminant", ILLUMINANT), ("observer", OBSERVER), ("scale", SCALE))}  # fmt: skip
    for text in table.keywords.get("WEIGHTING_FUNCTION", []):
        name, _, value = text.partition(",")
        key = {"ILLUMINANT": "illuminant", "OBSERVER": "observer"}.get(name.strip().upper())
        if key and value.strip():
            words[key] = words[key] or value.strip()
    everything = " ".join(table.keywords.get("MEASUREMENT_SOURCE", []) + table.keywords.get("INSTRUMENTATION", []))
    pairs = dict(re.findall(r"(\w+)\s*=\s*([^\s,;]+)", everything))
    for key, names in (("illuminant", ("Illumination", "Illuminant")), ("observer", ("ObserverAngle", "Observer")),
                       ("geometry", ("Geometry", "MeasurementGeometry")), ("mode", ("MeasurementCondition", "Mode"))):  # fmt: skip
        words[key] = words[key] or next((pairs[name] for name in names if name in pairs), "")
    modes = set(re.findall(r"\bM[0-3]\b", words["mode"] or everything))
    polarised = table.first(("POLARIZATION", "POLARISATION")).strip().lower() in ("yes", "on", "true", "crossed")
    words["mode"] = modes.pop() if len(modes) == 1 else "M3" if polarised else ""
    if re.fullmatch(r"[\d.]+", words["scale"]):
        words["scale"] = {1.0: "one", 100.0: "percent"}.get(_float(words["scale"]), words["scale"])
    return stated(**words, where=source)


def _float(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def _spectral(columns: list[str]) -> list[tuple[int, float]]:
    """Positions and wavelengths [nm] of columns that name theirs; [] where fewer than two do."""
    found = [(i, nm) for i, name in enumerate(columns) if (nm := wavelength_of(name)) is not None]
    return found if len(found) > 1 else [(i, 0.0) for i in _pairs(columns)[1]]


def _pairs(columns: list[str]) -> tuple[list[int], list[int], str]:
    """Positions of the wavelength and value columns where rows carry both (SPECTRAL_NM with SPECTRAL_PCT or SPECTRAL_DEC), and their scale."""
    upper = [name.upper() for name in columns]
    at = [i for i, name in enumerate(upper) if name == "SPECTRAL_NM"]
    for name, scale in (("SPECTRAL_PCT", "percent"), ("SPECTRAL_DEC", "one")):
        values = [i for i, found in enumerate(upper) if found == name]
        if len(values) > 1 and len(values) == len(at):
            return at, values, scale
    return [], [], ""


def _reading(source: str, table: Table, said: Conditions) -> Reading:
    conditions = _conditions(source, table)
    at, nm, scale = _wavelengths(source, table)
    if scale:
        conditions = dataclasses.replace(conditions, scale=scale)
    conditions = conditions.filled(said, source)
    names = lab_columns(table.columns)
    conditions.demand(["geometry", "scale"] if at else ["geometry", "illuminant", "observer"], source)
    lab_at = [] if names is None else [table.columns.index(name) for name in names]
    places = tuple(f"line {number}" for number, _ in table.rows)
    lab = _numbers(source, table, lab_at) if lab_at else None
    spectra = _numbers(source, table, at) if at else None
    found, made = colours(source, places, lab, nm, spectra, conditions)
    naming = sorted(
        (NAMES.index(plain), i)
        for i, name in enumerate(table.columns)
        if (plain := re.sub(r"[^a-z]", "", name.lower())) in NAMES
    )
    labels = tuple(tuple(cells[i].strip() for _, i in naming if cells[i].strip()) for _, cells in table.rows)
    facts = {fact: table.first((key,)) for key, fact in KEPT.items() if table.first((key,))}
    facts |= {
        "geometry": conditions.geometry,
        **({"mode": conditions.mode} if conditions.mode else {}),
        "illuminant": "D50",
        **made,
    }
    n = len(table.rows)
    return Reading(source, labels, places, found, np.full(n, np.nan), ("",) * n, facts)


def _wavelengths(source: str, table: Table) -> tuple[list[int], np.ndarray | None, str]:
    """Positions of the spectral columns, their wavelengths [nm], and the scale that their names tell."""
    spectral = _spectral(table.columns)
    if not spectral:
        return [], None, ""
    at = [i for i, _ in spectral]
    if spectral[0][1]:
        nm, scale = np.array([value for _, value in spectral]), ""
    else:
        stands, at, scale = _pairs(table.columns)
        every = _numbers(source, table, stands)
        if not len(every) or np.isnan(every[0]).any() or not (every == every[0]).all():
            raise FileError(
                f"{source}: the wavelengths (SPECTRAL_NM) differ from row to row. Export all with the same."
            )
        nm = every[0]
    if len(set(nm.tolist())) < len(nm):
        raise FileError(f"{source}: two columns state the same wavelength. Export the readings again.")
    return at, nm, scale


def _numbers(source: str, table: Table, at: list[int]) -> np.ndarray:
    """(rows, columns) numbers; NaN where a cell is empty or a dash."""
    out = np.full((len(table.rows), len(at)), np.nan)
    for row, (number, cells) in enumerate(table.rows):
        for column, i in enumerate(at):
            text = cells[i].strip()
            if text in ("", "-", "--", "---"):
                continue
            value = _float(with_point(text))
            if not np.isfinite(value):
                raise FileError(
                    f"{source} line {number}, column {table.columns[i][:40]}: {text[:40]!r} is not a number."
                )
            out[row, column] = value
    return out
