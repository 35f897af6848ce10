"""Strokes as closed outlines: width, caps, joins and dashes, by Skia's stroker; only this module opens skia-pathops.

The stroker works in single precision and keeps within a quarter of its unit, so the line is handed over shifted to
the origin and enlarged. It is stroked in user units and transformed afterwards, as SVG demands: under an uneven
transform a stroke is thicker one way than the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.artwork.svg_path import Subpath, flat_points, path_length

STROKER_UNITS_PER_MM = 250.0  # a quarter unit is then 0.001 mm, and single precision 0.00003 mm over 300 mm
MAX_DASHES = 100_000  # of one line; more would not be seen as dashes but run for minutes


@dataclass(frozen=True)
class Pen:
    """How a line is drawn.

    Parameters
    ----------
    width : in user units, above 0
    cap : "butt", "round" or "square"
    join : "miter", "round" or "bevel"
    miter_limit : longest miter over the width before a join is cut off, at least 1
    dashes : lengths of dash, gap, dash, ... [user units], an even count; empty for a solid line
    dash_offset : where in the dashes the line starts [user units]
    """

    width: float
    cap: str = "butt"
    join: str = "miter"
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0


def stroke_rings(subpaths: Sequence[Subpath], pen: Pen, mm_per_unit: float, tolerance_mm: float) -> list[np.ndarray]:
    """Outlines of a stroke, each (n,) complex [user units]; together filled by the non-zero rule.

    Parameters
    ----------
    mm_per_unit : largest stretch of the transform that follows [mm per user unit]
    tolerance_mm : how far chords may stray from the outline [mm]

    Raises
    ------
    ValueError
        More than `MAX_DASHES` dashes.

    Examples
    --------
    >>> line = Subpath(0j, ((10 + 0j,),), False)
    >>> [ring] = stroke_rings([line], Pen(2.0, cap="square"), 1.0, 0.005)
    >>> [float(edge) for edge in (ring.real.min(), ring.real.max(), ring.imag.min(), ring.imag.max())]
    [-1.0, 11.0, -1.0, 1.0]
    """
    import pathops

    scale = STROKER_UNITS_PER_MM * mm_per_unit
    dash_sum = sum(pen.dashes)
    caps = {"butt": pathops.LineCap.BUTT_CAP, "round": pathops.LineCap.ROUND_CAP, "square": pathops.LineCap.SQUARE_CAP}
    joins = {
        "miter": pathops.LineJoin.MITER_JOIN,
        "round": pathops.LineJoin.ROUND_JOIN,
        "bevel": pathops.LineJoin.BEVEL_JOIN,
    }
    rings: list[np.ndarray] = []
    for subpath in subpaths:
        origin = subpath.start
        outline = pathops.Path()
        _trace(subpath, outline, origin, scale)
        dashes = {}
        if dash_sum > 0:
            if path_length(subpath, tolerance_mm / mm_per_unit) / dash_sum * len(pen.dashes) > MAX_DASHES:
                raise ValueError(f"it has over {MAX_DASHES:,} dashes")
            dashes = {
                "dash_array": [dash * scale for dash in pen.dashes],
                "dash_offset": math.fmod(pen.dash_offset, dash_sum) * scale,
            }
        outline.stroke(pen.width * scale, caps[pen.cap], joins[pen.join], pen.miter_limit, **dashes)
        outline.convertConicsToQuads(tolerance_mm * STROKER_UNITS_PER_MM / 2)
        for ring in _subpaths(outline):
            rings.append(flat_points(ring, tolerance_mm * STROKER_UNITS_PER_MM) / scale + origin)
    return rings


def _trace(subpath: Subpath, outline, origin: complex, scale: float) -> None:
    def xy(points: Sequence[complex]) -> list[float]:
        return [
            value for point in points for value in (((point - origin) * scale).real, ((point - origin) * scale).imag)
        ]

    outline.moveTo(*xy([subpath.start]))
    draw = {1: outline.lineTo, 2: outline.quadTo, 3: outline.cubicTo}
    for piece in subpath.pieces:
        draw[len(piece)](*xy(piece))
    if subpath.closed:
        outline.close()


def _subpaths(outline) -> list[Subpath]:
    import pathops

    found: list[Subpath] = []
    start, pieces = 0j, []
    for verb, points in outline:
        if verb == pathops.PathVerb.MOVE:
            if pieces:
                found.append(Subpath(start, tuple(pieces), True))
            start, pieces = complex(*points[0]), []
        elif verb != pathops.PathVerb.CLOSE:
            pieces.append(tuple(complex(x, y) for x, y in points))
    if pieces:
        found.append(Subpath(start, tuple(pieces), True))
    return found
