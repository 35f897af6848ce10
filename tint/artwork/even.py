"""The exact colours that flat artwork is made of, and how much of it each covers; photographs and shading have none."""

from __future__ import annotations

import numpy as np

from tint.artwork.artwork import Artwork, Drawing, Picture

LEAST_SHARE = 0.005  # of a picture's area; a step of shading covers less, a line of lettering more (no source)
# Flat is a picture of which so much stands in even 2 × 2 blocks, and so much has one of its frequent colours: drawings 0.8–1,
# photographs mostly below 0.4.
_FLAT_SHARE = 0.6
_SAMPLES = 512  # along each side, evenly spread: 5 samples/mm on 100 mm


def even_colours(artwork: Artwork) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Colours of flat artwork, their area, and where a picture's were looked at.

    Parameters
    ----------
    artwork : a drawing, with the colours of its shapes, or a picture, with the exact colours that cover 0.5 % of it or more in
        places two pixels wide, so that the mixed pixels of soft edges do not count

    Returns
    -------
    srgb255 : (c, 3) uint8, none for a photograph or shading
    area_mm2 : (c,) of each; of a picture estimated from pixels spread evenly [mm²]
    at : rows (s,), columns (s,) and index (s,) of the colour of each place looked at in a picture; empty for a drawing

    Notes
    -----
    A line one pixel wide has no place of its own and is not told from a soft edge.

    Examples
    --------
    >>> pixels = np.full((400, 400, 3), 255, np.uint8)
    >>> pixels[:, :100] = 0
    >>> colours, area_mm2, _ = even_colours(Picture("bar", 20, 20, pixels, np.zeros((400, 400), bool)))
    >>> colours.tolist(), area_mm2.round().tolist()
    ([[0, 0, 0], [255, 255, 255]], [100.0, 300.0])
    """
    nowhere = np.zeros(0, np.intp)
    if isinstance(artwork, Drawing):
        srgb255 = np.array([shape.srgb255 for shape in artwork.shapes], np.uint8).reshape(-1, 3)
        area = np.array([shape.region.area for shape in artwork.shapes], float)
        colours, index = np.unique(srgb255, axis=0, return_inverse=True)
        return colours, np.bincount(index.ravel(), area, len(colours)), (nowhere, nowhere, nowhere)
    assert isinstance(artwork, Picture)
    none = np.zeros((0, 3), np.uint8), np.zeros(0), (nowhere, nowhere, nowhere)
    height, width = artwork.bare.shape
    if min(height, width) < 2:
        return none
    y, x = (np.unique(np.linspace(0, size - 2, _SAMPLES).astype(np.intp)) for size in (height, width))
    seen = ~artwork.bare[np.ix_(y, x)]
    if not seen.any():
        return none
    code = _codes(artwork.srgb255, y, x)
    calm = seen.copy()
    for dy, dx in ((0, 1), (1, 0), (1, 1)):
        calm &= _codes(artwork.srgb255, y + dy, x + dx) == code
    frequent, count = np.unique(code[calm], return_counts=True)
    frequent = frequent[count >= max(LEAST_SHARE * code.size, 1)]
    if not len(frequent):
        return none
    index = np.minimum(np.searchsorted(frequent, code), len(frequent) - 1)
    same = seen & (frequent[index] == code)
    if min(int(calm.sum()), int(same.sum())) < _FLAT_SHARE * int(seen.sum()):
        return none
    colours = np.stack([frequent >> shift & 255 for shift in (16, 8, 0)], axis=1).astype(np.uint8)
    share = np.bincount(index[same], minlength=len(frequent)) / code.size
    row, column = np.nonzero(calm & same)
    return colours, share * artwork.width_mm * artwork.height_mm, (y[row], x[column], index[row, column])


def _codes(srgb255: np.ndarray, y: np.ndarray, x: np.ndarray) -> np.ndarray:
    """(len(y), len(x)) uint32: 65536 red + 256 green + blue of the pixels in these rows and columns."""
    red, green, blue = (srgb255[..., i][np.ix_(y, x)].astype(np.uint32) for i in range(3))
    return red << 16 | green << 8 | blue
