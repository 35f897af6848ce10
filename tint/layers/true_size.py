"""Proofs at true size to print: an SVG page in millimetres with the piece as expected, and light and heavy where they fit."""

from __future__ import annotations

import base64
import io
from html import escape

import numpy as np

from tint.layers.heated import Heated
from tint.layers.layers import Layers
from tint.layers.proof_pictures import NOTE, piece_picture

A4_MM = (210.0, 297.0)
MARGIN_MM, GAP_MM, HEAD_MM, TITLE_MM, FOOT_MM = 10.0, 6.0, 14.0, 5.0, 28.0


def true_size_svg(layers: Layers, moved: Heated) -> str:
    """SVG text of a page, A4 upright or on its side or larger where the piece needs it; units are millimetres."""
    wide, tall = layers.width_mm + GAP_MM, layers.height_mm + TITLE_MM + GAP_MM
    page, columns, rows = max(
        ((paper, *_room(paper, wide, tall)) for paper in (A4_MM, A4_MM[::-1])),
        key=lambda each: min(each[1] * each[2], 3),
    )
    if not columns * rows:
        columns = rows = 1
        page = (max(A4_MM[0], wide - GAP_MM + 2 * MARGIN_MM), HEAD_MM + tall + FOOT_MM + MARGIN_MM)
    proofs = (("expected", layers.palette.lab), ("light", moved.light_lab), ("heavy", moved.heavy_lab))[
        : columns * rows
    ]
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page[0]:g}mm" height="{page[1]:g}mm" '
        f'viewBox="0 0 {page[0]:g} {page[1]:g}" font-family="Helvetica, Arial, sans-serif">',
        f"<title>{_shown(layers.name)}: proof at true size</title>",
        f'<rect width="{page[0]:g}" height="{page[1]:g}" fill="#ffffff"/>',
        _text(MARGIN_MM, MARGIN_MM + 1, f"{layers.name}: {layers.width_mm:g} × {layers.height_mm:g} mm", 4, bold=True),
    ]
    y = HEAD_MM
    for place, (title, lab) in enumerate(proofs):
        x, y = MARGIN_MM + place % columns * wide, HEAD_MM + place // columns * tall
        out += [_text(x, y + TITLE_MM - 1.5, title, 3), _piece(layers, lab, title, x, y + TITLE_MM)]
    return "\n".join([*out, *_foot(layers, moved, y + tall), "</svg>", ""])


def _room(paper: tuple[float, float], wide: float, tall: float) -> tuple[int, int]:
    """Columns and rows of pieces that a page has room for."""
    return (
        int((paper[0] - 2 * MARGIN_MM + GAP_MM) // wide),
        int((paper[1] - HEAD_MM - FOOT_MM - MARGIN_MM + GAP_MM) // tall),
    )


def _piece(layers: Layers, lab: np.ndarray, name: str, x: float, y: float) -> str:
    picture, _ = piece_picture(layers, lab)
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=6)
    data = base64.b64encode(out.getvalue()).decode()
    height, width = layers.labels.shape  # the map's last pixels may overhang the piece: they are clipped
    wide, tall = width * layers.pitch_mm, height * layers.pitch_mm
    return (
        f'<clipPath id="edge-{name}"><rect x="{x:g}" y="{y:g}" width="{layers.width_mm:g}" height="{layers.height_mm:g}"/></clipPath>\n'
        f'<image id="{name}" clip-path="url(#edge-{name})" x="{x:g}" y="{y:g}" width="{wide:g}" height="{tall:g}" '
        f'preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'
    )


def _foot(layers: Layers, moved: Heated, y: float) -> list[str]:
    ticks = "".join(f"M{MARGIN_MM + i:g} {y:g}v{3 if i % 10 == 0 else 1.5:g}" for i in range(51))
    lines = (
        "Print at 100 % and lay a ruler on the scale: 50 mm.",
        f"Light and heavy: {moved.words}.",
        NOTE,
        *layers.palette.remarks[:1],
    )
    return [
        f'<path id="ruler" d="M{MARGIN_MM:g} {y:g}h50{ticks}" fill="none" stroke="#000000" stroke-width="0.15"/>',
        *(_text(MARGIN_MM, y + 7.5 + 3.8 * i, line, 2.7) for i, line in enumerate(lines)),
    ]


def _text(x: float, y: float, text: str, size: float, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' * bold
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:g}"{weight}>{_shown(text)}</text>'


def _shown(text: str) -> str:
    return escape("".join(c if c.isprintable() else "?" for c in text))
