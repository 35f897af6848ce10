"""SVG artwork to closed shapes in millimetres that do not overlap.

The flow, one module a step: `svg_tree` parses the file safely, follows nothing outside it, and styles each element by
the CSS cascade. This module walks the tree as a painter would, with the transform, viewport and clip in force
(`svg_scene` holds these and the limits on size, `svg_clip` the clip paths).
`svg_path` turns paths and basic shapes into curves and these into points within `TOLERANCE_MM`, `svg_stroke` turns
strokes into outlines, `svg_text` sets text as outlines in fonts of this computer (`svg_fonts`), `svg_paint` says in
which flat colour. `flatten` fills the outlines and cuts away what later
shapes cover, so that neighbours meet edge to edge.

Only what can be marked exactly is read: closed regions of one opaque colour. Everything else (text in a font that is not
installed, gradients, patterns, pictures, masks, filters, markers, partial opacity, scripts, animation, values that cannot
be read) is refused by name and line, all in one message; nothing is dropped silently.

References
----------
Scalable Vector Graphics (SVG) 2, W3C Candidate Recommendation (2018); Scalable Vector Graphics (SVG) 1.1 (Second
Edition), W3C Recommendation (2011), section 14 for clipping.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from tint.artwork.artwork import Drawing, Shape
from tint.artwork.flatten import areas_of, cut_away_hidden, filled
from tint.artwork.svg_clip import Clips
from tint.artwork.svg_fonts import TextRefusal
from tint.artwork.svg_paint import OPAQUE, Paints, opaque_words, pen_of, word
from tint.artwork.svg_path import Subpath
from tint.artwork.svg_scene import (
    MAX_COORDINATE_MM,
    NO_AREA_MM2,
    NOT_DRAWN,
    SHAPES,
    TOLERANCE_MM,
    Place,
    Scene,
    frame,
    meet,
    placed,
)
from tint.artwork.svg_stroke import stroke_rings
from tint.artwork.svg_text import Typesetter
from tint.artwork.svg_tree import Node, Refusals, computed, read_tree, refuse_style
from tint.artwork.svg_values import (
    IDENTITY,
    MM_PER_PX,
    fitted,
    length,
    part,
    physical_px,
    stretch,
    times,
    view_box,
)
from tint.errors import FileError, LimitError

Size = tuple[str | None, str | None]  # width and height as written
WITH_MARKERS = frozenset({"path", "line", "polyline", "polygon"})
NOT_EXACT = {
    "flowRoot": "convert text to outlines (paths)",
    "image": "trace pictures, or mark them as picture artwork",
    "foreignObject": "take web content out",
}


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
    lies outside the drawing's frame is cut off. Together they cover what the file's shapes cover, to 1e-9 mm. Fonts are
    taken from this computer; the environment variable TINT_FONTS lists further folders or files, which come first.
    """
    if width_mm is not None and not 0 < width_mm < MAX_COORDINATE_MM:
        raise LimitError(f"width {width_mm:g} mm cannot be; it is a number above 0 and below {MAX_COORDINATE_MM:,.0f} mm.")
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
    painter = _Painter(Scene(str(path), root, refusals))
    painter.draw_root(Place(matrix, {}, box[2:] if box else size_px, frame(IDENTITY, 0.0, 0.0, width, height)))
    refusals.raise_if_any()
    regions = cut_away_hidden([shape.region for shape in painter.shapes]) if painter.shapes else []
    shapes = tuple(
        replace(shape, region=region)
        for shape, region in zip(painter.shapes, regions, strict=True)
        if region.area > NO_AREA_MM2
    )
    if not shapes:
        raise FileError(
            f"{path} has no visible shape with an area: nothing to mark. Check fills, strokes and page frame."
        )
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
        if wide is None and high is not None:
            wide = high * box[2] / box[3]
        if high is None and wide is not None:
            high = wide * box[3] / box[2]
    if wide is None or high is None:
        hint = "Give it a viewBox" if width_mm is not None else "Give it width and height in mm"
        raise FileError(
            f"{path} states no size: width or height is missing or relative. {hint} in the drawing program."
        )
    if width_mm is None:
        if not sized:
            raise FileError(f"{path} states no physical size. Say how wide it is on the metal with --width-mm.")
        return (wide, high), (wide * MM_PER_PX, high * MM_PER_PX)
    return (wide, high), (width_mm, width_mm * high / wide)


class _Painter:
    """Walks the tree and keeps what is painted, in order."""

    def __init__(self, scene: Scene) -> None:
        self.scene, self.refusals = scene, scene.refusals
        self.shapes: list[Shape] = []
        self.paints = Paints(scene.by_id, scene.styles, scene.refusals)
        self.clips = Clips(scene)
        self.typesetter = Typesetter(scene.root, scene.refusals)

    # --- structure ---------------------------------------------------------------------------------------------

    def draw_root(self, at: Place) -> None:
        """Draw the whole file inside its frame."""
        root = self.scene.root
        style = computed(root, {})
        if style.get("transform", "none").lower() not in ("none", ""):
            self.refusals.add(f"transform of {root.place}", "put the transform on a group")
        self._try(root, lambda: self._draw_inside(root, replace(at, style=style)))

    def draw(self, node: Node, at: Place, size: Size = (None, None)) -> None:
        """Draw one element; `size` is the width and height a `use` gives to a symbol or svg."""
        used_symbol = node.tag == "symbol" and at.using[-1:] == (node,)
        if not node.tag or node.tag.startswith("html:") or (node.tag in NOT_DRAWN and not used_symbol):
            return
        style = computed(node, at.style)

        def inside() -> None:
            matrix = self.scene.own_matrix(node, style, at)
            self._draw_inside(node, replace(at, style=style, matrix=matrix, depth=at.depth + 1), size)

        self._try(node, inside)

    def _try(self, node: Node, draw: Callable[[], None]) -> None:
        try:
            draw()
        except ValueError as error:
            self.refusals.add(f"{node.place}: {error}", "mend or redraw what is broken")

    def _draw_inside(self, node: Node, at: Place, size: Size = (None, None)) -> None:
        self.scene.count_visit(node, at)
        if at.style.get("display", "inline").lower() == "none" or not self._meant_for_us(node):
            return
        opacity = part(at.style.get("opacity", "1"))
        if opacity == 0:
            return
        if opacity < 1:
            self.refusals.add(f"{node.place} {opaque_words(opacity)}", OPAQUE)
        refuse_style(node, at.style, self.refusals)
        at = self.clips.clipped(node, at)
        if at.clip is not None and at.clip.is_empty:
            return
        if node is self.scene.root or node.tag in ("g", "a"):
            self._draw_children(node, at)
        elif node.tag in ("svg", "symbol"):
            self._draw_viewport(node, at, size)
        elif node.tag == "use":
            self._draw_use(node, at)
        elif node.tag == "switch":
            drawn = (child for child in node.children if child.tag and child.tag not in NOT_DRAWN)
            for child in [child for child in drawn if self._meant_for_us(child)][:1]:
                self.draw(child, at)
        elif node.tag in SHAPES:
            self._paint(node, at)
        elif node.tag == "text":
            self._paint_text(node, at)
        elif node.tag in NOT_EXACT:
            self._refuse_element(node, at.style)
        else:
            self.refusals.add(f"unknown element {node.place}", "take unknown elements out")

    def _draw_children(self, node: Node, at: Place) -> None:
        for child in node.children:
            self.draw(child, at)

    def _draw_viewport(self, node: Node, at: Place, size: Size) -> None:
        wide, high = at.viewport
        x, y = length(self.scene.get(node, "x") or "0", wide), length(self.scene.get(node, "y") or "0", high)
        width = length(_set(size[0]) or _set(self.scene.get(node, "width")) or "100%", wide)
        height = length(_set(size[1]) or _set(self.scene.get(node, "height")) or "100%", high)
        box = view_box(node.attributes.get("viewBox"))
        if width < 0 or height < 0:
            raise ValueError(f"width {width:g}, height {height:g}: a size cannot be negative")
        if not width or not height or (box is not None and not box[2] * box[3]):
            return  # a size of 0 switches it off
        if word(at.style, "overflow", ("hidden", "visible", "auto", "scroll")) in ("hidden", "scroll"):
            at = replace(at, clip=meet(at.clip, frame(at.matrix, x, y, width, height)))
        inner = (1.0, 0.0, 0.0, 1.0, x, y)
        if box is not None:
            inner = times(inner, fitted(box, width, height, node.attributes.get("preserveAspectRatio")))
        self._draw_children(
            node, replace(at, matrix=times(at.matrix, inner), viewport=box[2:] if box else (width, height))
        )

    def _draw_use(self, node: Node, at: Place) -> None:
        target = self.scene.target(node)
        if target is None:
            return
        if target in at.using or node in at.using:
            self.refusals.add(f"{node.place} uses itself", "take the loop out")
            return
        at = replace(at, using=(*at.using, node, target))
        self.draw(target, at, (self.scene.get(node, "width"), self.scene.get(node, "height")))

    def _meant_for_us(self, node: Node) -> bool:
        if "systemLanguage" in node.attributes:
            self.refusals.add(f"{node.place} depends on the viewer's language", "keep one language")
        return "requiredExtensions" not in node.attributes  # tint has no extensions

    def _refuse_element(self, node: Node, style: dict[str, str]) -> None:
        if style.get("visibility", "visible").lower() != "visible" or (node.tag == "flowRoot" and not node.text):
            return
        shown = f"{node.tag} {node.text[:40]!r} (line {node.line})" if node.text else node.place
        self.refusals.add(shown, NOT_EXACT[node.tag])

    # --- painting ----------------------------------------------------------------------------------------------

    def _paint(self, node: Node, at: Place) -> None:
        style = at.style
        if word(style, "visibility", ("visible", "hidden", "collapse")) != "visible":
            return
        subpaths = self.scene.subpaths(node, at)
        if not subpaths:
            return
        if node.tag in WITH_MARKERS:
            for end in ("marker-start", "marker-mid", "marker-end"):
                if style.get(end, "none").lower() != "none":
                    self.refusals.add(f"{end} of {node.place}", "expand markers to paths")
        self._paint_outlines(node, at, [subpaths], node.place)

    def _paint_text(self, node: Node, at: Place) -> None:
        """Letters of each element are filled together, then stroked, or the other way round, as its paint-order says."""
        shown = f"text {node.text[:40]!r} (line {node.line})"
        try:
            for part_of_text in self.typesetter.letterings(node, at):
                inner = replace(at, style=part_of_text.style)
                if part_of_text.style.get("stroke-dasharray", "none").lower() not in ("none", ""):
                    raise TextRefusal("a dashed stroke, which starts where the font maker drew first")
                self._paint_outlines(part_of_text.node, inner, [list(glyph) for glyph in part_of_text.glyphs], shown)
        except TextRefusal as refusal:
            self.refusals.add(f"{shown}: {refusal}", refusal.advice)

    def _paint_outlines(self, node: Node, at: Place, outlines: list[list[Subpath]], source: str) -> None:
        style = at.style
        order = style.get("paint-order", "normal").lower().split()
        if set(order) - {"normal", "fill", "stroke", "markers"}:
            raise ValueError(f"paint-order {style['paint-order'][:24]!r} cannot be read")
        steps = [self._fill, self._stroke]
        if "stroke" in order and order.index("stroke") < (order.index("fill") if "fill" in order else len(order)):
            steps.reverse()
        for step in steps:
            step(node, at, outlines, source)

    def _fill(self, node: Node, at: Place, outlines: list[list[Subpath]], source: str) -> None:
        srgb255 = None if node.tag == "line" else self.paints.flat("fill", node, at.style)
        if srgb255 is not None:
            # letters have the rule of their fonts, whatever fill-rule says
            rule = word(at.style, "fill-rule", ("nonzero", "evenodd")) if node.tag in SHAPES else "nonzero"
            regions = [filled(self.scene.rings(node, subpaths, at.matrix), rule) for subpaths in outlines]
            self._keep(regions[0] if len(regions) == 1 else _united(regions), at, srgb255, source)

    def _stroke(self, node: Node, at: Place, outlines: list[list[Subpath]], source: str) -> None:
        srgb255 = self.paints.flat("stroke", node, at.style)
        factor = stretch(at.matrix)
        if srgb255 is None or factor == 0:
            return
        tolerance = TOLERANCE_MM / factor
        regions = []
        for subpaths in outlines:
            self.scene.rings(node, subpaths, at.matrix)  # its limits hold for the stroke too
            pen = pen_of(node, at.style, subpaths, at.diagonal, tolerance)
            if pen is None:
                return
            if pen.width * factor > MAX_COORDINATE_MM:
                raise ValueError(f"stroke-width {pen.width:g} is too large")
            rings = stroke_rings(subpaths, pen, factor, TOLERANCE_MM)
            self.scene.count_points(sum(len(ring) for ring in rings))
            regions.append(filled([placed(ring, at.matrix) for ring in rings], "nonzero"))
        self._keep(regions[0] if len(regions) == 1 else _united(regions), at, srgb255, f"stroke of {source}")

    def _keep(self, region: Any, at: Place, srgb255: tuple[int, int, int], source: str) -> None:
        region = meet(region, at.clip)
        if region.area > NO_AREA_MM2:
            self.shapes.append(Shape(region, srgb255, source))


def _united(regions: list[Any]) -> Any:
    import shapely

    return areas_of(shapely.union_all(regions))


def _set(text: str | None) -> str | None:
    return None if text is None or text.strip().lower() in ("", "auto") else text
