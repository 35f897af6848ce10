"""Outlines to regions, and painter's order to regions that do not overlap; all in millimetres, by shapely.

Two steps keep neighbours edge to edge. First each region loses what later ones cover. Then the borders of all that is
left are cut at every crossing and corner at once, on one fine lattice, and each face of that map goes to the region
it lies in: regions built from whole faces share their borders point for point, so nothing is marked twice and no bare
line is left between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

LATTICE_MM = 1e-9  # corners snap to it: far above rounding (1e-13 mm at 300 mm), far below anything a laser can place
MAX_CROSSINGS = 1_000_000  # of one outline with itself; more is a scribble that would take minutes and gigabytes
SLIVER_MM2 = 1e-10  # parts smaller than this (a square of 0.01 µm) are rounding; operations on them can fail
_CHUNK = 2_000  # segments or rays looked up at once; bounds memory


def filled(rings: Sequence[np.ndarray], rule: str) -> Any:
    """Region inside outlines, a valid shapely Polygon or MultiPolygon (empty where they hold no area) [mm].

    Parameters
    ----------
    rings : each (n,) complex [mm], the last point joined to the first
    rule : "nonzero" or "evenodd"

    Raises
    ------
    ValueError
        Outlines that cross themselves more than `MAX_CROSSINGS` times.

    Examples
    --------
    >>> import numpy as np
    >>> outer = np.array([0, 4, 4 + 4j, 4j])
    >>> inner = np.array([1 + 1j, 3 + 1j, 3 + 3j, 1 + 3j])
    >>> float(filled([outer, inner], "evenodd").area), float(filled([outer, inner], "nonzero").area)
    (12.0, 16.0)
    """
    import shapely

    rings = [ring for ring in (_closed(ring) for ring in rings) if len(ring) > 3]
    if not rings:
        return shapely.Polygon()
    if len(rings) == 1:
        polygon = shapely.Polygon(_xy(rings[0]))
        if shapely.is_valid(polygon):
            return polygon
    starts = np.concatenate([ring[:-1] for ring in rings])
    ends = np.concatenate([ring[1:] for ring in rings])
    edges = shapely.linestrings(np.stack([_xy(starts), _xy(ends)], axis=1))
    tree = shapely.STRtree(edges)
    _refuse_scribble(edges, tree)
    faces = _faces(np.array([shapely.LineString(_xy(ring)) for ring in rings]))
    if not len(faces):
        return shapely.Polygon()
    winding = _winding(shapely.point_on_surface(faces), starts, ends, tree)
    return shapely.coverage_union_all(faces[winding != 0 if rule == "nonzero" else winding % 2 == 1])


def cut_away_hidden(regions: Sequence[Any] | np.ndarray) -> list[Any]:
    """What stays visible of each of the regions (n,) when later ones are painted over earlier ones [mm]; empty where hidden.

    The results do not overlap, cover what the regions covered, and share their borders point for point.
    """
    import shapely

    regions = np.array(regions, dtype=object)
    visible = np.full(len(regions), shapely.Polygon(), dtype=object)
    # Parts that hide what is lower, by region. Those that lie wholly in a lower region are not needed below it.
    covers: list[np.ndarray] = [np.empty(0, dtype=object)] * len(regions)
    boxes = np.full(
        (len(regions), 4), np.nan
    )  # of the covers; NaN compares false, so what hides nothing is never found
    for index in range(len(regions) - 1, -1, -1):
        region = regions[index]
        shapely.prepare(region)
        left, top, right, bottom = shapely.bounds(region)
        others = boxes[index + 1 :]
        meets = (others[:, 0] <= right) & (others[:, 2] >= left) & (others[:, 1] <= bottom) & (others[:, 3] >= top)
        above = np.flatnonzero(meets) + index + 1
        visible[index] = region
        if len(above):
            parts = np.concatenate([covers[j] for j in above])
            parts = parts[shapely.intersects(region, parts)]
            visible[index] = areas_of(_without(region, parts))
        swallowed = [j for j in above if shapely.covered_by(covers[j], region).all()]
        boxes[swallowed] = np.nan
        if swallowed or not shapely.is_empty(visible[index]):
            cover = region if swallowed else visible[index]
            covers[index], boxes[index] = shapely.get_parts(cover), shapely.bounds(cover)
    return _edge_to_edge(visible)


def _without(region: Any, parts: np.ndarray) -> Any:
    import shapely

    try:
        return shapely.difference(region, shapely.union_all(parts))
    except shapely.errors.GEOSException:  # near-touching corners beyond what plain rounding resolves
        cover = shapely.union_all(parts, grid_size=LATTICE_MM)
        return shapely.difference(region, cover, grid_size=LATTICE_MM)


def areas_of(region: Any) -> Any:
    """The areas of a region, without lines, points and slivers that operations leave where borders touch."""
    import shapely

    parts = shapely.get_parts(shapely.get_parts(region))
    keep = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > SLIVER_MM2)
    if keep.all() and shapely.get_type_id(region) in (3, 6):
        return region
    return shapely.union_all(parts[keep])


def _edge_to_edge(visible: np.ndarray) -> list[Any]:
    import shapely

    result = np.full(len(visible), shapely.Polygon(), dtype=object)
    faces = _faces(shapely.boundary(visible))
    inside, owner = shapely.STRtree(visible).query(shapely.point_on_surface(faces), predicate="intersects")
    order = np.argsort(owner, kind="stable")
    inside, owner = inside[order], owner[order]
    taken = np.zeros(len(faces), dtype=bool)
    bounds = np.searchsorted(owner, np.arange(len(visible) + 1))
    for index in range(len(visible) - 1, -1, -1):  # rounding may leave a sliver in two: the upper one keeps it
        mine = inside[bounds[index] : bounds[index + 1]]
        mine = mine[~taken[mine]]
        taken[mine] = True
        if len(mine):
            result[index] = shapely.coverage_union_all(faces[mine])
    return list(result)


def _faces(lines: np.ndarray) -> np.ndarray:
    """Faces of the map that lines draw once cut wherever they meet."""
    import shapely

    with np.errstate(divide="ignore", invalid="ignore"):  # GEOS divides by segments without length, and copes
        cut = shapely.union_all(lines, grid_size=LATTICE_MM)
    return shapely.get_parts(shapely.polygonize([cut]))


def _winding(points: np.ndarray, starts: np.ndarray, ends: np.ndarray, tree: Any) -> np.ndarray:
    """How often the outlines run round each point, by the crossings of a ray to the right."""
    import shapely

    x, y = shapely.get_x(points), shapely.get_y(points)
    right = max(starts.real.max(), ends.real.max()) + 1
    rays = shapely.linestrings(np.stack([np.stack([x, y], 1), np.stack([np.full_like(x, right), y], 1)], axis=1))
    winding = np.zeros(len(points), dtype=int)
    for first in range(0, len(rays), _CHUNK):
        ray, edge = tree.query(rays[first : first + _CHUNK])
        ray = ray + first
        a, b = starts[edge], ends[edge]
        up = (a.imag <= y[ray]) & (y[ray] < b.imag)
        down = (b.imag <= y[ray]) & (y[ray] < a.imag)
        rise = np.where(up | down, b.imag - a.imag, 1.0)
        beyond = a.real + (y[ray] - a.imag) / rise * (b.real - a.real) > x[ray]
        np.add.at(winding, ray[up & beyond], 1)
        np.add.at(winding, ray[down & beyond], -1)
    return winding


def _refuse_scribble(edges: np.ndarray, tree: Any) -> None:
    met = 0
    for first in range(0, len(edges), _CHUNK):
        met += tree.query(edges[first : first + _CHUNK], predicate="intersects").shape[1]
        crossings = (met - 3 * min(first + _CHUNK, len(edges))) // 2  # each meets itself and its two neighbours
        if crossings > MAX_CROSSINGS:
            raise ValueError(f"it crosses itself over {MAX_CROSSINGS:,} times")


def _closed(ring: np.ndarray) -> np.ndarray:
    ring = np.append(ring, ring[0])
    keep = np.append(True, ring[1:] != ring[:-1])
    return ring[keep]


def _xy(points: np.ndarray) -> np.ndarray:
    return np.stack([points.real, points.imag], axis=-1)
