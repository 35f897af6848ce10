"""Words drawn into pictures with Pillow's own font: signs it lacks are replaced, lines wrapped and cut to their room."""

from __future__ import annotations

import unicodedata
from typing import Any

_SPELT = {"Δ": "d", "∆": "d", "×": "x", "−": "-", "√": "root ", "²": "2", "→": "to", "≤": "<=", "≥": ">="}
_NOT_THERE = "\U0010fffd"  # of a private plane: no font has it


def drawable(text: str, font: Any) -> str:
    """The text with every sign the font lacks spelt otherwise: plain letters for accented ones, "?" where nothing fits."""
    missing = bytes(font.getmask(_NOT_THERE))
    return "".join(_sign(sign, font, missing) for sign in text)


def _sign(sign: str, font: Any, missing: bytes) -> str:
    if sign.isascii() or bytes(font.getmask(sign)) != missing:
        return sign if sign.isprintable() else " "
    plain = _SPELT.get(sign) or unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
    return plain or ("" if unicodedata.combining(sign) else "?")


def wrapped(text: str, font: Any, width_px: float) -> list[str]:
    """Lines of a text, drawable and none wider than `width_px` as long as its words are not."""
    lines, line = [], ""
    for word in drawable(text, font).split():
        longer = f"{line} {word}".strip()
        if line and font.getlength(longer) > width_px:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


def fitting(text: str, font: Any, width_px: float) -> str:
    """The text, drawable, cut with an ellipsis where it is wider than `width_px`."""
    text = drawable(text, font)
    if font.getlength(text) <= width_px:
        return text
    shown, gone = 0, len(text)  # signs that fit before the ellipsis, and signs that do not
    while gone - shown > 1:
        count = (shown + gone) // 2
        fits = font.getlength(text[:count].rstrip(" .") + "...") <= width_px
        shown, gone = (count, gone) if fits else (shown, count)
    return text[:shown].rstrip(" .") + "..."
