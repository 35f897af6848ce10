"""Gamut mapping: from any screen colour to the colour to show instead, of those that marks side by side can mix.

The nearest place in the gamut is sought once for each node of a table over the sRGB cube; pictures then only read the table.

Three maps:

- "nearest": as near as can be, differences of lightness and of hue counted twice;
- "hue": the hue is kept before lightness and chroma;
- "tone": contrast before colour: lightness is fitted between the darkest mark and the bare metal, and fine lightness
  detail that the nearest colours lose is added back. For photographs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.lab import lab_from_srgb1
from tint.layers.difference import LIGHT_OF_LINEAR
from tint.layers.gamut import MAPS, WEIGHTS, Gamut

NODES = 33  # a side of the table: 8 levels apart; 17 is visibly coarser, 65 takes eight times as long
# Chosen as WEIGHTS, for the most SSIM on L* at little spatial error; half the way costs a tenth more error and wins none
TONE_SHARE = 0.25  # of the way from absolute lightness (0) to lightness fitted into the range (1)
DETAIL_SHARE = 0.03  # of the picture's longer side: detail finer than this is added back
_BAND_ROWS, _BAND_PX = 256, 500_000  # handled at once
_GREY = np.array([0.299, 0.587, 0.114])  # ITU-R BT.601 luma, as Pillow makes grey of colour


@dataclass(frozen=True, eq=False)
class GamutMap:
    """A map from screen colours into the gamut of a palette, as a table.

    Parameters
    ----------
    how : one of `MAPS`
    gamut : what it maps into
    ink : (3,) sRGB bytes of the colour that becomes the darkest mark, None where none is singled out
    """

    how: str
    gamut: Gamut
    ink: tuple[int, int, int] | None = (0, 0, 0)
    nodes: int = field(default=NODES, repr=False)

    def __post_init__(self) -> None:
        if self.how not in MAPS:
            raise LimitError(f"map {self.how!r} is not known; use {', '.join(MAPS)}.")

    @cached_property
    def root(self) -> np.ndarray:
        """(m, m, m, 3) places of the gamut, as `Gamut.root`, at the nodes of the sRGB cube: red, green, blue."""
        level = np.linspace(0, 1, self.nodes)
        srgb1 = np.stack(np.meshgrid(level, level, level, indexing="ij"), axis=-1).reshape(-1, 3)
        lab = lab_from_srgb1(srgb1)
        if self.how == "tone":
            lab = fitted(lab, self.gamut.lab)
        root = self.gamut.nearest(lab, WEIGHTS[self.how])
        if self.ink is not None:
            # the eight nodes around it, so that the colour itself comes out as the darkest mark
            at = np.array(self.ink) / 255 * (self.nodes - 1)
            near = (np.abs(srgb1 * (self.nodes - 1) - at) < 1).all(axis=1)
            root[near] = self.gamut.root[self.darkest]
        return root.reshape(self.nodes, self.nodes, self.nodes, 3)

    @cached_property
    def darkest(self) -> int:
        """Number of the darkest colour."""
        return int(self.gamut.lab[:, 0].argmin())

    def at(self, srgb1: np.ndarray) -> np.ndarray:
        """Places (..., 3), float32, of the gamut for sRGB values 0..1 (..., 3), read from the table, linear between its nodes."""
        from scipy.ndimage import map_coordinates

        flat = srgb1.reshape(-1, 3)
        out = np.empty(flat.shape, dtype=np.float32)
        for start in range(0, len(flat), _BAND_PX):
            part = slice(start, start + _BAND_PX)
            place = np.clip(flat[part].T, 0, 1) * (self.nodes - 1)
            for axis in range(3):
                map_coordinates(self.root[..., axis], place, out[part, axis], order=1, mode="nearest")
        return out.reshape(srgb1.shape)

    def picture(self, srgb255: np.ndarray) -> np.ndarray:
        """Places (h, w, 3) of the gamut for a picture of sRGB bytes (h, w, 3): as `at`, "tone" with its detail."""
        srgb1 = srgb255 / np.float32(255)
        root = self.at(srgb1)
        if self.how != "tone":
            return root
        shown = _srgb1_from_light(self.gamut.light(root))
        return self._again.at(shown + _fine((srgb1 - shown) @ _GREY)[..., None])

    def image(self, image: Any) -> Any:
        """Pillow picture (RGB) of an RGB picture, every pixel mapped; clipped to the screen's gamut.

        Notes
        -----
        The same table, applied by Pillow to bytes. "tone" also adds back detail.
        """
        from PIL import Image

        if self.how == "tone":
            last, pixels = self.last_step(np.asarray(image))
            return Image.fromarray(pixels).filter(last._filter)
        return image.filter(self._filter)

    def last_step(self, srgb255: np.ndarray) -> tuple[GamutMap, np.ndarray]:
        """The map whose table is read last for a picture (h, w, 3) uint8, and the picture read in it: for "tone" with its detail."""
        if self.how != "tone":
            return self, srgb255
        from PIL import Image

        image = Image.fromarray(srgb255)
        return self._again, self._with_detail(image, image.filter(self._filter))

    def finer(self, nodes: int) -> np.ndarray:
        """Places (nodes, nodes, nodes, 3) as `root`, at more or fewer nodes of the cube, linear between those there are."""
        level = np.linspace(0, 1, nodes, dtype=np.float32)
        return self.at(np.stack(np.meshgrid(level, level, level, indexing="ij"), axis=-1))

    @cached_property
    def _filter(self) -> Any:
        from PIL import ImageFilter

        srgb1 = _srgb1_from_light(self.gamut.light(self.root)).astype(np.float32)
        return ImageFilter.Color3DLUT(self.nodes, srgb1.transpose(2, 1, 0, 3).ravel().tolist())

    def _with_detail(self, image: Any, mapped: Any) -> np.ndarray:
        detail = _fine(_grey(image) - _grey(mapped))
        pixels = np.array(mapped)
        for top in range(0, len(pixels), _BAND_ROWS):
            part = slice(top, top + _BAND_ROWS)
            pixels[part] = np.clip(np.rint(pixels[part] + detail[part, :, None]), 0, 255)
        return pixels

    @cached_property
    def _again(self) -> GamutMap:
        return GamutMap("nearest", self.gamut, None, self.nodes)


def fitted(lab: np.ndarray, colours: np.ndarray) -> np.ndarray:
    """Lab (n, 3) whose lightness is drawn part of the way into the range between the darkest and the lightest colour (k + 1, 3)."""
    low, high = colours[:, 0].min(), colours[:, 0].max()
    out = lab.copy()
    out[:, 0] += TONE_SHARE * (low + lab[:, 0] / 100 * (high - low) - lab[:, 0])
    return out


def _srgb1_from_light(light: np.ndarray) -> np.ndarray:
    """sRGB values 0..1 (..., 3) of light (..., 3), clipped to the screen's gamut (IEC 61966-2-1)."""
    linear = np.clip(light @ np.linalg.inv(LIGHT_OF_LINEAR).astype(light.dtype), 0, 1)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)


def _fine(plane: np.ndarray) -> np.ndarray:
    """What of a plane (h, w) is finer than `DETAIL_SHARE` of its longer side."""
    from scipy.ndimage import uniform_filter

    return plane - uniform_filter(plane, 2 * round(DETAIL_SHARE * max(plane.shape)) + 1, mode="nearest")


def _grey(image: Any) -> np.ndarray:
    return np.asarray(image.convert("L")).astype(np.float32)
