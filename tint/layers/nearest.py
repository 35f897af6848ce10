"""The palette number nearest by ΔE00 to every colour of a picture, without comparing most colours with most numbers.

The cube of sRGB colours is cut into cells, each into eight smaller ones where needed. From ΔE00 at a cell's eight corners follows
which candidates can be nearest somewhere inside it. Where only one can, every colour of the cell is decided; the colours of the
others are compared one by one, in double precision, with the candidates left. Cells that hold no colour are left out.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tint.layers.difference import delta_e00_of, lab_of_srgb255

_FIRST_STEP, _LAST_STEP = 32, 4  # side of the largest and smallest cells [sRGB levels]
_SIZE = 256 // _LAST_STEP
_NODES_AT_ONCE = 5_000_000  # pairs of corner and candidate kept at once, 5 bytes each
_PAIRS_AT_ONCE = 12_000  # pairs of colours compared at once: what the formula needs stays in the processor's cache
# Share of its range over a cell's corners that ΔE00 may leave it by inside. It leaves it by curvature, and where two hues are
# opposite it jumps: corners on both sides show the jump, except around grey, where hues turn right round inside a cell.
_CURVED, _CURVED_NEAR_GREY = 0.15, 0.6
_GREY_CHROMA = 8.0  # CIELAB chroma of a cell's corner below which the cell counts as around grey
_SAVED_BY_SMALLER = 0.4  # share of the comparisons that cells of half the side save; measured on photographs


@dataclass(frozen=True, eq=False)
class _Cells:
    """Cells of one size: which are decided, and the candidates of those that are not.

    number (m³,) int16: the one candidate left, −1 where several are; cell, candidate (p,): the pairs left, rising
    """

    step: int
    number: np.ndarray
    cell: np.ndarray
    candidate: np.ndarray


def nearest_of_codes(codes: np.ndarray, candidates: np.ndarray) -> np.ndarray:
    """Number (n,) uint8 of the candidate (k, 3) nearest by ΔE00 to each colour code (n,), k up to 256.

    Parameters
    ----------
    codes : uint32, red + 256 green + 65536 blue
    candidates : Lab; equal distances go to the lower number

    Notes
    -----
    Every decision is that of comparing one by one, which a test holds against colour-science on random colours.
    """
    candidates = np.ascontiguousarray(np.asarray(candidates, dtype=float).T)
    cell = _cell_of(codes)
    cells = _cells(np.bincount(cell, minlength=_SIZE**3), candidates)
    if cells.step > _LAST_STEP:
        cell = _cell_of(codes, cells.step)
    number = cells.number.take(cell)
    unsure = np.flatnonzero(number < 0)
    number = number.astype(np.uint8)
    number[unsure] = _compared(codes[unsure], cell[unsure], cells, candidates)
    return number


def _compared(codes: np.ndarray, cell: np.ndarray, cells: _Cells, candidates: np.ndarray) -> np.ndarray:
    """Number (n,) of each code by comparison with the candidates (3, k) left in its cell."""
    left = np.bincount(cells.cell, minlength=len(cells.number))
    first = np.cumsum(left) - left
    number = np.empty(len(codes), dtype=np.uint8)
    among = left.take(cell)
    for count in np.flatnonzero(np.bincount(among)):
        same = np.flatnonzero(among == count)
        at_once = max(1, _PAIRS_AT_ONCE // int(count))
        for start in range(0, len(same), at_once):
            part = same[start : start + at_once]
            lab = lab_of_srgb255(*channels_of(codes[part]))
            rivals = cells.candidate[first[cell[part]] + np.arange(count)[:, None]]  # (count, n)
            away = delta_e00_of(lab[:, None, :], candidates[:, rivals])
            number[part] = rivals[away.argmin(axis=0), np.arange(len(part))]
    return number


def _cells(held: np.ndarray, candidates: np.ndarray) -> _Cells:
    """Cells as small as pays for so many codes in each of the smallest cells (m³,); candidates (3, k)."""
    k = candidates.shape[1]
    step, size = _FIRST_STEP, 256 // _FIRST_STEP
    cell = np.flatnonzero(_held(held, step))
    cells = _Cells(step, np.full(size**3, -1, dtype=np.int16), np.repeat(cell, k), np.tile(np.arange(k), len(cell)))
    while True:
        cells = _thinned(cells, candidates)
        if cells.step == _LAST_STEP:
            return cells
        smaller = _halved(cells, _held(held, cells.step // 2))
        pairs = _held(held, cells.step)[cells.cell].sum()
        if pairs * _SAVED_BY_SMALLER < 2 * len(smaller.cell):
            return cells
        cells = smaller


def _held(held: np.ndarray, step: int) -> np.ndarray:
    """Number of codes in each cell of a step (m³,)."""
    size, ratio = 256 // step, step // _LAST_STEP
    return held.reshape(size, ratio, size, ratio, size, ratio).sum(axis=(1, 3, 5)).ravel()


def _halved(cells: _Cells, held: np.ndarray) -> _Cells:
    """The same cells cut into eight each, those left out that hold no code."""
    size = 256 // cells.step
    number = cells.number.reshape(size, size, size).repeat(2, axis=0).repeat(2, axis=1).repeat(2, axis=2).ravel()
    blue, green, red = np.unravel_index(cells.cell, (size,) * 3)
    parts = [
        np.ravel_multi_index((2 * blue + z, 2 * green + y, 2 * red + x), (2 * size,) * 3)
        for z, y, x in itertools.product((0, 1), repeat=3)
    ]
    cell, candidate = np.concatenate(parts), np.tile(cells.candidate, 8)
    some = held[cell] > 0
    cell, candidate = cell[some], candidate[some]
    order = np.argsort(cell, kind="stable")
    return _Cells(cells.step // 2, number, cell[order], candidate[order])


def _thinned(cells: _Cells, candidates: np.ndarray) -> _Cells:
    """The same cells without the candidates that cannot be nearest anywhere inside; candidates (3, k)."""
    size, k = 256 // cells.step, candidates.shape[1]
    slab = max(1, _NODES_AT_ONCE // ((size + 1) ** 2 * k) - 1) * size * size  # cells whose corners are kept at once
    edges = np.searchsorted(cells.cell, np.arange(0, size**3 + slab, slab))
    possible = [
        _possible(cells.step, cells.cell[start:stop], cells.candidate[start:stop], candidates.astype(np.float32))
        for start, stop in itertools.pairwise(edges)
        if stop > start
    ]
    left = np.concatenate(possible) if possible else np.empty(0, dtype=bool)
    cell, candidate = cells.cell[left], cells.candidate[left]
    alone = np.bincount(cell, minlength=size**3)[cell] == 1
    number = cells.number.copy()
    number[cell[alone]] = candidate[alone]
    return _Cells(cells.step, number, cell[~alone], candidate[~alone])


def _possible(step: int, cell: np.ndarray, candidate: np.ndarray, candidates: np.ndarray) -> np.ndarray:
    """Which of the pairs (p,) of a cell and a candidate can be nearest: bool (p,); the cells rise, candidates (3, k)."""
    size, k = 256 // step, candidates.shape[1]
    side = size + 1
    blue, green, red = np.unravel_index(cell, (size,) * 3)
    node = ((blue - blue[0]) * side + green) * side + red
    corners = [(z * side + y) * side + x for z, y, x in itertools.product((0, 1), repeat=3)]
    planes = int(blue[-1] - blue[0]) + 2
    wanted = np.zeros((planes * side * side, k), dtype=bool)
    for corner in corners:
        wanted[node + corner, candidate] = True
    z, y, x = np.unravel_index(np.arange(len(wanted)), (planes, side, side))
    red8, green8, blue8 = (np.minimum(at * step, 255) for at in (x, y, z + blue[0]))
    lab = lab_of_srgb255(red8, green8, blue8, np.float32)
    away = np.empty((len(wanted), k), dtype=np.float32)
    pairs = np.flatnonzero(wanted)
    for start in range(0, len(pairs), _PAIRS_AT_ONCE):
        part = pairs[start : start + _PAIRS_AT_ONCE]
        row, column = np.divmod(part, k)
        away.ravel()[part] = delta_e00_of(lab[:, row], candidates[:, column])
    grey = np.hypot(lab[1], lab[2]) < _GREY_CHROMA
    low = away[node, candidate]
    high, near_grey = low.copy(), grey[node]
    for corner in corners[1:]:
        at_corner = away[node + corner, candidate]
        np.minimum(low, at_corner, out=low)
        np.maximum(high, at_corner, out=high)
        near_grey |= grey[node + corner]
    slack = np.where(near_grey, _CURVED_NEAR_GREY, _CURVED).astype(np.float32) * (high - low)
    first = np.flatnonzero(np.diff(cell, prepend=-1))
    least = np.minimum.reduceat(high + slack, first)
    return low - slack <= np.repeat(least, np.diff(first, append=len(cell)))


def _cell_of(codes: np.ndarray, step: int = _LAST_STEP) -> np.ndarray:
    """Place (n,) uint32 of each code's cell among all cells of a step, blue outermost."""
    down = step.bit_length() - 1
    bits = 8 - down
    mask = np.uint32((1 << bits) - 1)
    cell = codes >> np.uint32(16 + down)
    for shift in (8, 0):
        cell <<= np.uint32(bits)
        cell |= codes >> np.uint32(shift + down) & mask
    return cell


def channels_of(codes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Red, green and blue (n,) uint8 of colour codes (n,), as `nearest_of_codes` takes them."""
    byte = codes.astype("<u4").view(np.uint8)
    return byte[::4], byte[1::4], byte[2::4]
