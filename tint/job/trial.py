"""The trial: one small square of every layer at the plate's edge, marked and compared before the piece."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from tint.errors import LimitError
from tint.job.inset import Inset
from tint.job.order import JobLayer, Timing, layer_time
from tint.layers.layers import Layers
from tint.plan.grid import Grid
from tint.setting import Machine, Setting, Stock

SQUARE_MM = 4.0  # wide enough to compare by eye and for the aperture of most instruments (common practice, no source)
GAP_MM = 1.0  # bare metal between squares, to the blank's edge and to the artwork
PITCH_MM = 0.05  # of the trial's masks: squares and gaps are whole pixels
MOST_ROWS = 4
EDGES = ("bottom", "top", "left", "right")  # in the order tried
SLACK_MM = 1e-6


@dataclass(frozen=True)
class Trial:
    """Where the trial's squares stand on the blank.

    Parameters
    ----------
    edge : "bottom", "top", "left" or "right" edge of the blank
    rows : rows of squares along that edge, the first one at the edge
    at_mm : top left corner from the blank's top left corner [mm]
    width_mm, height_mm : of all squares together [mm]
    field_mm : width and height that artwork and trial together need of the machine's field [mm]
    square_mm, gap_mm : side of a square and bare metal between two [mm]
    time_s : marking of all squares [s]
    """

    edge: str
    rows: int
    at_mm: tuple[float, float]
    width_mm: float
    height_mm: float
    field_mm: tuple[float, float]
    square_mm: float = SQUARE_MM
    gap_mm: float = GAP_MM
    time_s: float = 0.0


def place_trial(
    count: int, stock: Stock, machine: Machine, at_mm: tuple[float, float], size_mm: tuple[float, float]
) -> Trial:
    """Place for `count` squares beside an artwork of this size [mm] at this place [mm] on the blank.

    Raises
    ------
    LimitError
        There is no room at any edge, or none within one field of the machine with the artwork.

    Notes
    -----
    The squares stand a gap from the blank's edge and never over the artwork's rectangle, as near to its middle as the
    blank allows: bottom edge first, then top, left, right; one row, then two and more.
    """
    for rows, edge in product(range(1, min(MOST_ROWS, count) + 1), EDGES):
        trial = _at_edge(count, rows, edge, stock, at_mm, size_mm)
        (x, y), (width, height) = trial.at_mm, (trial.width_mm, trial.height_mm)
        on_blank = x >= GAP_MM - SLACK_MM and y >= GAP_MM - SLACK_MM
        on_blank &= (
            x + width <= stock.size_mm[0] - GAP_MM + SLACK_MM and y + height <= stock.size_mm[1] - GAP_MM + SLACK_MM
        )
        clear = max(x - at_mm[0] - size_mm[0], at_mm[0] - x - width, y - at_mm[1] - size_mm[1], at_mm[1] - y - height)
        in_field = all(need <= most + SLACK_MM for need, most in zip(trial.field_mm, machine.field_mm, strict=True))
        if on_blank and in_field and clear >= GAP_MM - SLACK_MM:
            return trial
    needs = SQUARE_MM + 2 * GAP_MM
    raise LimitError(
        f"no room for the trial: {count} squares of {SQUARE_MM:g} mm need a free strip of {needs:g} mm along an edge of the blank "
        f"({stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm) and within one field with the artwork ({machine.field_mm[0]:g} × "
        f"{machine.field_mm[1]:g} mm). Place the artwork with --at-mm, take a larger blank, or mark the trial on scrap."
    )


def trial_layers(layers: Layers, trial: Trial, order: Sequence[int]) -> Layers:
    """The trial as layers of its own: one square per layer, `order` being the layers' numbers in marking order."""
    import shapely

    labels = np.zeros((round(trial.height_mm / PITCH_MM), round(trial.width_mm / PITCH_MM)), dtype=np.uint8)
    outlines = [shapely.MultiPolygon()] * len(layers.palette)
    along = -(-len(order) // trial.rows)
    for index, number in enumerate(order):
        row, column = divmod(index, along)
        row = trial.rows - 1 - row if trial.edge in ("bottom", "right") else row  # the first row at the edge
        x, y = (
            step * (trial.square_mm + trial.gap_mm) for step in ((column, row) if _flat(trial.edge) else (row, column))
        )
        outlines[number - 1] = shapely.MultiPolygon([shapely.box(x, y, x + trial.square_mm, y + trial.square_mm)])
        left, top, side = (round(value / PITCH_MM) for value in (x, y, trial.square_mm))
        labels[top : top + side, left : left + side] = number
    return dataclasses.replace(
        layers,
        name=f"{layers.name}, trial",
        pitch_mm=PITCH_MM,
        labels=labels,
        drawn=tuple(outlines),
        remarks=(),
        size_mm=None,
    )


def trial_order(
    squares: Layers, planned: Sequence[JobLayer], machine: Machine, timing: Timing, inset: Inset | None = None
) -> tuple[JobLayer, ...]:
    """Layers of the trial in the order of the job, with their own areas and times; plates stay cold, so no waits."""
    out = []
    for layer in planned:
        outline = (inset.regions if inset else squares.outlines)[layer.number - 1]
        took = layer_time(outline, layer.setting, machine, timing)
        out.append(
            dataclasses.replace(
                layer, area_mm2=squares.area_mm2(layer.number), time_s=round(took.total_s, 2), wait_s=0.0, start_k=0.0,
                end_k=0.0, remark="", scan_s=round(took.scan_s, 3), lines=round(took.lines, 1), jumps=took.jumps, jump_mm=0.0,
            )
        )  # fmt: skip
    return tuple(out)


def trial_grid(squares: Layers, trial: Trial, planned: Sequence[JobLayer], machine: Machine) -> Grid:
    """The trial as a grid, one patch per layer named T1, T2, … in marking order, so that its readings can be joined and checked."""
    centres = [squares.outlines[layer.number - 1].centroid for layer in planned]
    return Grid(
        squares.name, machine, squares.palette.stock, tuple(f"T{layer.order}" for layer in planned),
        Setting.from_table([layer.setting.table() for layer in planned]), np.array([layer.order for layer in planned]),
        np.array([[point.x, point.y] for point in centres]).round(6), trial.square_mm, (trial.width_mm, trial.height_mm),
    )  # fmt: skip


def _flat(edge: str) -> bool:
    return edge in ("bottom", "top")


def _at_edge(
    count: int, rows: int, edge: str, stock: Stock, at_mm: tuple[float, float], size_mm: tuple[float, float]
) -> Trial:
    step = SQUARE_MM + GAP_MM
    long, deep = -(-count // rows) * step - GAP_MM, rows * step - GAP_MM
    width, height = (long, deep) if _flat(edge) else (deep, long)
    place = []
    for start, side, blank, own in zip(at_mm, size_mm, stock.size_mm, (width, height), strict=True):
        middle = start + side / 2 - own / 2
        place.append(round(min(max(middle, GAP_MM), max(blank - GAP_MM - own, GAP_MM)), 3))
    fixed = {
        "bottom": stock.size_mm[1] - GAP_MM - height,
        "top": GAP_MM,
        "left": GAP_MM,
        "right": stock.size_mm[0] - GAP_MM - width,
    }
    place[1 if _flat(edge) else 0] = round(fixed[edge], 3)
    together_x, together_y = (
        round(max(start + side, mine + own) - min(start, mine), 3)
        for start, side, mine, own in zip(at_mm, size_mm, place, (width, height), strict=True)
    )
    return Trial(edge, rows, (place[0], place[1]), width, height, (together_x, together_y))
