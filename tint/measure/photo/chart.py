"""Where the 24-patch chart is in a photograph: squares on a lattice whose colours are the chart's, at any turn."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.measure.photo.picture import Photo
from tint.measure.photo.vision import mapped, opencv

COLUMNS, ROWS = 6, 4
SEARCH_PX = 1600  # longest side squares are looked for at
SMALLEST_PX = 7.0  # side of a square there; smaller ones cannot be told from noise
LARGEST_STEP = 1.8  # distance of neighbours in sides of a square; charts have 1.05 to 1.4
NEEDED_SQUARES = 8  # found on a lattice before its colours are looked at
# Median miss of the chart's colours [ΔE*ab] after the best 3 × 3 matrix, for a whole chart and for a part of one: true
# places stay under 7, in the faintest raw colours under tungsten light under 15; other turns start at 30 (simulated photos)
MOST_MISS, PART_MISS = 18.0, 10.0


@dataclass(frozen=True, eq=False)
class ChartView:
    """Where the chart is: a homography (3, 3) from cells to pixels, and the side of a patch.

    Cell (0, 0) is the middle of dark skin, (5, 0) of bluish green, (0, 3) of white, (5, 3) of black.
    """

    to_px: np.ndarray
    side: float  # of a patch, as a share of the distance of neighbours
    miss: float  # median of the colours [ΔE*ab] after the best 3 × 3 matrix

    @property
    def centres(self) -> np.ndarray:
        """(24, 2) middles of the patches in cells, in the order of the reference values."""
        return np.array([(k % COLUMNS, k // COLUMNS) for k in range(COLUMNS * ROWS)], dtype=float)

    def outline_px(self, rim: float = 0.85) -> np.ndarray:
        """(4, 2) corners [px] of the chart with its frame."""
        return mapped(
            self.to_px,
            np.array(
                [[-rim, -rim], [COLUMNS - 1 + rim, -rim], [COLUMNS - 1 + rim, ROWS - 1 + rim], [-rim, ROWS - 1 + rim]]
            ),
        )


def find_chart(photo: Photo, xyz100: np.ndarray, plate_px: np.ndarray) -> ChartView:
    """Where the chart is in a photograph, outside the plate.

    Parameters
    ----------
    xyz100 : (24, 3) reference values
    plate_px : (4, 2) corners of the plate: squares inside it are patches, not the chart

    Raises
    ------
    DataError
        No chart, part of it out of the frame, two charts, or a chart seen in a mirror.
    """
    cv2 = opencv()
    scale = min(1.0, SEARCH_PX / max(photo.size_px))
    small = (
        photo.pixels if scale == 1 else cv2.resize(photo.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    )
    eye = np.round(255 * photo.linear1(small) ** (1 / 2.2)).astype(np.uint8) if photo.full > 255 else small
    linear = photo.linear1(small.astype(float)) if small.size < 3e6 else _linear_table(photo, small)
    plate = plate_px * scale
    middle = plate.mean(axis=0)
    inside = (middle + (plate - middle) * 1.03).astype(np.float32)
    squares = [
        quad for quad in _squares(eye) if cv2.pointPolygonTest(inside, tuple(map(float, quad.mean(axis=0))), False) < 0
    ]
    best, squares = _best(squares, linear, xyz100)
    if best is None:
        raise DataError(
            f"{photo.name}: no 24-patch chart is seen. Lay it beside the plate, whole, flat and facing the camera, and photograph again."
        )
    if best.mirrored:
        raise DataError(
            f"{photo.name} is mirrored: the chart's colours run the wrong way. Turn off mirroring in the camera and photograph again."
        )
    if best.outside:
        raise DataError(
            f"{photo.name}: the chart is partly out of the picture or covered ({24 - best.outside} of 24 patches are seen). Photograph all of it."
        )
    second, _ = _best(squares, linear, xyz100)
    if second is not None and not second.mirrored and second.miss < PART_MISS and not second.outside:
        raise DataError(
            f"{photo.name} shows two charts. Leave one in the picture, so that it is clear which one counts."
        )
    up = np.diag([1 / scale, 1 / scale, 1.0])
    shift = np.array([[1, 0, 0.5 / scale - 0.5], [0, 1, 0.5 / scale - 0.5], [0, 0, 1]])
    return ChartView(shift @ up @ best.to_px, best.side, best.miss)


@dataclass(frozen=True, eq=False)
class _Guess:
    to_px: np.ndarray
    side: float
    miss: float
    mirrored: bool
    outside: int  # patches not in the picture


def _linear_table(photo: Photo, pixels: np.ndarray) -> np.ndarray:
    return np.stack([photo.light1[k].astype(np.float32)[pixels[..., k]] for k in range(3)], axis=-1)


def _squares(eye: np.ndarray) -> list[np.ndarray]:
    """Four-sided shapes (4, 2) [px] about as wide as high, each once, in a picture (h, w, 3) uint8."""
    cv2 = opencv()
    soft = cv2.GaussianBlur(eye, (0, 0), 1.0)
    views = [
        *(np.ascontiguousarray(soft[..., k]) for k in range(3)),
        cv2.cvtColor(soft, cv2.COLOR_RGB2LAB)[..., 1],
        cv2.cvtColor(soft, cv2.COLOR_RGB2LAB)[..., 2],
    ]
    found: list[np.ndarray] = []
    for view, share, sign in itertools.product(views, (12, 30), (1, -1)):
        block = max(5, int(max(eye.shape) / share) | 1)
        mean = cv2.boxFilter(view, -1, (block, block))
        mask = (sign * (view.astype(np.int16) - mean) > 4).astype(np.uint8)
        mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        found += _quads(mask)
    grey = cv2.cvtColor(soft, cv2.COLOR_RGB2GRAY)
    for low in (15, 40):
        edges = cv2.dilate(cv2.Canny(grey, low, 3 * low), np.ones((3, 3), np.uint8))
        found += _quads(1 - (edges > 0).astype(np.uint8))
    return _each_once(found)


def _quads(mask: np.ndarray) -> list[np.ndarray]:
    cv2 = opencv()
    quads = []
    contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    for contour in contours:
        if len(contour) < 4:
            continue
        area = cv2.contourArea(contour)
        if not SMALLEST_PX**2 <= area <= 0.02 * mask.size:
            continue
        hull = cv2.convexHull(contour)
        if area < 0.85 * cv2.contourArea(hull):
            continue
        corners = cv2.approxPolyDP(hull, 0.08 * cv2.arcLength(hull, True), True).reshape(-1, 2).astype(float)
        if len(corners) != 4:
            continue
        sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
        if sides.max() <= 2.0 * sides.min() and cv2.contourArea(corners.astype(np.float32)) > 0.75 * area:
            quads.append(corners)
    return quads


def _each_once(quads: list[np.ndarray]) -> list[np.ndarray]:
    """Of shapes about one place the one of middle size."""
    quads = sorted(quads, key=_area)
    centres = np.array([quad.mean(axis=0) for quad in quads]).reshape(-1, 2)
    sides = np.sqrt([_area(quad) for quad in quads])
    free = np.ones(len(quads), dtype=bool)
    kept = []
    for i in range(len(quads)):
        if free[i]:
            same = free & (np.abs(centres - centres[i]).max(axis=1) < 0.25 * sides[i]) & (sides < 1.5 * sides[i])
            free &= ~same
            members = np.flatnonzero(same)
            kept.append(quads[members[len(members) // 2]])
    return kept


def _area(quad: np.ndarray) -> float:
    x, y = quad.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def _best(squares: list[np.ndarray], linear: np.ndarray, xyz100: np.ndarray) -> tuple[_Guess | None, list[np.ndarray]]:
    """The place where the chart's colours fit best, if they fit, and the squares that lie elsewhere."""
    centres = np.array([quad.mean(axis=0) for quad in squares]).reshape(-1, 2)
    sides = np.sqrt([_area(quad) for quad in squares])
    best: _Guess | None = None
    tried: set[int] = set()
    for seed in range(len(squares)):
        if seed in tried:
            continue
        lattice = _lattice(seed, squares, centres, sides)
        if len(lattice) < NEEDED_SQUARES:
            continue
        tried |= set(lattice)
        for guess in _placements(lattice, centres, sides, linear, xyz100):
            better = best is None or guess.miss + 0.25 * guess.outside < best.miss + 0.25 * best.outside
            if guess.miss < (PART_MISS if guess.outside else MOST_MISS) and better:
                best = guess
    if best is None:
        return None, squares
    cv2 = opencv()
    outline = ChartView(best.to_px, best.side, best.miss).outline_px().astype(np.float32)
    rest = [quad for quad in squares if cv2.pointPolygonTest(outline, tuple(map(float, quad.mean(axis=0))), False) < 0]
    return best, rest


def _lattice(
    seed: int, squares: list[np.ndarray], centres: np.ndarray, sides: np.ndarray
) -> dict[int, tuple[int, int]]:
    """Squares on one lattice with the seed, each with its column and row counted from it."""
    quad = squares[seed]
    axes = [(quad[1] - quad[0] + quad[2] - quad[3]) / 2, (quad[2] - quad[1] + quad[3] - quad[0]) / 2]
    like = (sides > 0.6 * sides[seed]) & (sides < 1.6 * sides[seed])
    steps = []
    for axis, across in (axes, axes[::-1]):
        own = (centres - centres[seed]) @ np.linalg.inv(np.array([axis, across]))
        near = like & (np.abs(own[:, 1]) < 0.25) & (np.abs(own[:, 0]) > 0.9) & (np.abs(own[:, 0]) < LARGEST_STEP)
        if near.any():
            closest = np.flatnonzero(near)[np.argmin(np.abs(own[near, 0]))]
            steps.append((centres[closest] - centres[seed]) * np.sign(own[closest, 0]))
        else:
            steps.append(None)
    if steps[0] is None and steps[1] is None:
        return {}
    for k in (0, 1):
        if steps[k] is None:
            other = steps[1 - k]
            steps[k] = axes[k] * np.linalg.norm(other) / np.linalg.norm(axes[1 - k])
    placed = {seed: (0, 0)}
    local = {seed: (steps[0], steps[1])}
    queue = [seed]
    while queue and len(placed) < 60:
        here = queue.pop(0)
        column, row = placed[here]
        u, v = local[here]
        for dx, dy, step in ((1, 0, u), (-1, 0, -u), (0, 1, v), (0, -1, -v)):
            if (column + dx, row + dy) in placed.values():
                continue
            away = np.linalg.norm(centres - centres[here] - step, axis=1)
            away[~like | np.isin(np.arange(len(centres)), list(placed))] = np.inf
            closest = int(np.argmin(away))
            if away[closest] < 0.22 * np.linalg.norm(step):
                placed[closest] = (column + dx, row + dy)
                moved = centres[closest] - centres[here]
                local[closest] = (
                    0.5 * u + 0.5 * moved * dx if dx else u,
                    0.5 * v + 0.5 * moved * dy if dy else v,
                )
                queue.append(closest)
    return placed


def _placements(
    lattice: dict[int, tuple[int, int]], centres: np.ndarray, sides: np.ndarray, linear: np.ndarray, xyz100: np.ndarray
) -> list[_Guess]:
    """Every way the chart may lie on a lattice, with how well its colours fit there."""
    cv2 = opencv()
    members = list(lattice)
    cells = np.array([lattice[i] for i in members], dtype=float)
    to_px, good = cv2.findHomography(cells, centres[members], cv2.RANSAC, 0.15 * float(np.median(sides[members])))
    if to_px is None or good.sum() < NEEDED_SQUARES:
        return []
    good = good.ravel().astype(bool)
    cells, members = cells[good], [member for member, use in zip(members, good, strict=True) if use]
    side = float(
        np.median([sides[i] / np.sqrt(_cell_area(to_px, cell)) for i, cell in zip(members, cells, strict=True)])
    )
    low, high = cells.min(axis=0).astype(int), cells.max(axis=0).astype(int)
    height, width = linear.shape[:2]
    guesses = []
    for columns, rows in ((COLUMNS, ROWS), (ROWS, COLUMNS)):
        for left in range(high[0] - columns + 1 - 2, low[0] + 3):
            for top in range(high[1] - rows + 1 - 2, low[1] + 3):
                own = cells - [left, top]
                within = ((own >= 0) & (own < [columns, rows])).all(axis=1)
                if within.sum() < max(NEEDED_SQUARES, 0.7 * len(cells)):
                    continue
                grid = np.array([(x, y) for y in range(rows) for x in range(columns)], dtype=float)
                at = mapped(to_px, grid + np.array([left, top]))
                seen = ((at > 1) & (at < [width - 2, height - 2])).all(axis=1)
                if seen.sum() < 12:
                    continue
                colours = np.zeros((rows * columns, 3))
                colours[seen] = _sampled(linear, at[seen], 0.25 * float(np.median(sides[members])))
                guesses += _turns(
                    colours.reshape(rows, columns, 3), seen.reshape(rows, columns), to_px, (left, top), side, xyz100
                )
    return guesses


def _turns(
    colours: np.ndarray, seen: np.ndarray, to_px: np.ndarray, corner: tuple[int, int], side: float, xyz100: np.ndarray
) -> list[_Guess]:
    """The four turns (two fit the shape) and their mirror images, each with the miss of the chart's colours."""
    rows, columns = seen.shape
    place = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).astype(float) + corner
    guesses = []
    for quarter, mirror in itertools.product(range(4), (False, True)):
        turned = [np.rot90(array[:, ::-1] if mirror else array, quarter) for array in (colours, seen, place)]
        if turned[1].shape != (ROWS, COLUMNS):
            continue
        use = turned[1].ravel()
        miss = _miss(turned[0].reshape(-1, 3)[use], xyz100[use])
        own = np.array([[0, 0], [COLUMNS - 1, 0], [COLUMNS - 1, ROWS - 1], [0, ROWS - 1]], dtype=np.float32)
        spot = np.array([turned[2][int(y), int(x)] for x, y in own], dtype=np.float32)
        to_cells = opencv().getPerspectiveTransform(own, spot).astype(float)
        guesses.append(_Guess(to_px @ to_cells, side, miss, mirror, int((~use).sum())))
    # seen turned over, a homography flips its handedness: the lattice may have been counted either way round
    return [_handed(guess) for guess in guesses]


def _handed(guess: _Guess) -> _Guess:
    corner = mapped(guess.to_px, np.array([[0, 0], [5, 0], [0, 3]]))
    u, v = corner[1] - corner[0], corner[2] - corner[0]
    return _Guess(guess.to_px, guess.side, guess.miss, bool(u[0] * v[1] - u[1] * v[0] < 0), guess.outside)


def _cell_area(to_px: np.ndarray, cell: np.ndarray) -> float:
    return _area(mapped(to_px, cell + np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])))


def _sampled(linear: np.ndarray, at: np.ndarray, reach: float) -> np.ndarray:
    """Median colours (n, 3) of small windows about places (n, 2) [px]."""
    half = max(1, int(reach * 0.7))
    out = []
    for x, y in np.round(at).astype(int):
        part = linear[max(0, y - half) : y + half + 1, max(0, x - half) : x + half + 1]
        out.append(np.median(part.reshape(-1, 3), axis=0))
    return np.array(out)


def _miss(rgb: np.ndarray, xyz100: np.ndarray) -> float:
    """Median difference [about ΔE*ab] of chart colours from their reference after the best 3 × 3 matrix."""
    if not np.isfinite(rgb).all() or rgb.max() <= 0 or len(rgb) < 12:
        return np.inf
    weight = 1 / np.maximum(xyz100[:, 1:2], 3) ** 0.6
    matrix, _, rank, _ = np.linalg.lstsq(rgb * weight, xyz100 * weight, rcond=None)
    if rank < 3:
        return np.inf
    away = quick_lab(rgb @ matrix) - quick_lab(xyz100)
    spare = len(rgb) / (len(rgb) - 3)  # fewer patches are easier to fit
    return float(np.median(np.linalg.norm(away, axis=1)) * spare)


def quick_lab(xyz100: np.ndarray) -> np.ndarray:
    """CIELAB (..., 3) of XYZ under D50 (ISO/CIE 11664-4), here without a second's loading: for searches, not for results."""
    ratio = np.asarray(xyz100) / np.array([96.422, 100.0, 82.521])
    f = np.where(ratio > 216 / 24389, np.cbrt(np.maximum(ratio, 1e-9)), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)
