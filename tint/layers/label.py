"""Label maps: which palette number stands at each pixel, from a picture's colours or from outlines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from tint.artwork.alike import Srgb255, alike
from tint.artwork.artwork import Picture
from tint.layers.difference import delta_e00_of, lab_of_srgb255
from tint.layers.edges import colour_codes
from tint.layers.flat_map import number_by_map
from tint.layers.layers import pixels_by_number
from tint.layers.nearest import channels_of, nearest_of_codes
from tint.palette.palette import Palette

_BAND_PX = 250_000  # pixels handled at once; more needs memory, fewer needs time
_LONG_RUN = 8  # pixels that runs of one colour have on average in bands labelled by runs: drawings and even shading
_MEANT_OVER_PX = 100_000  # pixels that the mean wanted and lost colours are taken over; more changes no digit shown
_LOOKED_FOR_ONE_BY_ONE = 20  # numbers up to which a search of the map for each is faster than to count them all
_MEANT_AT_LEAST_PX = 1_000  # pixels of a number so rare that none of those above has it


def label_picture(
    picture: Picture, palette: Palette, how: str | None = None, background: Srgb255 | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Labels (h, w) uint8 of a picture by nearest ΔE00, with the mean Lab wanted (k + 1, 3) and mean ΔE00 lost (k + 1,).

    The nearest is that of every different colour, as if compared one by one (`tint.layers.nearest`); with `how`, one of
    `tint.layers.gamut.MAPS`, by what that map puts first. The means are taken over
    some 100,000 pixels, evenly spread.
    """
    height, width = picture.bare.shape
    band = max(1, _BAND_PX // width)
    parts = [slice(top, top + band) for top in range(0, height, band)]
    some_bare = bool(picture.bare.any())
    held = np.zeros(1 << 24, dtype=bool)
    runs: list[tuple[np.ndarray, np.ndarray] | None] = []  # of each band that is even in long runs: their codes and lengths
    for part in parts:
        codes = colour_codes(picture.srgb255[part])
        runs.append(None if some_bare else _runs(codes))
        held[codes[~picture.bare[part]] if some_bare else codes if runs[-1] is None else runs[-1][0]] = True
    codes = np.flatnonzero(held).astype(np.uint32)
    table = held.view(np.uint8)  # of the same size: what was held is written over
    if how is None:
        table[codes] = nearest_of_codes(codes, palette.lab)
    else:
        table[codes] = number_by_map(how, lab_of_srgb255(*channels_of(codes)).T, palette.lab)
    labels = np.empty((height, width), dtype=np.uint8)
    for part, run in zip(parts, runs, strict=True):
        if run is not None:
            labels[part] = np.repeat(table[run[0]], run[1]).reshape(-1, width)
            continue
        np.take(table, colour_codes(picture.srgb255[part]), out=labels[part], mode="clip")
        if some_bare:
            labels[part][picture.bare[part]] = 0
    return labels, *means_of(picture, labels, palette, background)


def _runs(codes: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """Codes and lengths of the runs of equal codes (r, w), read on from row to row; None where they are too short to gain by."""
    flat = codes.reshape(-1)
    some = flat[: _LONG_RUN * 1000]
    if np.count_nonzero(some[1:] != some[:-1]) * _LONG_RUN > len(some):
        return None
    first = np.flatnonzero(flat[1:] != flat[:-1]) + 1
    if len(first) * _LONG_RUN > len(flat):
        return None
    first = np.concatenate([[0], first])
    return flat[first], np.diff(first, append=len(flat))


def means_of(
    picture: Picture, labels: np.ndarray, palette: Palette, background: Srgb255 | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Mean Lab wanted (k + 1, 3) and ΔE00 lost (k + 1,) by number, NaN where none is; what stays bare as asked does not count.

    Nor does what has the background's colour and stays bare because the bare metal is nearest to it.
    """
    step = math.ceil(labels.size / _MEANT_OVER_PX)
    while math.gcd(step, labels.shape[1]) > 1:  # else the same columns in every row
        step += 1
    at = np.arange(0, labels.size, step)
    flat, bare = labels.reshape(-1), picture.bare.reshape(-1)
    size = len(palette) + 1
    missed = np.flatnonzero(np.bincount(flat[at[~bare[at]]], minlength=size) == 0)  # by the evenly spread ones
    if len(missed) > _LOOKED_FOR_ONE_BY_ONE:
        missed = missed[pixels_by_number(labels, size)[missed] > 0]
    rare = [np.flatnonzero(flat == number) for number in missed.astype(np.uint8)]
    at = np.concatenate([at, *(places[~bare[places]][:_MEANT_AT_LEAST_PX] for places in rare)])
    at = at[~bare[at]]
    if background is not None:
        at = at[~(alike(picture.srgb255.reshape(-1, 3)[at], background) & (flat[at] == 0))]
    lab = lab_of_srgb255(*picture.srgb255.reshape(-1, 3)[at].T)
    lost = delta_e00_of(lab, palette.lab.T[:, flat[at]])
    return mean_by_number(flat[at], np.ones(len(at)), lab.T, lost, size)


def label_outlines(outlines: Sequence[Any], shape_px: tuple[int, int], pitch_mm: float) -> np.ndarray:
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


def _inside(outline: Any, shape_px: tuple[int, int], pitch_mm: float) -> np.ndarray:
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
    toggles = np.zeros((height, width + 1), dtype=bool)  # one byte a pixel; counts would take eight
    np.logical_xor.at(toggles, (row, column), True)
    return np.logical_xor.accumulate(toggles[:, :-1], axis=1)


def mean_by_number(
    number: np.ndarray, weight: np.ndarray, lab: np.ndarray, lost: np.ndarray, size: int
) -> tuple[np.ndarray, np.ndarray]:
    """Weighted mean Lab (size, 3) and ΔE00 (size,) of the colours (n,) given each number; NaN where none was."""
    total = np.bincount(number, weight, size)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_lab = np.stack([np.bincount(number, weight * lab[:, i], size) / total for i in range(3)], axis=-1)
        return mean_lab, np.bincount(number, weight * lost, size) / total
