"""Plates of packed pieces: a job per plate, a table of the places and a picture of each plate."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tint.batch.engine import Engine
from tint.batch.folder import BatchFolder, Record
from tint.batch.pack import Placed, check_free, no_room, place_pieces, stock_use
from tint.batch.task import Order, Plate, make
from tint.batch.work import work_through
from tint.files.write import write_file
from tint.layers.compare import png_bytes
from tint.palette.lettering import fitting


@dataclass(frozen=True)
class Packing:
    """How small pieces go onto plates: gap between them and edge left free [mm], and whether they may be turned by 90°.

    Raises
    ------
    LimitError
        A gap or an edge that cannot be.
    """

    gap_mm: float = 3.0
    edge_mm: float = 3.0
    turn: bool = False

    def __post_init__(self) -> None:
        check_free(self.gap_mm, self.edge_mm)


def told_unfit(records: Sequence[Record], order: Order, packing: Packing) -> list[Record]:
    """The records, those of pieces that fit on no plate with the reason; their layers stay, another edge may let them fit."""
    sizes = {record.name: (record.facts["width_mm"], record.facts["height_mm"]) for record in records if record.ok}
    stock = order.stock or order.palette.stock
    problems = no_room(sizes, order.machine, stock, edge_mm=packing.edge_mm, turn=packing.turn)
    return [replace(record, problem=problems.get(record.name, record.problem)) for record in records]


def pack_plates(
    place: BatchFolder, order: Order, records: Sequence[Record], copies: Mapping[str, int], packing: Packing, engine: Engine,
    step: Callable[[str], None],
) -> tuple[list[Record], tuple[Placed, ...], dict[int, float]]:  # fmt: skip
    """Records of the plates' jobs, where each piece lies, and the share of each plate used.

    Parameters
    ----------
    records : of the pieces; those that failed are left out
    copies : of each piece by name, 1 where it is not named
    """
    stock = order.stock or order.palette.stock
    piece = {
        record.name if not copy else f"{record.name}, copy {copy + 1}": record
        for record in records
        if record.ok
        for copy in range(copies.get(record.name, 1))
    }
    if not piece:
        _drop_others(place, set())
        return [], (), {}
    sizes = {name: (record.facts["width_mm"], record.facts["height_mm"]) for name, record in piece.items()}
    found = place_pieces(
        sizes, order.machine, stock, gap_mm=packing.gap_mm, edge_mm=packing.edge_mm, turn=packing.turn
    )
    placed = tuple(replace(one, name=piece[one.name].name) for one in found)
    use = stock_use(placed, stock)
    step(f"packed {len(placed)} piece{'s' * (len(placed) != 1)} onto {len(use)} plate{'s' * (len(use) != 1)}")

    def plates() -> Iterator[tuple[Plate, str]]:
        for number in use:
            mine = tuple(one for one in placed if one.plate == number)
            files = {one.name: _files_of(place.results / one.name) for one in mine}
            yield Plate(f"plate-{number:02d}", mine, files), ""

    def begun(plate: Plate) -> str:
        return f"making {plate.name}: layers, drawings, masks and sheet of {len(plate.placed)} piece{'s' * (len(plate.placed) != 1)}"

    made, _ = work_through(make, plates(), len(use), place, engine, step, "plates", begun)
    made.sort(key=lambda record: int(record.name.rpartition("-")[2]))  # plate-100 comes after plate-99
    table = io.StringIO()
    rows = csv.writer(table, lineterminator="\n")
    rows.writerow(["plate", "piece", "x_mm", "y_mm", "width_mm", "height_mm", "turned"])
    for one in placed:
        numbers = (f"{value:.3f}" for value in (one.x_mm, one.y_mm, one.width_mm, one.height_mm))
        rows.writerow([f"plate-{one.plate:02d}", one.name, *numbers, "yes" if one.turned else ""])
    write_file(place.path / "placed.csv", table.getvalue(), force=True)
    _drop_others(place, {f"plate-{number:02d}" for number in use})
    for number in use:
        mine = [one for one in placed if one.plate == number]
        picture = plate_picture(mine, place.path / "plates" / f"plate-{number:02d}" / "proof.png", stock.size_mm)
        if picture is not None:
            write_file(place.path / f"plate-{number:02d}.png", png_bytes(picture), force=True)
    return made, placed, use


def _drop_others(place: BatchFolder, names: set[str]) -> None:
    """Removes plates of an earlier packing that this one does not have; marked by mistake they cost a plate."""
    for pattern, kept in (("plate-*.png", {f"{name}.png" for name in names}), ("plates/plate-*", names)):
        place.drop(pattern, kept)
    if not names:
        place.drop("placed.csv", set())


def plate_picture(placed: Sequence[Placed], proof: Path, size_mm: tuple[float, float]) -> Any:
    """Pillow picture (RGB) of a whole plate: its proof in place, each piece framed and named; None where there is no proof."""
    from PIL import Image, ImageDraw, ImageFont

    if not proof.is_file():
        return None
    scale = 1400 / max(size_mm)
    plate = Image.new("RGB", (max(1, round(size_mm[0] * scale)), max(1, round(size_mm[1] * scale))), (150, 150, 150))
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
        box = (
            round(one.x_mm * scale), round(one.y_mm * scale),
            round((one.x_mm + one.width_mm) * scale), round((one.y_mm + one.height_mm) * scale),
        )  # fmt: skip
        plate.paste(whole.crop(box), box[:2])
        draw.rectangle([box[0] - 1, box[1] - 1, box[2], box[3]], outline=(60, 60, 60))
        label = fitting(one.name, font, max(box[2] - box[0] - 8, 12))
        draw.rectangle([box[0] + 2, box[1] + 2, box[0] + 8 + font.getlength(label), box[1] + 24], fill=(255, 255, 255))
        draw.text((box[0] + 5, box[1] + 3), label, font=font, fill=(20, 20, 20))
    return plate


def _files_of(folder: Path) -> dict[str, bytes]:
    return {item.name: item.read_bytes() for item in sorted(folder.iterdir()) if item.is_file()}
