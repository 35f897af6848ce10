"""Regions of a label map, specks too small to mark absorbed by their neighbours, and what is thinner than the spot.

A region is a set of pixels of one label joined through pixel sides (4-connected); pixels that only share a corner
are not joined. Bare metal, label 0, is a colour like the others. Work is done on rows' runs of equal labels and on
the graph of regions, never pixel by pixel, so memory stays at a few bytes per pixel.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.lab import delta_e00


@dataclass(frozen=True, eq=False)
class Regions:
    """The 4-connected regions of a label map, numbered from 0 by their first pixel in reading order.

    Parameters
    ----------
    run_start : (r,) place of each run's first pixel in the flattened map; a run is equal labels within one row
    run_region : (r,) int32, the region each run belongs to
    label : (n,) uint8, label of each region
    area_px : (n,) number of pixels of each region
    pair, border_px : (m, 2) regions that share a border, the same pair possibly in several rows, and (m,) its length
    shape : (h, w) of the map
    """

    run_start: np.ndarray
    run_region: np.ndarray
    label: np.ndarray
    area_px: np.ndarray
    pair: np.ndarray
    border_px: np.ndarray
    shape: tuple[int, int]

    def __len__(self) -> int:
        return len(self.label)

    def paint(self, value: np.ndarray) -> np.ndarray:
        """Map (h, w) that holds at each pixel the `value` (n,) of its region."""
        return np.repeat(value[self.run_region], np.diff(self.run_start, append=math.prod(self.shape))).reshape(
            self.shape
        )


@dataclass(frozen=True, eq=False)
class Cleaned:
    """A label map without specks.

    Parameters
    ----------
    labels : (h, w) uint8
    absorbed_regions : number of regions that took another label
    absorbed_px : number of pixels that took another label
    """

    labels: np.ndarray
    absorbed_regions: int
    absorbed_px: int


def find_regions(labels: np.ndarray) -> Regions:
    """`Regions` of a label map (h, w) uint8.

    Examples
    --------
    >>> regions = find_regions(np.array([[1, 0], [0, 1]], dtype=np.uint8))
    >>> len(regions), regions.area_px.tolist()
    (4, [1, 1, 1, 1])
    """
    labels = _checked(labels)
    height, width = labels.shape
    breaks = np.ones((height, width), dtype=bool)
    np.not_equal(labels[:, 1:], labels[:, :-1], out=breaks[:, 1:])
    run_start = np.flatnonzero(breaks)
    run_label = labels.ravel()[run_start]
    run_of = np.cumsum(breaks.ravel(), dtype=np.int32)
    run_of -= 1
    # stretches along which one run lies above another one
    start = np.flatnonzero(breaks[:-1] | breaks[1:])
    stretch_px = np.diff(start, append=(height - 1) * width)
    upper, lower = run_of[start], run_of[start + width]
    del run_of, breaks
    same = run_label[upper] == run_label[lower]
    count, run_region = graph_parts(len(run_start), upper[same], lower[same])
    label = np.empty(count, dtype=np.uint8)
    label[run_region] = run_label
    run_px = np.diff(run_start, append=labels.size)
    area_px = np.bincount(run_region, weights=run_px, minlength=count).astype(np.int64)
    beside = np.flatnonzero(run_start[1:] % width)  # the next run is in the same row
    pair = np.concatenate(
        [
            np.stack([run_region[beside], run_region[beside + 1]], axis=1),
            np.stack([run_region[upper[~same]], run_region[lower[~same]]], axis=1),
        ]
    )
    border_px = np.concatenate([np.ones(len(beside), dtype=np.int64), stretch_px[~same]])
    return Regions(run_start, run_region, label, area_px, pair, border_px, (height, width))


def absorb_specks(
    labels: np.ndarray, min_area_px: float, lab: Any, *, metric: Callable[[Any, Any], np.ndarray] | None = None
) -> Cleaned:
    """`Cleaned` map in which no region is smaller than a limit: each speck took the label of its nearest-coloured neighbour.

    Parameters
    ----------
    labels : (h, w) uint8
    min_area_px : smallest area [pixels] a region may have
    lab : (k + 1, 3) colour of each label by its number, bare metal first
    metric : difference between two Lab arrays (..., 3); None is ΔE00

    Raises
    ------
    LimitError
        Not an 8-bit map, an area limit that is not a number, or a label that has no colour.

    Notes
    -----
    Specks are merged smallest first (of equal ones, the first in reading order); the longest shared border breaks ties
    of colour, then the first neighbour in reading order. A merged region that is still too small is merged again. One
    region always remains, however small. Only area counts: long lines one pixel wide are kept.

    Examples
    --------
    >>> labels = np.array([[1, 1, 1], [1, 2, 1]], dtype=np.uint8)
    >>> absorb_specks(labels, 2, [[70, 0, 0], [50, 20, 0], [50, 0, 20]]).labels
    array([[1, 1, 1],
           [1, 1, 1]], dtype=uint8)
    """
    labels, lab = _checked(labels), np.asarray(lab, dtype=float)
    if not math.isfinite(min_area_px):
        raise LimitError(f"smallest area {min_area_px} px cannot be; it is a number, 0 keeps every speck.")
    if lab.ndim != 2 or lab.shape[1] != 3 or int(labels.max()) >= len(lab):
        raise LimitError(
            f"label {int(labels.max())} has no colour; lab needs one row of three per label, bare metal first."
        )
    regions = find_regions(labels)
    if not np.isfinite(lab[np.unique(regions.label)]).all():
        raise LimitError("a colour in use is not a number; give every label in the map its Lab.")
    if not (regions.area_px < min_area_px).any() or len(regions) == 1:
        return Cleaned(labels.copy(), 0, 0)
    difference = np.asarray((metric or delta_e00)(lab[:, None, :], lab[None, :, :]))
    label = _merged_labels(regions, min_area_px, difference)
    changed = label != regions.label
    return Cleaned(regions.paint(label), int(changed.sum()), int(regions.area_px[changed].sum()))


def thin_area_px(labels: np.ndarray, width_px: float, *, bare_too: bool = False) -> float:
    """Area [pixels] of all marks that a round spot `width_px` [pixels] wide cannot reach without leaving its own label.

    Parameters
    ----------
    labels : (h, w) uint8
    bare_too : count bare metal (label 0) that is narrower than the spot as well

    Notes
    -----
    What a disc that stays inside one label cannot cover (the morphological opening of every label at once). Sharp
    corners count with the part that the disc rounds off. The disc's width is rounded up to whole pixels, so a straight
    line n pixels wide is thin where n < `width_px`; it is made of the pixels whose centres lie in it.

    Examples
    --------
    >>> thin_area_px(np.array([[1, 1, 1], [1, 1, 2]], dtype=np.uint8), 2)
    2.0
    """
    labels = _checked(labels)
    if not (math.isfinite(width_px) and width_px > 0):
        raise LimitError(f"width {width_px} px cannot be; it is a number above 0.")
    size = math.ceil(width_px - 1e-9)  # a spot of 0.06 mm at 0.02 mm is 3 pixels, not 3.0000000000000004
    height, width = labels.shape[0] - size + 1, labels.shape[1] - size + 1
    counted = np.ones(labels.shape, dtype=bool) if bare_too else labels > 0
    if height < 1 or width < 1:
        return float(counted.sum())
    row, column = np.mgrid[:size, :size]
    centre = (size - 1) / 2
    disc = np.argwhere((row - centre) ** 2 + (column - centre) ** 2 <= (size / 2) ** 2)
    first_row, first_column = disc[len(disc) // 2]
    middle = labels[first_row : first_row + height, first_column : first_column + width]
    fits = np.ones((height, width), dtype=bool)
    for y, x in disc:
        fits &= labels[y : y + height, x : x + width] == middle
    for y, x in disc:
        counted[y : y + height, x : x + width] &= ~fits
    return float(counted.sum())


def _merged_labels(regions: Regions, min_area_px: float, difference: np.ndarray) -> np.ndarray:
    """Label (n,) of each region after merging.

    In each round every speck moves that is the smallest among the specks it touches: no two of those touch, so all
    move at once and the outcome does not depend on label numbers. Borders between two large regions never matter.
    """
    label, area_px = regions.label.copy(), regions.area_px
    current = np.arange(len(regions))  # region number now, of each region at the start
    side, other, border_px = _borders_of_specks(
        np.concatenate([regions.pair, regions.pair[:, ::-1]]),
        np.concatenate([regions.border_px] * 2),
        area_px < min_area_px,
    )
    while len(side):
        smaller = (area_px[other] < area_px[side]) | ((area_px[other] == area_px[side]) & (other < side))
        waits = np.zeros(len(label), dtype=bool)
        waits[side[smaller]] = True  # a neighbour smaller than a speck is a speck
        moving = np.flatnonzero(~waits[side])
        away = difference[label[side[moving]], label[other[moving]]]
        order = moving[np.lexsort((other[moving], -border_px[moving], away, side[moving]))]
        best = order[np.diff(side[order], prepend=-1) != 0]
        label[side[best]] = label[other[best]]
        joined = label[side] == label[other]
        count, number = graph_parts(len(label), side[joined], other[joined])
        area_px = np.bincount(number, weights=area_px, minlength=count).astype(np.int64)
        new_label = np.empty(count, dtype=np.uint8)
        new_label[number] = label
        label, current = new_label, number[current]
        pair = np.stack([number[side], number[other]], axis=1)
        side, other, border_px = _borders_of_specks(pair, border_px, area_px < min_area_px)
    return label[current]


def _borders_of_specks(
    pair: np.ndarray, border_px: np.ndarray, speck: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Speck, its neighbour, and the length of their border, each pair of regions once."""
    wanted = speck[pair[:, 0]] & (pair[:, 0] != pair[:, 1])
    key = pair[wanted, 0].astype(np.int64) * len(speck) + pair[wanted, 1]
    order = np.argsort(key, kind="stable")
    key, border_px = key[order], border_px[wanted][order]
    first = np.flatnonzero(np.diff(key, prepend=-1))
    border_px = np.add.reduceat(border_px, first) if len(first) else border_px
    return key[first] // len(speck), key[first] % len(speck), border_px


def graph_parts(count: int, one: np.ndarray, other: np.ndarray) -> tuple[int, np.ndarray]:
    """Number of connected components of a graph with `count` nodes, and each node's component (count,) int32.

    Components are numbered by their first node.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(one), dtype=np.int8), (one, other)), shape=(count, count)).tocsr()
    return connected_components(graph, directed=False)


def _checked(labels: np.ndarray) -> np.ndarray:
    labels = np.ascontiguousarray(labels)
    if labels.ndim != 2 or labels.dtype != np.uint8 or not labels.size:
        raise LimitError("a label map is a two-dimensional array of 8-bit numbers with at least one pixel.")
    return labels
