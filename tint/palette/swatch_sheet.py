"""Printable swatch sheets: A4 pages in SVG at true size, each swatch with number, name, setting, doubt and cautions."""

from __future__ import annotations

import textwrap
from html import escape

import numpy as np

from tint.caution import SHORT
from tint.lab import hex_from_lab
from tint.palette.palette import Palette
from tint.palette.swatch_text import beyond_screen, doubt_words

A4_MM = (210.0, 297.0)
MARGIN_MM, SWATCH_MM = 12.0, (34.0, 18.0)
ROW_MM, COLUMN_MM = 21.5, 93.5
ROWS, TOP_MM = 10, 40.0
REMARKS = 3  # lines of them between head and swatches
LETTER = 0.52  # mean width of a letter over its height in plain sans-serif fonts (common practice, no source)


def swatch_sheets(palette: Palette) -> tuple[str, ...]:
    """SVG texts, one A4 page each with up to twenty swatches, the bare metal first; units are millimetres."""
    numbers = range(len(palette) + 1)
    pages = [numbers[start : start + 2 * ROWS] for start in range(0, len(numbers), 2 * ROWS)]
    beyond = beyond_screen(palette.lab)
    return tuple(_page(palette, page, beyond, i + 1, len(pages)) for i, page in enumerate(pages))


def _page(palette: Palette, numbers: range, beyond: np.ndarray, page: int, pages: int) -> str:
    wide, tall = A4_MM
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{tall:g}mm" viewBox="0 0 {wide:g} {tall:g}" '
        'font-family="Helvetica, Arial, sans-serif">',
        f"<title>{escape(_clean(palette.name))}, swatches {page} of {pages}</title>",
        f'<rect width="{wide:g}" height="{tall:g}" fill="#ffffff"/>',
        _text(MARGIN_MM, 18, palette.name, 6, 150, bold=True),
        _text(wide - MARGIN_MM, 18, f"{page} / {pages}", 3.2, 20, anchor="end"),
        _text(
            MARGIN_MM,
            24,
            f"{palette.machine.name} · {palette.stock.name}, {palette.stock.grade} {palette.stock.finish}",
            3.2,
            186,
        ),
    ]
    remarks = _wrapped(" · ".join(palette.remarks), 2.7, 186, REMARKS)
    out += [_text(MARGIN_MM, 29 + 3.5 * i, line, 2.7, 200) for i, line in enumerate(remarks)]
    for place, number in enumerate(numbers):
        column, row = divmod(place, ROWS)
        out += _swatch(palette, number, MARGIN_MM + column * COLUMN_MM, TOP_MM + row * ROW_MM, bool(beyond[number]))
    out += [*_ruler(MARGIN_MM, TOP_MM + ROWS * ROW_MM + 3), *_foot(palette, TOP_MM + ROWS * ROW_MM + 13), "</svg>", ""]
    return "\n".join(out)


def _swatch(palette: Palette, number: int, x: float, y: float, beyond: bool) -> list[str]:
    wide, tall = SWATCH_MM
    lab = palette.lab[number]
    out = [
        f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{tall:g}" fill="{hex_from_lab(lab)}" '
        f'id="swatch-{number}" stroke="#555555" stroke-width="0.1"/>'
    ]
    at, room = x + wide + 2.5, COLUMN_MM - wide - 4
    colour = palette.colours[number - 1] if number else None
    said = "L {:.1f}  a {:+.1f}  b {:+.1f}".format(*(lab.round(1) + 0.0)) + f"  {hex_from_lab(lab)}"
    lines = [said]
    if colour is not None:
        words = str(colour.setting).split(" · ")
        lines += [
            f"±{colour.de00_90:.1f}  jitter {colour.sensitivity_de00:.1f}",
            " · ".join(words[:3]),
            " · ".join(words[3:]),
        ]
    out.append(_text(at, y + 4, f"{number}  {colour.name if colour else 'bare metal'}", 3.8, room, bold=True))
    out += [_text(at, y + 7.9 + 3.2 * i, line, 2.5, room) for i, line in enumerate(lines)]
    if beyond:
        out.append(_text(at, y + 7.9 + 3.2 * len(lines), "duller here than it is: outside sRGB", 2.2, room))
    return out


def _ruler(x: float, y: float) -> list[str]:
    ticks = "".join(f"M{x + i:g} {y:g}v{3 if i % 10 == 0 else 1.5:g}" for i in range(51))
    return [
        f'<path id="ruler" d="M{x:g} {y:g}h50{ticks}" fill="none" stroke="#000000" stroke-width="0.15"/>',
        _text(x + 53, y + 3, "50 mm: print at 100 % and lay a ruler on it. Swatches are 34 × 18 mm.", 2.8, 130),
    ]


def _foot(palette: Palette, y: float) -> list[str]:
    said = (
        doubt_words(palette),
        "Printers and screens differ, metal shifts with the angle and the light, and every sheet and batch with its history: compare with "
        "a trial mark, not with this print.",
        SHORT,
    )
    lines = [line for text in said for line in _wrapped(text, 2.6, 186)]
    return [_text(MARGIN_MM, y + 3.4 * i, line, 2.6, 200) for i, line in enumerate(lines)]


def _text(x: float, y: float, text: str, size: float, room: float, *, bold: bool = False, anchor: str = "start") -> str:
    text = _clean(text)
    most = max(4, int(room / (LETTER * size)))
    if len(text) > most and size > 2.4:  # first a little smaller, then cut
        size = max(2.4, size * most / len(text))
        most = int(room / (LETTER * size))
    text = text if len(text) <= most else text[: most - 1].rstrip() + "…"
    extra = ' font-weight="bold"' * bold + (f' text-anchor="{anchor}"' if anchor != "start" else "")
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:.3g}"{extra} xml:space="preserve">{escape(text)}</text>'


def _wrapped(text: str, size: float, room: float, most: int | None = None) -> list[str]:
    return textwrap.wrap(_clean(text), int(room / (LETTER * size)), max_lines=most, placeholder=" … (more in README.txt)")


def _clean(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)
