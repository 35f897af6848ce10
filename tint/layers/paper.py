"""Paper and ink: the artwork's background, which stays bare metal, and its black, which becomes the darkest mark."""

from __future__ import annotations

import dataclasses

import numpy as np

from tint.artwork.alike import Srgb255, alike
from tint.artwork.artwork import Picture
from tint.errors import DataError, LimitError
from tint.lab import lab_from_srgb1, srgb255_from_hex, srgb255_from_lab
from tint.layers.difference import nearest_number
from tint.layers.flat_map import number_by_map
from tint.palette.palette import Palette

BLACK = (0, 0, 0)


def colour_or_none(text: str, what: str) -> Srgb255 | None:
    """Three bytes of a screen colour such as "#4466aa" or "#46a"; None for "none".

    Raises
    ------
    LimitError
        Neither.

    Examples
    --------
    >>> colour_or_none("#fff", "--background"), colour_or_none("none", "--background")
    ((255, 255, 255), None)
    """
    if text.strip().lower() == "none":
        return None
    try:
        red, green, blue = srgb255_from_hex(text).tolist()
        return red, green, blue
    except DataError:
        raise LimitError(f"{what} {text!r} is not a colour; write it as '#ffffff', or none.") from None


def number_of(colour: Srgb255, palette: Palette, how: str | None = None) -> int:
    """Number of the palette colour that a screen colour takes, by ΔE00 or by a flat map; 0 where it is the bare metal."""
    lab = lab_from_srgb1(np.array([colour]) / 255)
    return int((nearest_number(lab, palette.lab) if how is None else number_by_map(how, lab, palette.lab))[0])


def darkest_of(palette: Palette) -> int:
    """Number of the darkest mark."""
    return 1 + int(palette.lab[1:, 0].argmin())


def on_metal(picture: Picture, palette: Palette) -> np.ndarray:
    """sRGB bytes (h, w, 3) of the picture with the bare metal's colour where it stays bare, whatever was hidden there."""
    if not picture.bare.any():
        return picture.srgb255
    srgb255 = picture.srgb255.copy()
    srgb255[picture.bare] = srgb255_from_lab(palette.bare_lab)
    return srgb255


def without_background(picture: Picture, background: Srgb255) -> Picture:
    """Picture whose places in the background's colour stay bare.

    Raises
    ------
    DataError
        Nothing else is in the picture.
    """
    bare = picture.bare | alike(picture.srgb255, background)
    if bare.all() and not picture.bare.all():
        raise DataError(
            f"nothing of {picture.name} is to be marked: all of it is the background's colour. Add --background none to mark it."
        )
    return dataclasses.replace(picture, bare=bare)
