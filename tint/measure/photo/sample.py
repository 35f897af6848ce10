"""Levels of squares in a photograph, robustly, with what speaks against trusting them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.measure.photo.picture import Photo
from tint.measure.photo.vision import mapped, opencv, square

MOST_SIDE_PX = 40  # pixels a side that are looked at; more say nothing new about an even square
# share of the highest level beyond which a camera no longer tells amounts of light
CLIPPED_HIGH, CLIPPED_LOW = 0.985, 0.008
OUTLIER_SIGMA = 4.5  # robust standard deviations from the square's own gradient
OUTLIER_LEAST = 0.02  # share of the highest level: less than that is grain, however even the rest


@dataclass(frozen=True, eq=False)
class Squares:
    """What n squares of a photograph show.

    Parameters
    ----------
    px : (n, 2) middles [px]
    level : (n, 3) robust mean level
    sd : (n, 3) robust standard deviation of the pixels, gradient removed
    slope : (n,) difference of level from edge to edge, largest channel
    odd : (n,) share of pixels that do not belong: scratches, dirt
    high, low : (n,) share of pixels clipped bright or dark in a channel
    count : (n,) pixels looked at
    """

    px: np.ndarray
    level: np.ndarray
    sd: np.ndarray
    slope: np.ndarray
    odd: np.ndarray
    high: np.ndarray
    low: np.ndarray
    count: np.ndarray

    def __len__(self) -> int:
        return len(self.px)


def read_squares(photo: Photo, to_px: np.ndarray, centres: np.ndarray, size: tuple[float, float]) -> Squares:
    """Squares (or strips) of a size about centres (n, 2), both in the units that `to_px` maps to pixels."""
    rows = [_read(photo, mapped(to_px, _oblong(xy, size))) for xy in centres]
    columns = [np.array(column, dtype=float) for column in zip(*rows, strict=True)] if rows else [np.zeros(0)] * 7
    level, sd, slope, odd, high, low, count = columns
    return Squares(mapped(to_px, centres), level.reshape(-1, 3), sd.reshape(-1, 3), slope, odd, high, low, count)


def _oblong(xy: np.ndarray, size: tuple[float, float]) -> np.ndarray:
    return np.asarray(xy) + (square(np.zeros(2), 1.0) * np.array(size))


def _flat(photo: Photo, corners_px: np.ndarray, most: int = MOST_SIDE_PX) -> np.ndarray:
    """Pixels (rows, columns, 3) of a four-sided piece, as if seen straight on; beyond the picture they are 0."""
    cv2 = opencv()
    width = np.linalg.norm(corners_px[1] - corners_px[0])
    height = np.linalg.norm(corners_px[3] - corners_px[0])
    size = tuple(int(np.clip(round(length), 2, most)) for length in (width, height))
    target = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], dtype=np.float32) - 0.5
    low = np.maximum(np.floor(corners_px.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(corners_px.max(axis=0)).astype(int) + 3, photo.size_px)
    if (high - low < 2).any():
        return np.zeros((size[1], size[0], 3))
    part = np.ascontiguousarray(photo.pixels[low[1] : high[1], low[0] : high[0]])
    matrix = cv2.getPerspectiveTransform((corners_px - low).astype(np.float32), target)
    return cv2.warpPerspective(part, matrix, size, flags=cv2.INTER_LINEAR).astype(float)


def _read(photo: Photo, corners_px: np.ndarray) -> tuple[np.ndarray, np.ndarray, float, float, float, float, int]:
    part = _flat(photo, corners_px)
    rows, columns = part.shape[:2]
    pixels = part.reshape(-1, 3)
    high = (pixels >= CLIPPED_HIGH * photo.full).any(axis=1).mean()
    low = (pixels <= CLIPPED_LOW * photo.full).any(axis=1).mean()
    y, x = np.mgrid[0:rows, 0:columns]
    plane = np.stack(
        [np.ones(rows * columns), (x.ravel() + 0.5) / columns - 0.5, (y.ravel() + 0.5) / rows - 0.5], axis=1
    )
    keep = np.ones(len(pixels), dtype=bool)
    lum = pixels @ [0.25, 0.5, 0.25]
    middle = np.median(pixels, axis=0)
    if len(pixels) < 12:
        return middle, pixels.std(axis=0), 0.0, 0.0, high, low, len(pixels)
    gradient = np.zeros(3)
    gradient[0] = np.median(lum)
    spread = 1.4826 * np.median(np.abs(lum - gradient[0]))
    for _ in range(3):
        limit = max(OUTLIER_SIGMA * spread, OUTLIER_LEAST * photo.full)
        keep = np.abs(lum - plane @ gradient) <= limit
        if keep.sum() < 0.5 * len(lum):
            keep = np.abs(lum - np.median(lum)) <= limit
        if keep.sum() < 6:
            break
        gradient = np.linalg.lstsq(plane[keep], lum[keep], rcond=None)[0]
        spread = 1.4826 * np.median(np.abs((lum - plane @ gradient)[keep]))
    used = keep if keep.sum() >= 6 else np.ones_like(keep)
    kept = pixels[used]
    # the plane's value at the middle, not the mean of what is left: what was dropped may sit on one side
    level = np.clip(np.linalg.lstsq(plane[used], kept, rcond=None)[0][0], kept.min(axis=0), kept.max(axis=0))
    sd = 1.4826 * np.median(np.abs(kept - np.median(kept, axis=0)), axis=0)
    return level, sd, float(np.abs(gradient[1:]).sum()), float(1 - keep.mean()), high, low, len(kept)


def softness(photo: Photo, to_px: np.ndarray, centres: np.ndarray, side: float, gap: float) -> np.ndarray:
    """(n,) blur of the edges of squares as the standard deviation of a Gaussian [units of `side`]; NaN where an edge is too faint.

    Notes
    -----
    For an edge blurred by a Gaussian, the profile p from 0 to 1 has ∫ p (1 − p) dx = σ / √π.
    """
    return np.array(
        [_softness(_flat(photo, mapped(to_px, square(xy, side + gap)), 120), side + gap, photo.full) for xy in centres]
    )


def _softness(part: np.ndarray, side: float, full: int) -> float:
    lum = part @ [0.25, 0.5, 0.25]
    rows, columns = lum.shape
    if min(rows, columns) < 8:
        return float("nan")
    across = lum[rows // 4 : -(rows // 4)].mean(axis=0)
    down = lum[:, columns // 4 : -(columns // 4)].mean(axis=1)
    found = []
    for profile in (across, down):
        half = len(profile) // 2
        for way in (profile[:half][::-1], profile[-half:]):
            inner, outer = way[: max(2, int(0.4 * half))].mean(), way[-max(1, int(0.06 * half)) :].mean()
            if abs(outer - inner) >= 0.06 * full:
                p = np.clip((way - inner) / (outer - inner), 0, 1)
                found.append(float(np.sqrt(np.pi) * np.sum(p * (1 - p)) * side / 2 / half))
    return float(np.median(found)) if len(found) >= 2 else float("nan")
