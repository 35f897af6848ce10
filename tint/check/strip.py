"""A strip: a palette's own settings, each a few times, short enough for scrap of the batch."""

from __future__ import annotations

import numpy as np

from tint.errors import DataError
from tint.palette.palette import Palette
from tint.plan.grid import Grid
from tint.plan.layout import EDGE_MM, GAP_MM, PATCH_MM, patch_id
from tint.setting import Machine, Setting, Stock

REPLICATES = 3  # two tell a scratch from a drift only by the promise; three by each other
MOST_REPLICATES = 9


def plan_strip(
    palette: Palette,
    machine: Machine,
    stock: Stock,
    *,
    replicates: int = REPLICATES,
    name: str = "strip",
    patch_mm: float = PATCH_MM,
    gap_mm: float = GAP_MM,
    seed: int = 0,
) -> Grid:
    """Grid of the palette's settings, each marked `replicates` times, on the smallest piece that holds it.

    Parameters
    ----------
    replicates : marks of each colour
    seed : shuffles places and marking order

    Raises
    ------
    DataError
        The strip is larger than the stock or the machine's field, or replicates that cannot be.
    LimitError
        A setting the machine cannot do.

    Notes
    -----
    Complete blocks: every colour once in shuffled order, then every colour again in another order, so that what changes while
    the strip is marked or along its length tells no two colours apart. A row holds a block where there is room.
    """
    if not 1 <= replicates <= MOST_REPLICATES:
        raise DataError(f"{replicates} replicates cannot be; mark each colour 2 or 3 times, {MOST_REPLICATES} at most.")
    k, step, rng = len(palette), patch_mm + gap_mm, np.random.default_rng(seed)
    room = [min(side, reach) - 2 * EDGE_MM for side, reach in zip(stock.size_mm, machine.field_mm, strict=True)]
    columns = min(k, int((room[0] + gap_mm) // step))
    rows = -(-k // columns) * replicates if columns > 0 else 0
    if columns < 1 or rows * step - gap_mm > room[1]:
        raise DataError(
            f"a strip of {k} colours, {replicates} times, does not fit on {stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm inside the field. "
            "Mark fewer replicates (--replicates 2), smaller patches (--patch-mm 4), or take a larger piece of scrap."
        )
    colour = np.concatenate([rng.permutation(k) for _ in range(replicates)])
    order = np.concatenate([block * k + rng.permutation(k) for block in range(replicates)]) + 1
    deep = -(-k // columns)
    cells = [(block * deep + place // columns, place % columns) for block in range(replicates) for place in range(k)]
    xy_mm = EDGE_MM + patch_mm / 2 + step * np.array([(column, row) for row, column in cells], dtype=float)
    wide_mm, tall_mm = (2 * EDGE_MM + count * step - gap_mm for count in (columns, rows))
    return Grid(
        name, machine, stock, tuple(patch_id(row, column) for row, column in cells), Setting.from_table(palette.setting.table()[colour]), order,
        xy_mm, float(patch_mm), (wide_mm, tall_mm),
    )  # fmt: skip
