"""Clip paths: the regions that `clip-path` lets through, in millimetres.

References
----------
Scalable Vector Graphics (SVG) 1.1 (Second Edition), W3C Recommendation (2011), section 14.3, "Clipping paths".
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from tint.artwork.flatten import areas_of, filled
from tint.artwork.svg_paint import REFERENCE, word
from tint.artwork.svg_path import count_points, flat_points
from tint.artwork.svg_scene import NOT_DRAWN, SHAPES, TOLERANCE_MM, Place, Scene, meet, placed, refuse_far
from tint.artwork.svg_tree import Node, computed, refuse_style
from tint.artwork.svg_values import IDENTITY, Matrix, stretch, times, transform


class Clips:
    """The clip paths of one drawing; one used many times in one place is built once."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.built: dict[tuple, Any] = {}

    def clipped(self, node: Node, at: Place) -> Place:
        """Where a node is drawn, narrowed by its own clip path."""
        text = at.style.get("clip-path", "none").strip()
        if text.lower() == "none":
            return at
        return replace(at, clip=meet(at.clip, self._region(node, text, at, ())))

    def _region(self, node: Node, text: str, at: Place, within: tuple[Node, ...]) -> Any | None:
        """Region [mm] that a clip-path value leaves of a node; None where it was refused."""
        import shapely

        match = REFERENCE.fullmatch(text)
        clip = self.scene.by_id.get(match.group(1)) if match else None
        if match is None or clip is None or clip.tag != "clipPath" or match.group(2):
            self.scene.refusals.add(f"clip-path {text[:40]!r} of {node.place}", "clip with paths inside the file")
            return None
        if clip in within:
            self.scene.refusals.add(f"{clip.place} clips itself", "take the loop out")
            return None
        style = self.scene.styles[clip]
        refuse_style(clip, style, self.scene.refusals)
        matrix, viewport = times(at.matrix, transform(style.get("transform", ""))), at.viewport
        boxed = clip.attributes.get("clipPathUnits", "userSpaceOnUse") == "objectBoundingBox"
        if boxed:
            left, top, right, bottom = self._extent(node, at)
            matrix = times(matrix, (right - left, 0.0, 0.0, bottom - top, left, top))
            viewport = (1.0, 1.0)
        key = (clip, matrix, viewport)
        if key not in self.built:
            inner = replace(at, matrix=matrix, viewport=viewport, using=())
            parts = [self._part(child, style, inner, (*within, clip)) for child in clip.children]
            region = areas_of(shapely.union_all([part for part in parts if part is not None]))
            shapely.prepare(region)
            self.built[key] = region
        region = self.built[key]
        if style.get("clip-path", "none").strip().lower() != "none":  # not kept: it may depend on the node's bounding box
            region = meet(region, self._region(node, style["clip-path"].strip(), at, (*within, clip)))
            shapely.prepare(region)
        return region

    def _part(self, node: Node, above: dict[str, str], at: Place, within: tuple[Node, ...]) -> Any | None:
        if not node.tag or node.tag in NOT_DRAWN:
            return None
        self.scene.count_visit(node, at)
        style = computed(node, above)
        if style.get("display", "inline").lower() == "none":
            return None
        at = replace(at, style=style, depth=at.depth + 1)
        try:
            at = replace(at, matrix=self.scene.own_matrix(node, style, at))
            if node.tag == "use" and not at.using:
                target = self.scene.target(node)
                region = None if target is None else self._part(target, style, replace(at, using=(node,)), within)
            elif node.tag in SHAPES:
                if word(style, "visibility", ("visible", "hidden", "collapse")) != "visible":
                    return None
                refuse_style(node, style, self.scene.refusals)
                subpaths = self.scene.subpaths(node, at)
                rings = self.scene.rings(node, subpaths, at.matrix) if subpaths and node.tag != "line" else []
                region = filled(rings, word(style, "clip-rule", ("nonzero", "evenodd")))
            else:
                self.scene.refusals.add(f"{node.place} in a clip path", "clip with paths")
                return None
            if region is not None and style.get("clip-path", "none").strip().lower() != "none":
                region = meet(region, self._region(node, style["clip-path"].strip(), at, within))
            return region
        except ValueError as error:
            self.scene.refusals.add(f"{node.place}: {error}", "mend or redraw what is broken")
            return None

    def _extent(self, node: Node, at: Place) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of what a node draws, without strokes and clips [user units of the node]."""
        factor = stretch(at.matrix) or 1.0
        points = np.concatenate([np.empty(0, complex), *self._extent_points(node, IDENTITY, at, TOLERANCE_MM / factor)])
        if not len(points):
            return 0.0, 0.0, 0.0, 0.0
        return points.real.min(), points.imag.min(), points.real.max(), points.imag.max()

    def _extent_points(self, node: Node, matrix: Matrix, at: Place, tolerance: float) -> Iterator[np.ndarray]:
        self.scene.count_visit(node, at)
        at = replace(at, depth=at.depth + 1)
        if node.tag in SHAPES:
            fine = tolerance / (stretch(matrix) or 1.0)
            subpaths = self.scene.subpaths(node, at)
            refuse_far(subpaths, times(at.matrix, matrix))
            self.scene.count_points(count_points(subpaths, fine))
            for subpath in subpaths:
                yield placed(flat_points(subpath, fine), matrix)
            return
        if node.tag == "use":
            target = self.scene.target(node)
            drawn: tuple[Node, ...] = () if target is None or target in at.using else (target,)
            at = replace(at, using=(*at.using, *drawn))
        elif node.tag in ("g", "a"):
            drawn = node.children
        else:
            raise ValueError("a clip by its bounding box needs groups and shapes only")
        for child in drawn:
            used = node.tag == "use"  # a symbol is drawn where it is used
            if child.tag and (used or child.tag not in NOT_DRAWN) and child.style.get("display", "").lower() != "none":
                inner = self.scene.own_matrix(child, child.style, replace(at, matrix=matrix))
                yield from self._extent_points(child, inner, at, tolerance)
