"""Cells decided once more: one pass over a halftone, in which cells change colour, or places, where the eye then sees less of it.

Error diffusion decides each cell by those before it and never comes back. Here each cell and its neighbour to the right, then
the one below, are looked at together with all cells around: one of the two takes another colour, or they change places,
whichever lessens the squared error of the halftone blurred as the eye blurs it (direct binary search, with colours).
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from tint.layers.spatial import DISTANCE_MM, LEAST_BLUR_DEG

# Share of chroma against lightness in the squared error; least on the pictures for choosing (tests/bench/gamut_table.py --refine)
CHROMA_WEIGHT = 0.4
# Rows L*, a*, b* by X, Y, Z over white, as CIELAB sees small differences (ISO/CIE 11664-4, the cube root's slope left out)
_LAB_LIKE = np.array([[0, 116, 0], [500, -500, 0], [0, 200, -200]])
# The mean over a cell blurs what it stands for; so much of what a cell has more than those around is added. Halves what cells of
# one even colour each would be off; the same table
SHARPEN = 0.3
BLUR_CELLS = 6  # cells that the eye's blur reaches over; 5 leaves a fiftieth more error, 7 takes a third more time
_REACH = BLUR_CELLS - 1  # cells at which two cells still count as seen together
_STEP = BLUR_CELLS  # cells between pairs decided at once: beyond each other's reach
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
    """Labels (h, w) uint8 of the cells of a halftone after one pass of changes that make it look more like what is wanted.

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
    np.random.default_rng(seed).shuffle(order)
    for y, x, across in order:
        field.decide(int(y), int(x), bool(across))
    return field.labels()


def _sharpened(wanted: np.ndarray) -> np.ndarray:
    padded = np.pad(wanted.astype(np.float32), ((1, 1), (1, 1), (0, 0)), mode="edge")
    rows = (padded[:-2] + padded[2:]) / 4 + padded[1:-1] / 2
    around = (rows[:, :-2] + rows[:, 2:]) / 4 + rows[:, 1:-1] / 2
    return padded[1:-1, 1:-1] * np.float32(1 + SHARPEN) - around * np.float32(SHARPEN)


class _Field:
    """The error of a halftone as seen, kept up to date while cells change.

    Cells are stored by their place modulo `_STEP`, so that those decided at once lie side by side in memory:
    `number` (s, s, n, m), and the blurred error `seen` (n + 2, s, s, 3 (m + 2)) with a margin all round.
    """

    def __init__(
        self, labels: np.ndarray, wanted: np.ndarray, colours: np.ndarray, cell_mm: float, distance_mm: float, bare: np.ndarray | None
    ) -> None:  # fmt: skip
        s, (self.height, self.width) = _STEP, labels.shape
        self.rows, self.columns = -(-self.height // s), -(-self.width // s)
        weight = np.array([1, CHROMA_WEIGHT, CHROMA_WEIGHT])
        axes = _LAB_LIKE.T * weight  # the squared error is then a plain sum of squares
        self.colours = (colours @ axes).astype(np.float32)
        self.kernel = _kernel(cell_mm, distance_mm)
        error = np.zeros((self.rows * s, self.columns * s, 3), dtype=np.float32)
        error[: self.height, : self.width] = self.colours[labels] - wanted @ axes.astype(np.float32)
        if bare is not None:
            error[: self.height, : self.width][bare] = 0
        self.seen = self._stored(error)
        self.number = self._by_phase(labels)
        fixed = np.ones((self.rows * s, self.columns * s), dtype=bool)
        fixed[: self.height, : self.width] = False if bare is None else bare
        self.fixed = self._by_phase(fixed)

    def _by_phase(self, cells: np.ndarray) -> np.ndarray:
        padded = np.zeros((self.rows * _STEP, self.columns * _STEP), dtype=cells.dtype)
        padded[: cells.shape[0], : cells.shape[1]] = cells
        return np.ascontiguousarray(padded.reshape(self.rows, _STEP, self.columns, _STEP).transpose(1, 3, 0, 2))

    def _stored(self, error: np.ndarray) -> np.ndarray:
        """The error blurred, (n + 2, s, s, 3 (m + 2))."""
        s = _STEP
        plane = np.pad(error, ((s, s), (s, s), (0, 0))).reshape((self.rows + 2) * s, -1)
        taps = np.tile(self.kernel, (1, plane.shape[1] // 3))
        held = np.empty_like(plane)
        for cells, step in ((0, 1), (1, 3)):  # down the columns, then along the rows, where a cell is three numbers
            out = plane * taps[_REACH]
            for away in range(1, _REACH + 1):
                near, far = (
                    (slice(None),) * cells + (slice(None, -away * step),),
                    (slice(None),) * cells + (slice(away * step, None),),
                )
                np.multiply(plane, taps[_REACH + away], out=held)  # the same on both sides
                out[far] += held[near]
                out[near] += held[far]
            plane = out
        shape = (self.rows + 2, s, self.columns + 2, s, 3)
        return np.ascontiguousarray(plane.reshape(shape).transpose(0, 1, 3, 2, 4)).reshape(*shape[:2], s, -1)

    def labels(self) -> np.ndarray:
        """(h, w) uint8."""
        cells = self.number.transpose(2, 0, 3, 1).reshape(self.rows * _STEP, self.columns * _STEP)
        return np.ascontiguousarray(cells[: self.height, : self.width])

    def decide(self, y: int, x: int, across: bool) -> None:
        """Nothing; decides the pairs of the cells at y, x modulo `_STEP` and their neighbours to the right or below."""
        s = _STEP
        (down, y_of), (right, x_of) = divmod(y + (not across), s), divmod(x + across, s)
        rows, columns = self.rows - down, self.columns - right
        band = max(1, _BAND_PAIRS // self.columns)
        for top in range(0, rows, band):
            last = min(rows, top + band)
            one = self.number[y, x, top:last, :columns]
            other = self.number[y_of, x_of, top + down : last + down, right : right + columns]
            fixed = (
                self.fixed[y, x, top:last, :columns],
                self.fixed[y_of, x_of, top + down : last + down, right : right + columns],
            )
            error_one = self.seen[top + 1 : last + 1, y, x, 3 : 3 * (columns + 1)]
            error_other = self.seen[
                top + down + 1 : last + down + 1, y_of, x_of, 3 * (right + 1) : 3 * (right + columns + 1)
            ]
            changes = self._changes(one, other, error_one, error_other, fixed)
            self._see(changes, (top, y), x, across)

    def _changes(
        self, one: np.ndarray, other: np.ndarray, error_one: np.ndarray, error_other: np.ndarray, fixed: tuple[np.ndarray, np.ndarray]
    ) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
        """What is added to the colours (n, 3 m) of the first and of the second cells; their numbers are changed."""
        shape = one.shape
        alone = self.kernel[_REACH] ** 2  # what a cell weighs by itself, and with its neighbour
        with_next = self.kernel[_REACH] * self.kernel[_REACH + 1]
        was, error = [], []
        for number, seen in ((one, error_one), (other, error_other)):
            was.append(self.colours[number.ravel()])
            error.append(seen.reshape(-1, 3))
        best, gain = [], []
        square = (self.colours**2 @ alone).astype(np.float32)
        for number, colour, off, still in zip((one, other), was, error, fixed, strict=True):
            cost = (2 * (off - colour * alone)) @ self.colours.T
            cost += square
            chosen = cost.argmin(axis=1)
            row = np.arange(len(cost))
            better = cost[row, chosen] - cost[row, number.ravel()]
            better[still.ravel()] = 0
            best.append(chosen.astype(np.uint8))
            gain.append(better)
        apart = was[1] - was[0]
        swap = np.einsum("nc,nc->n", apart, 2 * (error[0] - error[1]) + apart * (2 * (alone - with_next)))
        swap[(fixed[0] | fixed[1]).ravel()] = 0
        numbers = one.ravel(), other.ravel()
        swapped = swap < np.minimum(*gain)
        first = ~swapped & (gain[0] <= gain[1]) & (gain[0] < 0)
        second = ~swapped & ~first & (gain[1] < 0)
        new_one = np.where(swapped, numbers[1], np.where(first, best[0], numbers[0]))
        new_other = np.where(swapped, numbers[0], np.where(second, best[1], numbers[1]))
        one[...], other[...] = new_one.reshape(shape), new_other.reshape(shape)
        return tuple(
            (self.colours[new] - before).reshape(shape[0], -1)
            for new, before in zip((new_one, new_other), was, strict=True)
        )

    def _see(self, changes: tuple[np.ndarray, np.ndarray], at: tuple[int, int], x: int, across: bool) -> None:
        """Nothing; adds changes (n, 3 m) of pairs, seen through the blur: along the pair first, then across it."""
        s, (top, y) = _STEP, at
        count, wide = changes[0].shape
        taps = np.tile(self.kernel, (1, wide // 3))  # (2 reach + 1, 3 m)
        where = [divmod((x if across else y) + tap - _REACH, s) for tap in range(2 * _REACH + 2)]
        along = np.zeros((s, count, 3 * (self.columns + 2)) if across else (s, count + 2, wide), dtype=np.float32)
        for tap, (block, phase) in enumerate(where):
            add = changes[0] * taps[tap] if tap <= 2 * _REACH else changes[1] * taps[tap - 1]
            if 0 < tap <= 2 * _REACH:
                add += changes[1] * taps[tap - 1]
            if across:
                along[phase, :, 3 * (block + 1) : 3 * (block + 1) + wide] += add
            else:
                along[phase, block + 1 : block + 1 + count] += add
        whole = np.tile(self.kernel, (1, along.shape[2] // 3))
        held = np.empty(along.shape[1:], dtype=np.float32)
        for tap in range(2 * _REACH + 1):
            block, phase = divmod((y if across else x) + tap - _REACH, s)
            for each in range(s):
                np.multiply(along[each], whole[tap], out=held)
                if across:
                    self.seen[top + block + 1 : top + block + 1 + count, phase, each] += held
                else:
                    self.seen[top : top + count + 2, each, phase, 3 * (block + 1) : 3 * (block + 1) + wide] += held


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
