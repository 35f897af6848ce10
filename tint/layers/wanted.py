"""The artwork as it was wanted, as a picture: what a proof is held against."""

from __future__ import annotations

from typing import Any

import numpy as np

from tint.artwork.artwork import Artwork, Drawing, Picture
from tint.layers.label import label_outlines
from tint.layers.layers import pixels_of

_AT_ONCE = 255  # outlines that fit an 8-bit label map


def wanted_image(artwork: Artwork, pitch_mm: float) -> Any:
    """Pillow picture (RGBA) of the artwork in its own colours, clear where the metal stays bare.

    Parameters
    ----------
    pitch_mm : pixel of a drawing's picture [mm]; a picture keeps its own
    """
    from PIL import Image

    if isinstance(artwork, Picture):
        clear = np.where(artwork.bare, 0, 255).astype(np.uint8)
        return Image.fromarray(np.dstack([artwork.srgb255, clear]))
    assert isinstance(artwork, Drawing)
    shape_px = pixels_of((artwork.width_mm, artwork.height_mm), pitch_mm)
    pixels = np.zeros((*shape_px, 4), dtype=np.uint8)
    for start in range(0, len(artwork.shapes), _AT_ONCE):
        part = artwork.shapes[start : start + _AT_ONCE]
        labels = label_outlines([_many(shape.region) for shape in part], shape_px, pitch_mm)
        colours = np.array([(0, 0, 0, 0), *((*shape.srgb255, 255) for shape in part)], dtype=np.uint8)
        pixels[labels > 0] = colours[labels[labels > 0]]
    return Image.fromarray(pixels)


def drawn(artwork: Artwork, pitch_mm: float) -> Picture:
    """A drawing as a picture of pixels [mm], bare where the drawing is; its size is a whole number of them."""
    pixels = np.asarray(wanted_image(artwork, pitch_mm))
    height, width = pixels.shape[:2]
    size_mm = (width * pitch_mm, height * pitch_mm)
    return Picture(artwork.name, *size_mm, pixels[..., :3], pixels[..., 3] < 128, remarks=artwork.remarks)


def _many(region: Any) -> Any:
    import shapely

    return region if region.geom_type == "MultiPolygon" else shapely.MultiPolygon([region])
