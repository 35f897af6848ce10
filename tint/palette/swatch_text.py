"""A palette as text that design programs read: a GIMP palette (.gpl) and CSS variables."""

from __future__ import annotations

import re
import unicodedata

import numpy as np

from tint.lab import hex_from_lab, srgb1_from_lab, srgb255_from_lab
from tint.palette.palette import Palette

CLIPPED = 0.004  # a channel this far beyond 0..1 moves by a byte or more when it is clipped


def beyond_screen(lab: np.ndarray) -> np.ndarray:
    """(n,) True where Lab (n, 3) lies outside sRGB, so that a screen shows it duller than it is."""
    srgb1 = srgb1_from_lab(lab, clip=False)
    return np.any((srgb1 < -CLIPPED) | (srgb1 > 1 + CLIPPED), axis=-1)


def gpl_text(palette: Palette) -> str:
    """Text of a GIMP palette, number 0 the bare metal, then the colours by number.

    References
    ----------
    GIMP developer documentation, "GPL palette format": a line "GIMP Palette", "Name:", "Columns:", comments after #, then
    red, green, blue 0–255 and a name per line.
    """
    lines = [
        "GIMP Palette",
        f"Name: {_plain(palette.name)}",
        "Columns: 4",
        f"# {_plain(palette.stock.name)}, {_plain(palette.machine.name)}",
        *(f"# {_plain(line)}" for line in _notes(palette)),
    ]
    for number, (srgb255, name) in enumerate(zip(srgb255_from_lab(palette.lab), _names(palette), strict=True)):
        red, green, blue = srgb255
        lines.append(f"{red:3d} {green:3d} {blue:3d}\t{number} {_plain(name)}")
    return "\n".join([*lines, ""])


def css_text(palette: Palette) -> str:
    """Text of a style sheet with one variable per colour: sRGB for every reader, CIELAB (D50) for those that know it.

    References
    ----------
    CSS Custom Properties for Cascading Variables Level 1; CSS Color Module Level 4, lab().
    """
    names, beyond = css_names(palette), beyond_screen(palette.lab)
    width = max(len(name) for name in names)
    srgb = [
        f"  {name + ':':{width + 1}s} {hex_from_lab(lab)};{' /* duller than it is: outside sRGB */' * bool(far)}"
        for name, lab, far in zip(names, palette.lab, beyond, strict=True)
    ]
    cielab = [
        "    {:{width}s} lab({:.2f} {:.2f} {:.2f});".format(name + ":", *(lab + 0.0), width=width + 1)
        for name, lab in zip(names, palette.lab, strict=True)
    ]
    notes = [f" * {_comment(line)}" for line in _notes(palette)]
    head = ["/*", f" * {_comment(palette.name)} on {_comment(palette.stock.name)}", *notes, " */"]
    return "\n".join(
        [*head, ":root {", *srgb, "}", "@supports (color: lab(0 0 0)) {", "  :root {", *cielab, "  }", "}", ""]
    )


def css_names(palette: Palette) -> list[str]:
    """Variables (k + 1) such as "--metal-0-bare" and "--metal-3-dark-blue": the number makes each one unique."""
    words = [re.sub(r"[^a-z0-9]+", "-", _ascii(name).lower()).strip("-") for name in _names(palette)]
    words[0] = "bare"
    return [f"--metal-{number}{f'-{word}' if word else ''}" for number, word in enumerate(words)]


def _names(palette: Palette) -> list[str]:
    return ["bare metal", *(colour.name for colour in palette.colours)]


def _notes(palette: Palette) -> tuple[str, ...]:
    return (*palette.remarks, "Screens differ, and metal shifts with the angle: a guide, not a promise.")


def doubt_words(palette: Palette) -> str:
    """What ± and jitter beside a swatch mean, in a sentence."""
    under = f" under {palette.jitter}" if palette.jitter else ""
    return f"± and jitter are CIEDE2000 colour differences: 9 of 10 fresh marks within ±; jitter is the mean shift{under}."


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isprintable() or c.isspace() else "?" for c in text).split())


def _comment(text: str) -> str:
    return _plain(text).replace("*/", "* /")


def _ascii(text: str) -> str:
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
