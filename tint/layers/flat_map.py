"""Maps of flat layers: which one colour a place takes where nothing is mixed, by what the map puts first.

The maps of tonal separations (`tint.layers.gamut_map`) lead to mixtures. A flat layer has the colours of the palette only, and the
colour nearest to a mixture can be far from what was wanted. So here weights choose among the colours themselves.
"""

from __future__ import annotations

import numpy as np

from tint.layers.gamut_map import fitted

# Weights of differences in lightness, chroma and hue; grey has no wrong hue, so "hue" leaves bare what no mark has the hue of
WEIGHTS = {"nearest": (2.0, 1.0, 1.0), "hue": (1.0, 1.0, 3.0), "tone": (4.0, 1.0, 1.0)}
_AT_ONCE = 20_000  # colours compared at once: what they need stays in the processor's cache


def number_by_map(how: str, lab: np.ndarray, colours: np.ndarray) -> np.ndarray:
    """Number (n,) uint8 of the colour (k + 1, 3) that a map takes for each Lab (n, 3); equal ones go to the lower number.

    Parameters
    ----------
    how : one of `tint.layers.gamut.MAPS`: "nearest" counts differences of lightness twice, "hue" those of hue most, "tone"
        those of lightness, which it first draws into the range of the colours

    Notes
    -----
    Differences of lightness, of chroma and of hue ΔH*ab (CIE 15:2018, 8.2.1), weighted and squared. Over so large differences a hue on
    the other side of grey must count as far, which the form used near the gamut (`tint.layers.gamut`) does not see.

    Examples
    --------
    >>> number_by_map("hue", np.array([[50.0, 20, 0]]), np.array([[50.0, 0, 0], [50, -20, 0], [40, 30, 1]])).tolist()
    [2]
    """
    if how == "tone":
        lab = fitted(lab, colours)
    light, along, across = (weight**2 for weight in WEIGHTS[how])
    chroma = np.hypot(colours[:, 1], colours[:, 2])
    out = np.empty(len(lab), dtype=np.uint8)
    for start in range(0, len(lab), _AT_ONCE):
        part = lab[start : start + _AT_ONCE]
        own = np.hypot(part[:, 1], part[:, 2])
        best = np.full(len(part), np.inf)
        for number, (colour, its_chroma) in enumerate(zip(colours, chroma, strict=True)):
            off = light * (part[:, 0] - colour[0]) ** 2 + along * (own - its_chroma) ** 2
            off += across * 2 * np.maximum(own * its_chroma - part[:, 1] * colour[1] - part[:, 2] * colour[2], 0)
            nearer = off < best
            best[nearer] = off[nearer]
            out[start : start + len(part)][nearer] = number
    return out
