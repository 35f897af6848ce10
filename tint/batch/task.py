"""One artwork of a batch: what a worker is given and what it gives back, by content and never by path."""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tint import __version__
from tint.batch.pack import Placed, plate_layers
from tint.errors import TintError
from tint.files import LIST_NAME
from tint.layers.layers import Layers
from tint.palette.palette import Palette
from tint.setting import Machine, Stock

THUMBNAIL_PX = 240  # of the contact sheet: five across a sheet 1400 pixels wide


@dataclass(frozen=True)
class Order:
    """What every artwork of a batch shares.

    Parameters
    ----------
    palette, machine : what the jobs are made with
    stock : the piece, where it is another blank than the palette's
    separating : keyword arguments of `separate`
    width_mm, pitch_mm : size on the metal and pixel [mm], None as the artwork states
    writing : keyword arguments of `write_job`
    layers_only : give back the folder of layers instead of the job's, for packing
    version : tint that asks; a worker with another one refuses
    """

    palette: Palette
    machine: Machine
    stock: Stock | None = None
    separating: dict[str, Any] = field(default_factory=dict)
    width_mm: float | None = None
    pitch_mm: float | None = None
    writing: dict[str, Any] = field(default_factory=dict)
    layers_only: bool = False
    version: str = __version__

    @property
    def digest(self) -> str:
        """Sign of everything that shapes a result: another one means that results must be made anew."""
        said = [
            self.palette.as_dict(), self.machine.as_dict(), self.stock.as_dict() if self.stock else None, self.separating,
            self.width_mm, self.pitch_mm, self.writing, self.layers_only, self.version,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Piece:
    """An artwork by content.

    Parameters
    ----------
    name : folder name of its result, unique in the batch
    file_name : as the operator knows it, such as "trail markers/heron.svg"
    content : the file's bytes
    """

    name: str
    file_name: str
    content: bytes

    @property
    def digest(self) -> str:
        """Sign of the content and the kind of file."""
        return hashlib.sha256(Path(self.file_name).suffix.lower().encode() + b"\0" + self.content).hexdigest()[:16]


@dataclass(frozen=True)
class Plate:
    """A plate of packed pieces by content.

    Parameters
    ----------
    name : folder name of its job, such as "plate-01"
    placed : its pieces
    layers : files of each piece's folder of layers, by name of the piece
    """

    name: str
    placed: tuple[Placed, ...]
    layers: dict[str, dict[str, bytes]]

    @property
    def file_name(self) -> str:
        """What the summary calls it."""
        return f"{self.name} ({len(self.placed)} pieces)"

    @property
    def digest(self) -> str:
        """Sign of the places and the layers."""
        sign = hashlib.sha256(repr(self.placed).encode())
        for name, files in sorted(self.layers.items()):
            for file, data in sorted(files.items()):
                sign.update(f"{name}/{file}/{len(data)}".encode() + data)
        return sign.hexdigest()[:16]


@dataclass(frozen=True)
class Outcome:
    """What became of an artwork.

    Parameters
    ----------
    files : the result folder, bytes by relative path; empty where it failed
    thumbnail : PNG of the proof, at most 240 pixels
    facts : numbers for the summary: width_mm, height_mm, layers, marking_s, wait_s
    remarks : what a reader must know
    problem : the one line that says why it failed, "" where it did not
    work_s : time the work took [s]
    """

    files: dict[str, bytes]
    thumbnail: bytes
    facts: dict[str, float]
    remarks: tuple[str, ...]
    problem: str
    work_s: float


def failed(problem: str, work_s: float = 0.0) -> Outcome:
    """Outcome of an artwork that could not be made, with the reason in one line."""
    return Outcome({}, b"", {}, (), " ".join(problem.split()), work_s)


def make(item: Piece | Plate, order: Order) -> Outcome:
    """Outcome of one artwork or plate: its folder in memory, or why there is none. Never raises `TintError`."""
    began = time.perf_counter()
    try:
        if order.version != __version__:
            raise TintError(
                f"this worker has tint {__version__}, the batch comes from {order.version}. Install the same."
            )
        with tempfile.TemporaryDirectory(prefix="tint.") as place:
            made = _made_plate if isinstance(item, Plate) else _made_piece
            return replace(made(item, order, Path(place)), work_s=time.perf_counter() - began)
    except TintError as error:
        return failed(str(error), time.perf_counter() - began)
    except MemoryError:
        return failed("it needs more memory than there is; use a coarser --pitch-mm.", time.perf_counter() - began)
    except RecursionError:
        return failed("it is nested too deeply.", time.perf_counter() - began)


def _made_piece(piece: Piece, order: Order, place: Path) -> Outcome:
    from tint.artwork.artwork import read_artwork
    from tint.layers.folder import write_layers
    from tint.layers.separate import separate

    source = place / f"{piece.name}{Path(piece.file_name).suffix.lower()}"
    source.write_bytes(piece.content)
    try:
        layers = separate(read_artwork(source, order.width_mm, order.pitch_mm), order.palette, **order.separating)
        if not order.layers_only:
            return _job_of(layers, order, place)
        write_layers(layers, place / "result")
        return _outcome(place, layers, {}, layers.remarks)
    except TintError as error:  # a worker's temporary path means nothing to the operator
        raise type(error)(str(error).replace(str(source), piece.file_name)) from None


def _made_plate(plate: Plate, order: Order, place: Path) -> Outcome:
    from tint.layers.folder import read_layers

    pieces = {}
    for name, files in plate.layers.items():
        for file, data in files.items():
            (place / "pieces" / name).mkdir(parents=True, exist_ok=True)
            (place / "pieces" / name / file).write_bytes(data)
        pieces[name] = read_layers(place / "pieces" / name)
    layers, at_mm = plate_layers(plate.placed, pieces, plate.name)
    return _job_of(layers, order, place, at_mm=at_mm)


def _job_of(layers: Layers, order: Order, place: Path, **options: Any) -> Outcome:
    from tint.job.job import write_job

    job = write_job(layers, order.machine, place / "result", stock=order.stock, **order.writing, **options)
    return _outcome(place, layers, {"marking_s": job.marking_s, "wait_s": job.wait_s}, job.remarks)


def _outcome(place: Path, layers: Layers, facts: dict[str, float], remarks: Sequence[str]) -> Outcome:
    from tint.layers.proof import proof_image

    result = place / "result"
    files = {
        item.relative_to(result).as_posix(): item.read_bytes()
        for item in sorted(result.rglob("*"))
        if item.is_file() and item.name != LIST_NAME  # written anew where the result takes its place
    }
    small = io.BytesIO()
    proof_image(layers, THUMBNAIL_PX).save(small, "PNG")
    size = {"width_mm": layers.width_mm, "height_mm": layers.height_mm, "layers": float(len(layers.used))}
    return Outcome(files, small.getvalue(), size | facts, tuple(remarks), "", 0.0)
