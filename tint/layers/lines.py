"""Lines of a label map thinner than the spot: found, listed, kept as drawn, or widened to the spot.

A line is what a disc as wide as the spot cannot reach inside one label, joined through sides and corners, and at least
`LINE_SPOTS` spots long: so the rounded-off corners of wide shapes and single specks are none. Gaps of bare metal count like colours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.layers.clean import disc_offsets, fits_disc, graph_parts, spot_px
from tint.palette.palette import Palette

LINE_SPOTS = 2.0  # shorter than this many spots it is a dot, which the spot marks or a speck
MOST_LISTED = 5  # lines named when they are refused, the longest first


@dataclass(frozen=True, eq=False)
class Lines:
    """The lines of a label map that are thinner than the spot.

    Parameters
    ----------
    line : (h, w) int32, number of the line at each pixel from 1, 0 where none is
    local_px : (h, w) uint8, or wider for a spot of more than 256 pixels; width of the line there [pixels], 0 where none is
    number : (n,) uint8, label of each line
    width_px : (n,) greatest width of each line [pixels]
    length_px : (n,) diagonal of the box around each line [pixels]
    at_px : (n, 2) column and row of each line's first pixel
    """

    line: np.ndarray
    local_px: np.ndarray
    number: np.ndarray
    width_px: np.ndarray
    length_px: np.ndarray
    at_px: np.ndarray

    def __len__(self) -> int:
        return len(self.number)


def find_lines(labels: np.ndarray, width_px: float) -> Lines:
    """`Lines` of a label map (h, w) uint8 that are thinner than `width_px` [pixels], rounded up to whole pixels.

    Examples
    --------
    >>> labels = np.zeros((9, 9), dtype=np.uint8)
    >>> labels[range(1, 8), range(1, 8)] = 2
    >>> lines = find_lines(labels, 2)
    >>> len(lines), int(lines.number[0]), int(lines.width_px[0]), round(float(lines.length_px[0]), 1)
    (1, 2, 1, 9.9)
    """
    size = spot_px(width_px)
    local = _local_widths(labels, size)
    y, x = np.nonzero(local)
    nothing = np.empty(0, dtype=np.int64)
    if not len(y):
        return Lines(
            np.zeros(labels.shape, np.int32), local, nothing.astype(np.uint8), nothing, nothing, nothing.reshape(0, 2)
        )
    width = labels.shape[1]
    place = y * width + x  # rising
    value = labels[y, x]
    one, other = [], []
    for dy, dx in ((0, 1), (1, -1), (1, 0), (1, 1)):
        inside = (x + dx >= 0) & (x + dx < width)
        there = np.searchsorted(place, place + dy * width + dx)
        there[there == len(place)] = 0
        joined = np.flatnonzero(inside & (place[there] == place + dy * width + dx) & (value[there] == value))
        one.append(joined)
        other.append(there[joined])
    count, part = graph_parts(len(place), np.concatenate(one), np.concatenate(other))
    order = np.argsort(part, kind="stable")
    first = np.searchsorted(part[order], np.arange(count))
    tall = np.maximum.reduceat(y[order], first) - np.minimum.reduceat(y[order], first) + 1
    wide = np.maximum.reduceat(x[order], first) - np.minimum.reduceat(x[order], first) + 1
    length = np.hypot(tall, wide)
    chosen = np.flatnonzero(length >= LINE_SPOTS * size)
    renumbered = np.zeros(count, dtype=np.int32)
    renumbered[chosen] = np.arange(1, len(chosen) + 1)
    line = np.zeros(labels.shape, dtype=np.int32)
    line[y, x] = renumbered[part]
    greatest = np.maximum.reduceat(local[y, x][order], first)
    local[line == 0] = 0
    start = order[first][chosen]
    return Lines(
        line,
        local,
        value[start],
        greatest[chosen].astype(np.int64),
        length[chosen],
        np.column_stack([x[start], y[start]]),
    )


def kept_lines(labels: np.ndarray, lines: Lines) -> tuple[np.ndarray, np.ndarray]:
    """The map with its lines joined where their pixels only share corners, and where (h, w) bool the lines are.

    A region is joined through pixel sides, so a diagonal line one pixel wide is made of single pixels; one of the two pixels
    beside each shared corner is added, never one of another line.
    """
    line, labels = lines.line.copy(), labels.copy()
    for turn in (1, -1):
        here, there = (slice(None, -1), slice(1, None)) if turn == 1 else (slice(1, None), slice(None, -1))
        same = (line[:-1, here] > 0) & (line[:-1, here] == line[1:, there])
        side, below = labels[:-1, there], labels[1:, here]  # the two pixels that both have a side of
        y, x = np.nonzero(same & (side != labels[:-1, here]) & (below != labels[:-1, here]))
        x_here, x_there = (x, x + 1) if turn == 1 else (x + 1, x)
        free = line[y, x_there] == 0
        for rows, columns, wanted in ((y, x_there, free), (y + 1, x_here, ~free & (line[y + 1, x_here] == 0))):
            labels[rows[wanted], columns[wanted]] = labels[y[wanted], x_here[wanted]]
            line[rows[wanted], columns[wanted]] = line[y[wanted], x_here[wanted]]
    return labels, line > 0


def widened_lines(labels: np.ndarray, lines: Lines, width_px: float) -> tuple[np.ndarray, np.ndarray]:
    """The map with its lines widened to `width_px` [pixels] along their middle, and where (h, w) bool the lines are.

    A pixel between two lines goes to the nearer one, of two equally near to the wider one, else to the one that is above it, or
    left of it.
    """
    size = spot_px(width_px)
    labels, kept = labels.copy(), lines.line > 0
    source = labels.copy()
    height, width = labels.shape
    steps = []
    for local in np.unique(lines.local_px[kept]):
        y, x = np.nonzero(lines.local_px == local)
        brush = size - int(local) + 1
        back = (brush - 1) // 2
        for dy, dx in disc_offsets(brush) - back:
            steps.append((float(np.hypot(dy, dx)), y, x, int(dy), int(dx)))
    for _, y, x, dy, dx in sorted(steps, key=lambda step: -step[0]):
        inside = (y + dy >= 0) & (y + dy < height) & (x + dx >= 0) & (x + dx < width)
        labels[y[inside] + dy, x[inside] + dx] = source[y[inside], x[inside]]
        kept[y[inside] + dy, x[inside] + dx] = True
    return labels, kept


def with_lines(
    labels: np.ndarray, thin: str, spot_mm: float, pitch_mm: float, palette: Palette
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """A map (h, w) with its thin lines kept or widened, where (h, w) bool they are, and what to tell the operator.

    Parameters
    ----------
    thin : "keep", "widen" or "refuse"
    spot_mm, pitch_mm : width of the spot and of a pixel [mm]

    Raises
    ------
    DataError
        `thin` is "refuse", and there are some: place and width of the longest.
    """
    lines = find_lines(labels, spot_mm / pitch_mm)
    if not len(lines):
        return labels, np.zeros(labels.shape, dtype=bool), []
    names = ["bare metal", *(colour.name for colour in palette.colours)]
    many = f"{len(lines)} line{'s' * (len(lines) > 1)} thinner than the spot ({spot_mm:.3g} mm)"
    if thin == "refuse":
        listed = [
            f"{names[lines.number[i]]} {lines.width_px[i] * pitch_mm:.3g} mm wide at {x * pitch_mm:.1f}, {y * pitch_mm:.1f} mm"
            for i in np.argsort(-lines.length_px, kind="stable")[:MOST_LISTED]
            for x, y in [lines.at_px[i]]
        ]
        rest = f" and {len(lines) - len(listed)} more" if len(lines) > len(listed) else ""
        raise DataError(f"{many}: {'; '.join(listed)}{rest}. Draw them wider, or use --thin keep or --thin widen.")
    if thin == "keep":
        return *kept_lines(labels, lines), [f"{many} stay as thin as drawn: the spot marks them about one spot wide"]
    return *widened_lines(labels, lines, spot_mm / pitch_mm), [f"{many} were widened to it"]


def _local_widths(labels: np.ndarray, size: int) -> np.ndarray:
    """Width (h, w) [pixels] of what a disc `size` pixels wide inside one label cannot reach: 0 where it can."""
    local = np.ones(labels.shape, dtype=np.min_scalar_type(size - 1))
    for smaller in range(2, size + 1):
        offsets, fits = fits_disc(labels, smaller)
        if not fits.size:  # wider than the map, as all that follow
            break
        width = local.dtype.type(smaller if smaller < size else 0)
        rows, columns = fits.shape
        for y, x in offsets:
            local[y : y + rows, x : x + columns][fits] = width
    return local if size > 1 else np.zeros_like(local)
