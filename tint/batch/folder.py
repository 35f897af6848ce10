"""The folder of a batch: what was asked, one record per finished artwork, and the summary. It can be gone on with at any time."""

from __future__ import annotations

import csv
import io
import os
import shutil
import stat
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from tint.artwork.artwork import PICTURES
from tint.batch.task import Outcome, Piece, failed
from tint.errors import FileError
from tint.files.own import json_text, read_json, reading
from tint.files.write import LIST_NAME, held, new_folder, refuse_folder, write_file

VERSION = 1
ENDINGS = (*PICTURES, ".svg")
MAX_FILE_BYTES = 1_000_000_000  # artwork travels by content; larger files are separated one by one
RESERVED = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10)),
}  # names Windows keeps
FACTS = ("width_mm", "height_mm", "layers", "marking_s", "wait_s")  # of a job, for the summary


class Shared(Protocol):
    """What the items of a batch share."""

    @property
    def digest(self) -> str:
        """Sign of everything that shapes a result."""

    @property
    def said(self) -> dict[str, Any]:
        """The same in words, for `batch.json`."""

    @property
    def kind(self) -> str:
        """What a result is: "job", "layers", "model"."""


class Item(Protocol):
    """One piece of work of a batch."""

    @property
    def name(self) -> str:
        """Folder name of its result, unique in the batch."""

    @property
    def file_name(self) -> str:
        """What the operator calls it."""

    @property
    def digest(self) -> str:
        """Sign of the content."""


@dataclass(frozen=True)
class Record:
    """What is known of one artwork of a batch.

    Parameters
    ----------
    name, file_name : of the result and of the artwork
    content, order : digests of what it was made from
    facts, remarks, problem, work_s : as in `Outcome`
    size_bytes : of the result and its thumbnail; a result of another size was cut short and is made again
    """

    name: str
    file_name: str
    content: str
    order: str
    facts: dict[str, float]
    remarks: tuple[str, ...]
    problem: str
    work_s: float
    size_bytes: int = 0

    @property
    def ok(self) -> bool:
        """Whether a result was made."""
        return not self.problem


class BatchFolder:
    """Place of a batch.

    Parameters
    ----------
    path : made when missing; one that holds another batch is refused unless `force`, then what differs is made anew
    order : what its items share
    force : go on although palette, machine or options differ from those the folder was begun with

    Raises
    ------
    FileError
        It holds something else, or another batch and `force` is not set, or cannot be written.
    """

    def __init__(self, path: str | Path, order: Shared, *, force: bool = False) -> None:
        self.path, self.order = Path(path), order
        file = self.path / "batch.json"
        _refuse_file(self.path)
        if self.path.is_dir() and any(self.path.iterdir()) and not file.is_file():
            raise FileError(f"{self.path} is not the folder of a batch; choose another name with -o.")
        said = {"order": order.digest, **order.said}
        if file.is_file():
            body = read_json(file, "batch", VERSION)
            if body.get("order") != order.digest and not force:
                other = [name.replace("_", " ") for name in said if name != "order" and body.get(name) != said[name]]
                raise FileError(
                    f"{self.path} was begun with another {' and '.join(other) or 'tint'}. Choose another name with -o, or add "
                    "--force to make its artworks anew."
                )
        write_file(file, json_text("batch", VERSION, said), force=True)

    @property
    def results(self) -> Path:
        """Folder of the single results: jobs, layers where pieces are packed, models."""
        return self.path / f"{self.order.kind}{'' if self.order.kind.endswith('s') else 's'}"

    def finished(self, piece: Item, where: str = "") -> Record | None:
        """Record of this artwork (or plate) where its result is there and was made from the same content and order."""
        try:
            record = self._record(piece.name, where)
        except FileError:
            return None  # damaged: made again
        if record is None or (record.content, record.order) != (piece.digest, self.order.digest):
            return None
        if not record.ok or self._size_bytes(piece.name, where) != record.size_bytes:
            return None
        return replace(record, file_name=piece.file_name)  # the artwork may have been moved

    def keep(self, piece: Item, outcome: Outcome, where: str = "") -> Record:
        """Record of an outcome, once its folder is in place; a result whose record is missing counts as not made."""
        place, small = self._place(where), self._beside(piece.name, "png", where)
        kind = "job" if where else self.order.kind
        if held := self._held(place / piece.name, kind, outcome):  # told and left alone; the rest goes on
            outcome = failed(f"{outcome.problem} {held}", outcome.work_s)
        elif outcome.files:
            with new_folder(place / piece.name, kind, force=True, sync=False) as result:
                for name, data in outcome.files.items():
                    if "/" in name:
                        (result / name).parent.mkdir(parents=True, exist_ok=True)
                    (result / name).write_bytes(data)
        else:  # what an earlier run made of it is not this artwork
            self._remove(place / piece.name, kind)
        if outcome.thumbnail:
            write_file(small, outcome.thumbnail, force=True, sync=False)
        else:
            small.unlink(missing_ok=True)
        size_bytes = sum(map(len, outcome.files.values())) + len(outcome.thumbnail)
        record = Record(
            piece.name, piece.file_name, piece.digest, self.order.digest, outcome.facts, outcome.remarks, outcome.problem,
            outcome.work_s, size_bytes,
        )  # fmt: skip
        body = {**vars(record), "remarks": list(record.remarks)}
        write_file(self._beside(piece.name, "json", where), json_text("batch-record", VERSION, body), force=True, sync=False)
        return record

    def settle(self) -> None:
        """Brings everything written to the disk, once for all artworks."""
        if hasattr(os, "sync"):
            os.sync()

    def without_artwork(self, names: Iterable[str]) -> list[str]:
        """Names of results that no artwork of these names stands behind any more."""
        known = {*names}
        there = sorted(path.name for path in self.results.iterdir()) if self.results.is_dir() else []
        return [name for name in there if name not in known and not name.startswith(".")]

    def thumbnail(self, name: str) -> bytes:
        """PNG of an artwork's proof, b"" where there is none."""
        path = self._beside(name, "png", "")
        return path.read_bytes() if path.is_file() else b""

    def drop(self, pattern: str, but: set[str]) -> None:
        """Removes what an earlier run of this batch wrote and this one did not, by pattern and the names to keep."""
        for path in self.path.glob(pattern):
            if path.name not in but:
                if path.is_dir():
                    self._remove(path, "job")
                else:
                    path.unlink(missing_ok=True)

    def summarise(self, records: Iterable[Record], facts_shown: Sequence[str] = FACTS) -> Path:
        """Path of `summary.csv`: a row per item with the facts named, those that failed with the reason."""
        text = io.StringIO()
        table = csv.writer(text, lineterminator="\n")
        table.writerow(["file", "result", "state", *facts_shown, "remarks", "problem"])
        for record in records:
            facts = [f"{record.facts[name]:g}" if name in record.facts else "" for name in facts_shown]
            result = f"{self.results.name}/{record.name}" if record.ok else ""
            table.writerow(
                [
                    record.file_name,
                    result,
                    "done" if record.ok else "failed",
                    *facts,
                    " | ".join(record.remarks),
                    record.problem,
                ]
            )
        return write_file(self.path / "summary.csv", text.getvalue(), force=True)

    @staticmethod
    def _remove(folder: Path, kind: str) -> None:
        if folder.is_dir():
            refuse_folder(folder, kind, True)  # holds something of the operator's: say so, remove nothing
            shutil.rmtree(folder)

    @staticmethod
    def _held(folder: Path, kind: str, outcome: Outcome) -> str:
        """Why what is in a result's place stays; "" where it may go, also where a power failure emptied its own list."""
        try:
            if folder.is_dir() and not _listed(folder):
                there = {item.relative_to(folder).as_posix(): item.is_dir() for item in sorted(folder.rglob("*"))}
                if all(is_folder or name in outcome.files or name == LIST_NAME for name, is_folder in there.items()):
                    write_file(folder / LIST_NAME, "\n".join([f"tint {kind}", *there, ""]), force=True, sync=False)
            refuse_folder(folder, kind, True)
        except FileError as error:
            return str(error)
        return ""

    def _size_bytes(self, name: str, where: str) -> int:
        """Bytes of a result and its thumbnail, as they are on the disk; what the operator put beside them does not count."""
        folder = self._place(where) / name
        files = [folder / file for file in _listed(folder)]
        size = sum(file.stat().st_size for file in files if file.is_file())
        small = self._beside(name, "png", where)
        return size + (small.stat().st_size if small.is_file() else 0)

    def _place(self, where: str) -> Path:
        return self.path / where if where else self.results

    def _beside(self, name: str, ending: str, where: str) -> Path:
        """Path of a record or thumbnail; a plate's stand apart, since an artwork may bear the same name."""
        return self.path / "records" / where / f"{name}.{ending}"

    def _record(self, name: str, where: str) -> Record | None:
        path = self._beside(name, "json", where)
        if not path.is_file():
            return None
        body = read_json(path, "batch-record", VERSION)
        with reading(path, "the record.", f"{path} is damaged."):
            facts = {str(key): float(value) for key, value in body["facts"].items()}
            name, file_name, content, order = (str(body[key]) for key in ("name", "file_name", "content", "order"))
            return Record(
                name, file_name, content, order, facts, tuple(map(str, body["remarks"])), str(body["problem"]),
                float(body["work_s"]), int(body["size_bytes"]),
            )  # fmt: skip


@contextmanager
def held_batch(path: str | Path) -> Iterator[None]:
    """Block in which no other batch works in this folder, which is made where it is missing.

    Raises
    ------
    FileError
        One does already, a file is in its place, or it cannot be made.
    """
    _refuse_file(Path(path))
    with held(path):
        yield


def _refuse_file(path: Path) -> None:
    if path.exists() and not path.is_dir():
        raise FileError(f"{path} is a file; a folder is to be written. Choose another name with -o.")


def find_artworks(folder: str | Path, *, but: str | Path | None = None) -> dict[str, Path]:
    """Artworks (pictures and drawings) of a folder and those below it, by the name of their result, in the order of their names.

    Parameters
    ----------
    but : the batch's own folder, where it lies inside

    Raises
    ------
    FileError
        Not a folder, or nothing of the kind in it.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise FileError(f"{folder} is not a folder of artworks. Check the name.")
    own = Path(but).resolve() if but is not None else None
    files = sorted(
        (
            path
            for path in _walk(folder)
            if path.suffix.lower() in ENDINGS and not (own and own in path.resolve().parents)
        ),
        key=lambda path: path.relative_to(folder).as_posix(),
    )
    if not files:
        raise FileError(f"{folder} holds no artwork ({', '.join(ENDINGS)}).")
    named: dict[str, Path] = {}
    taken: set[str] = set()
    for path in files:
        named[own_name("-".join(path.relative_to(folder).with_suffix("").parts), taken)] = path
    return named


def own_name(text: str, taken: set[str]) -> str:
    """`plain_name` of a text, numbered where another has it; joins `taken`, which ignores capitals as some systems do."""
    stem = name = plain_name(text)
    number = 2
    while name.casefold() in taken:
        name, number = f"{stem}-{number}", number + 1
    taken.add(name.casefold())
    return name


def plain_name(text: str) -> str:
    """Name that every system takes for a folder: no separators or control signs, no name Windows keeps, 80 signs or 200 bytes at most.

    Examples
    --------
    >>> plain_name("grün: 2/3"), plain_name("con"), plain_name("..")
    ('grün_ 2_3', '_con', '_')
    """
    text = text.encode("utf-8", "replace").decode("utf-8")
    text = "".join("_" if sign in '<>:"/\\|?*' or not sign.isprintable() else sign for sign in text)[:80]
    text = text.encode("utf-8")[:200].decode("utf-8", "ignore").strip(". ")  # a system takes 255, endings among them
    return f"_{text}" if not text or text.split(".")[0].lower() in RESERVED else text


def shown_name(path: Path, folder: Path) -> str:
    """Name of an artwork as the operator knows it, from the batch's folder on, such as "trail markers/heron.svg"."""
    return path.relative_to(folder).as_posix().encode("utf-8", "replace").decode("utf-8")


def read_piece(name: str, path: Path, folder: Path, width_mm: float | None = None) -> tuple[Piece, str]:
    """Artwork by content, at a width of its own [mm] where there is one, and why it cannot be read ("" where it can)."""
    shown = shown_name(path, folder)
    piece = Piece(name, shown, b"", width_mm)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # one would wait for ever for what a pipe never gives
            return piece, f"{shown} is no file."
        if status.st_size > MAX_FILE_BYTES:
            return piece, f"{shown} has {status.st_size / 1e9:.1f} GB; separate it by itself."
        return replace(piece, content=path.read_bytes()), ""
    except OSError as error:
        return piece, f"cannot read {shown}: {error.strerror or error}."


def _listed(folder: Path) -> list[str]:
    """Names on a result's own list; [] where there is none, or a power failure left nothing of it."""
    try:
        return (folder / LIST_NAME).read_text(encoding="utf-8").strip("\0\n").splitlines()[1:]
    except (OSError, UnicodeDecodeError):
        return []


def _walk(folder: Path) -> Iterable[Path]:
    """Files of a folder and those below it, but hidden ones and folders that tint wrote: their proofs are no artworks."""
    for place, folders, names in os.walk(folder):
        if Path(place) != folder and (LIST_NAME in names or "batch.json" in names):
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        yield from (Path(place) / name for name in names if not name.startswith("."))
