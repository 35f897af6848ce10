"""Label maps: which palette number stands at each pixel, from a picture's colours or from outlines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tint.artwork.artwork import Picture
from tint.lab import lab_from_srgb1, nearest
from tint.palette.palette import Palette

_BAND_PX = 4_000_000  # pixels handled at once; more needs memory, fewer needs time


def label_picture(picture: Picture, palette: Palette) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Labels (h, w) uint8 of a picture by nearest ΔE00, with the mean Lab wanted (k + 1, 3) and mean ΔE00 lost (k + 1,).

    Every different colour of the picture is compared with every colour of the palette; nothing is approximated.
    """
    height, width = picture.bare.shape
    band = max(1, _BAND_PX // width)
    counts = np.zeros(1 << 24, dtype=np.int32)
    for top in range(0, height, band):
        part = slice(top, top + band)
        counts += np.bincount(_code(picture.srgb255[part])[~picture.bare[part]], minlength=1 << 24).astype(np.int32)
    codes = np.flatnonzero(counts)
    lab = lab_from_srgb1(np.stack([codes >> 16, codes >> 8 & 255, codes & 255], axis=-1) / 255)
    number, lost = nearest(lab, palette.lab)
    table = np.zeros(1 << 24, dtype=np.uint8)
    table[codes] = number
    labels = np.empty((height, width), dtype=np.uint8)
    for top in range(0, height, band):
        part = slice(top, top + band)
        labels[part] = np.where(picture.bare[part], 0, table[_code(picture.srgb255[part])])
    return labels, *mean_by_number(number, counts[codes], lab, lost, len(palette) + 1)


def _code(srgb255: np.ndarray) -> np.ndarray:
    r, g, b = (srgb255[..., i].astype(np.uint32) for i in range(3))
    return r << 16 | g << 8 | b


def label_outlines(outlines: Sequence[object], shape_px: tuple[int, int], pitch_mm: float) -> np.ndarray:
    """Labels (h, w) uint8 of outlines [mm] (number 1 first): each pixel takes the outline its centre lies in, else 0.

    Notes
    -----
    Even-odd along rows: every edge toggles the pixels to its right. A centre on a shared border goes to the outline on
    its right or below, the same for both neighbours, so no pixel is in two outlines or lost between two.
    """
    labels = np.zeros(shape_px, dtype=np.uint8)
    for number, outline in enumerate(outlines, 1):
        if not outline.is_empty:
            labels[_inside(outline, shape_px, pitch_mm)] = number
    return labels


def _inside(outline: object, shape_px: tuple[int, int], pitch_mm: float) -> np.ndarray:
    import shapely

    height, width = shape_px
    points, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(outline)), return_index=True)
    points = points / pitch_mm - 0.5  # pixel centres at whole numbers
    same = ring[1:] == ring[:-1]
    start, end = points[:-1][same], points[1:][same]
    start, end = (
        np.where((start[:, 1] <= end[:, 1])[:, None], start, end),
        np.where((start[:, 1] <= end[:, 1])[:, None], end, start),
    )
    first = np.clip(np.ceil(start[:, 1]), 0, height).astype(np.int64)
    rows = np.clip(np.ceil(end[:, 1]), 0, height).astype(np.int64) - first
    edge = np.repeat(np.arange(len(rows)), rows)
    row = np.arange(len(edge)) - np.repeat(np.cumsum(rows) - rows, rows) + first[edge]
    slope = (end[edge, 0] - start[edge, 0]) / (end[edge, 1] - start[edge, 1])
    column = np.clip(np.ceil(start[edge, 0] + (row - start[edge, 1]) * slope), 0, width).astype(np.int64)
    toggles = np.bincount(row * (width + 1) + column, minlength=height * (width + 1)).reshape(height, width + 1)
    return (np.cumsum(toggles[:, :-1], axis=1) & 1).astype(bool)


def mean_by_number(
    number: np.ndarray, weight: np.ndarray, lab: np.ndarray, lost: np.ndarray, size: int
) -> tuple[np.ndarray, np.ndarray]:
    """Weighted mean Lab (size, 3) and ΔE00 (size,) of the colours (n,) given each number; NaN where none was."""
    total = np.bincount(number, weight, size)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_lab = np.stack([np.bincount(number, weight * lab[:, i], size) / total for i in range(3)], axis=-1)
        return mean_lab, np.bincount(number, weight * lost, size) / total
