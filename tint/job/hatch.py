"""Hatch: the scan lines of a layer, drawn one by one for machines that follow lines instead of filling outlines.

All layers' lines lie on one lattice that starts at the artwork's top left corner, and a line that runs along a border
belongs to the layer on one side only, so no line is in two layers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import IO, Any
from xml.sax.saxutils import escape

import numpy as np

from tint.caution import SHORT
from tint.errors import LimitError
from tint.job.masks import layer_name
from tint.job.order import JobLayer
from tint.job.rings import Rings, rings_of
from tint.lab import hex_from_lab

MAX_LINES = 100_000_000  # of one layer: about 5 GB of SVG; more than this is a mistyped spacing
BAND_CROSSINGS = 1_000_000  # crossings handled at once, about 100 MB; fewer needs time, more needs memory
LATTICE_NM = 1  # pixel size and spacing are taken as whole nanometres to keep the lines off the pixel borders
NOT_ON_LATTICE = (math.sqrt(5) - 1) / 2  # share of the spacing where they are not whole: never a simple fraction
PATH_LINES = 1000  # scan lines of one path element: small enough to stream, large enough to read fast
DECIMALS = 5  # of a coordinate [mm]: 10 nm, far below what a mirror can do


@dataclass(frozen=True, eq=False)
class HatchLines:
    """Scan lines in the order they are marked: row after row, every second row backwards.

    Parameters
    ----------
    start_mm, end_mm : (n, 2) where the laser goes on and off; x to the right, y down [mm]
    row : (n,) number of the lattice line each belongs to; rows of equal number lie on one straight line
    """

    start_mm: np.ndarray
    end_mm: np.ndarray
    row: np.ndarray

    def __len__(self) -> int:
        return len(self.row)

    @property
    def length_mm(self) -> float:
        """Length of all lines [mm]."""
        return float(np.hypot(*(self.end_mm - self.start_mm).T).sum())


def hatch_lines(outline: Any, spacing_mm: float, hatch_deg: float, pitch_mm: float | None = None) -> HatchLines:
    """Scan lines of one layer, all at once; parameters and errors as `hatch_bands`.

    Examples
    --------
    >>> import shapely
    >>> lines = hatch_lines(shapely.box(0, 0, 3, 1), 0.5, 0)
    >>> lines.start_mm.tolist(), lines.end_mm.tolist()
    ([[0.0, 0.25], [3.0, 0.75]], [[3.0, 0.25], [0.0, 0.75]])
    """
    bands = list(hatch_bands(outline, spacing_mm, hatch_deg, pitch_mm))
    if not bands:
        return HatchLines(np.empty((0, 2)), np.empty((0, 2)), np.empty(0, dtype=np.int64))
    return HatchLines(
        *(np.concatenate([getattr(band, name) for band in bands]) for name in ("start_mm", "end_mm", "row"))
    )


def hatch_bands(
    outline: Any, spacing_mm: float, hatch_deg: float, pitch_mm: float | None = None
) -> Iterator[HatchLines]:
    """Scan lines of one layer, band by band, in memory that does not grow with their number.

    Parameters
    ----------
    outline : shapely Polygon or MultiPolygon [mm]
    spacing_mm : distance between scan lines [mm]
    hatch_deg : angle [°], anticlockwise as seen, 0 along x; NaN counts as 0
    pitch_mm : size of a pixel [mm] whose borders no line may run along; None where there is no such lattice

    Raises
    ------
    LimitError
        The spacing cannot be, or more than 10⁸ lines would come out.

    Notes
    -----
    Every edge of the outline is cut with the lattice v = k h + v₀ at once; sorted along each line, two crossings make one
    scan line (even-odd). An edge counts for v from its lower end up to, not including, its upper end: a line that
    runs exactly along a border falls to the side of growing v, and one through a corner is counted once. With h and the
    pixel p in whole nanometres, v₀ is half their greatest common divisor, which keeps every line at least that far from
    every pixel border at 0° and 90°.
    """
    if not (math.isfinite(spacing_mm) and spacing_mm > 0):
        raise LimitError(f"spacing {spacing_mm:g} mm of the hatch cannot be; it is a number above 0.")
    cos, sin = _direction(hatch_deg)
    rings = rings_of(outline)
    _check_count(rings, spacing_mm, sin, cos)
    first_mm = _first_line_mm(spacing_mm, pitch_mm)
    u, v = _turned(rings.points_mm, cos, sin)
    edges = _Edges.of(rings, u, v, spacing_mm, first_mm)
    for low, high in _bands(edges):
        crossing_u, row = edges.crossings(low, high)
        yield _paired(crossing_u, row, spacing_mm, first_mm, cos, sin)


def write_hatch_svg(
    stream: IO[str],
    layer: JobLayer,
    bands: Iterable[HatchLines],
    size_mm: tuple[float, float],
    centre_lines: Any = None,
) -> tuple[int, float]:
    """Number and length [mm] of the scan lines written to `stream` as SVG 1.1, user units millimetres.

    Parameters
    ----------
    layer : for the title and colour
    bands : as `hatch_bands` gives them; each is written and forgotten
    size_mm : width and height of the artwork
    centre_lines : shapely MultiLineString [mm] of strokes too narrow for scan lines, written after them
    """
    width, height = (f"{side:.6f}".rstrip("0").rstrip(".") for side in size_mm)
    colour, name = hex_from_lab(layer.lab), layer_name(layer.order, layer.name)
    pen_mm = float(layer.setting.spacing_mm)
    stream.write(
        f'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" '
        f'height="{height}mm" viewBox="0 0 {width} {height}">\n<title>{name}: {layer.setting}</title>\n<desc>{escape(SHORT)}</desc>\n'
        f'<g id="hatch-{name}" fill="none" stroke="{colour}" stroke-width="{pen_mm:g}">\n'
    )
    count, length_mm = 0, 0.0
    for band in bands:
        ends = np.column_stack([band.start_mm, band.end_mm]) + 0.0  # no minus zero
        for start in range(0, len(ends), PATH_LINES):
            part = ends[start : start + PATH_LINES]
            one = f"M%.{DECIMALS}f,%.{DECIMALS}fL%.{DECIMALS}f,%.{DECIMALS}f"
            stream.write(f'<path d="{(one * len(part)) % tuple(part.ravel().tolist())}"/>\n')
        count += len(band)
        length_mm += band.length_mm
    stream.write("</g>\n")
    if centre_lines is not None and not centre_lines.is_empty:
        stream.write(f'<g id="centre-{name}" fill="none" stroke="{colour}" stroke-width="{pen_mm:g}">\n')
        stream.writelines(f'<path d="{path}"/>\n' for path in line_paths(centre_lines, DECIMALS))
        stream.write("</g>\n")
    stream.write("</svg>\n")
    return count, length_mm


def line_paths(lines: Any, decimals: int) -> list[str]:
    """SVG path data of every line of a shapely MultiLineString."""
    import shapely

    return [
        "M" + "L".join(f"{x:.{decimals}f},{y:.{decimals}f}" for x, y in (shapely.get_coordinates(line) + 0.0).tolist())
        for line in shapely.get_parts(lines)
    ]


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges of an outline that cross the lattice, lower end first: (u0, v0) to (u1, v1) crosses `count` rows from `first`."""

    u0: np.ndarray
    v0: np.ndarray
    u1: np.ndarray
    v1: np.ndarray
    first: np.ndarray
    count: np.ndarray
    spacing_mm: float
    first_mm: float

    @classmethod
    def of(cls, rings: Rings, u: np.ndarray, v: np.ndarray, spacing_mm: float, first_mm: float) -> _Edges:
        inside = np.delete(np.arange(max(len(u) - 1, 0)), rings.starts[1:-1] - 1)  # not from one ring to the next
        # The same border of two neighbours gives the same numbers, whichever way round each runs it.
        row = np.ceil((v - first_mm) / spacing_mm).astype(np.int64)
        up = row[inside] <= row[inside + 1]
        low, high = np.where(up, inside, inside + 1), np.where(up, inside + 1, inside)
        crosses = row[low] < row[high]
        low, high = low[crosses], high[crosses]
        return cls(u[low], v[low], u[high], v[high], row[low], row[high] - row[low], spacing_mm, first_mm)

    def crossings(self, low: int, high: int) -> tuple[np.ndarray, np.ndarray]:
        """Where (n,) and in which row (n,) edges cross the rows from `low` up to, not including, `high`; unsorted."""
        first = np.maximum(self.first, low)
        count = np.minimum(self.first + self.count, high) - first
        chosen = np.flatnonzero(count > 0)
        first, count = first[chosen], count[chosen]
        row = np.arange(count.sum()) + np.repeat(first - (np.cumsum(count) - count), count)
        u0, v0, u1, v1 = self.u0[chosen], self.v0[chosen], self.u1[chosen], self.v1[chosen]
        slope = (u1 - u0) / (v1 - v0)
        at = np.repeat(u0 - v0 * slope, count) + (row * self.spacing_mm + self.first_mm) * np.repeat(slope, count)
        least, most = np.minimum(u0, u1), np.maximum(u0, u1)
        return np.clip(at, np.repeat(least, count), np.repeat(most, count)), row


def _bands(edges: _Edges) -> Iterator[tuple[int, int]]:
    """Ranges of rows with about `BAND_CROSSINGS` crossings each."""
    if not len(edges.first):
        return
    bottom, top = int(edges.first.min()), int((edges.first + edges.count).max())
    limits = np.unique(np.linspace(bottom, top, min(top - bottom, 4096) + 1).round().astype(np.int64))
    crossings = (_rows_below(edges.first, limits) - _rows_below(edges.first + edges.count, limits))[1:]
    marks = np.searchsorted(crossings, np.arange(BAND_CROSSINGS, crossings[-1], BAND_CROSSINGS)) + 1
    yield from pairwise(np.unique([bottom, *limits[marks], top]).tolist())


def _rows_below(first: np.ndarray, limits: np.ndarray) -> np.ndarray:
    """Σ max(limit − first, 0) over all edges, for each limit (m,)."""
    first = np.sort(first)
    count = np.searchsorted(first, limits)
    return count * limits - np.concatenate([[0], np.cumsum(first)])[count]


def _paired(u: np.ndarray, row: np.ndarray, spacing_mm: float, first_mm: float, cos: float, sin: float) -> HatchLines:
    order = np.lexsort((u, row))
    u, row = u[order].reshape(-1, 2), row[order][::2]
    real = u[:, 1] > u[:, 0]
    u, row = u[real], row[real]
    back = row % 2 == 1
    # every second row runs backwards: its lines in reverse order, each from its far end
    place = np.arange(len(row))
    turn = np.flatnonzero(np.diff(row, prepend=row[:1] - 1, append=row[-1:] + 1))
    first, last = np.repeat(turn[:-1], np.diff(turn)), np.repeat(turn[1:], np.diff(turn)) - 1
    place = np.where(back, first + last - place, place)
    u, row = u[place], row[place]
    v = row * spacing_mm + first_mm
    start, end = np.where(back, u[:, 1], u[:, 0]), np.where(back, u[:, 0], u[:, 1])
    ends = [np.column_stack([along * cos + v * sin, v * cos - along * sin]) for along in (start, end)]
    return HatchLines(ends[0], ends[1], row)


def _direction(hatch_deg: float) -> tuple[float, float]:
    """Cosine and sine, exact at quarter turns."""
    if math.isnan(hatch_deg):
        return 1.0, 0.0
    quarter, rest = divmod(hatch_deg, 90.0)
    cos, sin = (1.0, 0.0) if rest == 0 else (math.cos(math.radians(rest)), math.sin(math.radians(rest)))
    for _ in range(int(quarter) % 4):
        cos, sin = -sin, cos
    return cos + 0.0, sin + 0.0


def _turned(points_mm: np.ndarray, cos: float, sin: float) -> tuple[np.ndarray, np.ndarray]:
    """Distances u along and v across the scan lines; y points down, angles are anticlockwise as seen."""
    x, y = points_mm.T
    return x * cos - y * sin, x * sin + y * cos


def _first_line_mm(spacing_mm: float, pitch_mm: float | None) -> float:
    if pitch_mm is None:
        return spacing_mm / 2
    nm = [round(value * 1e6 / LATTICE_NM) * LATTICE_NM for value in (spacing_mm, pitch_mm)]
    whole = all(
        value and abs(value - exact * 1e6) < 1e-3 for value, exact in zip(nm, (spacing_mm, pitch_mm), strict=True)
    )
    return math.gcd(*nm) * 0.5e-6 if whole else NOT_ON_LATTICE * spacing_mm


def _check_count(rings: Rings, spacing_mm: float, sin: float, cos: float) -> None:
    lines = float(np.abs(rings.steps_mm() @ [sin, cos]).sum()) / 2 / spacing_mm
    if lines > MAX_LINES:
        raise LimitError(
            f"a spacing of {spacing_mm:g} mm makes {lines:.1e} scan lines; {MAX_LINES:.0e} are the most for one layer. "
            "Leave --hatch away, or check spacing_mm of the palette."
        )
