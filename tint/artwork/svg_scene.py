"""What every part of reading a drawing shares: the document, where something is drawn, and the limits on size."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.artwork.flatten import areas_of
from tint.artwork.svg_path import MAX_POINTS, Subpath, count_points, element_subpaths, flat_points
from tint.artwork.svg_tree import GEOMETRY, MAX_DEPTH, Node, Refusals, computed
from tint.artwork.svg_values import Matrix, length, stretch, times, transform
from tint.errors import FileError

TOLERANCE_MM = (
    0.001  # chords of curves: a fiftieth of a 0.05 mm spot; ten times this costs a 0.3 mm eye 2 % of its area
)
MAX_VISITS = 100_000  # elements drawn, each `use` counted anew: stops nested uses that multiply
MAX_COORDINATE_MM = 1e6  # a kilometre: a wrong number, and the lattice of `flatten` would lose its fineness
NO_AREA_MM2 = 1e-9  # a square of 0.03 µm: rounding, not artwork

SHAPES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
# not drawn where they stand, by the standard; those that matter are read where they are referred to
NOT_DRAWN = frozenset(
    "defs symbol clipPath linearGradient radialGradient pattern mask filter marker style title desc metadata view cursor "
    "script animate animateColor animateMotion animateTransform set discard font font-face color-profile stop".split()
)


@dataclass(frozen=True)
class Place:
    """What holds where an element is drawn.

    Parameters
    ----------
    matrix : user units to mm
    style : computed style that is inherited there
    viewport : width and height that percentages refer to [user units]
    clip : region that is let through [mm]; None lets everything
    depth : how many elements it is inside of
    using : each `use` it is inside of, and what that draws
    """

    matrix: Matrix
    style: dict[str, str]
    viewport: tuple[float, float]
    clip: Any | None
    depth: int = 0
    using: tuple[Node, ...] = ()

    @property
    def diagonal(self) -> float:
        """What 100 % of a length that is neither width nor height stands for [user units]."""
        return math.hypot(*self.viewport) / math.sqrt(2)


class Scene:
    """A drawing's document with its counts: elements drawn and points made, both limited."""

    def __init__(self, path: str, root: Node, refusals: Refusals) -> None:
        self.path, self.root, self.refusals = path, root, refusals
        self.by_id: dict[str, Node] = {}
        self.styles: dict[Node, dict[str, str]] = {}
        self._learn(root, {})
        self.visits = self.points = 0

    def _learn(self, node: Node, above: dict[str, str]) -> None:
        if "id" in node.attributes:
            self.by_id.setdefault(node.attributes["id"], node)
        self.styles[node] = computed(node, above)
        for child in node.children:
            self._learn(child, self.styles[node])

    def target(self, node: Node) -> Node | None:
        """What a `use` draws; None, and refused, where that is not in the file."""
        href = node.attributes.get("href", "").strip()
        target = self.by_id.get(href[1:]) if href.startswith("#") else None
        if target is None:
            where = "points at nothing" if href.startswith("#") or not href else "is outside the file"
            self.refusals.add(f"{node.place}: {href[:40]!r} {where}", "embed what it points to")
        return target

    def own_matrix(self, node: Node, style: dict[str, str], at: Place) -> Matrix:
        """Matrix to mm inside of a node, from the place around it: its transform, then the x and y of a `use`.

        These hold for the clip path of the `use` too: SVG 1.1, section 5.6, appends them to its transform.
        """
        matrix = times(at.matrix, transform(style.get("transform", "")))
        if node.tag != "use":
            return matrix
        x, y = self.get(node, "x") or "0", self.get(node, "y") or "0"
        return times(matrix, (1.0, 0.0, 0.0, 1.0, length(x, at.viewport[0]), length(y, at.viewport[1])))

    def get(self, node: Node, name: str) -> str | None:
        """Attribute, or the style that overrules it."""
        return node.style[name] if name in GEOMETRY and name in node.style else node.attributes.get(name)

    def subpaths(self, node: Node, at: Place) -> list[Subpath]:
        """Subpaths of a path or basic shape [user units]."""
        return element_subpaths(node.tag, lambda name: self.get(node, name), at.viewport)

    def count_visit(self, node: Node, at: Place) -> None:
        """Nothing; raises `FileError` where the drawing draws too many elements or nests too deep."""
        self.visits += 1
        if self.visits > MAX_VISITS or at.depth > MAX_DEPTH:
            what = f"nests deeper than {MAX_DEPTH}" if at.depth > MAX_DEPTH else f"draws over {MAX_VISITS:,} elements"
            raise FileError(f"{self.path} {what}, at {node.place}. Simplify it, or export it as PNG.")

    def rings(self, node: Node, subpaths: list[Subpath], matrix: Matrix) -> list[np.ndarray]:
        """Complex points (n,) of each subpath [mm], counted and checked."""
        factor = stretch(matrix)
        if not math.isfinite(factor):
            raise ValueError("its transform is too large")
        if factor == 0:
            return []
        refuse_far(subpaths, matrix)
        self.count_points(count_points(subpaths, TOLERANCE_MM / factor))
        return [placed(flat_points(subpath, TOLERANCE_MM / factor), matrix) for subpath in subpaths]

    def count_points(self, more: int) -> None:
        """Nothing; raises `FileError` where the drawing has too many points."""
        self.points += more
        if self.points > MAX_POINTS:
            raise FileError(f"{self.path} has over {MAX_POINTS:,} points. Simplify its paths, or export it as PNG.")


def refuse_far(subpaths: list[Subpath], matrix: Matrix) -> None:
    """Nothing; raises `ValueError` where a matrix to mm carries a point of the subpaths beyond what tint reads."""
    corners = (point for subpath in subpaths for piece in ((subpath.start,), *subpath.pieces) for point in piece)
    farthest = max((math.hypot(point.real, point.imag) for point in corners), default=0.0)  # abs() runs over where this is infinite
    if not farthest * stretch(matrix) + math.hypot(*matrix[4:]) < MAX_COORDINATE_MM:
        raise ValueError(f"it reaches beyond {MAX_COORDINATE_MM / 1000:,.0f} m")


def placed(points: np.ndarray, matrix: Matrix) -> np.ndarray:
    """(n,) complex points carried by a matrix."""
    a, b, c, d, e, f = matrix
    return (a * points.real + c * points.imag + e) + 1j * (b * points.real + d * points.imag + f)


def frame(matrix: Matrix, x: float, y: float, width: float, height: float) -> Any:
    """A rectangle of user units as a region [mm]."""
    import shapely

    corners = np.array([complex(x, y), complex(x + width, y), complex(x + width, y + height), complex(x, y + height)])
    corners = placed(corners, matrix)
    region = shapely.Polygon(np.stack([corners.real, corners.imag], axis=1))
    shapely.prepare(region)
    return region


def meet(region: Any, clip: Any | None) -> Any:
    """What lies in both regions; None stands for everything."""
    import shapely

    if clip is None or region is None:
        return region if clip is None else clip
    if shapely.covers(clip, region):
        return region
    if shapely.covers(region, clip):
        return clip
    return areas_of(shapely.intersection(region, clip))
