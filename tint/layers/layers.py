"""`Layers`: artwork reduced to one layer per palette colour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.layers.simplify import SIMPLIFY_PX
from tint.palette.palette import Palette

_COUNTED_AT_ONCE = 250_000  # pixels; numpy counts 8-byte copies of them


def pixels_of(size_mm: tuple[float, float], pitch_mm: float) -> tuple[int, int]:
    """Rows and columns of a label map of this pitch that just covers a width and height [mm].

    Examples
    --------
    >>> pixels_of((10.0, 5.02), 0.05)
    (101, 200)
    """
    width, height = (max(1, math.ceil(side / pitch_mm - 1e-6)) for side in size_mm)
    return height, width


def pixels_by_number(labels: np.ndarray, size: int) -> np.ndarray:
    """How many pixels of a label map (h, w) have each number: (size,).

    Examples
    --------
    >>> pixels_by_number(np.array([[0, 2], [2, 2]], dtype=np.uint8), 4).tolist()
    [1, 0, 3, 0]
    """
    flat = labels.reshape(-1)
    bands = (flat[start : start + _COUNTED_AT_ONCE] for start in range(0, len(flat), _COUNTED_AT_ONCE))
    return np.sum([np.bincount(band, minlength=size) for band in bands], axis=0)


@dataclass(frozen=True, eq=False)
class Layers:
    """A separation: each place of the artwork belongs to exactly one palette colour or to the bare metal.

    Parameters
    ----------
    name : name of the artwork
    pitch_mm : size of a label's pixel on the metal [mm]
    labels : (h, w) uint8, number of the palette colour at each pixel, 0 bare metal
    palette : the whole palette; numbers index it
    wanted_lab : (k + 1, 3) mean Lab the artwork had where each number was given, NaN where unused
    lost_de00 : (k + 1,) mean ΔE00 between wanted and given, by number, NaN where unused
    remarks : what was merged, lost or far off, one line each
    drawn : outlines of a drawing, one shapely MultiPolygon [mm] per palette colour; None for a picture, whose outlines
        are traced from its labels when first asked for
    simplify_px : most a traced outline may leave the pixel border [pixels], at most 0.45
    size_mm : true width and height [mm] of a drawing, whose label map is rounded up to whole pixels; None: that of the map
    smooth : round the stairs of traced outlines, their borders still shared

    Raises
    ------
    LimitError
        Labels beyond the palette, a pitch or tolerance that cannot be, a label map that does not cover the size.
    """

    name: str
    pitch_mm: float
    labels: np.ndarray
    palette: Palette
    wanted_lab: np.ndarray
    lost_de00: np.ndarray
    remarks: tuple[str, ...] = ()
    drawn: tuple[Any, ...] | None = None
    simplify_px: float = 0.45
    size_mm: tuple[float, float] | None = None
    smooth: bool = False

    def __post_init__(self) -> None:
        if self.labels.ndim != 2 or self.labels.dtype != np.uint8 or not self.labels.size:
            raise LimitError("labels of layers are an 8-bit map with at least one pixel.")
        if int(self.labels.max()) > len(self.palette):
            raise LimitError(f"label {int(self.labels.max())} is beyond the palette's {len(self.palette)} colours.")
        if self.drawn is not None and len(self.drawn) != len(self.palette):
            raise LimitError("drawn layers need one outline per palette colour.")
        if not (np.isfinite(self.pitch_mm) and self.pitch_mm > 0):
            raise LimitError(f"pitch {self.pitch_mm:g} mm of layers cannot be; it is a number above 0.")
        if not 0 <= self.simplify_px <= SIMPLIFY_PX:
            raise LimitError(
                f"simplify_px {self.simplify_px:g} cannot be; it lies between 0 and {SIMPLIFY_PX:g} pixels."
            )
        if self.smooth and self.simplify_px == 0:
            raise LimitError("smooth outlines leave the pixel borders; they need simplify_px above 0.")
        if self.size_mm is not None and pixels_of(self.size_mm, self.pitch_mm) != self.labels.shape:
            raise LimitError("the label map does not cover the size of the artwork; separate it again.")

    @property
    def names(self) -> tuple[str, ...]:
        """Names by number: "bare metal", then the palette's colours."""
        return ("bare metal", *(colour.name for colour in self.palette.colours))

    @property
    def width_mm(self) -> float:
        """Width on the metal [mm]."""
        return self.size_mm[0] if self.size_mm else self.labels.shape[1] * self.pitch_mm

    @property
    def height_mm(self) -> float:
        """Height on the metal [mm]."""
        return self.size_mm[1] if self.size_mm else self.labels.shape[0] * self.pitch_mm

    @cached_property
    def outlines(self) -> tuple[Any, ...]:
        """One shapely MultiPolygon [mm] per palette colour (number 1 first, empty where unused).

        x to the right, y down, origin at the top left corner; neighbours share their borders exactly.
        """
        if self.drawn is not None:
            return self.drawn
        from tint.layers.outline import trace_outlines

        traced = trace_outlines(
            self.labels, self.pitch_mm, len(self.palette), simplify_px=self.simplify_px, smooth=self.smooth
        )
        return tuple(traced[1:])

    @cached_property
    def used(self) -> tuple[int, ...]:
        """Numbers of the palette colours that the artwork uses, rising; bare metal is not among them."""
        if self.drawn is not None:
            return tuple(number for number, outline in enumerate(self.drawn, 1) if not outline.is_empty)
        return tuple(int(number) for number in np.flatnonzero(self._pixels) if number)

    @cached_property
    def _pixels(self) -> np.ndarray:
        """(k + 1,) how many pixels have each number."""
        return pixels_by_number(self.labels, len(self.palette) + 1)

    def area_mm2(self, number: int) -> float:
        """Area of a layer [mm²]: by its outline for a drawing, by its pixels for a picture."""
        if self.drawn is not None:
            return float(self.drawn[number - 1].area)
        return int(self._pixels[number]) * self.pitch_mm**2
