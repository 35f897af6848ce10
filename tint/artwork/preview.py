"""A smaller picture of the same artwork, to try things on: made once, in little memory."""

from __future__ import annotations

import dataclasses

import numpy as np

from tint.artwork.artwork import Picture
from tint.artwork.average import averaged
from tint.errors import LimitError

_ROWS = 256  # of a picture averaged at once


def reduced(picture: Picture, max_px: int) -> Picture:
    """Picture of the same size on the metal with at most `max_px` pixels on its longer side; itself where it has no more.

    Raises
    ------
    LimitError
        `max_px` below 1.

    Notes
    -----
    Averaged in linear light and weighted by opacity, a band of rows at a time.
    """
    if max_px < 1:
        raise LimitError(f"max_px {max_px} cannot be; a picture needs 1 pixel or more.")
    height, width = picture.bare.shape
    scale = max(height, width) / max_px
    if scale <= 1:
        return picture
    srgb255, bare = averaged_to(picture, (max(1, round(width / scale)), max(1, round(height / scale))))
    return dataclasses.replace(picture, srgb255=srgb255, bare=bare)


def averaged_to(picture: Picture, smaller: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    """sRGB (h, w, 3) uint8 and bare (h, w) bool of a picture at a smaller width and height [pixels], as `averaged` has them."""
    height, width = picture.bare.shape
    bands = ((picture.srgb255[top : top + _ROWS], picture.bare[top : top + _ROWS]) for top in range(0, height, _ROWS))
    return averaged(bands, (width, height), smaller)
