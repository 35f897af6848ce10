"""Where patches and registration marks stand on the plate, and in which order patches are marked."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError, LimitError
from tint.plan.grid import Grid
from tint.plan.marks import MODULES, Mark, Registration, dark_setting, mark_numbers
from tint.setting import Machine, Setting, Stock

PATCH_MM = 6.0  # a hand-held instrument needs about 4 mm of even colour (common practice, no source)
GAP_MM = 1.5  # bare metal between patches: keeps the heat of one from tinting the next
MARK_MM = 8.0  # side of a registration mark: its modules are then a millimetre wide, 5 pixels of a poor photo
SMALLEST_MARK_MM = 4.0  # half of that: a good photo still shows it
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
    marks: bool = True,
    seed: int = 0,
) -> Grid:
    """Grid of the settings (n,), one patch each, at shuffled places and in shuffled order.

    Parameters
    ----------
    repeats : the first so many settings, equal ones, go near the corners and the middle of the plate
    marks : plan registration marks and squares kept bare, where the plate has room for them
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
    block = _block(machine, stock, n, patch_mm, gap_mm, marks)
    columns = len({column for _, column in block.cells})
    cells = rng.permutation(n)
    if repeats > 1:
        spots = list(dict.fromkeys([0, n - 1, columns - 1, n // 2, *range(n)]))[:repeats]
        cells = np.concatenate([spots, [cell for cell in cells if cell not in spots]]).astype(int)
    placed = np.empty_like(setting.table())
    placed[cells] = setting.table()
    grid = Grid(
        name, machine, stock, tuple(patch_id(row, column) for row, column in block.cells), Setting.from_table(placed),
        rng.permutation(n) + 1, block.xy_mm(), float(patch_mm), (stock.size_mm[0], stock.size_mm[1]),
    )  # fmt: skip
    return dataclasses.replace(grid, registration=_registration(grid, block)) if marks else grid


@dataclass(frozen=True)
class _Block:
    """Where patches stand: (row, column) of each, the step [mm], the first centre [mm], and the space about the block.

    `mark_mm` is the side a registration mark can have, 0 where there is no room; `in_cells` says that the marks take the
    corner cells of the block, because the space about it is too narrow.
    """

    cells: tuple[tuple[int, int], ...]
    shape: tuple[int, int]  # columns, rows
    step_mm: float
    first_mm: tuple[float, float]
    room_mm: tuple[float, float]
    mark_mm: float
    in_cells: bool

    def xy_mm(self, cells: tuple[tuple[int, int], ...] | None = None) -> np.ndarray:
        rows_columns = np.array(self.cells if cells is None else cells, dtype=float).reshape(-1, 2)
        return np.array(self.first_mm) + rows_columns[:, ::-1] * self.step_mm


def patch_id(row: int, column: int) -> str:
    """Name of the patch in a row and a column, both from 0.

    Examples
    --------
    >>> patch_id(1, 6), patch_id(26, 0), patch_id(27, 11)
    ('B07', 'AA01', 'AB12')
    """
    letters = chr(ord("A") + row % 26)
    return f"{'' if row < 26 else chr(ord('A') + row // 26 - 1)}{letters}{column + 1:02d}"


def _fitting_mm(room: list[float], n: int, gap_mm: float) -> float:
    """Largest patch [mm], to half a millimetre, of which n fit the room."""
    for half in range(40, 0, -1):
        step = half / 2 + gap_mm
        if int((room[0] + gap_mm) // step) * int((room[1] + gap_mm) // step) >= n:
            return half / 2
    return 0.5


def _block(machine: Machine, stock: Stock, n: int, patch_mm: float, gap_mm: float, marks: bool) -> _Block:
    """Cells of n patches in rows, centred on the plate, as near to the plate's own proportions as can be."""
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
    plain = _shape(most, room, n)
    mark_mm = min(
        MARK_MM,
        max(space - (count * step - gap_mm) for space, count in zip(room, plain, strict=True)) / 2 - _rim_mm(gap_mm),
    )
    in_cells = False
    if marks and mark_mm < SMALLEST_MARK_MM:
        in_cells = patch_mm >= SMALLEST_MARK_MM and gap_mm >= patch_mm / MODULES
        in_cells = in_cells and min(most) >= 3 and most[0] * most[1] >= n + 4
        mark_mm = patch_mm if in_cells else 0.0
    columns, rows = _shape(most, room, n + 4 if in_cells else n)
    corners = {(0, 0), (0, columns - 1), (rows - 1, 0), (rows - 1, columns - 1)} if in_cells else set()
    cells = [(row, column) for row in range(rows) for column in range(columns) if (row, column) not in corners]
    first = tuple(size / 2 - (count - 1) * step / 2 for size, count in zip(stock.size_mm, (columns, rows), strict=True))
    return _Block(
        tuple(cells[:n]),
        (columns, rows),
        step,
        (first[0], first[1]),
        (room[0], room[1]),
        mark_mm if marks else 0.0,
        in_cells,
    )


def _shape(most: list[int], room: list[float], n: int) -> tuple[int, int]:
    """Columns and rows that hold n cells."""
    wanted = math.ceil(math.sqrt(n * room[0] / room[1]))
    columns = min(most[0], max(wanted, math.ceil(n / most[1])))
    return columns, math.ceil(n / columns)


def _rim_mm(gap_mm: float) -> float:
    """Bare metal [mm] about a mark: one of its modules at least."""
    return max(gap_mm, MARK_MM / MODULES)


def _registration(grid: Grid, block: _Block) -> Registration | None:
    """Marks at the corners, further ones in the middles where there is room, and squares kept bare; None without room."""
    if block.mark_mm == 0:
        return None
    side, rim = block.mark_mm, _rim_mm(block.step_mm - grid.patch_mm)
    middle = np.array(grid.plate_mm) / 2
    if block.in_cells:
        columns, rows = block.shape
        corners = block.xy_mm(((0, 0), (0, columns - 1), (rows - 1, columns - 1), (rows - 1, 0)))
        out = corners[2] - middle
        rim = 0.0
    else:
        out = np.array(block.room_mm) / 2 - side / 2
        corners = middle + out * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    taken = [(xy, grid.patch_mm) for xy in grid.xy_mm]
    placed = []
    for xy in (*corners, *(middle + out * np.array([[0, -1], [1, 0], [0, 1], [-1, 0]]))):
        free = all(np.abs(xy - other).max() >= (side + size) / 2 + rim - 1e-6 for other, size in taken)
        placed.append((float(xy[0]), float(xy[1])) if free else None)
        if free:
            taken.append((np.array(placed[-1]), side))
    numbers = mark_numbers(grid.mark)
    marks = tuple(Mark(numbers[place], xy, float(side)) for place, xy in enumerate(placed) if xy is not None)
    return Registration(marks, _bare_squares(grid, block, out, middle, taken), dark_setting(grid.machine))


def _bare_squares(
    grid: Grid, block: _Block, out: np.ndarray, middle: np.ndarray, taken: list[tuple[np.ndarray, float]]
) -> np.ndarray:
    """Centres (m, 2) [mm] of up to twelve squares beside the patches that stay bare: along the edges, then unused cells."""
    columns, rows = block.shape
    unused = tuple(
        (row, column) for row in range(rows) for column in range(columns) if (row, column) not in block.cells
    )
    # half-way between marks, opposite edges in turn; then the middles, where no mark stands
    along = ((-0.5, -1), (0.5, 1), (1, -0.5), (-1, 0.5), (0.5, -1), (-0.5, 1), (1, 0.5), (-1, -0.5), (0, -1), (1, 0), (0, 1), (-1, 0))  # fmt: skip
    kept: list[np.ndarray] = []
    rim = block.step_mm - grid.patch_mm
    for xy in (*(middle + out * np.array(place) for place in along), *block.xy_mm(unused)):
        others = [*taken, *((other, grid.patch_mm) for other in kept)]
        if all(np.abs(xy - other).max() >= (grid.patch_mm + size) / 2 + rim - 1e-6 for other, size in others):
            kept.append(xy)
    return np.array(kept[:12], dtype=float).reshape(-1, 2)
