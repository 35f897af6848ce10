"""Tonal separation: a picture in cells one spot wide, each one palette colour or bare, which blend in the eye."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tint.artwork.artwork import Picture
from tint.artwork.average import scaled
from tint.artwork.preview import averaged_to
from tint.errors import DataError, LimitError
from tint.layers.difference import light_of_srgb255
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.halftone import diffused, ordered
from tint.layers.layers import Layers
from tint.layers.mixture import IDEAL, Mixing
from tint.layers.paper import on_metal
from tint.layers.refine import refined
from tint.layers.spatial import DISTANCE_MM, Viewed, errors_over
from tint.palette.palette import Palette
from tint.palette.reach import light_from_lab
from tint.process import spot_mm
from tint.threads import one_thread

WAYS = ("diffused", "ordered")
MAX_CELL_MM = 1.0  # the coarsest pixel of a label map
MAX_CELLS = 12_000_000  # a field of 175 mm in cells of 0.051 mm; about 1 GB while it is separated
FEW_LINES = 20  # scan lines a cell, below which one more or less shows (5 % of the cell); common practice, no source
JUDGED_CELLS = 200_000  # up to which the remark about the look is computed from all cells, above from tiles spread over them
_TILE = 48  # cells of a tile's side; many small ones tell more of a picture than few large ones
LARGER_AT_MOST = 1.5  # times the spot, that a cell may grow to so as to hold whole scan lines of every colour


@dataclass(frozen=True)
class Tonal:
    """How a picture is reduced to cells.

    Parameters
    ----------
    cell_mm : side of a cell [mm]; None takes the smallest from the spot up that holds whole scan lines of every colour
    way : "diffused" or "ordered"
    mixing : how area shares turn into colour, from a measured strip where there is one
    seed : of the pattern's random part
    """

    cell_mm: float | None = None
    way: str = "diffused"
    mixing: Mixing = IDEAL
    seed: int = 0

    def __post_init__(self) -> None:
        if self.way not in WAYS:
            raise LimitError(f"tonal way {self.way!r} is not known; use {' or '.join(WAYS)}.")


def cell_for(palette: Palette, cell_mm: float | None = None) -> tuple[float, tuple[str, ...]]:
    """Side of a tonal cell [mm] for a palette, and remarks about scan lines that would beat with it.

    Raises
    ------
    LimitError
        A cell below the machine's spot, or above 1 mm.

    Notes
    -----
    Where a cell is not a whole number of scan lines wide, cells get one line more or one less by turns, and the turns make
    stripes (moiré). With whole lines every cell is filled alike.
    """
    spot = spot_mm(palette.machine)
    spacing_nm = sorted({max(1, round(1e6 * float(value))) for value in palette.setting.spacing_mm})
    if cell_mm is None:
        step_nm = math.lcm(*spacing_nm)  # of many colours a number of hundreds of digits, which no float holds
        whole_nm = -(-math.ceil(round(spot * 1e6, 3)) // step_nm) * step_nm
        cell_mm = math.ceil(round(spot * 1e3, 6)) / 1e3 if whole_nm > LARGER_AT_MOST * spot * 1e6 else whole_nm / 1e6
    if not spot * (1 - 1e-6) <= cell_mm <= MAX_CELL_MM:
        raise LimitError(
            f"a cell of {cell_mm:g} mm cannot be marked; it lies between the spot of {palette.machine.name} ({spot:.3g} mm) and "
            f"{MAX_CELL_MM:g} mm."
        )
    cell_nm = round(1e6 * cell_mm)
    beating = [
        f"{colour.name} ({float(colour.setting.spacing_mm):g} mm)"
        for colour in palette.colours
        if cell_nm % max(1, round(1e6 * float(colour.setting.spacing_mm)))
        and cell_mm < FEW_LINES * float(colour.setting.spacing_mm)
    ]
    if not beating:
        return cell_mm, ()
    return cell_mm, (
        f"cells of {cell_mm:g} mm are not whole numbers of scan lines of {', '.join(beating)}: stripes may show; choose a cell that "
        "is, with --cell-mm",
    )


@one_thread
def tonal_layers(
    picture: Picture, palette: Palette, how: str, tonal: Tonal, ink: tuple[int, int, int] | None = (0, 0, 0),
    step: Callable[[str], None] = lambda text: None,
) -> Layers:  # fmt: skip
    """Layers of a picture in cells of one colour each, that show its tones by their shares of the area.

    Parameters
    ----------
    how : map into what the palette can mix, one of `tint.layers.gamut.MAPS`
    ink : sRGB bytes of the colour that becomes the darkest mark, None: no colour is singled out
    step : called with a short text as each step begins

    Raises
    ------
    DataError
        Nothing of the picture is to be marked.
    LimitError
        A cell that cannot be, or too many of them.

    Notes
    -----
    A cell stays bare where more than half of it is. Its colour is the mean light of the rest.
    """
    cell_mm, remarks = cell_for(palette, tonal.cell_mm)
    step(f"averaging the picture over cells of {cell_mm:g} mm")
    cells = in_cells(picture, cell_mm)
    if cells.bare.all():
        raise DataError(f"nothing of {picture.name} is to be marked: it is wholly transparent, or background.")
    step("finding the nearest colours that cells side by side can show")
    gamut = Gamut(palette.lab, tonal.mixing)
    mapped, pixels = GamutMap(how, gamut, ink), on_metal(cells, palette)
    root = mapped.picture(pixels)
    step("choosing the colour of every cell")
    if tonal.way == "ordered":
        labels = ordered(pixels, mapped, cells.bare, tonal.seed, root)
    else:
        light, colours = gamut.asked_light(root), light_from_lab(palette.lab)
        labels = diffused(light, colours, cells.bare, tonal.seed)
        labels = refined(labels, light, colours, cell_mm, cells.bare, tonal.seed)
    if not labels.any():
        raise DataError(f"nothing of {picture.name} is to be marked: every cell is nearest to the bare metal.")
    none = np.full(len(palette) + 1, np.nan)  # no cell was meant to have its own colour: they are means of many
    said = (*picture.remarks, *_said(cells, labels, gamut, root, tonal), *remarks)
    return Layers(
        picture.name, cell_mm, labels, palette, np.full((len(palette) + 1, 3), np.nan), none, said, simplify_px=0.0
    )


def in_cells(picture: Picture, cell_mm: float) -> Picture:
    """Picture of one pixel per cell, averaged in linear light by opacity; bare where more than half of a cell is.

    Cells are whole, also along the border: as many as fit, so a piece that fills the field never grows beyond it.

    Raises
    ------
    LimitError
        More than 12 million cells.
    """
    height, width = picture.bare.shape
    columns, rows = (max(1, math.floor(side / cell_mm + 1e-6)) for side in (picture.width_mm, picture.height_mm))
    if columns * rows > MAX_CELLS:
        raise LimitError(
            f"{columns} × {rows} cells of {cell_mm:g} mm are too many (up to {MAX_CELLS / 1e6:.0f} million); use larger ones."
        )
    if columns > width or rows > height:
        srgb255, bare = scaled(picture.srgb255, picture.bare, (columns, rows))
    else:
        srgb255, bare = averaged_to(picture, (columns, rows))
    return Picture(picture.name, columns * cell_mm, rows * cell_mm, srgb255, bare)


def judged_parts(height: int, width: int) -> list[tuple[slice, slice]]:
    """Parts (rows, columns) to judge a map of cells by: all of a small one, else tiles evenly spread over it.

    Examples
    --------
    >>> judged_parts(400, 500)
    [(slice(0, 400, None), slice(0, 500, None))]
    >>> len(judged_parts(3000, 4000))
    88
    """
    if height * width <= JUDGED_CELLS:
        return [(slice(0, height), slice(0, width))]
    along = math.sqrt(JUDGED_CELLS / (height * width))
    parts: tuple[list[slice], list[slice]] = ([], [])
    for place, side in enumerate((height, width)):
        tile = min(side, _TILE)
        count = max(1, min(round(along * side / _TILE), side // tile))  # no more than fit side by side
        for i in range(count):  # each in the middle of its share, so that borders count no more than they cover
            first = round((i + 0.5) * side / count - tile / 2)
            parts[place].append(slice(first, first + tile))
    return list(itertools.product(*parts))


def _looks(cells: Picture, labels: np.ndarray, gamut: Gamut, root: np.ndarray) -> tuple[float, float]:
    """Spatial error against the artwork of the cells, and of the colours they stand for [ΔE00]."""
    light = light_from_lab(gamut.lab).astype(np.float32)

    def artwork(*part: slice) -> np.ndarray:
        return np.where(cells.bare[part][..., None], light[0], light_of_srgb255(cells.srgb255[part]))

    def reached(*part: slice) -> np.ndarray:
        return np.where(cells.bare[part][..., None], light[0], gamut.light(root[part]))

    def shown(*part: slice) -> np.ndarray:
        return light[labels[part]]

    wanted, mapped, made = (Viewed(labels.shape, each, cells.pitch_mm) for each in (artwork, reached, shown))
    whole, reach = errors_over(wanted, [made, mapped], judged_parts(*labels.shape))
    return whole, reach


def _said(cells: Picture, labels: np.ndarray, gamut: Gamut, root: np.ndarray, tonal: Tonal) -> list[str]:
    """What tonal means for the person who marks and the one who looks."""
    pitch = cells.pitch_mm
    whole, reached = _looks(cells, labels, gamut, root)
    reached = min(whole, reached)  # a grain may by chance come nearer than the colours it stands for
    if tonal.mixing.ideal:
        look = f"{whole:.1f} ΔE00 from the artwork on average; {reached:.1f} of it because this palette cannot mix all colours"
    else:  # no cell has a colour of its own: marks grow into their neighbours
        look = f"{reached:.1f} ΔE00 from the artwork on average, the grain of the cells left out: this palette cannot mix all colours"
    marked = int((labels > 0).sum())
    runs = int((labels[:, :1] > 0).sum()) + int(((labels[:, 1:] != labels[:, :-1]) & (labels[:, 1:] > 0)).sum())
    fitted = "" if tonal.mixing.ideal else ", grown as the measured strip of mixtures told"
    return [
        f"tonal: {marked} cells of {pitch:g} mm in some {runs} runs side by side{fitted}. Each is jumped to and started anew: jump time "
        "will be a large part of the job, and a laser slow to start leaves cells short; mark a small part on scrap first",
        f"tonal: from {DISTANCE_MM:g} mm it looks {look}",
    ]
