"""Grid of a plate that was marked without `tint grid`: rows and columns of equal cells, and a settings file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tint.errors import DataError
from tint.measure.patches import settings_of
from tint.measure.table import read_table
from tint.plan.grid import Grid
from tint.plan.layout import patch_id
from tint.setting import FIELDS, Machine, Stock

CELL_MM = 10.0  # nominal: a photograph of cells knows no millimetres


def grid_of_cells(path: str | Path, rows: int, columns: int, machine: Machine, stock: Stock) -> Grid:
    """Grid whose patches fill rows × columns of equal cells, with the settings of a `settings.csv` row by row.

    Its plate is the block of cells itself: corners of the plate are the outer corners of the corner patches. The middle
    0.6 of a cell is read, so marks may leave up to a fifth of it bare. Where the file has a column `patch` with the names of
    the cells (A01, A02, …), they say which setting is where, and a column `order` when it was marked.

    Raises
    ------
    FileError
        The settings cannot be read.
    DataError
        Not as many settings as cells, or some names are those of cells and others not.
    """
    _, lines = read_table(path, needed=FIELDS[:5], numbers=FIELDS)
    if rows < 1 or columns < 1 or rows * columns != len(lines):
        raise DataError(
            f"{rows} × {columns} cells are {rows * columns} patches; {path} has {len(lines)} settings. They need to be as many."
        )
    cells = [(row, column) for row in range(rows) for column in range(columns)]
    ids = tuple(patch_id(row, column) for row, column in cells)
    named = [line.text("patch") for line in lines]
    if set(named) == set(ids):
        lines = [lines[named.index(name)] for name in ids]
    elif wrong := [name for name in named if name in ids] and [
        name for name in named if name not in ids or named.count(name) > 1
    ]:
        raise DataError(
            f"{path}: {wrong[0][:40]!r} in column patch is twice there, or none of the {rows} × {columns} cells {ids[0]} to {ids[-1]}. "
            "Name all cells, or drop the column and list the settings row by row."
        )
    marked = [line.text("order") for line in lines]
    in_turn = [str(number) for number in range(1, len(ids) + 1)]
    order = [int(number) for number in marked] if sorted(marked) == sorted(in_turn) else range(1, len(ids) + 1)
    setting = settings_of(lines)
    xy_mm = (np.array(cells, dtype=float)[:, ::-1] + 0.5) * CELL_MM
    return Grid(
        Path(path).stem,
        machine,
        stock,
        ids,
        setting,
        np.array(order),
        xy_mm,
        CELL_MM,
        (columns * CELL_MM, rows * CELL_MM),
    )
