"""Halftone: which palette colour each cell takes, so that cells seen together show the colours wanted.

Cells lie side by side, one colour each, so no mark is ever on another one. Two ways:

- diffused: what a cell lacks is handed on to the cells not yet decided (error diffusion, in light);
- ordered: each cell is decided by itself, by the area shares wanted there and a fixed blue-noise pattern. Grainier, but
  a small change of the artwork changes only the cells under it (with the map "tone", whose detail is told from what is
  around it, a few more near by).
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np

from tint.errors import LimitError
from tint.lab import LAB_OF_ROOTS
from tint.layers.difference import light_of_srgb255
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap

# Share of the error handed on to the cell on the right, and in the next row to the left, below, and to the right:
# Floyd and Steinberg, "An adaptive algorithm for spatial greyscale", Proc. SID 17(2):75 (1976)
HANDED_ON = (7 / 16, 3 / 16, 5 / 16, 1 / 16)
# A cell is decided by the colour wanted plus this many times the error that reached it, while the error itself is handed on
# once. Diffusion sharpens by itself, because the decision passes some twice as much of the picture as of the error; 2 undoes
# that: Kite, Evans and Bovik, "Modeling and quality assessment of halftoning by error diffusion", IEEE Trans. Image Process.
# 9(5):909 (2000), reference from memory. Spatial error: tests/bench/gamut_table.py --feedback.
FEEDBACK = 2.0
CHROMA_WEIGHT = 0.5  # of chroma against lightness where a cell is decided; least over both palettes of the same table
# Distance between lights, as CIELAB sees small ones: the cube root's slope is left out, since only the order of distances counts
_LAB_LIKE = LAB_OF_ROOTS * np.array([[1], [CHROMA_WEIGHT], [CHROMA_WEIGHT]])
WOBBLE = 0.05  # most by which the shares handed on vary from cell to cell; breaks up rows of cells at no cost in spatial error
MASK_SIDE = 128  # cells of the blue-noise pattern before it repeats; 64 shows a fiftieth more
EXACT_CELLS = 4_000_000  # up to which ordered cells are decided one by one: a piece of 140 × 100 mm in cells of 0.06 mm
TABLE_NODES = 65  # a side of the table of cells: 4 levels apart; 33 leaves a fifth more grain on pixels that blend
LEVELS = 64  # values of the pattern told apart: shares of the area in steps of 1.6 %; 128 shows no less
_MASK_ROWS = 32  # rows of cells decided at once, a part of MASK_SIDE
_SIGMA_CELLS = 1.5  # Ulichney's choice for the filter that finds voids and clusters


def diffused(wanted: np.ndarray, colours: np.ndarray, bare: np.ndarray | None = None, seed: int = 0) -> np.ndarray:
    """Labels (h, w) uint8 of cells by error diffusion.

    Parameters
    ----------
    wanted : (h, w, 3) light wanted at each cell, inside what the colours can mix; or sRGB bytes, uint8
    colours : (k + 1, 3) light of each number, bare metal first
    bare : (h, w) True where the metal stays bare; nothing is handed on from there
    seed : of the small random changes to the shares handed on

    Notes
    -----
    A cell needs those left of it and, in the row above, up to one to its right. So all cells with equal x + 2 y are decided at
    once, which numpy does: 24 million cells take a few seconds.
    """
    height, width = wanted.shape[:2]
    if width < 3:  # the cells of a wave are two less than a row apart
        extra = np.zeros((height, 3 - width, 3), wanted.dtype)
        known = np.zeros((height, width), bool) if bare is None else bare
        return diffused(np.hstack([wanted, extra]), colours, np.hstack([known, extra[..., 0] == 0]), seed)[:, :width]
    coded = wanted.dtype == np.uint8
    flat = np.ascontiguousarray(wanted, dtype=None if coded else np.float32).reshape(-1, 3)
    clear = None if bare is None else np.ascontiguousarray(bare).reshape(-1)
    labels = np.zeros(height * width, dtype=np.uint8)
    colours = colours.astype(np.float32)
    metric = (_LAB_LIKE.T @ _LAB_LIKE).astype(np.float32)
    by_light, by_colour = -2 * metric @ colours.T, np.einsum("ki,ij,kj->k", colours, metric, colours)
    rng = np.random.default_rng(seed)
    right, left_below, below, right_below = (np.float32(share) for share in HANDED_ON)
    error = np.zeros((4, height + 1, 3), dtype=np.float32)  # of waves t, t + 1, t + 2, t + 3, by row
    for wave in range(width + 2 * (height - 1)):
        first, last = max(0, (wave - width + 2) // 2), min(height - 1, wave // 2)
        place = slice(wave + first * (width - 2), wave + last * (width - 2) + 1, width - 2)
        rows, next_rows = slice(first, last + 1), slice(first + 1, last + 2)
        due = error[wave & 3, rows].copy()
        error[wave & 3] = 0
        light = light_of_srgb255(flat[place]) if coded else flat[place]
        number = ((light + np.float32(FEEDBACK) * due) @ by_light + by_colour).argmin(axis=1)
        due += light
        due -= colours[number]
        if clear is not None:
            kept = ~clear[place]
            number *= kept
            due *= kept[:, None]
        labels[place] = number
        sway = (rng.random((2, last - first + 1, 1), dtype=np.float32) - np.float32(0.5)) * np.float32(WOBBLE)
        error[(wave + 1) & 3, rows] += due * (right + sway[0])
        error[(wave + 2) & 3, next_rows] += due * (below - sway[0])
        error[(wave + 1) & 3, next_rows] += due * (left_below + sway[1] / 4)
        error[(wave + 3) & 3, next_rows] += due * (right_below - sway[1] / 4)
    return labels.reshape(height, width)


def ordered(
    srgb255: np.ndarray, mapped: GamutMap, bare: np.ndarray | None = None, seed: int = 0, root: np.ndarray | None = None
) -> np.ndarray:
    """Labels (h, w) uint8 of cells, each by itself, by the area shares wanted there and a blue-noise pattern.

    Parameters
    ----------
    srgb255 : (h, w, 3) uint8 of the artwork, before the map
    mapped : the map into what the colours can mix
    bare : (h, w) True where the metal stays bare
    seed : of where the pattern begins
    root : (h, w, 3) places of the gamut, as `mapped.picture` gives them; None asks it where they are needed

    Notes
    -----
    The colour wanted is mixed of four colours at most, the corners of the tetrahedron around it. They take turns in the
    order of their lightness: the cell takes the one whose share the pattern's value, 0..1, falls into.

    Of more than `EXACT_CELLS` all of that is read from one table: of the sRGB cube at `TABLE_NODES` a side, by `LEVELS` values of
    the pattern. A colour between two nodes takes either, in proportion. That is decided by the same pattern's finer digits, so
    the cells of one value take turns as evenly as all cells do. It takes a tenth of the time and leaves a twentieth more grain.
    """
    rank = np.roll(pattern(), np.random.default_rng(seed).integers(MASK_SIDE, size=2), axis=(0, 1))
    rank = np.tile(rank, (1, -(-srgb255.shape[1] // MASK_SIDE)))[:, : srgb255.shape[1]]
    if srgb255.shape[0] * srgb255.shape[1] <= EXACT_CELLS:
        labels = _by_shares(mapped.picture(srgb255) if root is None else root, mapped.gamut, rank)
    else:
        labels = _by_table(srgb255, mapped, rank)
    if bare is not None:
        labels[bare] = 0
    return labels


def _by_shares(root: np.ndarray, gamut: Gamut, rank: np.ndarray) -> np.ndarray:
    height, width = root.shape[:2]
    order = np.argsort(gamut.lab[:, 0], kind="stable")
    labels = np.empty((height, width), dtype=np.uint8)
    for top in range(0, height, _MASK_ROWS):
        part = root[top : top + _MASK_ROWS]
        value = (rank[top % MASK_SIDE : top % MASK_SIDE + len(part)].reshape(-1, 1) + 0.5) / MASK_SIDE**2
        share = gamut.mixing.asked(gamut.shares(part.reshape(-1, 3)))[:, order]
        turn = (share.cumsum(axis=1) < value).sum(axis=1)
        labels[top : top + len(part)] = order[np.minimum(turn, len(order) - 1)].reshape(-1, width)
    return labels


def _by_table(srgb255: np.ndarray, mapped: GamutMap, rank: np.ndarray) -> np.ndarray:
    last, pixels = mapped.last_step(srgb255)
    table = _labels_by_node(last)
    height, width = pixels.shape[:2]
    value = (rank // (MASK_SIDE**2 // LEVELS)).astype(np.uint32)
    finer = (rank % (MASK_SIDE**2 // LEVELS) * (LEVELS * 256) // MASK_SIDE**2).astype(np.uint16)  # 0..255
    node256 = np.rint(np.arange(256) * (256 * (TABLE_NODES - 1) / 255)).astype(np.uint16)
    labels = np.empty((height, width), dtype=np.uint8)
    for top in range(0, height, _MASK_ROWS):
        part = pixels[top : top + _MASK_ROWS]
        of_mask = slice(top % MASK_SIDE, top % MASK_SIDE + len(part))
        at = np.zeros(part.shape[:2], dtype=np.uint32)
        for channel in range(3):
            node = node256.take(part[..., channel])
            node += finer[of_mask]
            node >>= 8
            at *= TABLE_NODES
            at += node
        at *= LEVELS
        at += value[of_mask]
        np.take(table, at, out=labels[top : top + len(part)], mode="clip")
    return labels


def _labels_by_node(mapped: GamutMap) -> np.ndarray:
    """Number (TABLE_NODES³ LEVELS,) uint8 of the colour at each node of the sRGB cube and each value of the pattern."""
    gamut = mapped.gamut
    order = np.argsort(gamut.lab[:, 0], kind="stable")
    table = np.empty((TABLE_NODES, TABLE_NODES**2 * LEVELS), dtype=np.uint8)
    for row, root in zip(table, mapped.finer(TABLE_NODES), strict=True):  # of one red at a time: 256 shares a node are many
        share = gamut.mixing.asked(gamut.shares(root.reshape(-1, 3)))[:, order]
        ends = np.rint(LEVELS * share.cumsum(axis=1)).astype(np.uint8)
        ends[:, -1] = LEVELS
        row[:] = np.repeat(np.tile(order.astype(np.uint8), len(ends)), np.diff(ends, axis=1, prepend=np.uint8(0)).ravel())
    return table.reshape(-1)


@lru_cache(maxsize=1)
def pattern() -> np.ndarray:
    """Ranks (s, s), `MASK_SIDE` a side, of the blue-noise pattern that tint ships: what `blue_noise` gives, which takes a while."""
    from PIL import Image

    with (files("tint") / "data" / "blue_noise.png").open("rb") as stream, Image.open(stream) as image:
        return np.asarray(image).astype(np.int64)


def blue_noise(side: int, seed: int = 0) -> np.ndarray:
    """Ranks (side, side), each of 0 … side² − 1 once: cells up to any rank lie evenly apart, with no grid and no clumps.

    Raises
    ------
    LimitError
        A side below 4 or above 256.

    References
    ----------
    Ulichney, "The void-and-cluster method for dither array generation", Proc. SPIE 1913:332 (1993).

    Examples
    --------
    >>> ranks = blue_noise(8)
    >>> bool((np.sort(ranks.ravel()) == np.arange(64)).all())
    True
    """
    if not 4 <= side <= 256:
        raise LimitError(f"a blue-noise pattern of {side} cells a side cannot be; it has 4 to 256.")
    count = side * side
    away = np.minimum(np.arange(side), side - np.arange(side))
    bump = np.exp(-(away[:, None] ** 2 + away**2) / (2 * _SIGMA_CELLS**2))
    wide = np.tile(bump, (2, 2))

    def around(cell: int) -> np.ndarray:
        """What a dot in the cell adds to every cell; the pattern's ends meet."""
        y, x = divmod(cell, side)
        return wide[side - y : 2 * side - y, side - x : 2 * side - x].reshape(-1)

    rng = np.random.default_rng(seed)
    dots = np.zeros(count, dtype=bool)
    dots[rng.choice(count, count // 10, replace=False)] = True
    crowd = np.zeros(count)
    for cell in np.flatnonzero(dots):
        crowd += around(int(cell))
    while True:  # the tightest cluster moves to the largest void until that is where it came from
        tight = int(np.where(dots, crowd, -np.inf).argmax())
        dots[tight] = False
        crowd = crowd - around(tight)
        void = int(np.where(dots, np.inf, crowd).argmin())
        dots[void] = True
        crowd = crowd + around(void)
        if void == tight:
            break
    ranks = np.empty(count, dtype=np.int64)
    left, crowd_left = dots.copy(), crowd.copy()
    for rank in range(int(dots.sum()) - 1, -1, -1):
        tight = int(np.where(left, crowd_left, -np.inf).argmax())
        left[tight] = False
        crowd_left -= around(tight)
        ranks[tight] = rank
    for rank in range(int(dots.sum()), count):
        void = int(np.where(dots, np.inf, crowd).argmin())
        dots[void] = True
        crowd += around(void)
        ranks[void] = rank
    return ranks.reshape(side, side)
