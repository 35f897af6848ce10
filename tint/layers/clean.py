"""Regions of a label map, specks too small to mark absorbed by their neighbours, and what is thinner than the spot.

A region is a set of pixels of one label joined through pixel sides (4-connected); pixels that only share a corner
are not joined. Bare metal, label 0, is a colour like the others. Work is done on rows' runs of equal labels and on
the graph of regions, never pixel by pixel, so memory stays at a few bytes per pixel.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.layers.difference import delta_e00_of

_BAND_PX = 250_000  # pixels whose runs are found at once; more needs memory, fewer needs time
_SORTED_AT_ONCE = 1_000_000  # borders sorted at once, 40 bytes each


@dataclass(frozen=True, eq=False)
class Regions:
    """The 4-connected regions of a label map, numbered from 0 by their first pixel in reading order.

    Parameters
    ----------
    run_start : (r,) int32, place of each run's first pixel in the flattened map; a run is equal labels within one row
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
    labels = checked_map(labels)
    height, width = labels.shape
    run_start, joined, touching, stretch_px = _runs(labels)
    run_label = labels.ravel()[run_start]
    count, run_region = graph_parts(len(run_start), *joined)
    del joined
    label = np.empty(count, dtype=np.uint8)
    label[run_region] = run_label
    area_px = np.bincount(run_region, weights=np.diff(run_start, append=labels.size), minlength=count).astype(np.int64)
    beside = run_start[1:] % width > 0  # the next run is in the same row
    across = int(beside.sum())
    pair = np.empty((across + len(stretch_px), 2), dtype=np.int32)
    border_px = np.ones(len(pair), dtype=np.int32)
    for side, runs in enumerate((run_region[:-1], run_region[1:])):
        pair[:across, side] = runs[beside]
        np.take(run_region, touching[side], out=pair[across:, side])
    border_px[across:] = stretch_px
    return Regions(run_start, run_region, label, area_px, pair, border_px, (height, width))


def _runs(labels: np.ndarray) -> tuple[np.ndarray, tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray], np.ndarray]:
    """Starts of all runs; runs above runs of the same label; runs above runs of another one, and along how many pixels; all int32."""
    height, width = labels.shape
    step = max(1, _BAND_PX // width)
    parts: list[list[np.ndarray]] = [[] for _ in range(6)]
    before = 0
    for top in range(0, height, step):
        start, upper, lower, length = _runs_of_rows(labels[top : top + step + 1])
        label = labels[top : top + step + 1].ravel()[start]
        same = label[upper] == label[lower]
        own = int(np.searchsorted(start, step * width))  # the row below the band only tells what lies under it
        start += np.int32(top * width)
        upper += np.int32(before)
        lower += np.int32(before)
        for part, found in zip(parts, (start[:own], upper[same], lower[same], upper[~same], lower[~same], length[~same]), strict=True):
            part.append(found)
        before += own
    whole = []
    while parts:  # one after another, so that no more than one is held twice
        whole.append(np.concatenate(parts.pop(0)))
    return whole[0], (whole[1], whole[2]), (whole[3], whole[4]), whole[5]


def _runs_of_rows(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Starts of the runs in rows, and the stretches along which a run of one row lies above one of the next; int32.

    A stretch is given by its upper run, its lower run (numbered from the first of these rows) and its length [pixels].
    """
    width = rows.shape[1]
    breaks = np.ones(rows.shape, dtype=bool)
    np.not_equal(rows[:, 1:], rows[:, :-1], out=breaks[:, 1:])
    run_of = np.cumsum(breaks.ravel(), dtype=np.int32)
    run_of -= 1
    start = np.flatnonzero(breaks[:-1] | breaks[1:])
    length = np.diff(start, append=(len(rows) - 1) * width).astype(np.int32)
    return np.flatnonzero(breaks).astype(np.int32), run_of[start], run_of[start + width], length


def absorb_specks(
    labels: np.ndarray,
    min_area_px: float,
    lab: Any,
    *,
    metric: Callable[[Any, Any], np.ndarray] | None = None,
    kept: np.ndarray | None = None,
) -> Cleaned:
    """`Cleaned` map in which no region is smaller than a limit: each speck took the label of its nearest-coloured neighbour.

    Parameters
    ----------
    labels : (h, w) uint8
    min_area_px : smallest area [pixels] a region may have
    lab : (k + 1, 3) colour of each label by its number, bare metal first
    metric : difference between two Lab arrays (..., 3); None is ΔE00
    kept : (h, w) bool; regions that hold such a pixel stay, however small; None keeps none

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
    labels, lab = checked_map(labels), np.asarray(lab, dtype=float)
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
    if metric is not None:
        difference = np.asarray(metric(lab[:, None, :], lab[None, :, :]))
    else:
        difference = delta_e00_of(lab.T[:, :, None], lab.T[:, None, :])
    safe = np.zeros(len(regions), dtype=bool)
    if kept is not None:
        safe[regions.run_region[np.searchsorted(regions.run_start, np.flatnonzero(kept), side="right") - 1]] = True
    label = _merged_labels(regions, min_area_px, difference, safe)
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
    labels = checked_map(labels)
    if not (math.isfinite(width_px) and width_px > 0):
        raise LimitError(f"width {width_px} px cannot be; it is a number above 0.")
    counted = np.ones(labels.shape, dtype=bool) if bare_too else labels > 0
    offsets, fits = fits_disc(labels, spot_px(width_px))
    height, width = fits.shape
    for y, x in offsets:
        counted[y : y + height, x : x + width] &= ~fits
    return float(counted.sum())


def spot_px(width_px: float) -> int:
    """Width of a spot in whole pixels, rounded up; a spot of 0.06 mm at 0.02 mm is 3 pixels, not 3.0000000000000004."""
    return max(1, math.ceil(width_px - 1e-9))


def disc_offsets(size: int) -> np.ndarray:
    """Rows and columns (n, 2) of the pixels of a disc `size` pixels wide, from its top left corner."""
    row, column = np.mgrid[:size, :size]
    centre = (size - 1) / 2
    return np.argwhere((row - centre) ** 2 + (column - centre) ** 2 <= (size / 2) ** 2)


def fits_disc(labels: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Offsets of a disc's pixels, and where (h, w) bool its corner may lie so that the disc stays inside one label."""
    offsets = disc_offsets(size)
    height, width = labels.shape[0] - size + 1, labels.shape[1] - size + 1
    if height < 1 or width < 1:
        return offsets, np.zeros((0, 0), dtype=bool)
    first_row, first_column = offsets[len(offsets) // 2]
    middle = labels[first_row : first_row + height, first_column : first_column + width]
    fits = np.ones((height, width), dtype=bool)
    for y, x in offsets:
        fits &= labels[y : y + height, x : x + width] == middle
    return offsets, fits


def _merged_labels(regions: Regions, min_area_px: float, difference: np.ndarray, safe: np.ndarray) -> np.ndarray:
    """Label (n,) of each region after merging; `safe` regions (n,) count as large.

    In each round every speck moves that is the smallest among the specks it touches: no two of those touch, so all
    move at once and the outcome does not depend on label numbers. Borders between two large regions never matter.
    """
    label = regions.label.copy()
    min_area_px = min(min_area_px, math.prod(regions.shape) + 1)  # more than all of the map is as good as that, and fits an integer
    area_px = np.where(safe, math.ceil(min_area_px), regions.area_px)
    current = np.arange(len(regions))  # region number now, of each region at the start
    speck = area_px < min_area_px
    (one, two), border_px = regions.pair.T, regions.border_px
    there, back = speck[one], speck[two]
    borders = [
        np.concatenate([one[there], two[back]]),
        np.concatenate([two[there], one[back]]),
        np.concatenate([border_px[there], border_px[back]]),
    ]
    del there, back
    side, other, border_px = _borders_of_specks(borders, speck)
    while len(side):
        smaller = (area_px[other] < area_px[side]) | ((area_px[other] == area_px[side]) & (other < side))
        waits = np.zeros(len(label), dtype=bool)
        waits[side[smaller]] = True  # a neighbour smaller than a speck is a speck
        moving = np.flatnonzero(~waits[side])
        best = moving[
            _best_of_each(side[moving], difference[label[side[moving]], label[other[moving]]], border_px[moving])
        ]
        label[side[best]] = label[other[best]]
        joined = label[side] == label[other]
        count, number = graph_parts(len(label), side[joined], other[joined])
        area_px = np.bincount(number, weights=area_px, minlength=count).astype(np.int64)
        new_label = np.empty(count, dtype=np.uint8)
        new_label[number] = label
        label, current = new_label, number[current]
        side, other, border_px = _borders_of_specks([number[side], number[other], border_px], area_px < min_area_px)
    return label[current]


def _best_of_each(side: np.ndarray, away: np.ndarray, border_px: np.ndarray) -> np.ndarray:
    """Place of the nearest colour of each side, of equal ones the longest border, of equal ones the first; `side` rises."""
    first = np.flatnonzero(np.diff(side, prepend=-1))
    count = np.diff(first, append=len(side))
    good = np.where(away == np.repeat(np.minimum.reduceat(away, first), count), border_px, 0)
    best = np.flatnonzero(good == np.repeat(np.maximum.reduceat(good, first), count))
    return best[np.diff(side[best], prepend=-1) != 0]


def _borders_of_specks(borders: list[np.ndarray], speck: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Speck, its neighbour, and the length of their border, each pair of regions once, rising; int32.

    `borders` are the same three of all borders of these regions, each perhaps several times; emptied, so that no second copy stays.
    """
    wanted = speck[borders[0]]
    wanted &= borders[0] != borders[1]
    border_px, other, side = (borders.pop()[wanted] for _ in range(3))
    bands = max(1, -(-len(side) // _SORTED_AT_ONCE))
    edges = np.linspace(0, len(speck), bands + 1).astype(np.int64)  # specks lie everywhere: bands of about equal size
    parts = []
    for low, high in itertools.pairwise(edges):
        here = slice(None) if bands == 1 else (side >= low) & (side < high)
        key = side[here].astype(np.int64)
        key *= len(speck)
        key += other[here]
        order = np.argsort(key, kind="stable")
        key, length = key[order], border_px[here][order]
        first = np.flatnonzero(np.diff(key, prepend=-1))
        length = np.add.reduceat(length, first) if len(first) else length
        parts.append([each.astype(np.int32) for each in (*np.divmod(key[first], len(speck)), length)])
    side, other, border_px = (np.concatenate(each) for each in zip(*parts, strict=True))
    return side, other, border_px


def graph_parts(count: int, one: np.ndarray, other: np.ndarray) -> tuple[int, np.ndarray]:
    """Number of connected components of a graph with `count` nodes, and each node's component (count,) int32.

    Components are numbered by their first node.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(one), dtype=np.int8), (one, other)), shape=(count, count)).tocsr()
    return connected_components(graph, directed=False)


def checked_map(labels: np.ndarray) -> np.ndarray:
    """The label map (h, w) uint8, its rows one after the other in memory.

    Raises
    ------
    LimitError
        Not an 8-bit map with at least one pixel.
    """
    labels = np.ascontiguousarray(labels)
    if labels.ndim != 2 or labels.dtype != np.uint8 or not labels.size:
        raise LimitError("a label map is a two-dimensional array of 8-bit numbers with at least one pixel.")
    return labels
