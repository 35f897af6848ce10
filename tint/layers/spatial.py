"""Spatial error: how far apart two pictures look from a distance, where fine patterns blend in the eye.

After S-CIELAB: each picture is split into a light-dark, a red-green and a blue-yellow part, each part blurred as much
as the eye blurs it, and the blurred pictures are compared colour by colour, here by ΔE00.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.lab import D50_XYZ
from tint.layers.difference import delta_e00_of
from tint.palette.reach import lab_from_light

DISTANCE_MM = 300.0  # a piece held in the hand, nearer than a reader holds a book
# Rows: light-dark, red-green, blue-yellow; of X, Y, Z with white at Y = 1. Zhang and Wandell (1996), see `seen`; from memory.
_OPPONENT = np.array([[0.279, 0.720, -0.107], [-0.449, 0.290, -0.077], [0.086, -0.590, 0.501]])
# Weight and spread [°] of the sum of Gaussians exp(−(r / spread)²) that each part is blurred by; same source, from memory
_BLUR = (
    ((0.921, 0.0283), (0.105, 0.133), (-0.108, 4.336)),
    ((0.531, 0.0392), (0.330, 0.494)),
    ((0.488, 0.0536), (0.371, 0.386)),
)
LEAST_BLUR_DEG = tuple(gaussians[0][1] for gaussians in _BLUR)  # the spread of the narrowest of each
_TO_PARTS = (_OPPONENT * D50_XYZ).T
_FROM_PARTS = np.linalg.inv(_TO_PARTS)
# A blur wider than so many pixels, and so many times the finest blur, is done on a smaller picture of the whole; no figure changes
_WIDE_PX, _WIDE_TIMES = 4.0, 2.0
_FINE, _WIDE_FINE = 3.0, 6.0  # pixels of a smaller picture that its narrowest blur spreads over, and of one made smaller again
_CUT = 3.5  # spreads at which a blur ends
_BAND_ROWS = 256  # read at once where a picture is made smaller
_MEANT_OVER = 200_000  # places that the mean is taken over, evenly spread; more changes no digit shown

LightOf = Callable[[slice, slice], np.ndarray]


class Viewed:
    """A picture as it looks from a distance, whole or a part of it at a time.

    Parameters
    ----------
    shape : rows and columns
    light_of : gives the light (rows, columns, 3) of a part
    pitch_mm : width of a pixel [mm]
    distance_mm : of the eye [mm]

    Raises
    ------
    LimitError
        A pitch or distance that is not a number above 0.

    Notes
    -----
    Light is X, Y, Z over that of white, as `tint.palette.reach.light_from_lab` gives it. Weights are scaled to sum to 1, so even
    fields keep their colour. Beyond its border a picture goes on as at its border. A part is seen against the whole picture.

    References
    ----------
    Zhang and Wandell, "A spatial extension of CIELAB for digital color-image reproduction", J. Soc. Inf. Disp. 5(1):61 (1997),
    doi 10.1889/1.1985127.
    """

    def __init__(self, shape: tuple[int, int], light_of: LightOf, pitch_mm: float, distance_mm: float = DISTANCE_MM) -> None:
        if not (0 < pitch_mm < math.inf and 0 < distance_mm < math.inf):
            raise LimitError(f"pitch {pitch_mm:g} mm seen from {distance_mm:g} mm cannot be; both are numbers above 0.")
        self.shape, self._light_of = shape, light_of
        pixel_deg = math.degrees(math.atan(pitch_mm / distance_mm))
        # of each part: share and spread [pixels] of its Gaussians, narrow ones and wide ones apart
        blurs = []
        for gaussians in _BLUR:
            total = sum(weight for weight, _ in gaussians)
            blurs.append([(weight / total, spread / pixel_deg / math.sqrt(2)) for weight, spread in gaussians])
        wide = max(_WIDE_PX, _WIDE_TIMES * min(spread for blur in blurs for _, spread in blur))
        self._narrow = [[each for each in blur if each[1] <= wide] for blur in blurs]
        self._wide = [[each for each in blur if each[1] > wide] for blur in blurs]
        self._margin = math.ceil(_CUT * max((spread for blur in self._narrow for _, spread in blur), default=0))

    @cached_property
    def _far(self) -> tuple[np.ndarray, int]:
        """What the wide blurs give, (3, h', w') of a smaller picture of the whole, and how many pixels one of it stands for."""
        height, width = self.shape
        block = max(1, int(min(spread for blur in self._wide for _, spread in blur) / _FINE))
        step = max(1, _BAND_ROWS // block) * block
        bands = (self._parts(slice(top, top + step), slice(0, width)) for top in range(0, height, step))
        planes = np.concatenate([_smaller(band, block) for band in bands]).transpose(2, 0, 1)
        out = np.zeros(planes.shape, dtype=np.float32)
        for part, blur in enumerate(self._wide):
            for share, spread in blur:
                out[part] += np.float32(share) * _blurred(np.ascontiguousarray(planes[part]), spread / block)
        return out, block

    def _parts(self, rows: slice, columns: slice) -> np.ndarray:
        return self._light_of(rows, columns).astype(np.float32) @ _TO_PARTS.astype(np.float32)

    def lab(self, rows: slice | None = None, columns: slice | None = None) -> np.ndarray:
        """Lab (h, w, 3) as it looks, of a part or of all."""
        height, width = self.shape
        top, bottom, _ = (rows or slice(None)).indices(height)
        left, right, _ = (columns or slice(None)).indices(width)
        over = [(max(0, first - self._margin), min(size, last + self._margin)) for first, last, size in ((top, bottom, height), (left, right, width))]
        parts = self._parts(*(slice(*each) for each in over))
        inside = np.s_[top - over[0][0] : bottom - over[0][0], left - over[1][0] : right - over[1][0]]
        out = np.zeros((bottom - top, right - left, 3), dtype=np.float32)
        for part, blur in enumerate(self._narrow):
            plane = np.ascontiguousarray(parts[..., part])
            for share, spread in blur:
                out[..., part] += np.float32(share) * _blurred(plane, spread)[inside]
        if any(self._wide):
            far, block = self._far
            for part in range(3):
                out[..., part] += _larger(far[part], block, (top, bottom), (left, right))
        return lab_from_light(np.maximum(out @ _FROM_PARTS.astype(np.float32), 0))


def seen(light: np.ndarray, pitch_mm: float, distance_mm: float = DISTANCE_MM) -> np.ndarray:
    """Lab (h, w, 3) of a picture of light (h, w, 3) as it looks from a distance [mm], its pixels `pitch_mm` [mm] wide."""
    return _whole(light, pitch_mm, distance_mm).lab()


def spatial_error(one: np.ndarray, other: np.ndarray, pitch_mm: float, distance_mm: float = DISTANCE_MM) -> float:
    """Mean ΔE00 between two pictures of light (h, w, 3) as `seen` from a distance [mm]."""
    (error,) = errors_over(_whole(one, pitch_mm, distance_mm), [_whole(other, pitch_mm, distance_mm)], [(slice(None), slice(None))])
    return error


def errors_over(wanted: Viewed, shown: Sequence[Viewed], parts: Sequence[tuple[slice, slice]]) -> list[float]:
    """Mean ΔE00 of each picture shown from the one wanted as they look, over parts (rows, columns), seen against the whole."""

    def places(picture: Viewed) -> np.ndarray:
        lab = np.concatenate([picture.lab(*part).reshape(-1, 3) for part in parts])
        return lab[:: max(1, len(lab) // _MEANT_OVER)].T.astype(float)

    goal = places(wanted)
    return [float(delta_e00_of(places(each), goal).mean()) for each in shown]


def _whole(light: np.ndarray, pitch_mm: float, distance_mm: float) -> Viewed:
    return Viewed((light.shape[0], light.shape[1]), lambda rows, columns: light[rows, columns], pitch_mm, distance_mm)


def _blurred(plane: np.ndarray, sigma_px: float) -> Any:
    from scipy.ndimage import gaussian_filter

    block = int(sigma_px / _WIDE_FINE)
    if block < 2:
        return gaussian_filter(plane, sigma_px, mode="nearest", truncate=_CUT)
    blurred = gaussian_filter(_smaller(plane[..., None], block)[..., 0], sigma_px / block, mode="nearest", truncate=_CUT)
    return _larger(blurred, block, (0, plane.shape[0]), (0, plane.shape[1]))


def _smaller(planes: np.ndarray, block: int) -> np.ndarray:
    """Means (h / block, w / block, n) over blocks of planes (h, w, n); the last ones may be cut short."""
    for axis in (0, 1):
        first = np.arange(0, planes.shape[axis], block)
        count = np.minimum(block, planes.shape[axis] - first).astype(np.float32)
        planes = np.add.reduceat(planes, first, axis=axis) / np.expand_dims(count, tuple({0, 1, 2} - {axis}))
    return planes


def _larger(plane: np.ndarray, block: int, rows: tuple[int, int], columns: tuple[int, int]) -> np.ndarray:
    """A part (first, last) of the plane that `_smaller` made one of, linear between its pixels."""
    from PIL import Image

    top, left = max(0, rows[0] // block - 1), max(0, columns[0] // block - 1)
    near = plane[top : rows[1] // block + 2, left : columns[1] // block + 2]
    box = (columns[0] / block - left, rows[0] / block - top, columns[1] / block - left, rows[1] / block - top)
    size = columns[1] - columns[0], rows[1] - rows[0]
    return np.asarray(Image.fromarray(near).resize(size, Image.Resampling.BILINEAR, box=box))
