"""Where patches stand on the plate, and in which order they are marked."""

from __future__ import annotations

import math

import numpy as np

from tint.errors import DataError, LimitError
from tint.plan.grid import Grid
from tint.setting import Machine, Setting, Stock

PATCH_MM = 6.0  # a hand-held instrument needs about 4 mm of even colour (common practice, no source)
GAP_MM = 1.5  # bare metal between patches: keeps the heat of one from tinting the next
EDGE_MM = 5.0  # plate edges cool differently and are where the clamp sits


def lay_out(
    setting: Setting,
    machine: Machine,
    stock: Stock,
    *,
    name: str = "plate 1",
    patch_mm: float = PATCH_MM,
    gap_mm: float = GAP_MM,
    repeats: int = 1,
    seed: int = 0,
) -> Grid:
    """Grid of the settings (n,), one patch each, at shuffled places and in shuffled order.

    Parameters
    ----------
    repeats : the first so many settings, equal ones, go near the corners and the middle of the plate
    seed : shuffles places and marking order

    Raises
    ------
    DataError
        The plate or the field is too small.
    LimitError
        A setting the machine cannot do, or sizes that cannot be.
    """
    n = len(setting)
    rng = np.random.default_rng(seed)
    places = _places(machine, stock, n, patch_mm, gap_mm)
    columns = len({x for x, _ in places})
    cells = rng.permutation(n)
    if repeats > 1:
        spots = list(dict.fromkeys([0, n - 1, columns - 1, n // 2, *range(n)]))[:repeats]
        cells = np.concatenate([spots, [cell for cell in cells if cell not in spots]]).astype(int)
    placed = np.empty_like(setting.table())
    placed[cells] = setting.table()
    return Grid(
        name, machine, stock, tuple(_id(cell, columns) for cell in range(n)), Setting.from_table(placed),
        rng.permutation(n) + 1, np.array(places), float(patch_mm), (stock.size_mm[0], stock.size_mm[1]),
    )  # fmt: skip


def _id(cell: int, columns: int) -> str:
    row, column = divmod(cell, columns)
    letters = chr(ord("A") + row % 26)
    return f"{'' if row < 26 else chr(ord('A') + row // 26 - 1)}{letters}{column + 1:02d}"


def _fitting_mm(room: list[float], n: int, gap_mm: float) -> float:
    """Largest patch [mm], to half a millimetre, of which n fit the room."""
    for half in range(40, 0, -1):
        step = half / 2 + gap_mm
        if int((room[0] + gap_mm) // step) * int((room[1] + gap_mm) // step) >= n:
            return half / 2
    return 0.5


def _places(machine: Machine, stock: Stock, n: int, patch_mm: float, gap_mm: float) -> list[tuple[float, float]]:
    """Centres of n patches in rows, centred on the plate, as near to the plate's own proportions as can be."""
    if not (0 < patch_mm < math.inf and 0 <= gap_mm < math.inf):
        raise LimitError("patch size [mm] is above 0 and the gap is not negative.")
    step = patch_mm + gap_mm
    room = [min(plate - 2 * EDGE_MM, reach) for plate, reach in zip(stock.size_mm, machine.field_mm, strict=True)]
    most = [int((space + gap_mm) // step) for space in room]
    if most[0] * most[1] < n:
        raise DataError(
            f"{n} patches of {patch_mm:g} mm do not fit: {max(0, most[0] * most[1])} fit on {stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm "
            f"inside the field. Ask for fewer, make them smaller (--patch-mm {_fitting_mm(room, n, gap_mm):g} fits), or take a larger plate."
        )
    wanted = math.ceil(math.sqrt(n * room[0] / room[1]))
    columns = min(most[0], max(wanted, math.ceil(n / most[1])))
    rows = math.ceil(n / columns)
    left = stock.size_mm[0] / 2 - (columns - 1) * step / 2
    top = stock.size_mm[1] / 2 - (rows - 1) * step / 2
    return [(left + (cell % columns) * step, top + (cell // columns) * step) for cell in range(n)]
