"""A batch from folder to folder: what is done already is kept, what fails is told, the rest goes on."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tint.batch.contact import contact_sheets
from tint.batch.engine import Died, Engine, Local
from tint.batch.folder import BatchFolder, Record, find_artworks, read_piece
from tint.batch.pack import Placed, place_pieces, stock_use
from tint.batch.task import Order, Outcome, Piece, Plate, failed, make
from tint.errors import TintError
from tint.files import write_file
from tint.job.order import clock
from tint.palette.lettering import fitting


@dataclass(frozen=True)
class Packing:
    """How small pieces go onto plates: gap between them and edge left free [mm], and whether they may be turned by 90°."""

    gap_mm: float = 3.0
    edge_mm: float = 3.0
    turn: bool = False


@dataclass(frozen=True)
class Batch:
    """What became of a batch.

    Parameters
    ----------
    records : one per artwork, in the order of their names
    kept : how many were there already
    plates : one record per packed plate
    placed : where each packed piece lies
    use : share of each plate's area that its pieces cover
    elapsed_s, work_s : time on the clock, and of all workers together [s]
    """

    records: tuple[Record, ...]
    kept: int
    plates: tuple[Record, ...]
    placed: tuple[Placed, ...]
    use: dict[int, float]
    elapsed_s: float
    work_s: float

    @property
    def failed(self) -> tuple[Record, ...]:
        """Records of what could not be made."""
        return tuple(record for record in (*self.records, *self.plates) if not record.ok)


def run_batch(
    folder: str | Path, out: str | Path, order: Order, *, engine: Engine | None = None, packing: Packing | None = None,
    force: bool = False, progress: Callable[[str], None] | None = None,
) -> Batch:  # fmt: skip
    """Batch of all artworks of a folder: a job folder each (or a job per plate), a summary and contact sheets.

    Parameters
    ----------
    folder : of artworks; folders below it are searched too
    out : folder of the batch. One begun earlier with the same order is gone on with: what is there is kept, artworks that
        changed or failed are made again
    order : what the artworks share; with `packing` its `layers_only` is set
    engine : where the work is done, None this computer's cores
    packing : pack the pieces onto plates and write a job per plate
    force : the folder was begun with another order: make anew what differs
    progress : called with a short text as each is done

    Raises
    ------
    FileError
        No artworks, or the folder of the batch is something else or cannot be written.
    LimitError
        With `packing`, a piece that fits on no plate.

    Notes
    -----
    A result takes its place whole, then its record is written; whatever stops a batch, at most the artworks in hand are lost.
    """
    began, step = time.perf_counter(), progress or (lambda text: None)
    artworks = find_artworks(folder, but=out)
    place = BatchFolder(out, order, force=force)
    engine = engine or Local()
    records, kept = _all(_pieces(artworks, Path(folder)), len(artworks), place, engine, step)
    plates: list[Record] = []
    placed: tuple[Placed, ...] = ()
    use: dict[int, float] = {}
    _finish(place, records, folder)
    if packing is not None:
        plates, placed, use, kept_plates = _packed(place, records, packing, engine, step)
        kept += kept_plates
    ordered = tuple(sorted(records, key=lambda record: list(artworks).index(record.name)))
    work_s = sum(record.work_s for record in (*ordered, *plates))
    return Batch(ordered, kept, tuple(plates), placed, use, time.perf_counter() - began, work_s)


def _pieces(artworks: dict[str, Path], folder: Path) -> Iterator[tuple[Piece, str]]:
    for name, path in artworks.items():
        yield read_piece(name, path, folder)


def _all(
    items: Iterable[tuple[Any, str]],
    count: int,
    place: BatchFolder,
    engine: Engine,
    step: Callable[[str], None],
    where: str = "",
) -> tuple[list[Record], int]:
    """Records of all items, those kept from before among them, and how many these were."""
    records: list[Record] = []
    began = time.perf_counter()

    def to_do() -> Iterator[Any]:
        for item, problem in items:
            if problem:
                records.append(place.keep(item, failed(problem), where))
                step(f"FAILED  {problem}")
            elif (record := place.finished(item, where)) is not None:
                records.append(record)
            else:
                yield item

    made = 0
    for item, result in engine.run(make, to_do(), place.order):
        outcome = result if isinstance(result, Outcome) else failed(_said(result))
        records.append(place.keep(item, outcome, where))
        made += 1
        left_s = (time.perf_counter() - began) / made * (count - len(records))
        told = f"about {clock(left_s)} left" if count - len(records) else "the last"
        step(
            f"{len(records)} of {count}, {told}: {item.file_name}{f'  FAILED: {outcome.problem}' if outcome.problem else ''}"
        )
    return records, len(records) - made - sum(1 for record in records if not record.ok and not record.work_s)


def _said(error: object) -> str:
    if isinstance(error, (Died, TintError)):
        return str(error)
    return f"a fault inside tint ({type(error).__name__}: {error}); please report it, with the artwork."


def _finish(place: BatchFolder, records: Sequence[Record], folder: str | Path) -> None:
    ordered = sorted(records, key=lambda record: record.file_name)
    place.summarise(ordered)
    title = f"{Path(folder).resolve().name}: {len(records)} artworks in {place.order.palette.name}"
    proofs = ((record, place.thumbnail(record.name)) for record in ordered)
    written = [
        write_file(place.path / f"contact-sheet-{number:02d}.png", _png(sheet), force=True).name
        for number, sheet in enumerate(contact_sheets(proofs, title), 1)
    ]
    place.drop("contact-sheet-*.png", set(written))


def _packed(
    place: BatchFolder, records: Sequence[Record], packing: Packing, engine: Engine, step: Callable[[str], None]
) -> tuple[list[Record], tuple[Placed, ...], dict[int, float], int]:
    order = place.order
    stock = order.stock or order.palette.stock
    sizes = {record.name: (record.facts["width_mm"], record.facts["height_mm"]) for record in records if record.ok}
    if not sizes:
        return [], (), {}, 0
    placed = place_pieces(
        sizes, order.machine, stock, gap_mm=packing.gap_mm, edge_mm=packing.edge_mm, turn=packing.turn
    )
    use = stock_use(placed, stock)
    step(f"packed {len(placed)} pieces onto {len(use)} plates")

    def plates() -> Iterator[tuple[Plate, str]]:
        for number in use:
            mine = tuple(one for one in placed if one.plate == number)
            files = {one.name: _files_of(place.results / one.name) for one in mine}
            yield Plate(f"plate-{number:02d}", mine, files), ""

    made, kept = _all(plates(), len(use), place, engine, step, "plates")
    made.sort(key=lambda record: record.name)
    table = io.StringIO()
    rows = csv.writer(table, lineterminator="\n")
    rows.writerow(["plate", "piece", "x_mm", "y_mm", "width_mm", "height_mm", "turned"])
    for one in placed:
        numbers = (f"{value:.3f}" for value in (one.x_mm, one.y_mm, one.width_mm, one.height_mm))
        rows.writerow([f"plate-{one.plate:02d}", one.name, *numbers, "yes" if one.turned else ""])
    write_file(place.path / "placed.csv", table.getvalue(), force=True)
    names = {f"plate-{number:02d}" for number in use}
    for pattern, kept_names in (("plate-*.png", {f"{name}.png" for name in names}), ("plates/plate-*", names)):
        place.drop(pattern, kept_names)  # of an earlier packing; marked by mistake they cost a plate
    for number in use:
        mine = [one for one in placed if one.plate == number]
        picture = plate_picture(mine, place.path / "plates" / f"plate-{number:02d}" / "proof.png", stock.size_mm)
        if picture is not None:
            write_file(place.path / f"plate-{number:02d}.png", _png(picture), force=True)
    return made, placed, use, kept


def plate_picture(placed: Sequence[Placed], proof: Path, size_mm: tuple[float, float]) -> Any:
    """Pillow picture (RGB) of a whole plate: its proof in place, each piece framed and named; None where there is no proof."""
    from PIL import Image, ImageDraw, ImageFont

    if not proof.is_file():
        return None
    scale = 1400 / max(size_mm)
    plate = Image.new("RGB", tuple(max(1, round(side * scale)) for side in size_mm), (150, 150, 150))
    left, top = min(one.x_mm for one in placed), min(one.y_mm for one in placed)
    right = max(one.x_mm + one.width_mm for one in placed)
    bottom = max(one.y_mm + one.height_mm for one in placed)
    with Image.open(proof) as picture:
        small = picture.convert("RGB").resize(
            (max(1, round((right - left) * scale)), max(1, round((bottom - top) * scale))), Image.Resampling.LANCZOS
        )
    whole = Image.new("RGB", plate.size, plate.getpixel((0, 0)))
    whole.paste(small, (round(left * scale), round(top * scale)))
    draw, font = ImageDraw.Draw(plate), ImageFont.load_default(18)
    for one in placed:
        box = [
            round(value * scale) for value in (one.x_mm, one.y_mm, one.x_mm + one.width_mm, one.y_mm + one.height_mm)
        ]
        plate.paste(whole.crop(box), box[:2])
        draw.rectangle([box[0] - 1, box[1] - 1, box[2], box[3]], outline=(60, 60, 60))
        label = fitting(one.name, font, max(box[2] - box[0] - 8, 12))
        draw.rectangle([box[0] + 2, box[1] + 2, box[0] + 8 + font.getlength(label), box[1] + 24], fill=(255, 255, 255))
        draw.text((box[0] + 5, box[1] + 3), label, font=font, fill=(20, 20, 20))
    return plate


def _files_of(folder: Path) -> dict[str, bytes]:
    return {item.name: item.read_bytes() for item in sorted(folder.iterdir()) if item.is_file()}


def _png(picture: Any) -> bytes:
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()
