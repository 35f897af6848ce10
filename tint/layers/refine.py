"""Cells decided once more: passes over a halftone, in which cells change colour, or places, where the eye then sees less of it.

Error diffusion decides each cell by those before it and never comes back. Here each cell and its neighbour to the right, then
the one below, are looked at together with all cells around: one of the two takes another colour, or they change places,
whichever lessens the squared error of the halftone blurred as the eye blurs it (direct binary search, with colours).
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from tint.lab import LAB_OF_ROOTS
from tint.layers.spatial import DISTANCE_MM, LEAST_BLUR_DEG

# Share of chroma against lightness in the squared error; least on the pictures for choosing (tests/bench/gamut_table.py --refine)
CHROMA_WEIGHT = 0.4
# The mean over a cell blurs what it stands for; so much of what a cell has more than those around is added. Halves what cells of
# one even colour each would be off; the same table
SHARPEN = 0.3
BLUR_CELLS = 7  # cells that the eye's blur reaches over; 6 leaves a fiftieth more error, 8 takes half as much time again
PASSES = 2  # over all pairs; one leaves a twentieth more error, three take half as much time again for a sixtieth less
_REACH = BLUR_CELLS - 1  # cells at which two cells still count as seen together
# Cells between pairs decided at once: beyond each other's reach but for the facing cells of pairs in one line, `_REACH` apart,
# whose overlap is 0.2 to 6 % of a cell's with itself in cells of 0.08 mm
_STEP = BLUR_CELLS
_SPAN = 2 * _REACH + 1  # cells that a change of one is seen over
_LEAST_GAIN = 1e-6  # below it rounding decides, and a cell could change for ever
_BAND_ROWS = 32  # of cells blurred at once, and
_BAND_PAIRS = 8_000  # pairs decided at once: what they need stays in the processor's cache


def refined(
    labels: np.ndarray,
    wanted: np.ndarray,
    colours: np.ndarray,
    cell_mm: float,
    bare: np.ndarray | None = None,
    seed: int = 0,
    distance_mm: float = DISTANCE_MM,
) -> np.ndarray:
    """Labels (h, w) uint8 of the cells of a halftone after changes that make it look more like what is wanted.

    Parameters
    ----------
    labels : (h, w) of the halftone, as `tint.layers.halftone.diffused` gives it
    wanted : (h, w, 3) light wanted at each cell
    colours : (k + 1, 3) light of each number, bare metal first
    cell_mm, distance_mm : side of a cell, and from where the piece is looked at [mm]
    bare : (h, w) True where the metal stays bare
    seed : of the order in which pairs are decided

    References
    ----------
    Analoui and Allebach, "Model-based halftoning using direct binary search", Proc. SPIE 1666:96 (1992), from memory.
    """
    height, width = labels.shape
    field = _Field(labels, _sharpened(wanted), colours, cell_mm, distance_mm, bare)
    order = [
        (y, x, across)
        for y, x in itertools.product(range(_STEP), repeat=2)
        for across in (False, True)
        if y + (not across) < height and x + across < width
    ]
    rng = np.random.default_rng(seed)
    for _ in range(PASSES):
        rng.shuffle(order)
        for y, x, across in order:
            field.decide(int(y), int(x), bool(across))
    return field.number


def _sharpened(wanted: np.ndarray) -> np.ndarray:
    padded = np.pad(wanted.astype(np.float32), ((1, 1), (1, 1), (0, 0)), mode="edge")
    rows = (padded[:-2] + padded[2:]) / 4 + padded[1:-1] / 2
    around = (rows[:, :-2] + rows[:, 2:]) / 4 + rows[:, 1:-1] / 2
    return padded[1:-1, 1:-1] * np.float32(1 + SHARPEN) - around * np.float32(SHARPEN)


class _Field:
    """The error of a halftone as seen, kept up to date while cells change.

    `number` (h, w), and the blurred error `seen` (h + 2 margin, w + 2 margin, 3), so that no change is seen beyond its border.
    """

    def __init__(
        self, labels: np.ndarray, wanted: np.ndarray, colours: np.ndarray, cell_mm: float, distance_mm: float, bare: np.ndarray | None
    ) -> None:  # fmt: skip
        # light as CIELAB sees small differences of it, the cube root's slope left out: the squared error is a plain sum of squares
        axes = LAB_OF_ROOTS.T * np.array([1, CHROMA_WEIGHT, CHROMA_WEIGHT])
        self.colours = (colours @ axes).astype(np.float32)
        self.kernel = _kernel(cell_mm, distance_mm)
        self.number = labels.copy()
        self.fixed = bare
        error = self.colours[labels] - wanted @ axes.astype(np.float32)
        if bare is not None:
            error[bare] = 0
        self.seen = self._blurred(error)
        # what a change of the first and of the second cell of a pair adds to those around, (2 × 3, rows × columns × 3)
        whole = self.kernel[:, None] * self.kernel[None]  # (span, span, 3)
        self.spread = {across: self._spread(whole, across) for across in (False, True)}

    def _blurred(self, error: np.ndarray) -> np.ndarray:
        """The error (h, w, 3) blurred, with a margin of `_REACH` on all sides and one cell more below and on the right."""
        padded = np.pad(error, ((2 * _REACH, 2 * _REACH + 1), (2 * _REACH, 2 * _REACH + 1), (0, 0)))
        height, width = error.shape[0] + _SPAN, error.shape[1] + _SPAN
        out = np.empty((height, width, 3), dtype=np.float32)
        flat = padded.reshape(len(padded), -1)
        for top in range(0, height, _BAND_ROWS):
            band = out[top : top + _BAND_ROWS].reshape(-1, 3 * width)
            down, along = np.zeros((len(band), flat.shape[1]), np.float32), np.zeros_like(band)
            for tap, weight in enumerate(self.kernel):
                down += flat[top + tap : top + tap + len(band)] * np.tile(weight, width + 2 * _REACH)
            for tap, weight in enumerate(self.kernel):
                along += down[:, 3 * tap : 3 * (tap + width)] * np.tile(weight, width)
            band[...] = along
        return out

    @staticmethod
    def _spread(whole: np.ndarray, across: bool) -> np.ndarray:
        one, other = ((0, 0), (0, 1)) if across else ((0, 0), (1, 0))
        out = np.zeros((2, 3, _SPAN + other[0], _SPAN + other[1], 3), dtype=np.float32)
        for cell, (down, right) in enumerate((one, other)):
            for channel in range(3):
                out[cell, channel, down : down + _SPAN, right : right + _SPAN, channel] = whole[..., channel]
        return out.reshape(6, -1)

    def decide(self, y: int, x: int, across: bool) -> None:
        """Nothing; decides the pairs of the cells at y, x modulo `_STEP` and their neighbours to the right or below."""
        height, width = self.number.shape
        down, right = (0, 1) if across else (1, 0)
        columns = len(range(x, width - right, _STEP))
        rows = len(range(y, height - down, _STEP))
        band = max(1, _BAND_PAIRS // columns)
        for first in range(0, rows, band):
            last = min(rows, first + band)

            def cells(of: np.ndarray, down: int, right: int, first: int = first, last: int = last) -> np.ndarray:
                top, left = y + down + first * _STEP, x + right
                return of[top : top + (last - first - 1) * _STEP + 1 : _STEP, left : left + (columns - 1) * _STEP + 1 : _STEP]

            numbers = [cells(self.number, 0, 0), cells(self.number, down, right)]
            seen = self.seen[_REACH:, _REACH:]
            errors = [cells(seen, 0, 0).reshape(-1, 3).T, cells(seen, down, right).reshape(-1, 3).T]
            fixed = None if self.fixed is None else [cells(self.fixed, 0, 0).ravel(), cells(self.fixed, down, right).ravel()]
            changed, new = self._chosen([each.ravel() for each in numbers], errors, fixed)
            row, column = np.divmod(changed, columns)
            delta = np.empty((len(changed), 6), dtype=np.float32)
            for side in (0, 1):
                delta[:, 3 * side : 3 * side + 3] = self.colours[new[side]] - self.colours[numbers[side][row, column]]
                numbers[side][row, column] = new[side]
            self._see(delta @ self.spread[across], row + first, column, (y, x), across)

    def _chosen(
        self, numbers: list[np.ndarray], errors: list[np.ndarray], fixed: list[np.ndarray] | None
    ) -> tuple[np.ndarray, list[np.ndarray]]:
        """Which pairs change, and the numbers of their two cells then."""
        alone = self.kernel[_REACH] ** 2  # what a cell weighs by itself, and with its neighbour
        with_next = self.kernel[_REACH] * self.kernel[_REACH + 1]
        square = (self.colours**2 @ alone).astype(np.float32)
        was = [self.colours.T.take(number, axis=1) for number in numbers]  # (3, n)
        slope = [2 * (error - colour * alone[:, None]) for error, colour in zip(errors, was, strict=True)]
        gain = []
        for side in (0, 1):
            cost = self.colours @ slope[side]
            cost += square[:, None]
            better = cost.min(axis=0)
            better -= (slope[side] * was[side]).sum(axis=0)
            better -= square.take(numbers[side])
            if fixed is not None:
                better[fixed[side]] = 0
            gain.append(better)
        apart = was[1] - was[0]
        swap = (apart * (2 * (errors[0] - errors[1]) + apart * (2 * (alone - with_next))[:, None])).sum(axis=0)
        if fixed is not None:
            swap[fixed[0] | fixed[1]] = 0
        least = np.minimum(*gain)
        changed = np.flatnonzero(np.minimum(least, swap) < -_LEAST_GAIN)
        swapped, first = (swap < least)[changed], (gain[0] <= gain[1])[changed]
        one, other = (each[changed] for each in numbers)
        best = [(self.colours @ each[:, changed] + square[:, None]).argmin(axis=0).astype(np.uint8) for each in slope]
        return changed, [
            np.where(swapped, other, np.where(first, best[0], one)),
            np.where(swapped, one, np.where(first, other, best[1])),
        ]

    def _see(self, added: np.ndarray, row: np.ndarray, column: np.ndarray, at: tuple[int, int], across: bool) -> None:
        """Nothing; adds what changes of pairs are seen as, (n, rows × columns × 3) around each."""
        tall, wide = (_SPAN, _SPAN + 1) if across else (_SPAN + 1, _SPAN)
        around = np.lib.stride_tricks.sliding_window_view(self.seen, (tall, wide), axis=(0, 1), writeable=True).transpose(0, 1, 3, 4, 2)
        added = added.reshape(-1, tall, wide, 3)
        for down, right in itertools.product((0, 1), repeat=2):  # twice as far apart: what is added at once never overlaps
            here = np.flatnonzero((row % 2 == down) & (column % 2 == right))
            around[at[0] + _STEP * row[here], at[1] + _STEP * column[here]] += added[here]


def _kernel(cell_mm: float, distance_mm: float) -> np.ndarray:
    """(2 reach + 1, 3) float32 along one axis: how far the blurs of two cells overlap, by the cells between them.

    That of a blur with itself, so that no pattern of errors, however wide, ever counts as less than none.
    """
    cell_deg = math.degrees(math.atan(cell_mm / distance_mm))
    place = np.arange(BLUR_CELLS) - (BLUR_CELLS - 1) / 2
    out = []
    for spread_deg in LEAST_BLUR_DEG:
        blur = np.exp(-((place * cell_deg / spread_deg) ** 2))
        blur /= blur.sum()
        out.append(np.correlate(blur, blur, "full"))
    return np.array(out, dtype=np.float32).T.copy()
