"""SVG artwork to closed shapes in millimetres that do not overlap.

The flow, one module a step: `svg_tree` parses the file safely, follows nothing outside it, and styles each element by
the CSS cascade. This module walks the tree as a painter would, with the transform, viewport and clip in force.
`svg_path` turns paths and basic shapes into curves and these into points within `TOLERANCE_MM`, `svg_stroke` turns
strokes into outlines, `svg_paint` says in which flat colour. `flatten` fills the outlines and cuts away what later
shapes cover, so that neighbours meet edge to edge.

Only what can be marked exactly is read: closed regions of one opaque colour. Everything else (text, gradients, patterns,
pictures, masks, filters, markers, partial opacity, scripts, animation, values that cannot be read) is refused by name
and line, all in one message; nothing is dropped silently.

References
----------
Scalable Vector Graphics (SVG) 2, W3C Candidate Recommendation (2018); Scalable Vector Graphics (SVG) 1.1 (Second
Edition), W3C Recommendation (2011), section 14 for clipping.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tint.artwork.artwork import Drawing, Shape
from tint.artwork.flatten import areas_of, cut_away_hidden, filled
from tint.artwork.svg_paint import OPAQUE, REFERENCE, Paints, pen_of, word
from tint.artwork.svg_path import MAX_POINTS, Subpath, count_points, element_subpaths, flat_points
from tint.artwork.svg_stroke import stroke_rings
from tint.artwork.svg_tree import GEOMETRY, MAX_DEPTH, Node, Refusals, computed, read_tree, refuse_style
from tint.artwork.svg_values import (
    IDENTITY,
    MM_PER_PX,
    Matrix,
    fitted,
    length,
    part,
    physical_px,
    stretch,
    times,
    transform,
    view_box,
)
from tint.errors import FileError, LimitError

TOLERANCE_MM = 0.001  # chords of curves: a fiftieth of a 0.05 mm spot; ten times this costs a 0.3 mm eye 2 % of its area
MAX_VISITS = 200_000  # elements drawn, each `use` counted anew: stops nested uses that multiply
MAX_COORDINATE_MM = 1e6  # a kilometre: a wrong number, and the lattice of `flatten` would lose its fineness
NO_AREA_MM2 = 1e-9  # a square of 0.03 µm: rounding, not artwork

SHAPES = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
WITH_MARKERS = frozenset({"path", "line", "polyline", "polygon"})
# not drawn where they stand, by the standard; those that matter are read where they are referred to
NOT_DRAWN = frozenset(
    "defs symbol clipPath linearGradient radialGradient pattern mask filter marker style title desc metadata view cursor "
    "script animate animateColor animateMotion animateTransform set discard font font-face color-profile stop".split()
)
NOT_EXACT = {
    "text": "convert text to outlines (paths)",
    "flowRoot": "convert text to outlines (paths)",
    "image": "trace pictures, or mark them as picture artwork",
    "foreignObject": "take web content out",
}


@dataclass(frozen=True)
class _Place:
    """What holds where an element is drawn."""

    matrix: Matrix  # user units to mm
    style: dict[str, str]
    viewport: tuple[float, float]  # what percentages refer to [user units]
    clip: object | None  # region [mm]; None: everything
    depth: int = 0
    using: tuple[Node, ...] = ()

    @property
    def diagonal(self) -> float:
        return math.hypot(*self.viewport) / math.sqrt(2)


def read_drawing(path: str | Path, width_mm: float | None = None) -> Drawing:
    """Drawing of an SVG file: closed, non-overlapping shapes of one flat colour each, in millimetres.

    Parameters
    ----------
    width_mm : width on the metal [mm], the height keeps the proportion; None takes the size the file states

    Raises
    ------
    FileError
        Missing, damaged or unsafe, without a size, without a visible shape, too rich, or using what cannot be marked
        exactly: then each such thing is named with its line.
    LimitError
        A width that cannot be.

    Notes
    -----
    Curves become chords within `TOLERANCE_MM`. Shapes stand in painting order; what lay under another is cut away, what
    lies outside the drawing's frame is cut off. Together they cover what the file's shapes cover, to 1e-8 mm.
    """
    if width_mm is not None and not (math.isfinite(width_mm) and width_mm > 0):
        raise LimitError(f"width {width_mm:g} mm cannot be; it is a number above 0.")
    refusals = Refusals(str(path))
    root = read_tree(path, refusals)
    try:
        box = view_box(root.attributes.get("viewBox"))
        size_px, (width, height) = _size(str(path), root, box, width_mm)
        matrix = (width / size_px[0], 0.0, 0.0, height / size_px[1], 0.0, 0.0)
        if box is not None:
            matrix = fitted(box, width, height, root.attributes.get("preserveAspectRatio"))
    except ValueError as error:
        raise FileError(f"{path}: {root.place}: {error}.") from None
    painter = _Painter(str(path), root, refusals)
    painter.draw_root(_Place(matrix, {}, box[2:] if box else size_px, _frame(IDENTITY, 0.0, 0.0, width, height)))
    refusals.raise_if_any()
    regions = cut_away_hidden([shape.region for shape in painter.shapes]) if painter.shapes else []
    shapes = tuple(
        replace(shape, region=region)
        for shape, region in zip(painter.shapes, regions, strict=True)
        if region.area > NO_AREA_MM2
    )
    if not shapes:
        raise FileError(f"{path} has no visible shape with an area: nothing to mark. Check fills, strokes and the page frame.")
    return Drawing(Path(path).stem, width, height, shapes)


def _size(
    path: str, root: Node, box: tuple[float, float, float, float] | None, width_mm: float | None
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Size of the frame in px as the file has it, and in mm on the metal."""
    stated = {name: root.style.get(name, root.attributes.get(name)) for name in ("width", "height")}
    wide, high = physical_px(stated["width"]), physical_px(stated["height"])
    if (wide is not None and wide <= 0) or (high is not None and high <= 0):
        raise ValueError(f"width {stated['width']} and height {stated['height']} leave no area")
    if box is not None and (box[2] == 0 or box[3] == 0):
        raise ValueError("its viewBox has no area")
    sized = wide is not None or high is not None
    if box is not None:
        if wide is None and high is None:
            wide, high = box[2], box[3]
        wide = high * box[2] / box[3] if wide is None else wide
        high = wide * box[3] / box[2] if high is None else high
    if wide is None or high is None:
        hint = "Give it a viewBox" if width_mm is not None else "Give it width and height in mm"
        raise FileError(f"{path} states no size: width or height is missing or relative. {hint} in the drawing program.")
    if width_mm is None:
        if not sized:
            raise FileError(f"{path} states no physical size. Say how wide it is on the metal with --width-mm.")
        return (wide, high), (wide * MM_PER_PX, high * MM_PER_PX)
    return (wide, high), (width_mm, width_mm * high / wide)


class _Painter:
    """Walks the tree and keeps what is painted, in order."""

    def __init__(self, path: str, root: Node, refusals: Refusals) -> None:
        self.path, self.root, self.refusals = path, root, refusals
        self.shapes: list[Shape] = []
        self.by_id: dict[str, Node] = {}
        self.styles: dict[Node, dict[str, str]] = {}
        self._learn(root, {})
        self.paints = Paints(self.by_id, self.styles, refusals)
        self.clips: dict[tuple, object] = {}
        self.visits = self.points = 0

    def _learn(self, node: Node, above: dict[str, str]) -> None:
        if "id" in node.attributes:
            self.by_id.setdefault(node.attributes["id"], node)
        self.styles[node] = computed(node, above)
        for child in node.children:
            self._learn(child, self.styles[node])

    # --- structure ---------------------------------------------------------------------------------------------

    def draw_root(self, at: _Place) -> None:
        """Draw the whole file inside its frame."""
        style = computed(self.root, {})
        if style.get("transform", "none").lower() not in ("none", ""):
            self.refusals.add(f"transform of {self.root.place}", "put the transform on a group")
        self._draw_inside(self.root, replace(at, style=style), {**style, "transform": "none"})

    def draw(self, node: Node, at: _Place, size: tuple[str | None, str | None] = (None, None)) -> None:
        """Draw one element; `size` is the width and height a `use` gives to a symbol or svg."""
        if not node.tag or (node.tag in NOT_DRAWN and not (node.tag == "symbol" and at.using)):
            return
        if node.tag.startswith("html:"):
            return  # refused where the tree was read
        style = computed(node, at.style)
        try:
            matrix = times(at.matrix, transform(style.get("transform", "")))
            self._draw_inside(node, replace(at, style=style, matrix=matrix, depth=at.depth + 1), style, size)
        except ValueError as error:
            self.refusals.add(f"{node.place}: {error}", "mend or redraw what is broken")

    def _draw_inside(
        self, node: Node, at: _Place, style: dict[str, str], size: tuple[str | None, str | None] = (None, None)
    ) -> None:
        self._count_visit(node, at)
        if style.get("display", "inline").lower() == "none" or not self._meant_for_us(node):
            return
        opacity = part(style.get("opacity", "1"))
        if opacity == 0:
            return
        if opacity < 1:
            self.refusals.add(f"{node.place} {opacity:.0%} opaque", OPAQUE)
            return
        refuse_style(node, style, self.refusals)
        at = self._clipped(node, at)
        if at.clip is not None and at.clip.is_empty:
            return
        if node is self.root and not at.using:
            self._draw_children(node, at)
        elif node.tag in ("g", "a"):
            self._draw_children(node, at)
        elif node.tag in ("svg", "symbol"):
            self._draw_viewport(node, at, size)
        elif node.tag == "use":
            self._draw_use(node, at)
        elif node.tag == "switch":
            for child in node.children:
                if child.tag and child.tag not in NOT_DRAWN and self._meant_for_us(child):
                    self.draw(child, at)
                    break
        elif node.tag in SHAPES:
            self._paint(node, at)
        elif node.tag in NOT_EXACT:
            self._refuse_element(node, style)
        else:
            self.refusals.add(f"unknown element {node.place}", "take unknown elements out")

    def _draw_children(self, node: Node, at: _Place) -> None:
        for child in node.children:
            self.draw(child, at)

    def _draw_viewport(self, node: Node, at: _Place, size: tuple[str | None, str | None]) -> None:
        wide, high = at.viewport
        x, y = length(self._get(node, "x") or "0", wide), length(self._get(node, "y") or "0", high)
        width = length(_set(size[0]) or _set(self._get(node, "width")) or "100%", wide)
        height = length(_set(size[1]) or _set(self._get(node, "height")) or "100%", high)
        box = view_box(node.attributes.get("viewBox"))
        if width < 0 or height < 0:
            raise ValueError(f"width {width:g}, height {height:g}: a size cannot be negative")
        if not width or not height or (box is not None and not box[2] * box[3]):
            return  # a size of 0 switches it off
        if word(at.style, "overflow", ("hidden", "visible", "auto", "scroll")) in ("hidden", "scroll"):
            at = replace(at, clip=_meet(at.clip, _frame(at.matrix, x, y, width, height)))
        inner = (1.0, 0.0, 0.0, 1.0, x, y)
        if box is not None:
            inner = times(inner, fitted(box, width, height, node.attributes.get("preserveAspectRatio")))
        self._draw_children(node, replace(at, matrix=times(at.matrix, inner), viewport=box[2:] if box else (width, height)))

    def _draw_use(self, node: Node, at: _Place) -> None:
        target = self._target(node)
        if target is None:
            return
        if target in at.using or node in at.using:
            self.refusals.add(f"{node.place} uses itself", "take the loop out")
            return
        shift = self._shift(node, at.viewport)
        at = replace(at, matrix=times(at.matrix, shift), using=(*at.using, node, target))
        self.draw(target, at, (self._get(node, "width"), self._get(node, "height")))

    def _target(self, node: Node) -> Node | None:
        href = node.attributes.get("href", "").strip()
        target = self.by_id.get(href[1:]) if href.startswith("#") else None
        if target is None:
            where = "points at nothing" if href.startswith("#") or not href else "is outside the file"
            self.refusals.add(f"{node.place}: {href[:40]!r} {where}", "embed what it points to")
        return target

    def _shift(self, node: Node, viewport: tuple[float, float]) -> Matrix:
        x, y = self._get(node, "x") or "0", self._get(node, "y") or "0"
        return (1.0, 0.0, 0.0, 1.0, length(x, viewport[0]), length(y, viewport[1]))

    def _get(self, node: Node, name: str) -> str | None:
        """Attribute, or the style that overrules it."""
        return node.style[name] if name in GEOMETRY and name in node.style else node.attributes.get(name)

    def _meant_for_us(self, node: Node) -> bool:
        if "systemLanguage" in node.attributes:
            self.refusals.add(f"{node.place} depends on the viewer's language", "keep one language")
        return "requiredExtensions" not in node.attributes  # tint has no extensions

    def _refuse_element(self, node: Node, style: dict[str, str]) -> None:
        if style.get("visibility", "visible").lower() != "visible" or (node.tag in ("text", "flowRoot") and not node.text):
            return
        shown = f"{node.tag} {node.text[:40]!r} (line {node.line})" if node.text else node.place
        self.refusals.add(shown, NOT_EXACT[node.tag])

    def _count_visit(self, node: Node, at: _Place) -> None:
        self.visits += 1
        if self.visits > MAX_VISITS or at.depth > MAX_DEPTH:
            what = f"nests deeper than {MAX_DEPTH}" if at.depth > MAX_DEPTH else f"draws over {MAX_VISITS:,} elements"
            raise FileError(f"{self.path} {what}, at {node.place}. Simplify it, or export it as PNG.")

    # --- painting ----------------------------------------------------------------------------------------------

    def _paint(self, node: Node, at: _Place) -> None:
        style = at.style
        if word(style, "visibility", ("visible", "hidden", "collapse")) != "visible":
            return
        subpaths = element_subpaths(node.tag, lambda name: self._get(node, name), at.viewport)
        if not subpaths:
            return
        if node.tag in WITH_MARKERS:
            for end in ("marker-start", "marker-mid", "marker-end"):
                if style.get(end, "none").lower() != "none":
                    self.refusals.add(f"{end} of {node.place}", "expand markers to paths")
        order = style.get("paint-order", "normal").lower().split()
        if set(order) - {"normal", "fill", "stroke", "markers"}:
            raise ValueError(f"paint-order {style['paint-order'][:24]!r} cannot be read")
        steps = [self._fill, self._stroke]
        if "stroke" in order and order.index("stroke") < (order.index("fill") if "fill" in order else len(order)):
            steps.reverse()
        for step in steps:
            step(node, at, subpaths)

    def _fill(self, node: Node, at: _Place, subpaths: list[Subpath]) -> None:
        srgb255 = None if node.tag == "line" else self.paints.flat("fill", node, at.style)
        if srgb255 is not None:
            rule = word(at.style, "fill-rule", ("nonzero", "evenodd"))
            self._keep(filled(self._rings(node, subpaths, at.matrix), rule), at, srgb255, node.place)

    def _stroke(self, node: Node, at: _Place, subpaths: list[Subpath]) -> None:
        srgb255 = self.paints.flat("stroke", node, at.style)
        factor = stretch(at.matrix)
        if srgb255 is None or factor == 0:
            return
        tolerance = TOLERANCE_MM / factor
        self._rings(node, subpaths, at.matrix)  # its limits hold for the stroke too
        pen = pen_of(node, at.style, subpaths, at.diagonal, tolerance)
        if pen is None:
            return
        rings = stroke_rings(subpaths, pen, factor, TOLERANCE_MM)
        self._count_points(sum(len(ring) for ring in rings))
        region = filled([_placed(ring, at.matrix) for ring in rings], "nonzero")
        self._keep(region, at, srgb255, f"stroke of {node.place}")

    def _keep(self, region: object, at: _Place, srgb255: tuple[int, int, int], source: str) -> None:
        region = _meet(region, at.clip)
        if region.area > NO_AREA_MM2:
            self.shapes.append(Shape(region, srgb255, source))

    def _rings(self, node: Node, subpaths: list[Subpath], matrix: Matrix) -> list[np.ndarray]:
        """Points of subpaths [mm], counted and checked."""
        factor = stretch(matrix)
        if not math.isfinite(factor):
            raise ValueError("its transform is too large")
        if factor == 0:
            return []
        corners = [abs(point) for subpath in subpaths for piece in ((subpath.start,), *subpath.pieces) for point in piece]
        if not max(corners) * factor + math.hypot(*matrix[4:]) < MAX_COORDINATE_MM:
            raise ValueError(f"it reaches beyond {MAX_COORDINATE_MM / 1000:,.0f} m")
        self._count_points(count_points(subpaths, TOLERANCE_MM / factor))
        return [_placed(flat_points(subpath, TOLERANCE_MM / factor), matrix) for subpath in subpaths]

    def _count_points(self, more: int) -> None:
        self.points += more
        if self.points > MAX_POINTS:
            raise FileError(f"{self.path} has over {MAX_POINTS:,} points. Simplify its paths, or export it as PNG.")

    # --- clipping ----------------------------------------------------------------------------------------------

    def _clipped(self, node: Node, at: _Place) -> _Place:
        text = at.style.get("clip-path", "none").strip()
        if text.lower() == "none":
            return at
        return replace(at, clip=_meet(at.clip, self._clip_region(node, text, at, ())))

    def _clip_region(self, node: Node, text: str, at: _Place, within: tuple[Node, ...]) -> object:
        """Region [mm] that a clip-path value leaves of a node."""
        import shapely

        match = REFERENCE.fullmatch(text)
        clip = self.by_id.get(match.group(1)) if match else None
        if clip is None or clip.tag != "clipPath" or match.group(2):
            self.refusals.add(f"clip-path {text[:40]!r} of {node.place}", "clip with paths inside the file")
            return shapely.Polygon()
        if clip in within:
            self.refusals.add(f"{clip.place} clips itself", "take the loop out")
            return shapely.Polygon()
        style = self.styles[clip]
        refuse_style(clip, style, self.refusals)
        matrix, viewport = at.matrix, at.viewport
        boxed = clip.attributes.get("clipPathUnits", "userSpaceOnUse") == "objectBoundingBox"
        if boxed:
            left, top, right, bottom = self._extent(node, at)
            matrix = times(matrix, (right - left, 0.0, 0.0, bottom - top, left, top))
            viewport = (1.0, 1.0)
        key = (clip, matrix, viewport)
        if key not in self.clips:
            inner = replace(at, matrix=times(matrix, transform(style.get("transform", ""))), viewport=viewport, using=())
            parts = [self._clip_part(child, style, inner, (*within, clip)) for child in clip.children]
            region = areas_of(shapely.union_all([part for part in parts if part is not None]))
            if style.get("clip-path", "none").strip().lower() != "none":
                region = _meet(region, self._clip_region(node, style["clip-path"].strip(), at, (*within, clip)))
            shapely.prepare(region)
            self.clips[key] = region
        return self.clips[key]

    def _clip_part(self, node: Node, above: dict[str, str], at: _Place, within: tuple[Node, ...]) -> object | None:
        if not node.tag or node.tag in NOT_DRAWN:
            return None
        self._count_visit(node, at)
        style = computed(node, above)
        if style.get("display", "inline").lower() == "none":
            return None
        at = replace(at, style=style, depth=at.depth + 1)
        try:
            at = replace(at, matrix=times(at.matrix, transform(style.get("transform", ""))))
            if node.tag == "use" and not at.using:
                target = self._target(node)
                shifted = replace(at, matrix=times(at.matrix, self._shift(node, at.viewport)), using=(node,))
                region = None if target is None else self._clip_part(target, style, shifted, within)
            elif node.tag in SHAPES:
                if word(style, "visibility", ("visible", "hidden", "collapse")) != "visible":
                    return None
                refuse_style(node, style, self.refusals)
                subpaths = element_subpaths(node.tag, lambda name: self._get(node, name), at.viewport)
                rings = self._rings(node, subpaths, at.matrix) if subpaths and node.tag != "line" else []
                region = filled(rings, word(style, "clip-rule", ("nonzero", "evenodd")))
            else:
                self.refusals.add(f"{node.place} in a clip path", "clip with paths")
                return None
            if region is not None and style.get("clip-path", "none").strip().lower() != "none":
                region = _meet(region, self._clip_region(node, style["clip-path"].strip(), at, within))
            return region
        except ValueError as error:
            self.refusals.add(f"{node.place}: {error}", "mend or redraw what is broken")
            return None

    def _extent(self, node: Node, at: _Place) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of what a node draws, without strokes and clips [user units of the node]."""
        factor = stretch(at.matrix) or 1.0
        points = np.concatenate([np.empty(0, complex), *self._extent_points(node, IDENTITY, at, TOLERANCE_MM / factor)])
        if not len(points):
            return 0.0, 0.0, 0.0, 0.0
        return points.real.min(), points.imag.min(), points.real.max(), points.imag.max()

    def _extent_points(self, node: Node, matrix: Matrix, at: _Place, tolerance: float) -> Iterator[np.ndarray]:
        self._count_visit(node, at)
        at = replace(at, depth=at.depth + 1)
        if node.tag in SHAPES:
            fine = tolerance / (stretch(matrix) or 1.0)
            subpaths = element_subpaths(node.tag, lambda name: self._get(node, name), at.viewport)
            self._count_points(count_points(subpaths, fine))
            for subpath in subpaths:
                yield _placed(flat_points(subpath, fine), matrix)
            return
        if node.tag == "use":
            target = self._target(node)
            drawn = () if target is None or target in at.using else (target,)
            matrix = times(matrix, self._shift(node, at.viewport))
            at = replace(at, using=(*at.using, *drawn))
        elif node.tag in ("g", "a", "switch"):
            drawn = node.children
        else:
            raise ValueError("a clip by its bounding box needs groups and shapes only")
        for child in drawn:
            if child.tag and child.tag not in NOT_DRAWN and child.style.get("display", "").lower() != "none":
                yield from self._extent_points(child, times(matrix, transform(child.style.get("transform", ""))), at, tolerance)


def _set(text: str | None) -> str | None:
    return None if text is None or text.strip().lower() in ("", "auto") else text


def _placed(points: np.ndarray, matrix: Matrix) -> np.ndarray:
    a, b, c, d, e, f = matrix
    return (a * points.real + c * points.imag + e) + 1j * (b * points.real + d * points.imag + f)


def _frame(matrix: Matrix, x: float, y: float, width: float, height: float) -> object:
    """A rectangle of user units as a region [mm]."""
    import shapely

    corners = np.array([complex(x, y), complex(x + width, y), complex(x + width, y + height), complex(x, y + height)])
    placed = _placed(corners, matrix)
    frame = shapely.Polygon(np.stack([placed.real, placed.imag], axis=1))
    shapely.prepare(frame)
    return frame


def _meet(region: object, clip: object | None) -> object:
    """What lies in both regions; None stands for everything."""
    import shapely

    if clip is None or region is None:
        return region if clip is None else clip
    if shapely.covers(clip, region):
        return region
    if shapely.covers(region, clip):
        return clip
    return areas_of(shapely.intersection(region, clip))
