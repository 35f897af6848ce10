"""What an artwork asks for: its colours and how much of its area each covers."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np

from tint.artwork.alike import WHITE, alike
from tint.artwork.artwork import PICTURES, Artwork, Drawing, Picture, read_artwork
from tint.artwork.raster import MOST_WIDTH_MM
from tint.errors import DataError
from tint.lab import lab_from_srgb1

MOST_WISHES = 800  # colours of an artwork kept, the most frequent first: all of flat artwork, 90–99 % of a photograph's area
_CELLS = 32  # along each of red, green and blue: 8 levels wide, which nobody sees
_AT_ONCE_PX = 1_000_000  # pixels sorted into cells at once; bounds memory
_PITCH_MM = 0.05  # of a picture of which only the colours count; any that pictures may have


def artwork_wishes(artwork: Artwork, background: tuple[int, int, int] | None = WHITE) -> tuple[np.ndarray, np.ndarray]:
    """Colours (w, 3) Lab of an artwork, the most frequent 800, and each one's share (w,) of the area these cover together.

    Parameters
    ----------
    artwork : a drawing, with the colours of its shapes, or a picture, with the mean colours of cells of 8 × 8 × 8 levels
    background : sRGB bytes of the colour that stays bare like transparency and so wants nothing; None: no colour does

    Raises
    ------
    DataError
        The artwork is wholly transparent, or nothing but background.
    """
    if isinstance(artwork, Drawing):
        srgb255 = np.array([shape.srgb255 for shape in artwork.shapes])
        area = np.array([shape.region.area for shape in artwork.shapes])
        srgb255, index = np.unique(srgb255, axis=0, return_inverse=True)
        weight = np.bincount(index.ravel(), area)
        shown, wanted = bool(weight.sum() > 0), ~alike(srgb255, background)
        srgb255, weight = srgb255[wanted], weight[wanted]
    else:
        assert isinstance(artwork, Picture)
        shown = not artwork.bare.all()
        srgb255, weight = _frequent(artwork, background)
    if shown and not weight.sum() > 0:
        raise DataError(
            f"nothing of {artwork.name} is to be marked: all of it is the background's colour. Add --background none to mark it."
        )
    if not shown:
        raise DataError(f"{artwork.name} has nothing to mark: it is wholly transparent.")
    top = np.argsort(-weight, kind="stable")[:MOST_WISHES]
    return lab_from_srgb1(srgb255[top] / 255), weight[top] / weight[top].sum()


def read_wishes(path: str | Path) -> Artwork:
    """Artwork of a file for its colours only; a picture needs no size for that.

    Raises
    ------
    FileError
        Not artwork, damaged, or too large.
    """
    return read_artwork(path, _width_mm(path) if Path(path).suffix.lower() in PICTURES else None)


def _width_mm(path: str | Path) -> float:
    """A width at which a picture can be read as it is, whatever its pixels [mm]."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about size
            with Image.open(path) as image:
                return min(image.width * _PITCH_MM, MOST_WIDTH_MM)
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError, ValueError):
        return 1000.0  # too large for Pillow alone, or no picture, which the reader says


def _frequent(picture: Picture, background: tuple[int, int, int] | None) -> tuple[np.ndarray, np.ndarray]:
    """Mean colour [0..255] (c, 3) and count (c,) of each of the cells that hold pixels which do not stay bare."""
    count, sums = np.zeros(_CELLS**3), np.zeros((3, _CELLS**3))
    rows = max(1, _AT_ONCE_PX // picture.bare.shape[1])
    for top in range(0, len(picture.bare), rows):
        pixels = picture.srgb255[top : top + rows][~picture.bare[top : top + rows]]
        pixels = pixels[~alike(pixels, background)]
        cell = (pixels // (256 // _CELLS)).astype(np.int32) @ np.array([_CELLS**2, _CELLS, 1], dtype=np.int32)
        count += np.bincount(cell, minlength=_CELLS**3)
        sums += [np.bincount(cell, pixels[:, i], minlength=_CELLS**3) for i in range(3)]
    used = np.flatnonzero(count)
    return (sums[:, used] / count[used]).T, count[used]
