"""A table of the artworks' own widths and copies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tint.batch.folder import shown_name
from tint.measure.table import read_table

COLUMNS = ("file", "width_mm", "copies")
MOST_COPIES = 10_000  # of one piece; more is a slip of the keyboard


@dataclass(frozen=True)
class Size:
    """Width of an artwork on the metal [mm], None as the batch has it, and how many copies are packed."""

    width_mm: float | None = None
    copies: int = 1


def read_sizes(path: str | Path, artworks: Mapping[str, Path], folder: Path) -> dict[str, Size]:
    """Sizes by the name of the result, from a CSV table with the columns file, width_mm and copies; the last two may be left out.

    Parameters
    ----------
    artworks : of the batch, by the name of the result; those the table does not name keep the batch's width, one copy each
    folder : of the artworks; files are named from it on, as in summary.csv

    Raises
    ------
    FileError
        Names the line and column: a column that is not known, a file that is not in the folder or named twice, a width or number of
        copies that cannot be.
    """
    names = {shown_name(artwork, folder): name for name, artwork in artworks.items()}
    sizes: dict[str, Size] = {}
    for row in read_table(path, needed=("file",), numbers=("width_mm",), office=True, known=COLUMNS)[1]:
        file = row.text("file").replace("\\", "/")
        if file not in names:
            raise row.wrong("file", f"{file[:80]!r} is not an artwork of {folder}; write it as in summary.csv")
        if names[file] in sizes:
            raise row.wrong("file", f"{file[:80]!r} stands here twice")
        width_mm = row.number("width_mm") if row.text("width_mm") else None
        if width_mm is not None and not width_mm > 0:
            raise row.wrong("width_mm", f"{width_mm:g} cannot be; give a width above 0 [mm], or leave it empty")
        copies = row.number("copies", 1.0)
        if copies != int(copies) or not 1 <= copies <= MOST_COPIES:
            raise row.wrong("copies", f"{copies:g} cannot be; give a whole number from 1 to {MOST_COPIES}")
        sizes[names[file]] = Size(width_mm, int(copies))
    return sizes
