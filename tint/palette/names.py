"""Plain colour names: what a person in the shop would call a Lab."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np

# Borders between hues in CIELAB, degrees of hue angle: where people change the word. Set so that the keywords of CSS
# Color Module Level 4 keep their own word; between those by eye (common practice, no source).
_HUES = (
    (28, "crimson"), (45, "red"), (75, "orange"), (88, "straw"), (108, "yellow"), (125, "olive"), (165, "green"), (205, "teal"),
    (226, "cyan"), (272, "sky blue"), (290, "blue"), (308, "indigo"), (325, "violet"), (345, "purple"), (360, "magenta"),
)  # fmt: skip
_GREYISH, _STRONG = 9.0, 45.0  # chroma below which a colour reads as grey, and above which it reads as vivid
_LIGHT = ((22, "very dark"), (42, "dark"), (66, ""), (82, "light"), (200, "pale"))


def colour_name(lab: Any) -> str:
    """Plain name of one Lab (3,), such as "dark violet" or "light grey".

    Examples
    --------
    >>> colour_name([35, 20, -50])
    'dark vivid indigo'
    >>> colour_name([80, 1, 2])
    'light grey'
    """
    lightness, a, b = (float(value) for value in lab)
    chroma, hue = float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)) % 360 % 360)  # % 360 of a hair below 0 is 360
    shade = next(word for limit, word in _LIGHT if lightness < limit)
    if chroma < _GREYISH:
        if lightness < 22:
            return "black"
        return f"{shade} grey".strip()
    word = _shaded(next(word for limit, word in _HUES if hue < limit), lightness, chroma)
    if chroma < 2 * _GREYISH:
        warm = word in ("orange", "straw", "yellow") and lightness > 60
        word = "beige" if warm else f"{word.removeprefix('sky ')}-grey"
    elif chroma > _STRONG:
        word = f"vivid {word}"
    return f"{shade} {word}".strip()


def _shaded(word: str, lightness: float, chroma: float) -> str:
    """Words that change with lightness or strength: light reds are pink, dark oranges brown, dark yellows olive."""
    if word in ("crimson", "red", "magenta") and lightness > 60:
        return "pink"
    if word == "sky blue" and chroma < 2 * _GREYISH:
        return "blue"
    if word == "crimson" and chroma < _STRONG:
        return "red"
    if word in ("orange", "straw") and lightness < 52:
        return "brown"
    if word == "sky blue" and lightness < 50:
        return "blue"
    return "olive" if word == "yellow" and lightness < 62 else word


def colour_names(lab: Any) -> list[str]:
    """Plain names of Lab (k, 3), each used once: colours of one name get their lightness, or else a number, behind it.

    Examples
    --------
    >>> colour_names([[46, -4, -30], [48, -4, -30], [80, 1, 2]])
    ['blue L46', 'blue L48', 'light grey']
    """
    lab = np.asarray(lab, float)
    plain = [colour_name(value) for value in lab]
    names: list[str] = []
    for name, value in zip(plain, lab, strict=True):
        wanted = name if plain.count(name) == 1 else f"{name} L{value[0]:.0f}"
        names.append(unused_name(wanted, names))
    return names


def unused_name(name: str, taken: Collection[str]) -> str:
    """The name, with a number behind it where it is taken.

    Examples
    --------
    >>> unused_name("blue", ["straw"]), unused_name("blue", ["blue", "blue (2)"])
    ('blue', 'blue (3)')
    """
    number, wanted = 2, name
    while wanted in taken:
        wanted = f"{name} ({number})"
        number += 1
    return wanted
