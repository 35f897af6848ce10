"""Which places of an artwork have a colour: its background's, or its ink's."""

from __future__ import annotations

import numpy as np

WHITE = (255, 255, 255)
SAME_LEVELS = 6  # of 255, in each channel: JPEG scatters an even colour by about this much
Srgb255 = tuple[int, int, int]


def alike(srgb255: np.ndarray, colour: Srgb255 | None) -> np.ndarray:
    """(...) True where sRGB bytes (..., 3) are a colour, give or take 6 levels a channel; nowhere where the colour is None.

    Examples
    --------
    >>> alike(np.array([[255, 252, 249], [255, 252, 248]]), WHITE).tolist()
    [True, False]
    """
    if colour is None:
        return np.zeros(srgb255.shape[:-1], dtype=bool)
    low, high = np.clip(np.array(colour) - SAME_LEVELS, 0, 255), np.clip(np.array(colour) + SAME_LEVELS, 0, 255)
    same = np.ones(srgb255.shape[:-1], dtype=bool)
    for channel in range(3):
        plane = srgb255[..., channel]
        if low[channel] > 0:
            same &= plane >= low[channel]
        if high[channel] < 255:
            same &= plane <= high[channel]
    return same
