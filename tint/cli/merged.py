"""Colours of a drawing that come out as one: what told its shapes apart is gone on the metal."""

from __future__ import annotations

import numpy as np

from tint.artwork.artwork import Artwork, Drawing
from tint.layers.difference import delta_e00_of, lab_of_srgb255
from tint.layers.layers import Layers

PLAIN_DE00 = 10.0  # wanted colours this far apart are plainly two (ISO 12647-7 proofs, from memory: at most 5)
MOST_COLOURS = 500  # of a drawing looked at, the largest by area; a sign has a dozen, a traced photograph thousands


def merged_remark(artwork: Artwork, layers: Layers) -> str:
    """One line on the plainly different colours of a drawing that became one layer, or bare metal; "" where none did.

    Parameters
    ----------
    artwork : what was separated; a picture, whose colours are many, has no such line
    layers : its flat layers
    """
    if not isinstance(artwork, Drawing) or layers.drawn is None:
        return ""
    srgb255, number = _numbered(artwork, layers)
    lab = lab_of_srgb255(*srgb255.T)
    pairs = []
    for given in np.unique(number).tolist():
        same = np.flatnonzero(number == given)
        apart = delta_e00_of(lab[:, same, None], lab[:, None, same])
        one, other = np.unravel_index(int(np.argmax(apart)), apart.shape)
        pairs.append((float(apart[one, other]), given, *(_hex(srgb255[same[place]]) for place in (one, other))))
    far, given, first, second = max(pairs)
    if not far > PLAIN_DE00:
        return ""
    others = sum(apart > PLAIN_DE00 for apart, *_ in pairs) - 1
    also = f", and colours of {others} more {'layer' if others == 1 else 'layers'} likewise" if others else ""
    return (
        f"colours that come out as one: {first} and {second}, {far:.0f} ΔE00 apart in the artwork, are both "
        f"{layers.names[given]}{also}. A palette chosen for the artwork (tint palette --for) may keep them apart."
    )


def _numbered(drawing: Drawing, layers: Layers) -> tuple[np.ndarray, np.ndarray]:
    """Different sRGB bytes (c, 3) of a drawing, the largest by area, and the number (c,) each was given, 0 bare metal."""
    import shapely

    area = np.array([shape.region.area for shape in drawing.shapes])
    order = np.argsort(-area, kind="stable")
    srgb255, first, index = np.unique(
        np.array([shape.srgb255 for shape in drawing.shapes])[order], axis=0, return_index=True, return_inverse=True
    )
    top = np.argsort(-np.bincount(index.ravel(), area[order]), kind="stable")[:MOST_COLOURS]
    largest = [drawing.shapes[order[place]].region for place in first[top]]
    inside, layer = shapely.STRtree(list(layers.drawn or ())).query(shapely.point_on_surface(largest), predicate="intersects")
    number = np.zeros(len(top), dtype=int)
    number[inside] = layer + 1
    return srgb255[top], number


def _hex(srgb255: np.ndarray) -> str:
    return "#" + "".join(f"{value:02x}" for value in srgb255.tolist())
