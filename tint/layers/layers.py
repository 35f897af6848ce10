"""`Layers`: artwork reduced to one layer per palette colour, and the folder that holds it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import LimitError
from tint.palette.palette import Palette


@dataclass(frozen=True, eq=False)
class Layers:
    """A separation: each place of the artwork belongs to exactly one palette colour or to the bare metal.

    Parameters
    ----------
    name : name of the artwork
    pitch_mm : size of a label's pixel on the metal [mm]
    labels : (h, w) uint8, number of the palette colour at each pixel, 0 bare metal
    palette : the whole palette; numbers index it
    outlines : one shapely MultiPolygon [mm] per palette colour (number 1 first, empty where unused), x right, y down,
        origin at the top left corner; neighbours share their borders exactly
    wanted_lab : (k + 1, 3) mean Lab the artwork had where each number was given, NaN where unused
    lost_de00 : (k + 1,) mean ΔE00 between wanted and given, by number, NaN where unused
    remarks : what was merged, lost or far off, one line each
    """

    name: str
    pitch_mm: float
    labels: np.ndarray
    palette: Palette
    outlines: tuple[object, ...]
    wanted_lab: np.ndarray
    lost_de00: np.ndarray
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.labels.ndim != 2 or self.labels.dtype != np.uint8 or not self.labels.size:
            raise LimitError("labels of layers are an 8-bit map with at least one pixel.")
        if int(self.labels.max()) > len(self.palette):
            raise LimitError(f"label {int(self.labels.max())} is beyond the palette's {len(self.palette)} colours.")
        if len(self.outlines) != len(self.palette):
            raise LimitError("layers need one outline per palette colour.")

    @property
    def width_mm(self) -> float:
        """Width on the metal [mm]."""
        return self.labels.shape[1] * self.pitch_mm

    @property
    def height_mm(self) -> float:
        """Height on the metal [mm]."""
        return self.labels.shape[0] * self.pitch_mm

    @property
    def used(self) -> tuple[int, ...]:
        """Numbers of the palette colours that the artwork uses, rising; bare metal is not among them."""
        return tuple(number for number, outline in enumerate(self.outlines, 1) if not outline.is_empty)

    def area_mm2(self, number: int) -> float:
        """Area of a layer [mm²] by its outline."""
        return float(self.outlines[number - 1].area)
