"""What an element is painted with: its flat colour, and the pen of its stroke.

A gradient whose stops are all one colour is that colour. Any other paint is not flat; it raises `ValueError` with
what was found, and the reader of the drawing adds the place.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from tint.artwork.svg_path import Subpath, path_length
from tint.artwork.svg_stroke import Pen
from tint.artwork.svg_tree import Node, Refusals
from tint.artwork.svg_values import colour, length, number, part

REFERENCE = re.compile(r"""url\(\s*['"]?\s*#([^'")]*?)\s*['"]?\s*\)\s*(.*)""", re.DOTALL | re.IGNORECASE)
FLAT = "use flat fills"
OPAQUE = "make colours fully opaque"


class Paints:
    """Colours of fills and strokes in one drawing.

    Parameters
    ----------
    by_id : nodes by their id
    styles : computed style of every node where it stands in the document
    """

    def __init__(self, by_id: dict[str, Node], styles: dict[Node, dict[str, str]], refusals: Refusals) -> None:
        self.by_id, self.styles, self.refusals = by_id, styles, refusals

    def flat(self, kind: str, node: Node, style: dict[str, str]) -> tuple[int, int, int] | None:
        """sRGB [0..255] of an element's "fill" or "stroke"; None where there is none or it was refused.

        Raises
        ------
        ValueError
            A colour that cannot be read.
        """
        text = style.get(kind, "black" if kind == "fill" else "none").strip()
        current = style.get("color", "black")
        opacity = part(style.get(f"{kind}-opacity", "1"))
        if text.lower() == "none" or opacity == 0:
            return None
        if text.lower().startswith("url("):
            match = REFERENCE.fullmatch(text)
            if not match:
                self.refusals.add(f"{kind} {text[:40]!r} of {node.place} (outside the file)", "embed what it points to")
                return None
            target = self.by_id.get(match.group(1))
            if target is None and match.group(2):
                return self.flat(kind, node, {**style, kind: match.group(2)})
            found = self._referred(kind, node, match.group(1), target)
        elif text.lower().startswith("context-"):
            raise ValueError(f"{kind} {text} belongs to markers")
        else:
            found = colour(text, current)
        if found is None or found[1] == 0:
            return None
        if found[1] * opacity < 1:
            self.refusals.add(f"{kind} of {node.place} {opaque_words(found[1] * opacity)}", OPAQUE)
            return None
        return found[0]

    def _referred(
        self, kind: str, node: Node, name: str, target: Node | None
    ) -> tuple[tuple[int, int, int], float] | None:
        what = "missing paint"
        if target is not None and target.tag in ("linearGradient", "radialGradient"):
            stops = self._stops(target)
            if not stops:
                return None  # SVG 2, section 14.2.4.2: no stops paint nothing
            if len(set(stops)) == 1:
                return stops[0]
            what = "gradient"
        elif target is not None:
            what = target.tag
        self.refusals.add(f"{what} {name!r} in {kind} of {node.place}", FLAT)
        return None

    def _stops(self, gradient: Node) -> list[tuple[tuple[int, int, int], float]]:
        seen: set[Node] = set()
        while gradient not in seen:
            seen.add(gradient)
            stops = [child for child in gradient.children if child.tag == "stop"]
            if stops:
                return [self._stop(stop) for stop in stops]
            following = self.by_id.get(gradient.attributes.get("href", "").strip().removeprefix("#"))
            if following is None:
                return []
            gradient = following
        return []

    def _stop(self, stop: Node) -> tuple[tuple[int, int, int], float]:
        style = self.styles[stop]
        srgb, alpha = colour(style.get("stop-color", "black"), style.get("color", "black"))
        return srgb, alpha * part(style.get("stop-opacity", "1"))


def opaque_words(opacity: float) -> str:
    """An opacity below 1 in words.

    Examples
    --------
    >>> opaque_words(0.5), opaque_words(254 / 255), opaque_words(0.99999)
    ('50% opaque', '99.6% opaque', '99.9% opaque')
    """
    return f"{opacity:.0%} opaque" if opacity < 0.99 else f"{min(opacity, 0.999):.1%} opaque"


def word(style: dict[str, str], name: str, allowed: Sequence[str]) -> str:
    """Keyword of a property, the first of `allowed` where it is not set.

    Raises
    ------
    ValueError
        Any other word.
    """
    found = style.get(name, allowed[0]).strip().lower()
    if found not in allowed:
        raise ValueError(f"{name} {found[:24]!r} is not one of {', '.join(allowed)}")
    return found


def pen_of(
    node: Node, style: dict[str, str], subpaths: Sequence[Subpath], diagonal: float, tolerance: float
) -> Pen | None:
    """Pen of an element's stroke; None for a width of 0.

    Parameters
    ----------
    diagonal : what 100 % of a stroke length stands for [user units]
    tolerance : of measuring the line where `pathLength` scales its dashes [user units]

    Raises
    ------
    ValueError
        A value that cannot be read or cannot be.
    """
    width = length(style.get("stroke-width", "1"), diagonal)
    if width < 0:
        raise ValueError(f"stroke-width {width:g} is negative")
    if width == 0:
        return None
    limit = number(style.get("stroke-miterlimit", "4"))
    if limit < 1:
        raise ValueError(f"stroke-miterlimit {limit:g} is below 1")
    dashes, offset = _dashes(style, diagonal)
    if dashes and "pathLength" in node.attributes:
        stated = number(node.attributes["pathLength"])
        if stated <= 0:
            raise ValueError(f"pathLength {stated:g} is not above 0")
        factor = sum(path_length(subpath, tolerance) for subpath in subpaths) / stated
        dashes, offset = tuple(dash * factor for dash in dashes), offset * factor
    return Pen(
        width,
        word(style, "stroke-linecap", ("butt", "round", "square")),
        word(style, "stroke-linejoin", ("miter", "round", "bevel")),
        limit,
        dashes if sum(dashes) > 0 else (),
        offset,
    )


def _dashes(style: dict[str, str], diagonal: float) -> tuple[tuple[float, ...], float]:
    text = style.get("stroke-dasharray", "none").strip()
    if text.lower() in ("none", ""):
        return (), 0.0
    dashes = tuple(length(item, diagonal) for item in re.split(r"\s*,\s*|\s+", text))
    if min(dashes) < 0:
        raise ValueError(f"stroke-dasharray {text[:24]!r} has a negative length")
    if len(dashes) % 2:
        dashes *= 2
    offset = length(style.get("stroke-dashoffset", "0"), diagonal)
    return dashes, math.fmod(offset, sum(dashes)) if sum(dashes) > 0 else 0.0
