"""Small pieces side by side on plates: where each goes, and the layers of a whole plate."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.layers.label import label_outlines
from tint.layers.layers import Layers, pixels_of
from tint.layers.separate import DRAWING_PITCH_MM
from tint.setting import Machine, Stock

GRAIN_UM = 10  # places are whole multiples of this; whole numbers pack without rounding


@dataclass(frozen=True)
class Placed:
    """Where a piece lies.

    Parameters
    ----------
    name : of the piece
    plate : number of the plate, 1 first
    x_mm, y_mm : its top left corner from the plate's top left corner [mm]
    width_mm, height_mm : what it takes there, turned or not [mm]
    turned : by 90° clockwise
    """

    name: str
    plate: int
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    turned: bool


def check_free(gap_mm: float, edge_mm: float) -> None:
    """Nothing; raises `LimitError` where so much metal [mm] cannot be left free between pieces or along the edges."""
    if not (0 <= gap_mm < math.inf and 0 <= edge_mm < math.inf):
        raise LimitError(f"a gap of {gap_mm:g} mm and an edge of {edge_mm:g} mm cannot be; give numbers from 0 up.")


def place_pieces(
    sizes_mm: Mapping[str, tuple[float, float]], machine: Machine, stock: Stock, *, gap_mm: float = 3.0, edge_mm: float = 3.0,
    turn: bool = False,
) -> tuple[Placed, ...]:  # fmt: skip
    """Places of the pieces on as few plates as the packing finds; the part of a plate used fits the machine's field.

    Parameters
    ----------
    sizes_mm : width and height [mm] of each piece by name
    gap_mm : left free between pieces, for the shears
    edge_mm : left free along the plate's edges
    turn : a piece may be turned by 90°; scan lines keep their direction, so its sheen may differ from its neighbours'

    Raises
    ------
    LimitError
        A gap that cannot be, or a piece that fits on no plate.

    References
    ----------
    Jylänki, A thousand ways to pack the bin (2010): maximal rectangles, as the rectpack library has them.
    """
    import rectpack

    check_free(gap_mm, edge_mm)
    for problem in no_room(sizes_mm, machine, stock, edge_mm=edge_mm, turn=turn).values():
        raise LimitError(problem)
    room = _room_mm(machine, stock, edge_mm)

    def grains(value_mm: float) -> int:
        return math.ceil(round(value_mm * 1000 / GRAIN_UM, 6))

    free = [math.floor((side + gap_mm) * 1000 / GRAIN_UM + 1e-6) for side in room]
    names = sorted(sizes_mm)
    sizes = []
    for name in names:  # a piece may be a grain too large for a plate it just fits
        size = [grains(side + gap_mm) for side in sizes_mm[name]]
        sizes.append([side - 1 if side == most + 1 else side for side, most in zip(size, free, strict=True)])
    best = min(
        (_packed(rectpack, sizes, free, *way) for way in _ways(rectpack, turn)), key=lambda rects: _plates(rects)
    )
    placed = []
    for plate, x, y, width, _, number in best:
        w, h = sizes_mm[names[number]]
        turned = width != sizes[number][0]
        left, top = (edge_mm + value * GRAIN_UM / 1000 for value in (x, y))
        placed.append(Placed(names[number], plate + 1, left, top, *((h, w) if turned else (w, h)), turned))
    return tuple(sorted(placed, key=lambda one: (one.plate, one.y_mm, one.x_mm)))


def no_room(
    sizes_mm: Mapping[str, tuple[float, float]], machine: Machine, stock: Stock, *, edge_mm: float = 3.0, turn: bool = False
) -> dict[str, str]:
    """Why a piece fits on no plate, by its name; parameters as `place_pieces`."""
    room = _room_mm(machine, stock, edge_mm)

    def fits(*size_mm: float) -> bool:
        return all(side <= free + 1e-6 for side, free in zip(size_mm, room, strict=True))

    found = {}
    for name, (width, height) in sizes_mm.items():
        if not fits(width, height) and not (turn and fits(height, width)):
            turned = "Turned by 90° it fits (--turn)" if fits(height, width) else "Make it smaller, or leave it out"
            found[name] = (
                f"{name} ({width:g} × {height:g} mm) fits on no plate: {room[0]:g} × {room[1]:g} mm are free on {stock.name} within "
                f"the field. {turned}."
            )
    return found


def _room_mm(machine: Machine, stock: Stock, edge_mm: float) -> list[float]:
    """Width and height free on a plate within the machine's field [mm]."""
    return [min(side - 2 * edge_mm, field) for side, field in zip(stock.size_mm, machine.field_mm, strict=True)]


def _ways(rectpack: Any, turn: bool) -> Iterator[tuple[Any, Any, bool]]:
    """Ways to pack: none is the best for every batch, and each takes a blink."""
    for how in (rectpack.MaxRectsBssf, rectpack.MaxRectsBaf, rectpack.MaxRectsBl):
        for first in (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE):
            yield from ((how, first, turned) for turned in ((False, True) if turn else (False,)))


def _packed(rectpack: Any, sizes: list[list[int]], free: list[int], how: Any, first: Any, turn: bool) -> list[Any]:
    packer = rectpack.newPacker(rotation=turn, pack_algo=how, sort_algo=first)
    packer.add_bin(*free, count=float("inf"))
    for number, size in enumerate(sizes):
        packer.add_rect(*size, rid=number)
    packer.pack()
    return packer.rect_list()


def _plates(rects: list[Any]) -> tuple[int, int, int]:
    """How many plates, pieces missing first; then how much lies on the emptiest: less there is more free for scrap use."""
    area: dict[int, int] = {}
    for plate, _, _, width, height, _ in rects:
        area[plate] = area.get(plate, 0) + width * height
    return -len(rects), len(area), min(area.values(), default=0)


def stock_use(placed: Sequence[Placed], stock: Stock) -> dict[int, float]:
    """Share of each plate's area that its pieces cover, by plate."""
    used: dict[int, float] = {}
    for one in placed:
        used[one.plate] = used.get(one.plate, 0.0) + one.width_mm * one.height_mm / math.prod(stock.size_mm)
    return used


def plate_layers(
    placed: Sequence[Placed], layers: Mapping[str, Layers], name: str
) -> tuple[Layers, tuple[float, float]]:
    """Layers of one whole plate, and where their top left corner lies on it [mm].

    Parameters
    ----------
    placed : the plate's pieces
    layers : of each piece by name, all with the same palette

    Notes
    -----
    A colour of several pieces is one layer, so its setting is entered once. Pictures come with their traced outlines, so all
    pieces keep their exact borders, whatever their pixels.
    """
    import shapely

    left, top = min(one.x_mm for one in placed), min(one.y_mm for one in placed)
    palette = layers[placed[0].name].palette
    outlines: list[list[Any]] = [[] for _ in palette.colours]
    for one in placed:
        for number, outline in enumerate(layers[one.name].outlines):
            if not outline.is_empty:
                outlines[number] += shapely.get_parts(_moved(outline, one, left, top)).tolist()
    drawn = tuple(shapely.MultiPolygon(parts) for parts in outlines)
    size = (
        max(one.x_mm + one.width_mm for one in placed) - left,
        max(one.y_mm + one.height_mm for one in placed) - top,
    )
    labels = label_outlines(drawn, pixels_of(size, DRAWING_PITCH_MM), DRAWING_PITCH_MM)
    wanted, lost = _mean_of([layers[one.name] for one in placed])
    remarks = tuple(dict.fromkeys(f"{one.name}: {line}" for one in placed for line in layers[one.name].remarks))
    whole = Layers(name, DRAWING_PITCH_MM, labels, palette, wanted, lost, remarks, drawn=drawn, size_mm=size)
    return whole, (left, top)


def _moved(outline: Any, one: Placed, left: float, top: float) -> Any:
    import shapely

    x, y = one.x_mm - left, one.y_mm - top
    if not one.turned:
        return shapely.transform(outline, lambda points: points + np.array([x, y]))
    return shapely.transform(
        outline, lambda points: np.stack([x + one.width_mm - points[:, 1], y + points[:, 0]], axis=-1)
    )


def _mean_of(pieces: Sequence[Layers]) -> tuple[np.ndarray, np.ndarray]:
    """Area-weighted means over pieces of what was wanted (k + 1, 3) and lost (k + 1,), NaN where unused."""
    count = len(pieces[0].palette) + 1
    weight = np.array([[one.area_mm2(number) if number else 0.0 for number in range(count)] for one in pieces])
    weight[:, 0] = [one.width_mm * one.height_mm - row.sum() for one, row in zip(pieces, weight, strict=True)]
    lost, wanted = (np.stack([getattr(one, name) for one in pieces]) for name in ("lost_de00", "wanted_lab"))
    weight = np.where(np.isfinite(lost), weight, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        total = weight.sum(axis=0)
        mean_lost = np.nansum(np.where(np.isfinite(lost), lost, 0) * weight, axis=0) / total
        mean_wanted = np.nansum(np.where(np.isfinite(wanted), wanted, 0) * weight[..., None], axis=0) / total[:, None]
    return mean_wanted, mean_lost
