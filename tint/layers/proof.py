"""The proof: a picture of what the finished piece should look like."""

from __future__ import annotations

from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.lab import srgb255_from_lab
from tint.layers.layers import Layers


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
    Screen colours are clipped to sRGB. Averaging takes place on the encoded values, as viewers do: thumbnails only.
    """
    from PIL import Image

    if max_px is not None and max_px < 1:
        raise LimitError(f"max_px {max_px} cannot be; a picture needs 1 pixel or more.")
    colours = np.zeros((256, 3), dtype=np.uint8)
    colours[: len(layers.palette) + 1] = srgb255_from_lab(layers.palette.lab)
    indexed = Image.fromarray(np.ascontiguousarray(layers.labels))
    indexed.putpalette(colours.tobytes())
    picture = indexed.convert("RGB")
    if max_px is not None and max(picture.size) > max_px:
        scale = max_px / max(picture.size)
        size = tuple(max(1, round(side * scale)) for side in picture.size)
        picture = picture.resize(size, Image.Resampling.BOX, reducing_gap=2.0)
    return picture
