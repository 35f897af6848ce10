"""A batch from folder to folder: what is done already is kept, what fails is told, the rest goes on."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tint.batch.contact import contact_sheets
from tint.batch.engine import Engine, Local
from tint.batch.folder import BatchFolder, Record, find_artworks, held_batch, read_piece
from tint.batch.pack import Placed
from tint.batch.plates import Packing, pack_plates, told_unfit
from tint.batch.sizes import Size, read_sizes
from tint.batch.task import LOAD_FIRST, Order, Piece, make
from tint.batch.work import work_through
from tint.files.write import write_file
from tint.layers.compare import png_bytes

__all__ = ["Batch", "Packing", "run_batch"]


@dataclass(frozen=True)
class Batch:
    """What became of a batch.

    Parameters
    ----------
    records : one per artwork, in the order of their names
    kept : how many of the artworks done were there already
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
    sizes: str | Path | None = None, force: bool = False, progress: Callable[[str], None] | None = None,
) -> Batch:  # fmt: skip
    """Batch of all artworks of a folder: a job folder each (or a job per plate), a summary and contact sheets.

    Parameters
    ----------
    folder : of artworks; folders below it are searched too
    out : folder of the batch. One begun earlier with the same order is gone on with: what is there is kept, artworks that
        changed or failed are made again
    order : what the artworks share; with `packing` its `layers_only` is set
    engine : where the work is done, None this computer's cores
    packing : pack the pieces onto plates and write a job per plate; a piece that fits on none counts as failed
    sizes : table of the artworks' own widths and, with `packing`, copies, as `read_sizes` takes it
    force : the folder was begun with another order: make anew what differs
    progress : called with a short text as each is done

    Raises
    ------
    FileError
        No artworks, a table of sizes that does not fit them, or the folder of the batch is something else, cannot be written, or
        another batch is at work in it.

    Notes
    -----
    A result takes its place whole, then its record is written; whatever stops a batch, at most the artworks in hand are lost. The
    disk is waited for once, at the end: where the power fails before, results whose size is not the recorded one are made again.

    Worker processes load the script that calls this: there it stands under ``if __name__ == "__main__":``.
    """
    began, step = time.perf_counter(), progress or (lambda text: None)
    engine = engine or Local(load_first=LOAD_FIRST)
    artworks = find_artworks(folder, but=out)
    own = read_sizes(sizes, artworks, Path(folder)) if sizes is not None else {}
    copies = {name: size.copies for name, size in own.items()}
    if packing is None and any(count > 1 for count in copies.values()):
        step("copies count with --pack only: here each artwork is one job, to be marked as often as you like")
    with held_batch(out):
        place = BatchFolder(out, order, force=force)
        records, kept = work_through(make, _pieces(artworks, Path(folder), own), len(artworks), place, engine, step)
        plates: list[Record] = []
        placed: tuple[Placed, ...] = ()
        use: dict[int, float] = {}
        if packing is not None:
            records = told_unfit(records, order, packing)
        _finish(place, order, records, folder)
        if packing is not None:
            plates, placed, use = pack_plates(place, order, records, copies, packing, engine, step)
        if left := place.without_artwork(artworks):
            step(f"{place.results.name} also holds {some(left)}, which no artwork stands behind any more; delete what is not wanted")
        place.settle()
    at = {name: number for number, name in enumerate(artworks)}
    ordered = tuple(sorted(records, key=lambda record: at[record.name]))
    work_s = sum(record.work_s for record in (*ordered, *plates))
    there = sum(record.ok and record.name in kept for record in ordered)
    return Batch(ordered, there, tuple(plates), placed, use, time.perf_counter() - began, work_s)


def _pieces(artworks: dict[str, Path], folder: Path, own: Mapping[str, Size]) -> Iterator[tuple[Piece, str]]:
    for name, path in artworks.items():
        yield read_piece(name, path, folder, own[name].width_mm if name in own else None)


def some(names: Sequence[str], most: int = 5) -> str:
    """The first few names, and how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _finish(place: BatchFolder, order: Order, records: Sequence[Record], folder: str | Path) -> None:
    ordered = sorted(records, key=lambda record: record.file_name)
    place.summarise(ordered)
    title = f"{Path(folder).resolve().name}: {len(records)} artworks in {order.palette.name}"
    proofs = ((record, place.thumbnail(record.name)) for record in ordered)
    written = [
        write_file(place.path / f"contact-sheet-{number:02d}.png", png_bytes(sheet), force=True, sync=False).name
        for number, sheet in enumerate(contact_sheets(proofs, title, next(iter(order.palette.remarks), "")), 1)
    ]
    place.drop("contact-sheet-*.png", set(written))


