"""Label maps: which palette number stands at each pixel, from a picture's colours or from outlines."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from tint.artwork.artwork import Picture
from tint.lab import delta_e00, lab_from_srgb1
from tint.palette.palette import Palette

_BAND_PX = 4_000_000  # pixels handled at once; more needs memory, fewer needs time
_PAIRS_AT_ONCE = 2_000_000  # pairs of colours compared at once, for the same trade
_MEANT_OVER = (
    300_000  # different colours that the mean wanted and lost colours are taken over; more changes no digit shown
)
_MANY_CODES = 1_000_000  # from so many different colours on, finer cells pay for themselves
# Share of its range over a cell's corners that ΔE00 may leave it by inside: 0 missed six of 9.5 million random colours,
# 0.1 none; more costs time.
_CURVED = 0.25
_GREY_CHROMA = 8.0  # CIELAB chroma of a cell's corner below which hues turn right round inside it


def label_picture(picture: Picture, palette: Palette) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Labels (h, w) uint8 of a picture by nearest ΔE00, with the mean Lab wanted (k + 1, 3) and mean ΔE00 lost (k + 1,).

    The nearest is that of every different colour, as if compared one by one (see `_possible_in_cells` for the shortcut and
    its test). The means are taken over at most 300,000 of the colours.
    """
    height, width = picture.bare.shape
    band = max(1, _BAND_PX // width)
    counts = np.zeros(1 << 24, dtype=np.int32)
    for top in range(0, height, band):
        part = slice(top, top + band)
        counts += np.bincount(_code(picture.srgb255[part])[~picture.bare[part]], minlength=1 << 24).astype(np.int32)
    codes = np.flatnonzero(counts).astype(np.uint32)
    table = np.zeros(1 << 24, dtype=np.uint8)
    table[codes] = _nearest_of_codes(codes, palette.lab)
    labels = np.empty((height, width), dtype=np.uint8)
    for top in range(0, height, band):
        part = slice(top, top + band)
        labels[part] = np.where(picture.bare[part], 0, table[_code(picture.srgb255[part])])
    some = codes[:: math.ceil(len(codes) / _MEANT_OVER)] if len(codes) else codes
    lab = _lab_of_codes(some)
    lost = delta_e00(lab, palette.lab[table[some]])
    return labels, *mean_by_number(table[some], counts[some], lab, lost, len(palette) + 1)


def _nearest_of_codes(codes: np.ndarray, candidates: np.ndarray) -> np.ndarray:
    """Number (n,) of the candidate (k, 3) nearest by ΔE00 to each colour code (n,).

    The colour cube is cut into cells. From ΔE00 at a cell's eight corners follows which candidates can be nearest
    somewhere inside; where only one can, no colour of the cell needs a closer look.
    """
    step = 4 if len(codes) > _MANY_CODES else 8
    possible = _possible_in_cells(candidates, step)
    shift = step.bit_length() - 1
    cell = tuple((codes >> shift + 8 * (2 - axis) & (255 >> shift)).astype(np.intp) for axis in range(3))
    number = possible.argmax(axis=-1).astype(np.uint8)[cell]
    unsure = np.flatnonzero((possible.sum(axis=-1) > 1)[cell])
    at_once = max(1, _PAIRS_AT_ONCE // len(candidates))
    for start in range(0, len(unsure), at_once):
        part = unsure[start : start + at_once]
        row, candidate = np.nonzero(possible[tuple(axis[part] for axis in cell)])
        distance = np.full((len(part), len(candidates)), np.inf)
        distance[row, candidate] = delta_e00(_lab_of_codes(codes[part])[row], candidates[candidate])
        number[part] = distance.argmin(axis=-1)
    return number


def _possible_in_cells(candidates: np.ndarray, step: int) -> np.ndarray:
    """(m, m, m, k) bool: may candidate k be nearest by ΔE00 somewhere in the cell of `step` sRGB levels a side?

    ΔE00 inside a cell leaves the range of its corners a little, by curvature; `_CURVED` allows for that. It also jumps
    where two hues are opposite: corners on both sides show the jump, except around grey, where all candidates stay.
    """
    levels = np.minimum(np.arange(0, 257, step), 255) / 255
    nodes = lab_from_srgb1(np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1))
    size = len(levels) - 1
    corners = [tuple(slice(at, at + size) for at in corner) for corner in itertools.product((0, 1), repeat=3)]

    def span(candidate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Least and most ΔE00 to a candidate that each cell may hold."""
        away = delta_e00(nodes, candidate).astype(np.float32)
        low, high = away[corners[0]].copy(), away[corners[0]].copy()
        for corner in corners[1:]:
            np.minimum(low, away[corner], out=low)
            np.maximum(high, away[corner], out=high)
        slack = _CURVED * (high - low)
        return low - slack, high + slack

    most = np.full((size, size, size), np.inf, dtype=np.float32)
    for candidate in candidates:  # twice over all candidates: keeping their spans would take half a GB for 255 of them
        np.minimum(most, span(candidate)[1], out=most)
    possible = np.stack([span(candidate)[0] <= most for candidate in candidates], axis=-1)
    chroma = np.hypot(nodes[..., 1], nodes[..., 2])
    for corner in corners:
        possible |= (chroma[corner] < _GREY_CHROMA)[..., None]
    return possible


def _lab_of_codes(codes: np.ndarray) -> np.ndarray:
    return lab_from_srgb1(np.stack([codes >> 16, codes >> 8 & 255, codes & 255], axis=-1) / 255)


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
