"""Soft edges of flat artwork taken to one side, so that no thin line of a third colour appears between two flat areas.

Drawing programs cover a pixel on an edge partly and mix the two colours. Between black and white such a pixel is grey, and a palette
may well hold a grey. A mixed pixel is told by its neighbours: it lies between the colours of two opposite ones. It goes the way of
the nearer one, step by step, until a pixel is reached that is no mixture; so blurred edges are cut at their steepest place. Pictures
that are not flat (photographs, shading) are left as they are.
"""

from __future__ import annotations

import numpy as np

# Flat artwork: so many of its pixels stand in evenly coloured 2 × 2 blocks (drawings 0.8–1, photographs mostly below 0.4), and so many
# have one of its most frequent colours (drawings 0.8–1, photographs and shading below 0.4; enlarged photographs are even, too).
FLAT_SHARE, FEW_COLOURS = 0.6, 32
_SAMPLE_ROWS, _SAMPLES = 16, 64  # the share is taken from so many bands of so many rows
CONTRAST_LEVELS = 24.0  # distance of two neighbours' sRGB bytes below which no edge is seen: shading keeps its steps
_OFF_SHARE, _OFF_LEVELS = 0.12, 4.0  # how far a mixture may lie off the line between its two colours: of it, and rounding
_INSIDE = 0.02  # a pixel nearer to an end than this share is that colour and no mixture
_STEPS = 4  # an edge wider than so many pixels on either side is shading
_AT_ONCE = 200_000  # soft pixels looked at together
_BAND_PX = 1_000_000
_WAYS = ((0, 1), (1, 0), (1, 1), (1, -1))


def settled_edges(srgb255: np.ndarray, bare: np.ndarray, labels: np.ndarray) -> int:
    """Number of pixels of a label map (h, w) that took the label of one side of their edge, in place.

    Parameters
    ----------
    srgb255 : (h, w, 3) uint8
    bare : (h, w) bool, pixels that stay bare whatever their colour; their neighbours may be mixed with them

    Examples
    --------
    >>> edge = np.repeat(np.array([[0, 0, 0, 120, 255, 255, 255, 255]] * 4, dtype=np.uint8)[..., None], 3, axis=2)
    >>> labels = np.array([[2, 2, 2, 1, 0, 0, 0, 0]] * 4, dtype=np.uint8)  # 1 is a grey
    >>> settled_edges(edge, np.zeros((4, 8), bool), labels), labels[1].tolist()
    (4, [2, 2, 2, 2, 0, 0, 0, 0])
    """
    srgb255 = np.ascontiguousarray(srgb255)
    if not is_flat(srgb255):
        return 0
    place = _soft_places(srgb255)
    place = place[~bare.reshape(-1)[place]]
    if not len(place):
        return 0
    near, far = _ends(srgb255, place)
    root = _roots(place, near, far)
    flat = labels.reshape(-1)
    taken = flat[root]
    changed = int((taken != flat[place]).sum())
    flat[place] = taken
    return changed


def is_flat(srgb255: np.ndarray) -> bool:
    """Whether most of a picture's pixels (h, w, 3) stand in evenly coloured blocks, and most have one of a few colours."""
    rows = min(_SAMPLE_ROWS, len(srgb255))
    tops = np.unique(np.linspace(0, len(srgb255) - rows, _SAMPLES).astype(int))
    samples = [colour_codes(srgb255[top : top + rows]) for top in tops]
    if np.mean([_calm(sample).mean() for sample in samples]) < FLAT_SHARE:
        return False
    _, count = np.unique(np.concatenate([sample[0] for sample in samples]), return_counts=True)
    return bool(np.sort(count)[-FEW_COLOURS:].sum() >= FLAT_SHARE * count.sum())


def _calm(codes: np.ndarray) -> np.ndarray:
    """(h, w) bool: the pixel is one of a 2 × 2 block of equal colours."""
    across, down = codes[:, 1:] == codes[:, :-1], codes[1:] == codes[:-1]
    block = across[1:] & across[:-1]
    block &= down[:, 1:]
    calm = np.zeros(codes.shape, dtype=bool)
    for rows in (slice(None, -1), slice(1, None)):
        for columns in (slice(None, -1), slice(1, None)):
            calm[rows, columns] |= block
    return calm


def _soft_places(srgb255: np.ndarray) -> np.ndarray:
    """Places of the pixels in no even block, rising, in the flattened picture."""
    height, width, _ = srgb255.shape
    step = max(1, _BAND_PX // width)
    places = []
    for top in range(0, height, step):
        before, after = min(top, 1), 1
        calm = _calm(colour_codes(srgb255[top - before : top + step + after]))[before : before + step]
        places.append(np.flatnonzero(~calm[: height - top]) + top * width)
    return np.concatenate(places)


def _ends(srgb255: np.ndarray, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each soft pixel the place of the nearer and of the farther of the two neighbours it lies between, else its own."""
    height, width, _ = srgb255.shape
    near, far = place.copy(), place.copy()
    flat = srgb255.reshape(-1, 3)
    for start in range(0, len(place), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        here = place[part]
        y, x = np.divmod(here, width)
        colour, widest = _levels(flat[here]), np.zeros(len(here), dtype=np.float32)
        for dy, dx in _WAYS:
            inside = (y >= dy) & (y + dy < height) & (x >= abs(dx)) & (x + abs(dx) < width)
            one = np.where(inside, here - dy * width - dx, here)
            other = np.where(inside, here + dy * width + dx, here)
            along, apart = _between(colour, _levels(flat[one]), _levels(flat[other]))
            better = inside & (along > _INSIDE) & (along < 1 - _INSIDE) & (apart > widest)
            widest[better] = apart[better]
            first = along[better] <= 0.5
            near[part][better] = np.where(first, one[better], other[better])
            far[part][better] = np.where(first, other[better], one[better])
    return near, far


def _between(colour: np.ndarray, one: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far along from one colour (3, n) to the other a colour lies, 0..1, and their distance [levels]; 0 where it does not.

    Programs mix either the encoded numbers or light; a colour may lie between in either sense.
    """
    along, apart, off = _along(colour, one, other)
    good = off <= _OFF_SHARE * apart + _OFF_LEVELS
    if not good.all():
        bad = np.flatnonzero(~good & (apart >= CONTRAST_LEVELS))
        light = [(values[:, bad] / 255) ** np.float32(2.2) for values in (colour, one, other)]
        _, light_apart, light_off = _along(*light)
        good[bad] = light_off <= _OFF_SHARE * light_apart
    return along, np.where(good & (apart >= CONTRAST_LEVELS), apart, 0)


def _along(colour: np.ndarray, one: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Share of the way from one to the other, their distance, and the distance off the line between them."""
    way, gone = other - one, colour - one
    squared = (way * way).sum(axis=0)
    along = (gone * way).sum(axis=0) / np.maximum(squared, 1e-12)
    off = gone - along * way
    return along, np.sqrt(squared), np.sqrt((off * off).sum(axis=0))


def _roots(place: np.ndarray, near: np.ndarray, far: np.ndarray) -> np.ndarray:
    """Place of the pixel at the end of each soft pixel's way; its own where the way is too long."""
    place_of_near = _index(place, near)
    mutual = (place_of_near >= 0) & (near[place_of_near] == place) & (near != place)
    to = np.where(mutual, far, near)  # two that would go to each other part: they stand in the middle of the edge
    index = _index(place, to)
    root, at = to.copy(), index.copy()
    for _ in range(_STEPS):
        on = np.flatnonzero((at >= 0) & (to[at] != root))
        if not len(on):
            return root
        root[on] = to[at[on]]
        at[on] = index[at[on]]
    unfinished = (at >= 0) & (to[at] != root)
    root[unfinished] = place[unfinished]
    return root


def _index(place: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Index of each wanted place among the rising places, −1 where it is none of them."""
    index = np.minimum(np.searchsorted(place, wanted), len(place) - 1)
    return np.where(place[index] == wanted, index, -1)


def _levels(srgb255: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(srgb255.T).astype(np.float32)


def colour_codes(srgb255: np.ndarray) -> np.ndarray:
    """Code (h, w) uint32 of each pixel (h, w, 3) uint8: red + 256 green + 65536 blue.

    Examples
    --------
    >>> colour_codes(np.array([[[1, 0, 0], [0, 1, 0], [0, 0, 1]]], dtype=np.uint8)).tolist()
    [[1, 256, 65536]]
    """
    height, width, _ = srgb255.shape
    flat = np.ascontiguousarray(srgb255).reshape(-1)
    code = np.empty(height * width, dtype=np.uint32)
    # four bytes from each pixel on, the first of the next pixel masked away: a third of the time of three shifts
    overlapping = np.ndarray((len(code) - 1,), dtype="<u4", buffer=flat, strides=(3,))
    np.bitwise_and(overlapping, np.uint32(0xFFFFFF), out=code[:-1])
    red, green, blue = flat[-3:].tolist()
    code[-1] = red | green << 8 | blue << 16
    return code.reshape(height, width)
