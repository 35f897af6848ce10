"""`Session`: what lies on the desk. Files in a folder of its own, and where each place of the page stands."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tint.errors import DataError, FileError

MAX_ITEMS = 400  # files on the desk; more is a wrong folder
MAX_BYTES = 2_000_000_000  # of all uploads of a session together
FOLDER = "tint-desk-"  # begins the name of a desk's folder
ALIVE = "alive"  # file in it, locked while its desk runs
SETTLED_S = 60.0  # a folder younger than this may be of a desk that is just starting
KEPT = 8  # files kept parsed; a model takes about a megabyte, a palette less


@dataclass(frozen=True)
class Item:
    """A file on the desk.

    Parameters
    ----------
    id : what the page calls it
    kind : what it holds: artwork, palette, model, machine, stock, grid, patches, reading, photo, job, …
    name : what people call it
    path : where it is; never told to the page, never taken from it
    source : found (in the folder the desk was started for), loaded (by the page), made (here)
    """

    id: str
    kind: str
    name: str
    path: Path
    source: str

    def as_dict(self) -> dict[str, str]:
        """What the page may know."""
        return {"id": self.id, "kind": self.kind, "name": self.name, "source": self.source}


@dataclass
class Place:
    """Where one place of the page stands: plain values that the page shows, and things kept beside them."""

    shown: dict[str, Any] = field(default_factory=dict)
    kept: dict[str, Any] = field(default_factory=dict)
    lock: Any = field(default_factory=threading.RLock)


class Session:
    """What lies on one desk, from the start of `tint desk` to its end; its folder is deleted then."""

    def __init__(self, start: Path | None = None) -> None:
        self.start = start.resolve() if start is not None else None
        _delete_what_was_left()
        self._folder = Path(tempfile.mkdtemp(prefix=FOLDER)).resolve()
        self._alive = _held(self._folder / ALIVE)
        self._items: dict[str, Item] = {}
        self._parsed: dict[tuple[str, str], Any] = {}
        self._bytes = 0
        self._number = 0
        self._named = 0
        self._lock = threading.RLock()
        self.places = {name: Place() for name in ("artwork", "stock", "setting", "check")}

    @property
    def items(self) -> tuple[Item, ...]:
        """All files on the desk, the oldest first."""
        with self._lock:
            return tuple(self._items.values())

    def item(self, id: str, *kinds: str) -> Item:
        """The file of this id.

        Raises
        ------
        DataError
            No such file, or of another kind.
        """
        found = self._items.get(id)
        if found is None:
            raise DataError("that file is not on the desk any more. Load it again.")
        if kinds and found.kind not in kinds:
            raise DataError(f"{found.name} is a {found.kind} file; here a {' or '.join(kinds)} file is needed.")
        return found

    def room(self, name: str) -> Path:
        """A new empty folder for a file of this name; the path of the file in it. The name is already a safe one."""
        with self._lock:
            self._number += 1
            place = self._folder / f"{self._number:04d}"
        place.mkdir()
        return place / name

    def spend(self, size: int) -> None:
        """Nothing; raises `FileError` where uploads have become too much."""
        with self._lock:
            if self._bytes + size > MAX_BYTES:
                raise FileError(f"files loaded here fill {MAX_BYTES / 1e9:g} GB; start the desk again to load more.")
            self._bytes += size

    def add(self, kind: str, name: str, path: Path, source: str) -> Item:
        """The file, now on the desk."""
        with self._lock:
            if len(self._items) >= MAX_ITEMS:
                raise FileError(f"{MAX_ITEMS} files are on the desk; start it again to load more.")
            self._named += 1
            item = Item(f"{kind}-{self._named}", kind, name, path, source)
            self._items[item.id] = item
            return item

    def remove(self, item: Item) -> None:
        """Nothing; the file is off the desk."""
        with self._lock:
            self._items.pop(item.id, None)

    def read(self, item: Item, reader: Callable[[Path], Any]) -> Any:
        """What the reader makes of a file, kept for the next time; those not used for long are dropped."""
        key = (item.id, reader.__name__)
        with self._lock:
            if key in self._parsed:
                self._parsed[key] = self._parsed.pop(key)
                return self._parsed[key]
        value = reader(item.path)
        with self._lock:
            self._parsed[key] = value
            while len(self._parsed) > KEPT:
                self._parsed.pop(next(iter(self._parsed)))
        return value

    def told(self, text: str) -> str:
        """A message without the folders of this computer in it: the page needs names, not places."""
        for item in sorted(self.items, key=lambda item: -len(str(item.path))):
            text = text.replace(str(item.path), item.name)
        text = re.sub(rf"{re.escape(str(self._folder))}/(\d+/)?", "", text).replace(str(self._folder), "the desk")
        if self.start is not None:
            text = text.replace(f"{self.start}/", "").replace(str(self.start), "the folder")
        return text

    def close(self) -> None:
        """Nothing; deletes the folder."""
        if self._alive is not None:
            self._alive.close()
        shutil.rmtree(self._folder, ignore_errors=True)


def _held(path: Path) -> Any:
    """The open file, locked for as long as this process lives; None where it is another's, or files cannot be locked so."""
    try:
        import fcntl
    except ImportError:
        return None
    stream = path.open("a")
    try:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        stream.close()
        return None
    return stream


def _delete_what_was_left() -> None:
    """Nothing; deletes folders of this user's desks that were killed before they could."""
    for folder in Path(tempfile.gettempdir()).glob(f"{FOLDER}*"):
        alive = folder / ALIVE
        try:
            mine = (
                not folder.is_symlink()
                and folder.stat().st_uid == os.getuid()
                and time.time() - alive.stat().st_mtime > SETTLED_S
            )
        except (OSError, AttributeError):
            continue
        held = _held(alive) if mine else None
        if held is not None:
            shutil.rmtree(folder, ignore_errors=True)
            held.close()
