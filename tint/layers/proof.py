"""The proof: a picture of what the finished piece should look like."""

from __future__ import annotations

from typing import Any

import numpy as np

from tint.artwork.average import averaged
from tint.errors import LimitError
from tint.lab import srgb255_from_lab
from tint.layers.layers import Layers

_ROWS = 256  # of a label map coloured at once


def proof_image(layers: Layers, max_px: int | None = None) -> Any:
    """Pillow picture (RGB) of the layers: every pixel in the predicted colour of its number, bare metal in its own.

    Parameters
    ----------
    max_px : longest side [pixels]; a larger map is averaged down to it. None keeps one picture pixel per label

    Raises
    ------
    LimitError
        `max_px` is below 1.

    Notes
    -----
    Screen colours are clipped to sRGB. Averaging takes place in linear light, so that tonal cells blend as they do in the eye.
    """
    from PIL import Image

    def painted(labels: np.ndarray) -> Any:
        indexed = Image.fromarray(np.ascontiguousarray(labels))
        indexed.putpalette(colours.tobytes())
        return indexed.convert("RGB")

    if max_px is not None and max_px < 1:
        raise LimitError(f"max_px {max_px} cannot be; a picture needs 1 pixel or more.")
    colours = np.zeros((256, 3), dtype=np.uint8)
    colours[: len(layers.palette) + 1] = srgb255_from_lab(layers.palette.lab)
    height, width = layers.labels.shape
    if max_px is None or max(height, width) <= max_px:
        return painted(layers.labels)
    scale = max_px / max(height, width)
    smaller = max(1, round(width * scale)), max(1, round(height * scale))
    rows = (layers.labels[top : top + _ROWS] for top in range(0, height, _ROWS))
    bands = ((np.asarray(painted(labels)), np.zeros(labels.shape, dtype=bool)) for labels in rows)
    return Image.fromarray(averaged(bands, (width, height), smaller)[0])
