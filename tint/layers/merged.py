"""Colours of a drawing that come out as one: what told its shapes apart is gone on the metal."""

from __future__ import annotations

import numpy as np

from tint.layers.difference import delta_e00_of, lab_of_srgb255
from tint.palette.palette import Palette

PLAIN_DE00 = 10.0  # wanted colours this far apart are plainly two (ISO 12647-7 proofs, from memory: at most 5)
MOST_COLOURS = 500  # of a drawing looked at, the largest by area; a sign has a dozen, a traced photograph thousands


def merged_remark(srgb255: np.ndarray, area_mm2: np.ndarray, number: np.ndarray, palette: Palette) -> str:
    """One line on the plainly different colours of a drawing that became one layer, or bare metal; "" where none did.

    Parameters
    ----------
    srgb255 : (n, 3) colour of each shape, sRGB bytes
    area_mm2 : (n,) of each shape [mm²]
    number : (n,) layer each shape went to, 0 bare metal; shapes of one colour go to one layer
    palette : its numbers' names
    """
    colours, first, index = np.unique(srgb255, axis=0, return_index=True, return_inverse=True)
    top = np.argsort(-np.bincount(index.ravel(), area_mm2), kind="stable")[:MOST_COLOURS]
    colours, numbers = colours[top], number[first[top]]
    lab = lab_of_srgb255(*colours.T)
    pairs = []
    for given in np.unique(numbers).tolist():
        same = np.flatnonzero(numbers == given)
        apart = delta_e00_of(lab[:, same, None], lab[:, None, same])
        one, other = np.unravel_index(int(np.argmax(apart)), apart.shape)
        pairs.append((float(apart[one, other]), given, *(_hex(colours[same[place]]) for place in (one, other))))
    far, given, one_hex, other_hex = max(pairs)
    if not far > PLAIN_DE00:
        return ""
    others = sum(apart > PLAIN_DE00 for apart, *_ in pairs) - 1
    also = f", and colours of {others} more {'layer' if others == 1 else 'layers'} likewise" if others else ""
    name = palette.colours[given - 1].name if given else "bare metal"
    return (
        f"colours that come out as one: {one_hex} and {other_hex}, {far:.0f} ΔE00 apart in the artwork, are both "
        f"{name}{also}. A palette chosen for the artwork (tint palette --for) may keep them apart."
    )


def _hex(srgb255: np.ndarray) -> str:
    return "#" + "".join(f"{value:02x}" for value in srgb255.tolist())
