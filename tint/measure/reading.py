"""From an instrument's file to patches: which kind of file it is, its rows, and their places on the grid.

file → `read_reading` (`csv_table`, `cgats` or `cxf`) → `Reading` → `match` → `Patches` → `check_placing`
"""

from __future__ import annotations

from pathlib import Path

from tint.errors import FileError
from tint.measure.conditions import PHOTO, Conditions
from tint.measure.instrument import Reading, read_bytes
from tint.measure.match import match
from tint.measure.patches import Patches
from tint.measure.scan import BY_ID, STARTS
from tint.plan.grid import Grid

KINDS = ("csv", "cgats", "cxf")
_PICTURES = (b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*", b"RIFF", b"GIF8", b"BM")  # how picture files begin


def patches_from_reading(
    grid: Grid,
    path: str | Path,
    kind: str = "",
    rows: str = BY_ID,
    start: str = STARTS[0],
    said: Conditions | None = None,
    table: int | None = None,
) -> Patches:
    """Patches of a grid with the colours of an instrument's file.

    Parameters
    ----------
    kind, said, table : as `read_reading` takes them
    rows, start : as `match` takes them

    Raises
    ------
    FileError
        The file cannot be read as what it is, or its rows do not fit the grid; names file, place and remedy.
    """
    return match(grid, read_reading(path, kind, said, table), rows, start)


def read_reading(path: str | Path, kind: str = "", said: Conditions | None = None, table: int | None = None) -> Reading:
    """Reading of an instrument's file.

    Parameters
    ----------
    kind : one of `KINDS`; "" asks `kind_of`
    said : what the operator says of the measurement where the file does not
    table : of a CGATS file with several tables of colours, which one; 1 is the first

    Raises
    ------
    FileError
        Not a file of that kind, damaged, or with something left open that nobody stated.
    """
    found = kind_of(path)
    if found == PHOTO:
        raise FileError(f"{path} is a picture, not an instrument's file; pictures are measured with --kind {PHOTO}.")
    if kind and found not in (kind, "csv"):
        raise FileError(f"{path} is {found} by its contents, not {kind}. Leave --kind away, or name another file.")
    kind = kind or found
    if table is not None and kind != "cgats":
        raise FileError(f"{path} is a {kind} file; only CGATS files hold several tables. Drop --table.")
    if kind == "csv":
        from tint.measure.csv_table import read_csv

        return read_csv(path, said)
    if kind == "cgats":
        from tint.measure.cgats import read_cgats

        return read_cgats(path, said, table)
    from tint.measure.cxf import read_cxf

    return read_cxf(path, said)


def kind_of(path: str | Path) -> str:
    """Kind of a file by its contents: one of `KINDS`, or "photo" for a picture; its name does not count.

    Raises
    ------
    FileError
        Missing, empty, too large for a reading, or XML that is no CxF.
    """
    try:
        with open(path, "rb") as stream:
            begins = stream.read(16)
    except (OSError, ValueError):
        begins = b""  # `read_bytes` tells what is wrong
    if begins.startswith(_PICTURES):
        return PHOTO
    data = read_bytes(path)
    head = data[:4000].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    if head.startswith(b"<"):
        if b"CxF" in head:
            return "cxf"
        raise FileError(f"{path} is XML, but not CxF/X. Export the readings as CxF/X-3, CGATS or CSV.")
    if b"BEGIN_DATA" in data:
        return "cgats"
    return "csv"
