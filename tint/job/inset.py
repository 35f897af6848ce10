"""Spot compensation: layers inset by part of the spot, strokes too narrow for that kept as centre lines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.layers.layers import Layers
from tint.process import process
from tint.setting import Machine

MOST_INSET_SPOT = 1.0  # a beam marks at most half a spot beyond its path; the rest is room for a spot stated too small
SAMPLES_PER_WIDTH = 4  # boundary points along a length as long as the stroke is wide; fewer roughen the centre line
LEAST_STEP = 0.2  # of the narrowest half width scan lines can fill: hairs thinner than this are sampled no finer
# A stroke cuts off more boundary than a corner does: along a stroke, from its end on, twice the width or more; at a
# right-angled corner 1.41 times the chord, at a round end 1.57 times. Tips sharper than 70° keep their centre line.
STROKE_RATIO = 1.75
SHARP_CORNERS = 5.0  # mitre limit: corners down to 23° stay sharp
SIMPLIFY_SHARE = 0.02  # of that half width: how far a centre line may leave the middle to need fewer corners
TRUE_SHARE = 0.98  # of a distance: GEOS keeps to about 1 %, and arcs are drawn to 0.5 %
ARC_SEGMENTS = 8  # straight pieces per quarter circle: 0.5 % of the inset


@dataclass(frozen=True)
class Vanished:
    """A place of a layer that neither scan lines nor a centre line can mark after the inset.

    Parameters
    ----------
    number, name : the layer's
    area_mm2 : area lost [mm²]
    x_mm, y_mm : where, from the artwork's top left corner [mm]
    """

    number: int
    name: str
    area_mm2: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True, eq=False)
class Inset:
    """Layers made smaller by part of the spot; every tuple has one entry per palette colour, number 1 first.

    Parameters
    ----------
    inset_mm : how far each layer's border moved inwards [mm], 0 where unused
    regions : shapely MultiPolygons [mm], what scan lines fill
    centre_lines : shapely MultiLineStrings [mm], the middle of strokes too narrow for scan lines
    vanished : what is in neither, largest first
    """

    inset_mm: tuple[float, ...]
    regions: tuple[Any, ...]
    centre_lines: tuple[Any, ...]
    vanished: tuple[Vanished, ...]


def inset_layers(layers: Layers, machine: Machine, inset_spot: float) -> Inset:
    """Layers inset by `inset_spot` times the spot that each layer's focus gives, 0.5 being half a spot.

    Raises
    ------
    LimitError
        The inset is negative, above one spot or not a number, or nothing would be left of the artwork.

    Notes
    -----
    A beam whose middle follows the border marks up to half a spot beyond it; how far depends on colour and setting,
    and is narrower than the 1/e² spot. That is why no inset is made unless asked for: too much leaves bare hairlines.
    """
    if not 0 <= inset_spot <= MOST_INSET_SPOT:  # NaN is refused too
        raise LimitError(
            f"an inset of {inset_spot:g} spots cannot be; it is 0 (none) to {MOST_INSET_SPOT:g}, 0.5 is half a spot. Change --inset-spot."
        )
    import shapely

    amounts, regions, lines, vanished = [], [], [], []
    for number, (colour, outline) in enumerate(zip(layers.palette.colours, layers.outlines, strict=True), 1):
        used = number in layers.used
        amount = inset_spot * float(process(colour.setting, machine).spot_mm) if used else 0.0
        spacing = float(colour.setting.spacing_mm)
        region, centre, lost = (
            inset_outline(outline, amount, spacing) if used else (outline, shapely.MultiLineString(), [])
        )
        amounts.append(amount)
        regions.append(region)
        lines.append(centre)
        places = [(part.area, part.representative_point()) for part in lost]
        vanished += [
            Vanished(number, colour.name, round(area, 6), round(place.x, 3), round(place.y, 3))
            for area, place in places
        ]
    if all(region.is_empty for region in regions) and all(line.is_empty for line in lines):
        raise LimitError(
            f"an inset of {inset_spot:g} spots ({max(amounts):.3g} mm) leaves nothing of {layers.name}. Choose a smaller "
            "--inset-spot, or larger artwork."
        )
    vanished.sort(key=lambda lost: -lost.area_mm2)
    return Inset(tuple(amounts), tuple(regions), tuple(lines), tuple(vanished))


def inset_remark(inset: Inset, inset_spot: float) -> str:
    """One line for the operator: how far, what became centre lines, what is gone."""
    widest_mm = max(inset.inset_mm)
    parts = [
        f"Inset: the drawings are {inset_spot:g} of the spot ({widest_mm:.3g} mm) smaller on every side, the masks are not"
    ]
    length_mm = sum(line.length for line in inset.centre_lines)
    if length_mm:
        parts.append(f"{length_mm:.1f} mm of narrow strokes became centre lines")
    if inset.vanished:
        first = inset.vanished[0]
        count = "1 place" if len(inset.vanished) == 1 else f"{len(inset.vanished)} places"
        parts.append(
            f"{count} ({sum(lost.area_mm2 for lost in inset.vanished):.2g} mm²) too small to mark, the largest of "
            f"{first.name} at {first.x_mm:g}, {first.y_mm:g} mm"
        )
    return "; ".join(parts) + "."


def inset_outline(outline: Any, inset_mm: float, spacing_mm: float) -> tuple[Any, Any, list[Any]]:
    """Region for scan lines (MultiPolygon), centre lines (MultiLineString), and the parts that vanish (polygons).

    Parameters
    ----------
    outline : shapely Polygon or MultiPolygon [mm]
    inset_mm : how far the border moves inwards [mm]; 0 gives the outline back
    spacing_mm : distance between scan lines [mm]; after the inset a region at least this wide is left everywhere

    Notes
    -----
    What a disc of diameter 2 · inset + spacing reaches inside the outline becomes region. The rest is corners, which the
    disc rounds off, and strokes, which reach farther than the disc's radius from what it covers. Strokes get their
    medial axis, as far as it is farther than the inset from what the disc covers: there the two marks meet. A stroke
    whose axis is shorter than the disc's radius has none; it counts as vanished where nothing is left of its part, or
    where it is larger than the disc.
    """
    import shapely

    parts = shapely.get_parts(outline)
    parts = parts[~shapely.is_empty(parts)]
    if inset_mm == 0 or not len(parts):
        return shapely.MultiPolygon(list(parts)), shapely.MultiLineString(), []
    reach_mm = inset_mm + spacing_mm / 2
    core = eroded(parts, reach_mm)
    wide = shapely.buffer(core, spacing_mm / 2, join_style="mitre", mitre_limit=SHARP_CORNERS)
    regions = shapely.intersection(wide, eroded(parts, inset_mm))
    filled = [piece for piece in shapely.get_parts(shapely.get_parts(regions)) if piece.geom_type == "Polygon"]
    region = shapely.MultiPolygon([piece for piece in filled if piece.area > 0])
    beyond = shapely.difference(parts, shapely.buffer(core, 2 * reach_mm, quad_segs=ARC_SEGMENTS))
    long = np.flatnonzero(~shapely.is_empty(beyond))
    if not len(long):
        return region, shapely.MultiLineString(), list(parts[shapely.is_empty(core)])
    covered = shapely.buffer(core[long], reach_mm * 1.001, quad_segs=ARC_SEGMENTS)
    pieces, owner = shapely.get_parts(shapely.difference(parts[long], covered), return_index=True)
    reaches = shapely.intersects(pieces, beyond[long][owner])
    strokes = _Strokes(parts[long], pieces[reaches], owner[reaches], shapely.buffer(covered, inset_mm), reach_mm)
    centre, marked = _centre_lines(strokes)
    large = shapely.area(strokes.pieces) > math.pi * reach_mm**2
    gone = shapely.is_empty(core)
    gone[long[strokes.owner[marked]]] = False
    lost = [*parts[gone], *strokes.pieces[large & ~marked & ~gone[long[strokes.owner]]]]
    return region, centre, lost


def eroded(parts: np.ndarray, by_mm: float) -> np.ndarray:
    """What is left (n,) of polygons (n,) when their borders move inwards [mm]; empty where nothing is.

    Notes
    -----
    Where a stroke is about twice as wide as the distance, GEOS now and then leaves a splinter of it that is nearer to the
    border than asked; such splinters are taken out.
    """
    import shapely

    left = shapely.buffer(parts, -by_mm, quad_segs=ARC_SEGMENTS)
    pieces, owner = shapely.get_parts(left, return_index=True)
    apart_mm = shapely.distance(shapely.boundary(parts[owner]), shapely.point_on_surface(pieces))
    wrong = apart_mm < by_mm * TRUE_SHARE
    for index in np.unique(owner[wrong]):
        left[index] = shapely.MultiPolygon(pieces[(owner == index) & ~wrong].tolist())
    return left


@dataclass(frozen=True, eq=False)
class _Strokes:
    """Strokes (n,), the part each belongs to (n,), of each part what scan lines mark, and the disc's radius [mm]."""

    parts: np.ndarray
    pieces: np.ndarray
    owner: np.ndarray
    filled: np.ndarray
    reach_mm: float


def _centre_lines(strokes: _Strokes) -> tuple[Any, np.ndarray]:
    """Centre lines of all strokes outside what scan lines mark, and which strokes have one (n,)."""
    import shapely
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    marked = np.zeros(len(strokes.pieces), dtype=bool)
    nodes, edges = _medial_axis(strokes)
    middle = shapely.points(nodes[edges].mean(axis=1))
    edge, piece = shapely.STRtree(strokes.pieces).query(middle, predicate="intersects")
    owner = strokes.owner[piece]
    shapely.prepare(strokes.parts)
    shapely.prepare(strokes.filled)
    kept = ~shapely.intersects(strokes.filled[owner], middle[edge])
    for end in edges[edge].T:
        kept &= shapely.intersects(strokes.parts[owner], shapely.points(nodes[end]))
    piece, edges = piece[kept], edges[edge[kept]]
    graph = coo_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(len(nodes), len(nodes)))
    count, component = connected_components(graph, directed=False)
    component = component[edges[:, 0]]
    length_mm = np.bincount(component, np.hypot(*(nodes[edges[:, 0]] - nodes[edges[:, 1]]).T), count)
    long = length_mm[component] >= strokes.reach_mm
    if not long.any():
        return shapely.MultiLineString(), marked
    marked[piece[long]] = True
    merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(nodes[edges[long]])))
    return shapely.MultiLineString(
        list(shapely.get_parts(shapely.simplify(merged, strokes.reach_mm * SIMPLIFY_SHARE)))
    ), marked


def _medial_axis(strokes: _Strokes) -> tuple[np.ndarray, np.ndarray]:
    """Nodes (n, 2) [mm] and edges (m, 2) of the parts' medial axes near their strokes, without branches into corners.

    Notes
    -----
    Between points on two sides of a stroke runs an edge of the boundary's Voronoi diagram. A branch is judged by how
    much boundary lies between its two points, against their distance (see `STROKE_RATIO`); two rings are never one
    corner. One diagram serves all parts: inside a part its own boundary is nearest.

    References
    ----------
    R. L. Ogniewicz, O. Kübler, Hierarchic Voronoi skeletons, Pattern Recognition 28(3):343–359, 1995,
    doi 10.1016/0031-3203(94)00105-U (from memory): branches of Voronoi skeletons judged by the boundary they cut off.
    """
    from scipy.spatial import QhullError, Voronoi

    points, ring, along_mm, around_mm = _boundary(strokes)
    try:
        diagram = Voronoi(points)
    except (QhullError, ValueError):  # fewer than four points, or all on one line: no stroke
        return np.empty((0, 2)), np.empty((0, 2), dtype=np.int64)
    one, other = diagram.ridge_points.T
    edges = np.array(diagram.ridge_vertices)
    chord = np.hypot(*(points[one] - points[other]).T)
    cut = np.abs(along_mm[one] - along_mm[other])
    cut = np.minimum(cut, around_mm[ring[one]] - cut)
    kept = (edges >= 0).all(axis=1) & ((ring[one] != ring[other]) | (cut > STROKE_RATIO * chord))
    kept &= chord <= 2.2 * strokes.reach_mm
    return _fused(diagram.vertices, edges[kept], strokes.reach_mm * 1e-4)


def _fused(nodes: np.ndarray, edges: np.ndarray, apart_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """The same graph with nodes that lie on each other made one: four points on a circle give two such nodes."""
    used, edges = np.unique(edges, return_inverse=True)
    _, first, name = np.unique(np.round(nodes[used] / apart_mm), axis=0, return_index=True, return_inverse=True)
    edges = name.reshape(-1)[edges.reshape(-1, 2)]
    return nodes[used][first], np.unique(np.sort(edges[edges[:, 0] != edges[:, 1]], axis=1), axis=0)


def _boundary(strokes: _Strokes) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Points (n, 2) on the rings near strokes, the ring of each (n,), its place along it (n,), and the rings' lengths [mm]."""
    import shapely

    reach_mm = strokes.reach_mm
    rings, part = shapely.get_rings(strokes.parts, return_index=True)
    width_mm = np.full(len(strokes.parts), 2 * reach_mm)
    thickness_mm = 2 * shapely.area(strokes.pieces) / np.maximum(shapely.length(strokes.pieces), 1e-12)
    np.minimum.at(width_mm, strokes.owner, thickness_mm)
    step_mm = np.maximum(width_mm / SAMPLES_PER_WIDTH, LEAST_STEP * reach_mm)[part]
    corners, ring = shapely.get_coordinates(rings, return_index=True)
    same = np.flatnonzero(ring[1:] == ring[:-1])
    near, _ = shapely.STRtree(strokes.pieces).query(
        shapely.linestrings(np.stack([corners[same], corners[same + 1]], axis=1)),
        predicate="dwithin",
        distance=2 * reach_mm,
    )
    length_mm = np.hypot(*(corners[same + 1] - corners[same]).T)
    begun_mm = np.concatenate([[0], np.cumsum(length_mm)])[:-1]  # a ring's own start is the same for all its points
    near = np.unique(near)
    edge = same[near]
    count = np.maximum(np.ceil(length_mm[near] / step_mm[ring[edge]]), 1).astype(np.int64)
    at = np.repeat(np.arange(len(near)), count)
    share = (np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)) / count[at]
    points = corners[edge[at]] + share[:, None] * (corners[edge[at] + 1] - corners[edge[at]])
    along_mm = begun_mm[near[at]] + share * length_mm[near[at]]
    return points, ring[edge[at]], along_mm, shapely.length(rings)
