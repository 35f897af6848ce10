"""Strokes and gaps narrower than the spot: how much of each layer, and where."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.job.inset import ARC_SEGMENTS, eroded
from tint.layers.clean import find_regions
from tint.layers.layers import Layers

MOST_PLACES = 5  # named of each layer, the largest first
MOST_LAYERS = 3  # named in the remark, the largest first
PLACES = "places in README.txt."  # how the remark ends; README.txt itself says "below"
TILE_HOLES = 100  # from so many holes on a polygon is cut into tiles: GEOS's buffer takes their number squared
SLACK = 1.01  # of the spot's radius, so that an edge as wide as the spot is not thin by rounding
# as much as a hairline of one spot and a millimetre; less is the tip of a point and no matter for a warning
SEEN_MM2 = 0.05


@dataclass(frozen=True)
class Thin:
    """What of a layer is narrower than the spot.

    Parameters
    ----------
    number, name : the layer's; 0 is a bare gap between marks
    area_mm2 : area narrower than the spot [mm²]
    count : number of separate places
    at_mm : (x, y) of the largest places, at most five, from the artwork's top left corner [mm]
    """

    number: int
    name: str
    area_mm2: float
    count: int
    at_mm: tuple[tuple[float, float], ...]


def thin_places(layers: Layers, spot_mm: float) -> tuple[Thin, ...]:
    """Layers and bare gaps with strokes narrower than the spot [mm], bare gaps last; none where all is wide enough.

    Notes
    -----
    Narrow is what a round spot that stays inside cannot cover. Corners, which the spot rounds off, do not count: only
    what reaches farther than the spot's radius from the covered rest. A drawing is measured by its outlines, a picture
    by its pixels, the spot rounded up to whole ones. Bare metal at the artwork's edge is no gap.
    """
    found = _of_outlines(layers, spot_mm) if layers.drawn is not None else _of_labels(layers, spot_mm)
    names = ["bare gaps", *(colour.name for colour in layers.palette.colours)]
    return tuple(
        Thin(
            number, names[number], round(float(area.sum()), 6), len(area),
            tuple((round(float(x), 3), round(float(y), 3)) for x, y in at[np.argsort(-area, kind="stable")][:MOST_PLACES]),
        )
        for number, area, at in sorted(found, key=lambda item: (item[0] == 0, item[0]))
        if len(area)
    )  # fmt: skip


def thin_remark(thin: Sequence[Thin], spot_mm: float) -> str:
    """One line for the operator, "" where nothing is thin enough to see; README.txt and job.json list the rest too."""
    seen = sorted((item for item in thin if item.area_mm2 >= SEEN_MM2), key=lambda item: -item.area_mm2)
    if not seen:
        return ""
    parts = [f"{item.name} {item.area_mm2:.2g} mm²" for item in seen[:MOST_LAYERS]]
    if len(seen) > MOST_LAYERS:
        parts.append(f"and {len(seen) - MOST_LAYERS} more")
    return (
        f"Narrower than the spot ({spot_mm:.3g} mm): {', '.join(parts)}. Strokes come out about one spot wide, gaps may close; "
        f"{PLACES}"
    )


def _of_outlines(layers: Layers, spot_mm: float) -> list[tuple[int, np.ndarray, np.ndarray]]:
    """Number, areas [mm²] (n,) and places (n, 2) [mm] of the thin pieces of every layer that has some."""
    import shapely

    shapes = [(number, layers.outlines[number - 1]) for number in layers.used]
    marked = shapely.union_all([shape for _, shape in shapes])
    around = shapely.box(-2 * spot_mm, -2 * spot_mm, layers.width_mm + 2 * spot_mm, layers.height_mm + 2 * spot_mm)
    shapes.append((0, shapely.difference(around, marked)))
    found = []
    for number, shape in shapes:
        pieces = _thin_pieces(shape, spot_mm / 2)
        at = shapely.get_coordinates(shapely.point_on_surface(pieces))
        found.append((number, shapely.area(pieces), at))
    return found


def _thin_pieces(shape: Any, radius_mm: float) -> np.ndarray:
    """Polygons of a shape that a disc of this radius does not cover, corners left out."""
    import shapely

    parts = shapely.get_parts(shape)
    parts = parts[~shapely.is_empty(parts)]
    full = shapely.get_num_interior_rings(parts) > TILE_HOLES
    tiled = [_thin_tiles(part, radius_mm) for part in parts[full]]
    return np.concatenate([_thin_of(parts[~full], radius_mm), *tiled])


def _thin_of(parts: np.ndarray, radius_mm: float) -> np.ndarray:
    import shapely

    core = eroded(parts, radius_mm / SLACK)
    beyond = shapely.difference(parts, shapely.buffer(core, 2 * radius_mm, quad_segs=ARC_SEGMENTS))
    rest = shapely.difference(parts, shapely.buffer(core, radius_mm * SLACK, quad_segs=ARC_SEGMENTS))
    pieces, owner = shapely.get_parts(rest, return_index=True)
    return pieces[shapely.intersects(pieces, beyond[owner]) & (shapely.area(pieces) > 0)]


def _thin_tiles(part: Any, radius_mm: float) -> np.ndarray:
    """As `_thin_of`, for a polygon of many holes: tile by tile, each with a margin, then joined again."""
    import shapely

    left, top, right, bottom = part.bounds
    count = math.ceil(math.sqrt(len(part.interiors) / TILE_HOLES)) + 1
    xs, ys = np.linspace(left, right, count + 1), np.linspace(top, bottom, count + 1)
    x0, y0 = (grid.ravel() for grid in np.meshgrid(xs[:-1], ys[:-1]))
    x1, y1 = (grid.ravel() for grid in np.meshgrid(xs[1:], ys[1:]))
    margin_mm = 6 * radius_mm
    found = []
    for box, wide in zip(
        shapely.box(x0, y0, x1, y1),
        shapely.box(x0 - margin_mm, y0 - margin_mm, x1 + margin_mm, y1 + margin_mm),
        strict=True,
    ):
        tile = shapely.get_parts(shapely.clip_by_rect(part, *wide.bounds))
        tile = tile[shapely.get_type_id(tile) == shapely.GeometryType.POLYGON]
        found += list(shapely.intersection(_thin_of(tile, radius_mm), box))
    whole = shapely.get_parts(shapely.union_all(found))
    return whole[(shapely.get_type_id(whole) == shapely.GeometryType.POLYGON) & (shapely.area(whole) > 0)]


def _of_labels(layers: Layers, spot_mm: float) -> list[tuple[int, np.ndarray, np.ndarray]]:
    """As `_of_outlines`, for a label map."""
    size = math.ceil(spot_mm / layers.pitch_mm - 1e-9)
    if size < 2:
        return []
    labels = np.pad(layers.labels, size)  # bare all around: no gap at the artwork's edge
    thin, far = _thin_pixels(labels, size)
    free = np.setdiff1d(np.arange(256), np.unique(labels))
    if not thin.any() or not len(free):
        return []
    regions = find_regions(np.where(thin, labels, np.uint8(free[-1])))
    reaches = np.zeros(len(regions), dtype=bool)
    np.logical_or.at(reaches, regions.run_region, np.logical_or.reduceat((far & thin).ravel(), regions.run_start))
    first = np.full(len(regions), -1)
    first[regions.run_region[::-1]] = regions.run_start[::-1]
    y, x = np.divmod(first, labels.shape[1])
    at_mm = (np.column_stack([x, y]) - size + 0.5) * layers.pitch_mm
    found = []
    for number in (0, *layers.used):
        chosen = reaches & (regions.label == number)
        found.append((number, regions.area_px[chosen] * layers.pitch_mm**2, at_mm[chosen]))
    return found


def _thin_pixels(labels: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Pixels that no disc `size` pixels wide inside one label covers, and pixels more than its radius from such a disc."""
    row, column = np.mgrid[:size, :size]
    centre = (size - 1) / 2
    disc = np.argwhere((row - centre) ** 2 + (column - centre) ** 2 <= (size / 2) ** 2)
    height, width = labels.shape[0] - size + 1, labels.shape[1] - size + 1
    first_y, first_x = disc[len(disc) // 2]
    middle = labels[first_y : first_y + height, first_x : first_x + width]
    fits = np.ones((height, width), dtype=bool)
    for y, x in disc:
        fits &= labels[y : y + height, x : x + width] == middle
    thin, far = np.ones(labels.shape, dtype=bool), np.ones(labels.shape, dtype=bool)
    for y, x in disc:
        thin[y : y + height, x : x + width] &= ~fits
    reach = (size + 1) // 2
    covered = ~thin
    for dy in range(-reach, reach + 1):
        for dx in range(-reach, reach + 1):
            here, there = _shifted(dy, dx)
            far[here] &= ~(covered[there] & (labels[here] == labels[there]))
    return thin, far


def _shifted(dy: int, dx: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    def pair(step: int) -> tuple[slice, slice]:
        ahead, behind = (
            slice(max(step, 0), step if step < 0 else None),
            slice(max(-step, 0), -step if step > 0 else None),
        )
        return ahead, behind

    (y_here, y_there), (x_here, x_there) = pair(dy), pair(dx)
    return (y_here, x_here), (y_there, x_there)
