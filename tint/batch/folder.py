"""The folder of a batch: what was asked, one record per finished artwork, and the summary. It can be gone on with at any time."""

from __future__ import annotations

import csv
import io
import os
import shutil
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from tint.artwork.artwork import PICTURES
from tint.batch.task import Order, Outcome, Piece, Plate
from tint.errors import FileError
from tint.files import json_text, new_folder, read_json, reading, refuse_folder, write_file

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
COLUMNS = ("file", "result", "state", "width_mm", "height_mm", "layers", "marking_s", "wait_s", "remarks", "problem")


@dataclass(frozen=True)
class Record:
    """What is known of one artwork of a batch.

    Parameters
    ----------
    name, file_name : of the result and of the artwork
    content, order : digests of what it was made from
    facts, remarks, problem, work_s : as in `Outcome`
    """

    name: str
    file_name: str
    content: str
    order: str
    facts: dict[str, float]
    remarks: tuple[str, ...]
    problem: str
    work_s: float

    @property
    def ok(self) -> bool:
        """Whether a result was made."""
        return not self.problem


class BatchFolder:
    """Place of a batch.

    Parameters
    ----------
    path : made when missing; one that holds another batch is refused unless `force`, then what differs is made anew
    order : what the artworks share
    force : go on although palette, machine or options differ from those the folder was begun with

    Raises
    ------
    FileError
        It holds something else, or another batch and `force` is not set, or cannot be written.
    """

    def __init__(self, path: str | Path, order: Order, *, force: bool = False) -> None:
        self.path, self.order = Path(path), order
        file = self.path / "batch.json"
        if self.path.exists() and not self.path.is_dir():
            raise FileError(f"{self.path} is a file; a folder is to be written. Choose another name with -o.")
        if self.path.is_dir() and any(self.path.iterdir()) and not file.is_file():
            raise FileError(f"{self.path} is not the folder of a batch; choose another name with -o.")
        if file.is_file():
            body = read_json(file, "batch", VERSION)
            if body.get("order") != order.digest and not force:
                raise FileError(
                    f"{self.path} was begun with another palette, machine, options or tint. Choose another name with -o, or add "
                    "--force to make its artworks anew."
                )
        said = {
            "order": order.digest, "palette": order.palette.name, "machine": order.machine.name, "width_mm": order.width_mm,
            "pitch_mm": order.pitch_mm, "separating": order.separating, "writing": order.writing, "packed": order.layers_only,
        }  # fmt: skip
        write_file(file, json_text("batch", VERSION, said), force=True)

    @property
    def results(self) -> Path:
        """Folder of the single results: jobs, or layers where pieces are packed."""
        return self.path / ("layers" if self.order.layers_only else "jobs")

    def finished(self, piece: Piece | Plate, where: str = "") -> Record | None:
        """Record of this artwork (or plate) where its result is there and was made from the same content and order."""
        try:
            record = self._record(piece.name)
        except FileError:
            return None  # damaged: made again
        same = record is not None and (record.content, record.order) == (piece.digest, self.order.digest)
        return record if same and record.ok and (self._place(where) / piece.name).is_dir() else None

    def keep(self, piece: Piece | Plate, outcome: Outcome, where: str = "") -> Record:
        """Record of an outcome, once its folder is in place; a result whose record is missing counts as not made."""
        if outcome.files:
            place = self._place(where)
            with new_folder(place / piece.name, "layers" if place.name == "layers" else "job", force=True) as place:
                for name, data in outcome.files.items():
                    (place / name).parent.mkdir(parents=True, exist_ok=True)
                    (place / name).write_bytes(data)
        if outcome.thumbnail:
            write_file(self.path / "records" / f"{piece.name}.png", outcome.thumbnail, force=True)
        record = Record(
            piece.name, piece.file_name, piece.digest, self.order.digest, outcome.facts, outcome.remarks, outcome.problem,
            outcome.work_s,
        )  # fmt: skip
        body = {**vars(record), "remarks": list(record.remarks)}
        write_file(self.path / "records" / f"{piece.name}.json", json_text("batch-record", VERSION, body), force=True)
        return record

    def thumbnail(self, name: str) -> bytes:
        """PNG of an artwork's proof, b"" where there is none."""
        path = self.path / "records" / f"{name}.png"
        return path.read_bytes() if path.is_file() else b""

    def drop(self, pattern: str, but: set[str]) -> None:
        """Removes what an earlier run of this batch wrote and this one did not, by pattern and the names to keep."""
        for path in self.path.glob(pattern):
            if path.name not in but:
                if path.is_dir():
                    refuse_folder(path, "job", True)  # holds something of the operator's: say so, remove nothing
                    shutil.rmtree(path)
                else:
                    path.unlink(missing_ok=True)

    def summarise(self, records: Iterable[Record]) -> Path:
        """Path of `summary.csv`: a row per artwork, those that failed with the reason."""
        text = io.StringIO()
        table = csv.writer(text, lineterminator="\n")
        table.writerow(COLUMNS)
        for record in records:
            facts = [f"{record.facts[name]:g}" if name in record.facts else "" for name in COLUMNS[3:8]]
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

    def _place(self, where: str) -> Path:
        return self.path / where if where else self.results

    def _record(self, name: str) -> Record | None:
        path = self.path / "records" / f"{name}.json"
        if not path.is_file():
            return None
        body = read_json(path, "batch-record", VERSION)
        with reading(path, "the record.", f"{path} is damaged."):
            texts = (str(body[key]) for key in ("name", "file_name", "content", "order"))
            facts = {str(key): float(value) for key, value in body["facts"].items()}
            return Record(*texts, facts, tuple(map(str, body["remarks"])), str(body["problem"]), float(body["work_s"]))


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
        stem = plain_name("-".join(path.relative_to(folder).with_suffix("").parts))
        name, number = stem, 2
        while name.casefold() in taken:
            name, number = f"{stem}-{number}", number + 1
        taken.add(name.casefold())
        named[name] = path
    return named


def plain_name(text: str) -> str:
    """Name that every system takes for a folder: no separators or control signs, no name Windows keeps, 80 signs at most.

    Examples
    --------
    >>> plain_name("grün: 2/3"), plain_name("con"), plain_name("..")
    ('grün_ 2_3', '_con', '_')
    """
    text = text.encode("utf-8", "replace").decode("utf-8")
    text = "".join("_" if sign in '<>:"/\\|?*' or not sign.isprintable() else sign for sign in text)[:80].strip(". ")
    return f"_{text}" if not text or text.split(".")[0].lower() in RESERVED else text


def read_piece(name: str, path: Path, folder: Path) -> tuple[Piece, str]:
    """Artwork by content, and why it cannot be read ("" where it can)."""
    shown = path.relative_to(folder).as_posix().encode("utf-8", "replace").decode("utf-8")
    piece = Piece(name, shown, b"")
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            return piece, f"{shown} has {path.stat().st_size / 1e9:.1f} GB; separate it by itself."
        return replace(piece, content=path.read_bytes()), ""
    except OSError as error:
        return piece, f"cannot read {shown}: {error.strerror or error}."


def _walk(folder: Path) -> Iterable[Path]:
    for place, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        yield from (Path(place) / name for name in names if not name.startswith("."))
