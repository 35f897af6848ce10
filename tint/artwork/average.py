"""Rows of a picture averaged to fewer, larger pixels as they come in, so that no more than a band of it is held."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

OPAQUE = 0.5  # a pixel less opaque than this stays bare: an anti-aliased edge goes to the side that covers more of it
_LEVELS = np.arange(256) / 255
# sRGB byte → linear light 0..1, IEC 61966-2-1
LINEAR1 = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4)
_LINEAR1 = LINEAR1.astype(np.float32)
_BAND_PX = 250_000  # source pixels averaged at once: 1 MB a plane, which stays in the processor's cache


def averaged(
    bands: Iterable[tuple[np.ndarray, np.ndarray]], size: tuple[int, int], smaller: tuple[int, int]
) -> tuple[np.ndarray, np.ndarray]:
    """sRGB (h, w, 3) uint8 and bare (h, w) bool of a picture at a smaller size, averaged in linear light by opacity.

    Parameters
    ----------
    bands : the picture's rows from the top: sRGB (r, w, 3) and bare (r, w) of some rows each
    size, smaller : width and height before and after [pixels]

    Notes
    -----
    Each pixel counts for the one larger pixel that its centre lies in.
    """
    (width, height), (columns, rows) = size, smaller
    srgb255 = np.empty((rows, columns, 3), dtype=np.uint8)
    bare = np.empty((rows, columns), dtype=bool)
    tall = height / rows
    step = max(1, int(_BAND_PX / width / tall))
    waiting: list[tuple[np.ndarray, np.ndarray]] = []
    top = bottom = first = 0  # rows of the source that wait, and the first row not written
    for band in bands:
        waiting.append(band)
        bottom += len(band[1])
        while first < rows and (bottom >= height or bottom >= math.ceil(min(rows, first + step) * tall)):
            last = min(rows, first + step)
            stop = min(height, math.ceil(last * tall))
            source = tuple(np.concatenate(part) if len(part) > 1 else part[0] for part in zip(*waiting, strict=True))
            box = (0.0, first * tall - top, float(width), min(last * tall, stop) - top)
            here = slice(0, stop - top)
            srgb255[first:last], bare[first:last] = scaled(
                source[0][here], source[1][here], (columns, last - first), box
            )
            first = last
            done = min(bottom, math.floor(first * tall)) - top
            waiting = [(source[0][done:], source[1][done:])]
            top += done
    return srgb255, bare


def scaled(
    srgb255: np.ndarray, bare: np.ndarray, size: tuple[int, int], box: tuple[float, float, float, float] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """sRGB (h, w, 3) uint8 and bare (h, w) bool of a part of a picture at another width and height [pixels].

    Parameters
    ----------
    box : left, top, right and bottom of the part [pixels]; None is all

    Notes
    -----
    In linear light, weighted by opacity; averaged where it becomes smaller, interpolated where it becomes larger.
    """
    from PIL import Image

    way = Image.Resampling.BOX if size[0] <= srgb255.shape[1] else Image.Resampling.BILINEAR

    def plane(values: np.ndarray) -> np.ndarray:
        return np.asarray(Image.fromarray(values).resize(size, way, box=box))

    if not bare.any():
        held = np.empty(srgb255.shape[:2], dtype=np.float32)
        linear1 = np.stack(
            [plane(np.take(_LINEAR1, srgb255[..., i], mode="clip", out=held)) for i in range(3)], axis=-1
        )  # "clip" and `out`: without a copy
        return _encoded(linear1), np.zeros(size[::-1], dtype=bool)
    opaque = plane((~bare).astype(np.float32))
    light = _LINEAR1.take(srgb255)
    light[bare] = 0
    whole = np.maximum(opaque, np.float32(1e-6))
    return _encoded(np.stack([plane(light[..., i].copy()) / whole for i in range(3)], axis=-1)), opaque < OPAQUE


def _encoded(linear1: np.ndarray) -> np.ndarray:
    linear1 = np.clip(linear1, 0, 1)
    srgb1 = np.where(linear1 <= 0.0031308, linear1 * 12.92, 1.055 * linear1 ** (1 / 2.4) - 0.055)
    return np.round(srgb1 * 255).astype(np.uint8)
