"""One artwork of a batch: what a worker is given and what it gives back, by content and never by path."""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from tint import __version__
from tint.batch.pack import Placed, plate_layers
from tint.errors import TintError
from tint.layers.layers import Layers
from tint.palette.palette import Palette
from tint.setting import Machine, Stock

THUMBNAIL_PX = 240  # of the contact sheet: five across a sheet 1400 pixels wide
# What an artwork needs, loaded once before the first: by name, so that nothing here loads it
LOAD_FIRST = (
    "tint.batch.task", "tint.artwork.vector", "tint.artwork.raster", "tint.layers.separate", "tint.layers.folder",
    "tint.job.job", "tint.job.sheet", "shapely", "PIL.PngImagePlugin", "PIL.JpegImagePlugin", "ezdxf", "reportlab.pdfgen.canvas",
    "reportlab.pdfbase.ttfonts", "reportlab.lib.utils", "defusedxml.ElementTree", "tinycss2", "cssselect2",
)  # fmt: skip


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

    @cached_property
    def digest(self) -> str:
        """Sign of everything that shapes a result: another one means that results must be made anew."""
        said = [
            self.palette.as_dict(), self.machine.as_dict(), self.stock.as_dict() if self.stock else None, self.separating,
            self.width_mm, self.pitch_mm, self.writing, self.layers_only, self.version,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()[:16]

    @property
    def said(self) -> dict[str, Any]:
        """The same in words: enough to say what another order has otherwise."""
        said = {
            "palette": [self.palette.name, self.palette.digest], "machine": self.machine.as_dict(),
            "stock": self.stock.as_dict() if self.stock else None, "width": self.width_mm, "pitch": self.pitch_mm,
            "way of separating": self.separating, "way of writing": self.writing, "kind of result": self.kind,
        }  # fmt: skip
        return dict(json.loads(json.dumps(said, default=str)))

    @property
    def kind(self) -> str:
        """What a result is: "job" or "layers"."""
        return "layers" if self.layers_only else "job"


@dataclass(frozen=True)
class Piece:
    """An artwork by content.

    Parameters
    ----------
    name : folder name of its result, unique in the batch
    file_name : as the operator knows it, such as "trail markers/heron.svg"
    content : the file's bytes
    width_mm : its own width on the metal [mm], None the order's
    """

    name: str
    file_name: str
    content: bytes
    width_mm: float | None = None

    @property
    def size_bytes(self) -> int:
        """Bytes to send."""
        return len(self.content)

    @cached_property
    def digest(self) -> str:
        """Sign of the content, the kind of file and its own width."""
        kind = Path(self.file_name).suffix.lower() + (f" {self.width_mm!r}" if self.width_mm is not None else "")
        return hashlib.sha256(kind.encode() + b"\0" + self.content).hexdigest()[:16]


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
        return f"{self.name} ({len(self.placed)} piece{'s' * (len(self.placed) != 1)})"

    @property
    def size_bytes(self) -> int:
        """Bytes to send."""
        return sum(len(data) for files in self.layers.values() for data in files.values())

    @cached_property
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
            at = Path(place)
            made = _made_plate(item, order, at) if isinstance(item, Plate) else _made_piece(item, order, at)
            return replace(made, work_s=time.perf_counter() - began)
    except TintError as error:
        return failed(str(error), time.perf_counter() - began)
    except MemoryError:
        return failed("it needs more memory than there is; use a coarser --pitch-mm.", time.perf_counter() - began)
    except RecursionError:
        return failed("it is nested too deeply.", time.perf_counter() - began)


def _made_piece(piece: Piece, order: Order, place: Path) -> Outcome:
    from tint.artwork.artwork import Drawing, read_artwork
    from tint.layers.folder import fill_layers
    from tint.layers.separate import separate

    source = place / f"{piece.name}{Path(piece.file_name).suffix.lower()}"
    source.write_bytes(piece.content)
    try:
        width_mm = piece.width_mm if piece.width_mm is not None else order.width_mm
        drawn_pitch_mm = None if order.separating.get("tonal") else order.pitch_mm
        artwork = read_artwork(source, width_mm, order.pitch_mm)
        words = dict(order.separating)
        if isinstance(artwork, Drawing):
            words.pop("thin", None)  # for pictures alone; a folder holds both kinds, and a job names thin places of a drawing
        layers = separate(artwork, order.palette, pitch_mm=drawn_pitch_mm, **words)
        if not order.layers_only:
            return _job_of(layers, order, place)
        (place / "result").mkdir()
        fill_layers(place / "result", layers)
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
    from tint.job.job import fill_job

    (place / "result").mkdir()
    job = fill_job(place / "result", layers, order.machine, stock=order.stock, **order.writing, **options)
    return _outcome(place, layers, {"marking_s": job.marking_s, "wait_s": job.wait_s}, job.remarks)


def _outcome(place: Path, layers: Layers, facts: dict[str, float], remarks: Sequence[str]) -> Outcome:
    result = place / "result"
    files = {
        item.relative_to(result).as_posix(): item.read_bytes() for item in sorted(result.rglob("*")) if item.is_file()
    }
    size = {"width_mm": layers.width_mm, "height_mm": layers.height_mm, "layers": float(len(layers.used))}
    return Outcome(files, _thumbnail(layers), size | facts, tuple(remarks), "", 0.0)


def _thumbnail(layers: Layers) -> bytes:
    from PIL import Image

    from tint.layers.proof import proof_image

    if layers.drawn is None:
        picture = proof_image(layers, THUMBNAIL_PX)  # cells blend as in the eye
    else:  # flat areas: five times as fast, and only pixels on an edge differ
        picture = proof_image(layers)
        picture.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX), Image.Resampling.BOX)
    small = io.BytesIO()
    picture.save(small, "PNG", compress_level=3)
    return small.getvalue()
