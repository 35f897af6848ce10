"""What an artwork asks for: its colours and how much of its area each covers."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tint.artwork.artwork import PICTURES, Artwork, Drawing, Picture, read_artwork
from tint.errors import DataError
from tint.lab import lab_from_srgb1

MOST_WISHES = 800  # colours of an artwork kept, the most frequent first; the rest cover a few ppm


def artwork_wishes(artwork: Artwork) -> tuple[np.ndarray, np.ndarray]:
    """Colours (w, 3) Lab of an artwork and the share (w,) of its area each covers, the most frequent 800.

    Raises
    ------
    DataError
        The artwork is wholly transparent.
    """
    if isinstance(artwork, Drawing):
        srgb255 = np.array([shape.srgb255 for shape in artwork.shapes])
        area = np.array([shape.region.area for shape in artwork.shapes])
        srgb255, index = np.unique(srgb255, axis=0, return_inverse=True)
        weight = np.bincount(index.ravel(), area)
    else:
        assert isinstance(artwork, Picture)
        srgb255, weight = _frequent(artwork.srgb255[~artwork.bare])
    if not weight.sum() > 0:
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
    size_mm = 100.0 if Path(path).suffix.lower() in PICTURES else None
    return read_artwork(path, size_mm)


def _frequent(pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean colour and count of each of 32³ cells that hold pixels (n, 3)."""
    code = (pixels >> 3).astype(np.int32)
    code = code[:, 0] << 10 | code[:, 1] << 5 | code[:, 2]
    count = np.bincount(code, minlength=1 << 15)
    used = np.flatnonzero(count)
    sums = [np.bincount(code, pixels[:, i], minlength=1 << 15)[used] for i in range(3)]
    return np.stack(sums, axis=-1) / count[used, None], count[used].astype(float)
