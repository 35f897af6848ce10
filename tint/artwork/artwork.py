"""Artwork at a physical size: a `Picture` of pixels or a `Drawing` of closed shapes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import FileError, LimitError


@dataclass(frozen=True, eq=False)
class Artwork:
    """What is to be marked, at its size on the metal.

    Parameters
    ----------
    name : file name without its ending; what cannot be printed becomes a question mark
    width_mm, height_mm : size on the metal [mm]
    remarks : what a reader of the layers must know of how the file was read, one line each
    """

    name: str
    width_mm: float
    height_mm: float
    remarks: tuple[str, ...] = field(default=(), kw_only=True)

    def __post_init__(self) -> None:
        # a file name may hold bytes that are no text, or line breaks; the name goes into files and onto sheets
        text = self.name.encode("utf-8", "replace").decode("utf-8")
        object.__setattr__(self, "name", "".join(c if c.isprintable() else "?" for c in text) or "artwork")
        for side in ("width_mm", "height_mm"):
            value = getattr(self, side)
            if not (np.isfinite(value) and value > 0):
                raise LimitError(f"{side} {value:g} of {self.name} cannot be; it is a number above 0.")


@dataclass(frozen=True, eq=False)
class Picture(Artwork):
    """Artwork of pixels.

    Parameters
    ----------
    srgb255 : (h, w, 3) uint8
    bare : (h, w) bool, True where the picture is transparent and the metal stays bare
    """

    srgb255: np.ndarray
    bare: np.ndarray

    @property
    def pitch_mm(self) -> float:
        """Size of a pixel on the metal [mm]."""
        return self.width_mm / self.srgb255.shape[1]


@dataclass(frozen=True, eq=False)
class Shape:
    """A closed region of one flat colour.

    Parameters
    ----------
    region : shapely Polygon or MultiPolygon [mm], x to the right, y down, origin at the artwork's top left corner
    srgb255 : its colour, three whole numbers 0..255
    source : where it is in the file, such as "path 'wing' (line 12)"
    """

    region: Any
    srgb255: tuple[int, int, int]
    source: str


@dataclass(frozen=True, eq=False)
class Drawing(Artwork):
    """Artwork of closed shapes that do not overlap: what lay underneath has been cut away. No shape: bare metal."""

    shapes: tuple[Shape, ...]


PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp")


def read_artwork(
    path: str | Path,
    width_mm: float | None = None,
    pitch_mm: float | None = None,
    *,
    progress: Callable[[str], None] | None = None,
) -> Artwork:
    """Artwork of a picture (PNG, JPEG, TIFF, WebP) or drawing (SVG) at a physical size.

    Parameters
    ----------
    path : the file; its ending and its contents must agree
    width_mm : width on the metal [mm]; a drawing may state its own, a picture needs it
    pitch_mm : pixel size on the metal [mm] to resample a picture to; None keeps its own pixels
    progress : called with a short text about what was decided and how far reading a large picture is

    Raises
    ------
    FileError
        Missing, not artwork, damaged, too large, or using what tint cannot mark exactly (named).
    LimitError
        A size that cannot be.
    """
    ending = Path(path).suffix.lower()
    if ending in PICTURES:
        from tint.artwork.raster import read_picture

        return read_picture(path, width_mm, pitch_mm, progress=progress)
    if ending == ".svg":
        from tint.artwork.vector import read_drawing

        return read_drawing(path, width_mm)
    if Path(path).is_dir():
        raise FileError(f"{path} is a folder; name one artwork in it, or take all of them with `tint batch`.")
    raise FileError(f"{path}: artwork ends in {', '.join(PICTURES)} or .svg; export it as one of these.")
