"""Pictures as the eye blends them: label maps and artworks averaged in linear light over square blocks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tint.artwork.average import LINEAR1

_BAND_PX = 2_000_000  # pixels held as numbers at once; 24 MB a channel


def blocks_of(shape: tuple[int, int], side: int) -> tuple[int, int]:
    """Rows and columns of blocks of `side` pixels that cover a map; the last may be cut."""
    return -(-shape[0] // side), -(-shape[1] // side)


def blended_labels(labels: np.ndarray, light: np.ndarray, side: int, counted: np.ndarray | None = None) -> np.ndarray:
    """Mean light (rows, columns, 3) of blocks of a label map (h, w), NaN where a block has no pixel that counts.

    Parameters
    ----------
    light : (k + 1, 3) light of each number
    side : pixels of a block's side
    counted : (h, w) bool, pixels to average over; None all
    """
    light = np.asarray(light, dtype=np.float32)
    return _blended(labels.shape, side, lambda part, channel: light[:, channel].take(labels[part]), counted)


def blended_picture(srgb255: np.ndarray, side: int, counted: np.ndarray | None = None) -> np.ndarray:
    """Mean linear sRGB 0..1 (rows, columns, 3) of blocks of a picture (h, w, 3), NaN where a block has no pixel that counts."""
    linear1 = LINEAR1.astype(np.float32)
    return _blended(srgb255.shape, side, lambda part, channel: linear1.take(srgb255[part, :, channel]), counted)


def _blended(
    shape: tuple[int, ...], side: int, plane_of: Callable[[slice, int], np.ndarray], counted: np.ndarray | None
) -> np.ndarray:
    """Means of blocks; `plane_of` gives rows of one of the three channels."""
    height, width = shape[:2]
    rows, columns = blocks_of((height, width), side)
    out = np.empty((rows, columns, 3))
    at_once = max(1, _BAND_PX // (width * side))
    for first in range(0, rows, at_once):
        part = slice(first * side, min((first + at_once) * side, height))
        weight = None if counted is None else counted[part].astype(np.float32)
        count = _sums(np.ones((part.stop - part.start, width), np.float32) if weight is None else weight, side)
        for channel in range(3):
            plane = plane_of(part, channel)
            total = _sums(plane if weight is None else plane * weight, side)
            with np.errstate(invalid="ignore"):
                out[first : first + len(count), :, channel] = np.where(count > 0, total / count, np.nan)
    return out


def _sums(plane: np.ndarray, side: int) -> np.ndarray:
    down, across = (np.arange(0, length, side) for length in plane.shape)
    return np.add.reduceat(np.add.reduceat(plane, down, axis=0), across, axis=1)
