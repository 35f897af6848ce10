"""Colours of flat artwork that come out as one: what told its shapes apart is gone on the metal."""

from __future__ import annotations

import numpy as np

from tint.artwork.artwork import Picture
from tint.artwork.even import even_colours
from tint.lab import hex_from_srgb255
from tint.layers.difference import delta_e00_of, lab_of_srgb255
from tint.palette.palette import Palette
from tint.palette.twins import FAR_DE00

MOST_COLOURS = 500  # of a drawing looked at, the largest by area; a sign has a dozen, a traced photograph thousands
MOST_NAMED = 4  # colours of the worst layer that are named, and half as many other layers: a remark is one line


def merged_remark(
    srgb255: np.ndarray, area_mm2: np.ndarray, number: np.ndarray, palette: Palette, artwork: str = ""
) -> str:
    """One line on the plainly different colours of an artwork that became one layer, or bare metal; "" where none did.

    Parameters
    ----------
    srgb255 : (n, 3) colour of each shape, sRGB bytes
    area_mm2 : (n,) of each shape [mm²]
    number : (n,) layer each shape went to, 0 bare metal; shapes of one colour go to one layer
    palette : its numbers' names
    artwork : its name; a palette chosen for it is not advised again
    """
    colours, first, index = np.unique(srgb255, axis=0, return_index=True, return_inverse=True)
    top = np.argsort(-np.bincount(index.ravel(), area_mm2), kind="stable")[:MOST_COLOURS]
    colours, numbers = colours[top], number[first[top]]
    lab = lab_of_srgb255(*colours.T)
    merged = []
    for given in np.unique(numbers).tolist():
        same = np.flatnonzero(numbers == given)
        apart = delta_e00_of(lab[:, same, None], lab[:, None, same])
        if (far := float(apart.max())) > FAR_DE00:
            merged.append((far, given, [hex_from_srgb255(colours[same[place]]) for place in _plain(apart)]))
    if not merged:
        return ""
    merged.sort(key=lambda layer: -layer[0])
    names = ["bare metal", *(colour.name for colour in palette.colours)]
    far, given, hexes = merged[0]
    distance = f"{far:.0f} ΔE00 apart in the artwork, are both" if len(hexes) == 2 else f"up to {far:.0f} ΔE00 apart in the artwork, are all"
    others = [f"{_listed(hexes[:2])} are {names[given]} ({far:.0f})" for far, given, hexes in merged[1 : 1 + MOST_NAMED // 2]]
    if left := len(merged) - 1 - len(others):
        others.append(f"colours of {left} more {'layer' if left == 1 else 'layers'} likewise")
    if palette.artwork and palette.artwork == artwork:
        advice = f"This palette was chosen for {artwork}: more colours (tint palette -n) or --keep of one of these may keep them apart"
    else:
        advice = "A palette chosen for the artwork (tint palette --for) may keep them apart"
    return f"colours that come out as one: {'; '.join([f'{_listed(hexes)}, {distance} {names[given]}', *others])}. {advice}."


def merged_in_picture(picture: Picture, labels: np.ndarray, palette: Palette) -> str:
    """`merged_remark` of a flat picture and the layer (h, w) each of its pixels went to; "" for a photograph or shading."""
    colours, area_mm2, (y, x, index) = even_colours(picture)
    if not len(colours):
        return ""
    votes = np.bincount(index * (len(palette) + 1) + labels[y, x], minlength=len(colours) * (len(palette) + 1))
    return merged_remark(colours, area_mm2, votes.reshape(len(colours), -1).argmax(axis=1), palette, picture.name)


def _plain(apart: np.ndarray) -> list[int]:
    """The two colours farthest apart, the larger first, then those, by area, that are plainly another than all before.

    The distances `apart` (c, c) are in order of area.
    """
    found = sorted(int(place) for place in np.unravel_index(int(np.argmax(apart)), apart.shape))
    for place in range(len(apart)):
        if len(found) < MOST_NAMED and (apart[place, found] > FAR_DE00).all():
            found.append(place)
    return found


def _listed(hexes: list[str]) -> str:
    return f"{', '.join(hexes[:-1])} and {hexes[-1]}"
