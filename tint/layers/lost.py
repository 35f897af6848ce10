"""What a separation loses of its artwork, place by place: a map of ΔE00 between wanted and given, as the eye blends them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tint.artwork.alike import WHITE, Srgb255, alike
from tint.artwork.artwork import PICTURES, Artwork, read_artwork
from tint.errors import DataError
from tint.lab import delta_e00, lab_from_linear1
from tint.layers.layers import Layers
from tint.layers.seen import blended_labels, blended_picture
from tint.layers.wanted import wanted_image
from tint.palette.reach import lab_from_light, light_from_lab

# Three arc minutes at 300 mm: cells of a tonal separation blend into one tone, edges are still edges. From memory of the
# eye's contrast sensitivity, which has fallen to a tenth by some 20 cycles per degree.
SEEN_MM = 0.25
MOST_BLOCKS = 1500  # along the longer side of the map; finer shows nothing more on a screen
SAME_SHAPE = 0.02  # how far the proportions of artwork and layers may differ, as a share: rounding to whole pixels


@dataclass(frozen=True, eq=False)
class Lost:
    """Map of what was lost.

    Attributes
    ----------
    de00 : (rows, columns) ΔE00 between wanted and given, NaN where the artwork leaves the metal bare
    block_mm : side of one place of the map [mm]
    """

    de00: np.ndarray
    block_mm: float

    @property
    def mean_de00(self) -> float:
        """Mean over what the artwork covers [ΔE00]."""
        return float(np.nanmean(self.de00))

    @property
    def p95_de00(self) -> float:
        """95 % of what the artwork covers lies below this [ΔE00]."""
        return float(np.nanquantile(self.de00, 0.95))


def lost_map(layers: Layers, artwork: Artwork, background: Srgb255 | None = WHITE) -> Lost:
    """Map of ΔE00 lost between an artwork and its layers.

    Parameters
    ----------
    background : colour that was to stay bare metal; None for none

    Raises
    ------
    DataError
        The artwork has other proportions than the layers, or is wholly transparent.

    Notes
    -----
    Both are averaged in linear light over blocks of 0.25 mm before they are compared, so that a tonal separation is judged
    by the tone it shows and not cell by cell. Places that the artwork leaves transparent do not count, nor its background
    where that did stay bare.
    """
    from PIL import Image

    refuse_other_shape(layers, artwork)
    wanted = wanted_image(artwork, layers.pitch_mm)
    height, width = layers.labels.shape
    if wanted.size != (width, height):
        wanted = wanted.resize((width, height), Image.Resampling.NEAREST)
    pixels = np.asarray(wanted)
    counted = pixels[..., 3] > 127
    if background is not None:
        counted &= ~(alike(pixels[..., :3], background) & (layers.labels == 0))
    if not counted.any():
        raise DataError(f"{artwork.name} has nothing to compare with: all of it was to stay bare.")
    side = max(1, round(SEEN_MM / layers.pitch_mm), -(-max(height, width) // MOST_BLOCKS))
    given = blended_labels(layers.labels, light_from_lab(layers.palette.lab), side, counted)
    asked = blended_picture(pixels[..., :3], side, counted)
    known = np.isfinite(asked[..., 0])
    de00 = np.full(known.shape, np.nan)
    de00[known] = delta_e00(lab_from_linear1(asked[known]), lab_from_light(given[known]))
    return Lost(de00, side * layers.pitch_mm)


def refuse_other_shape(layers: Layers, artwork: Artwork) -> None:
    """Nothing; raises `DataError` where an artwork has other proportions than the layers."""
    ratio = artwork.width_mm / artwork.height_mm / (layers.width_mm / layers.height_mm)
    if abs(ratio - 1) > SAME_SHAPE:
        raise DataError(
            f"{artwork.name} is {artwork.width_mm:g} × {artwork.height_mm:g} mm, the layers are {layers.width_mm:g} × "
            f"{layers.height_mm:g} mm: not the artwork they were made from. Name that one with --artwork."
        )


def read_same_artwork(path: str | Path, layers: Layers, *, progress: Callable[[str], None] | None = None) -> Artwork:
    """Artwork of a file at the size and pixels of its layers.

    Parameters
    ----------
    progress : called with a short text about how far reading is

    Raises
    ------
    FileError
        Missing, not artwork, damaged or too large.
    """
    is_picture = Path(path).suffix.lower() in PICTURES
    return read_artwork(path, layers.width_mm, layers.pitch_mm if is_picture else None, progress=progress)
