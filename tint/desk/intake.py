"""Files that come onto the desk: found in the folder it was started for, or loaded by the page."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tint.artwork.artwork import PICTURES
from tint.desk.session import Item, Session
from tint.errors import FileError, TintError
from tint.files.text import MAX_TEXT_BYTES

MAX_PICTURE_BYTES = (
    400_000_000  # a 120-megapixel TIFF without compression; larger pictures are refused by the reader anyway
)
MAX_DRAWING_BYTES = 30_000_000  # a million points of an SVG
DEPTH = 4  # folders below the one the desk was started for
MAX_LOOKED_AT = 4000  # files; a desk started in a home folder must come up all the same
MOST_FOUND = 200  # files of the folder on the desk
EDITED = ("machine", "stock", "palette", "patches")  # by people, and read in a few ms each; a model takes ten times as long
HEAD_BYTES = 4096  # enough to see what a file is
NAME_SIGNS = 60
# Endings that each kind of file may have. What is inside is told by its reader, never by its name.
ENDINGS = {
    "artwork": (*PICTURES, ".svg"),
    "photo": PICTURES,
    "palette": (".json",),
    "model": (".json",),
    "grid": (".json",),
    "machine": (".toml",),
    "stock": (".toml",),
    "patches": (".csv",),
    "reading": (".csv", ".txt", ".cxf", ".xml", ".cgats", ".cgt"),
}
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def safe_name(name: str, kind: str) -> str:
    """File name that is safe on every system, of what the page calls a file; its ending is one its kind has.

    Raises
    ------
    FileError
        The ending is none of this kind's.

    Examples
    --------
    >>> safe_name("../../etc/heron sign.PNG", "artwork")
    'heron sign.png'
    >>> safe_name("C:\\\\signs\\\\con.svg", "artwork")
    'artwork-con.svg'
    """
    last = re.split(r"[/\\\\:\x00]", name)[-1]
    stem, dot, ending = last.rpartition(".")
    ending = f".{ending.lower()}" if dot else ""
    if ending not in ENDINGS[kind]:
        raise FileError(
            f"{_printable(last) or 'the file'} cannot be used as {kind}; such a file ends in {', '.join(ENDINGS[kind])}."
        )
    text = unicodedata.normalize("NFC", _printable(stem))
    text = (
        "".join(sign if sign.isalnum() or sign in " _-()" else "-" for sign in text)
        .strip(" -")[:NAME_SIGNS]
        .strip(" -")
    )
    if not text or text.lower() in _DEVICES:
        text = f"{kind}-{text}".strip("-")
    while len(text.encode()) > 200:
        text = text[:-1]
    return f"{text}{ending}"


def _printable(text: str) -> str:
    return "".join(sign for sign in text.encode("utf-8", "ignore").decode("utf-8") if sign.isprintable())[:200]


def limit_bytes(kind: str, name: str) -> int:
    """Most bytes a file of this kind and name may have."""
    if kind in ("artwork", "photo"):
        return MAX_DRAWING_BYTES if name.endswith(".svg") else MAX_PICTURE_BYTES
    return MAX_TEXT_BYTES


def look_at(session: Session, item: Item) -> None:
    """Nothing; raises where a file that was loaded cannot be read as what it is said to be. Artwork is read when it is opened."""
    if reader := _reader(item.kind):
        session.read(item, reader)


def _reader(kind: str) -> Callable[[Path], Any] | None:
    """What reads a file of this kind; None where that waits until it is opened."""
    from tint.measure.patches import read_patches
    from tint.model.model import read_model
    from tint.palette.palette import read_palette
    from tint.plan.grid import read_grid
    from tint.setting import read_machine, read_stock

    readers: dict[str, Callable[[Path], Any]] = {
        "palette": read_palette, "model": read_model, "grid": read_grid, "machine": read_machine, "stock": read_stock,
        "patches": read_patches,
    }  # fmt: skip
    return readers.get(kind)


def find_files(session: Session) -> None:
    """Nothing; puts what lies in the folder the desk was started for onto it: palettes, models, machines, stocks, grids, patches.

    Of those that people edit, the ones that cannot be read come last and say so: the first of a kind is what the page offers.
    """
    if session.start is None:
        return
    found = []
    for path in _files_below(session.start):
        kind = kind_of(path)
        if kind:
            found.append((kind, path.relative_to(session.start).as_posix(), path))
    listed = sorted(found, key=lambda item: (item[1].count("/"), item[1]))[:MOST_FOUND]
    broken = [item for item in listed if item[0] in EDITED and not _is_read(item[0], item[2])]
    for kind, name, path in (item for item in listed if item not in broken):
        session.add(kind, name, path, "found")
    for kind, name, path in broken:
        session.add(kind, f"{name} (cannot be read)", path, "found")


def _is_read(kind: str, path: Path) -> bool:
    reader = _reader(kind)
    try:
        if reader is not None:
            reader(path)
    except TintError:
        return False
    return True


def _files_below(start: Path) -> Iterator[Path]:
    left = MAX_LOOKED_AT
    for folder, below, names in os.walk(start):
        depth = len(Path(folder).relative_to(start).parts)
        below[:] = sorted(name for name in below if not name.startswith(".")) if depth < DEPTH else []
        for name in sorted(names):
            left -= 1
            if left < 0:
                return
            path = Path(folder) / name
            if not name.startswith(".") and path.is_file() and not path.is_symlink():
                yield path


def kind_of(path: Path) -> str:
    """What a file seems to hold, by its ending and first lines; "" where it is nothing the desk lists."""
    ending = path.suffix.lower()
    if ending in ENDINGS["artwork"]:
        return ""  # pictures and drawings are dropped onto the page; a folder of jobs is full of them
    if ending not in (".json", ".toml", ".csv"):
        return ""
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES).decode("utf-8", "replace")
    except OSError:
        return ""
    if ending == ".json":
        said = re.match(r'\s*\{\s*"format":\s*"tint-(palette|model|grid)/\d+"', head)
        return said.group(1) if said else ""
    if ending == ".toml":
        return next(
            (
                kind
                for word, kind in (("max_power_w", "machine"), ("grade", "stock"))
                if re.search(rf"^\s*{word}\s*=", head, re.M)
            ),
            "",
        )
    header = next((line for line in head.splitlines() if line and not line.startswith("#")), "")
    columns = {cell.strip() for cell in header.split(",")}
    if {"patch", "power_pct", "L", "a", "b"} <= columns:
        return "patches"
    return "reading" if {"patch", "L", "a", "b"} <= columns else ""
