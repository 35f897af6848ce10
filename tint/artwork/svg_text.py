"""Text of a drawing as the outlines of its letters, where the font it asks for is installed.

A text element is read as the standard has it: blanks are collapsed, each character gets the position its innermost element
lists for it, the pieces between absolute positions ("chunks") are shaped and set against their anchor. Whatever would
make another viewer, or another computer, show other letters is refused by `TextRefusal`, never approximated: a font that is
not installed, a generic family, slanted or emboldened stand-ins, text on a path, turned letters, writing that runs from
the right or from the top, lines drawn through text.

References
----------
Scalable Vector Graphics (SVG) 2, W3C Candidate Recommendation (2018), chapter 11; Scalable Vector Graphics (SVG) 1.1
(Second Edition), W3C Recommendation (2011), section 10.11 (chunks). CSS Text Module Level 3, W3C Candidate
Recommendation (2024), section 4.1 (blanks) and 8 (spacing).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from tint.artwork.svg_font_style import WIDTH_CLASS, font_families, font_weight
from tint.artwork.svg_fonts import CONVERT, FontShelf, FontWish, TextRefusal, script_runs
from tint.artwork.svg_paint import word
from tint.artwork.svg_path import Subpath
from tint.artwork.svg_scene import Place
from tint.artwork.svg_tree import Node, Refusals, computed, refuse_style
from tint.artwork.svg_values import length, number, part

SKIPPED = frozenset(
    {"title", "desc", "metadata", "script", "style", "animate", "animateMotion", "animateTransform", "set"}
)
MAX_CHARACTERS = 20_000  # of one text; a page of print has some 3000
# Values that leave text as it is; any other value of these properties is something tint does not do.
PLAIN = {
    "alignment-baseline": ("auto", "baseline", "alphabetic"),
    "baseline-shift": ("baseline", "0", "0px", "0%"),
    "direction": ("ltr",),
    "dominant-baseline": ("auto", "alphabetic"),
    "font": (),
    "font-feature-settings": ("normal",),
    "font-language-override": ("normal",),
    "font-optical-sizing": ("auto", "none"),
    "font-palette": ("normal",),
    "font-size-adjust": ("none",),
    "font-variant": ("normal",),
    "font-variant-alternates": ("normal",),
    "font-variant-caps": ("normal",),
    "font-variant-east-asian": ("normal",),
    "font-variant-emoji": ("normal", "text"),
    "font-variant-numeric": ("normal",),
    "font-variant-position": ("normal",),
    "font-variation-settings": ("normal",),
    "glyph-orientation-horizontal": ("auto", "0", "0deg"),
    "kerning": ("auto",),
    "text-combine-upright": ("none",),
    "text-decoration": ("none",),
    "text-decoration-line": ("none",),
    "text-emphasis": ("none",),
    "text-emphasis-style": ("none",),
    "text-indent": ("0", "0px", "0mm"),
    "text-rendering": ("auto", "optimizelegibility", "geometricprecision"),
    "text-shadow": ("none",),
    "text-transform": ("none",),
    "unicode-bidi": ("normal", "embed", "isolate", "plaintext"),
    "writing-mode": ("horizontal-tb", "lr-tb", "lr"),
}
OWN_PLAIN = {"inline-size": ("auto", "0", "0px"), "shape-inside": ("auto", "none"), "text-overflow": ("clip",)}
_POSITIONS = ("x", "y", "dx", "dy")
_FROM_THE_RIGHT = frozenset({"R", "AL", "AN", "RLE", "RLO", "RLI", "LRO", "LRE", "LRI", "PDF", "PDI", "FSI"})


@dataclass(frozen=True, eq=False)
class Lettering:
    """Letters of one element.

    Parameters
    ----------
    node : the text or tspan they stand in
    style : its computed style
    glyphs : outlines of each letter [user units]
    """

    node: Node
    style: dict[str, str]
    glyphs: tuple[tuple[Subpath, ...], ...]


@dataclass(eq=False)
class _Owner:
    """An element with text: its style, which characters are inside of it, and how these are set."""

    node: Node
    style: dict[str, str]
    parent: _Owner | None
    begin: int
    end: int = 0
    font: Any = field(default=None, repr=False)  # an OpenFont, once its style is known
    px: float = 0.0
    letter_spacing: float = 0.0
    word_spacing: float = 0.0
    features: dict[str, bool] = field(default_factory=dict)

    @property
    def shaping(self) -> tuple:
        """What must be the same for characters to be shaped together."""
        return self.font, self.px, tuple(self.features.items()), self.style.get("xml:lang", "")

    def within(self, other: _Owner) -> bool:
        """Whether it is `other` or inside of it."""
        return self is other or (self.parent is not None and self.parent.within(other))


class Typesetter:
    """Sets the texts of one drawing.

    Parameters
    ----------
    root : of the drawing; families whose fonts it brings along itself are not read
    refusals : where what cannot be marked is noted
    shelf : the fonts there are; None takes those of this computer
    """

    def __init__(self, root: Node, refusals: Refusals, shelf: FontShelf | None = None) -> None:
        self.refusals, self.shelf = refusals, shelf or FontShelf()
        self.embedded = _embedded_families(root)

    def letterings(self, node: Node, at: Place) -> list[Lettering]:
        """Letters of a text element, element by element in writing order.

        Raises
        ------
        TextRefusal
            What cannot be marked exactly.
        ValueError
            A value that cannot be read.
        """
        text = _Characters(self.refusals)
        text.gather(node, at.style, None)
        text.strip()
        shown = {id(owner) for owner in text.owner if _visible(owner)}
        if not shown:
            return []
        for owner in text.owners:
            if owner.end > owner.begin:
                _refuse_unusual(owner)
        for owner in dict.fromkeys(text.owner):
            self._settle(owner)
        return _letterings(text, _positions(text, at), shown)

    def _settle(self, owner: _Owner) -> None:
        style = owner.style
        families = tuple(font_families(style.get("font-family", "")))
        for name, generic in families:
            if not generic and " ".join(name.split()).casefold() in self.embedded:
                raise TextRefusal(f"font {name!r} is embedded in the drawing", CONVERT)
        width = style.get("font-stretch", "normal").strip().lower()
        if width not in WIDTH_CLASS:
            raise TextRefusal(f"font-stretch {width[:24]}")
        italic = word(style, "font-style", ("normal", "italic", "oblique")) != "normal"
        weight = font_weight(style.get("font-weight", "normal"))
        owner.font = self.shelf.find(FontWish(families, weight, italic, WIDTH_CLASS[width]))
        owner.px = _size(style)
        owner.letter_spacing, owner.word_spacing = (
            _spacing(style, name) for name in ("letter-spacing", "word-spacing")
        )
        if word(style, "font-kerning", ("auto", "normal", "none")) == "none":
            owner.features["kern"] = False
        ligatures = word(style, "font-variant-ligatures", ("normal", "none"))
        if ligatures == "none" or owner.letter_spacing:  # CSS Text 3, section 8.2: no optional ligatures when spaced
            owner.features |= {"liga": False, "clig": False}
        if ligatures == "none":
            owner.features |= {"calt": False}


def _embedded_families(root: Node) -> frozenset[str]:
    found: set[str] = set()
    for node in root.walk():
        if node.tag == "style":
            for block in re.findall(r"@font-face\s*\{([^}]*)\}", node.text, re.IGNORECASE):
                for value in re.findall(r"font-family\s*:([^;]*)", block, re.IGNORECASE):
                    found.update(name.casefold() for name, _ in font_families(value))
        elif node.tag == "font-face":
            found.add(node.attributes.get("font-family", "").strip("'\" ").casefold())
    return frozenset(found)


def _visible(owner: _Owner) -> bool:
    return word(owner.style, "visibility", ("visible", "hidden", "collapse")) == "visible"


# --- values ---------------------------------------------------------------------------------------------------


def _refuse_unusual(owner: _Owner) -> None:
    for name, plain in PLAIN.items():
        value = owner.style.get(name, "").strip().lower()
        if value and value not in plain:
            raise TextRefusal(f"{name} {value[:24]}", f"take {name} off, or {CONVERT}" if plain else CONVERT)
    for name, plain in OWN_PLAIN.items():
        value = owner.node.style.get(name, "").strip().lower()
        if value and value not in plain:
            raise TextRefusal(f"{name} {value[:24]}")
    for name in ("textLength", "lengthAdjust"):
        if name in owner.node.attributes:
            raise TextRefusal(name)
    if any(number(item) for item in _items(owner.node.attributes.get("rotate", ""))):
        raise TextRefusal("turned letters (rotate)")


def _size(style: dict[str, str]) -> float:
    text = style.get("font-size", "").strip().lower()
    if not text:
        raise TextRefusal("it states no font-size", f"give it one, or {CONVERT}")
    if re.fullmatch("[a-z-]+", text) or re.search("[0-9.](em|rem|ex|ch|%)$", text):
        raise TextRefusal(f"font-size {text[:24]} depends on the viewer", f"give it one in mm or px, or {CONVERT}")
    px = length(text, 0.0)
    if px < 0:
        raise ValueError(f"font-size {text[:24]} is negative")
    return px


def _spacing(style: dict[str, str], name: str) -> float:
    text = style.get(name, "normal").strip().lower()
    if text.endswith("%"):
        raise TextRefusal(f"{name} {text[:24]}", f"write it in px, or {CONVERT}")
    return 0.0 if text == "normal" else length(text, 0.0)


def _items(text: str) -> list[str]:
    return [item for item in re.split(r"\s*,\s*|\s+", text.strip()) if item]


def _positions(text: _Characters, at: Place) -> dict[str, dict[int, float]]:
    """Positions and shifts by character, those of inner elements over those of outer ones [user units]."""
    found: dict[str, dict[int, float]] = {name: {} for name in _POSITIONS}
    for owner in text.owners:
        for name in _POSITIONS:
            items = _items(owner.node.attributes.get(name, ""))
            if len(items) > 1 and any(ord(character) > 0xFFFF for character in text.character):
                raise TextRefusal(f"a list in {name} over characters beyond U+FFFF")
            hundred = at.viewport["x" not in name]
            for index, item in zip(range(owner.begin, owner.end), items, strict=False):
                em = re.fullmatch(r"(.*\d\.?)em", item, re.IGNORECASE)
                found[name][index] = number(em.group(1)) * _size(owner.style) if em else length(item, hundred)
    return found


# --- characters -----------------------------------------------------------------------------------------------


class _Characters:
    """Characters of a text element after collapsing blanks, each with the element it stands in."""

    def __init__(self, refusals: Refusals) -> None:
        self.refusals = refusals
        self.character: list[str] = []
        self.owner: list[_Owner] = []
        self.owners: list[_Owner] = []  # outer before inner
        self._blank = True  # whether the last character is a blank that swallows the next one

    def gather(self, node: Node, style: dict[str, str], parent: _Owner | None) -> None:
        """Add the characters of an element and of those inside of it."""
        owner = _Owner(node, style, parent, len(self.character))
        self.owners.append(owner)
        self._add(node.lead, owner)
        for child in node.children:
            if child.tag in ("tspan", "a"):
                self._gather_inner(child, computed(child, style), owner)
            elif child.tag and child.tag not in SKIPPED and not child.tag.startswith("html:"):
                if computed(child, style).get("display", "inline").lower() != "none":
                    raise TextRefusal(f"{child.tag} (line {child.line})")
            self._add(child.tail, owner)
        owner.end = len(self.character)

    def _gather_inner(self, node: Node, style: dict[str, str], parent: _Owner) -> None:
        if style.get("display", "inline").lower() == "none":
            return
        refuse_style(node, style, self.refusals)
        for name in ("systemLanguage", "requiredExtensions"):
            if name in node.attributes:
                raise TextRefusal(f"{name} of {node.place}")
        for name in ("transform", "clip-path"):
            if style.get(name, "none").lower() not in ("none", ""):
                raise TextRefusal(f"{name} of {node.place}", f"take it off, or {CONVERT}")
        if part(style.get("opacity", "1")) != 1:
            raise TextRefusal(f"opacity of {node.place}", f"take it off, or {CONVERT}")
        self.gather(node, style, parent)

    def _add(self, text: str, owner: _Owner) -> None:
        collapse, breaks = _blanks(owner.style)
        for character in text:
            if character in " \t\n\r":
                if character in "\n\r" and breaks and not collapse:
                    raise TextRefusal("line breaks kept by white-space", f"start each line with x and y, or {CONVERT}")
                if collapse and self._blank:
                    continue
                character, self._blank = " ", collapse
            else:
                self._blank = False
                if unicodedata.bidirectional(character) in _FROM_THE_RIGHT:
                    raise TextRefusal(f"writing from right to left ({character!r}, U+{ord(character):04X})")
            self.character.append(character)
            self.owner.append(owner)
        if len(self.character) > MAX_CHARACTERS:
            raise TextRefusal(f"over {MAX_CHARACTERS:,} characters", "split it")

    def strip(self) -> None:
        """Nothing; the blank at the end, if it collapses, is dropped."""
        if self.character and self._blank:
            self.character.pop()
            self.owner.pop()
        for owner in self.owners:
            owner.end = min(owner.end, len(self.character))


def _blanks(style: dict[str, str]) -> tuple[bool, bool]:
    """Whether blanks collapse, and whether a line break would break the line."""
    if "white-space-collapse" in style:
        value = word(style, "white-space-collapse", ("collapse", "preserve"))
        return value == "collapse", value == "preserve"
    if "white-space" in style:
        value = word(style, "white-space", ("normal", "nowrap", "pre", "pre-wrap", "break-spaces"))
        return value in ("normal", "nowrap"), value not in ("normal", "nowrap")
    return style.get("xml:space", "default") != "preserve", False


# --- setting --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Set:
    """A cluster of letters at its place."""

    owner: _Owner
    outlines: list[tuple[tuple[Subpath, ...], complex]]  # of each glyph in font units, and where from its own place
    place: complex
    advance: float


def _letterings(text: _Characters, positions: dict[str, dict[int, float]], shown: set[int]) -> list[Lettering]:
    begins = sorted({0, *positions["x"], *positions["y"]})
    pen, shift = 0j, 0.0
    found: list[tuple[_Owner, list[tuple[Subpath, ...]]]] = []
    for begin, end in zip(begins, [*begins[1:], len(text.character)], strict=True):
        if shift and begin not in positions["x"]:
            raise TextRefusal("y without x after a line with text-anchor middle or end, where viewers differ")
        pen = complex(positions["x"].get(begin, pen.real), positions["y"].get(begin, pen.imag))
        chunk, pen = _chunk(text, begin, end, pen, positions)
        shift = _anchor_shift(text, begin, end, chunk, positions)
        for item in chunk:
            if id(item.owner) not in shown or not item.owner.px:
                continue
            if not found or found[-1][0] is not item.owner:
                found.append((item.owner, []))
            scale = item.owner.px / item.owner.font.units_per_em
            for outline, offset in item.outlines:
                if outline:
                    found[-1][1].append(_placed(outline, item.place + shift + scale * offset.conjugate(), scale))
    return [Lettering(owner.node, owner.style, tuple(glyphs)) for owner, glyphs in found if glyphs]


def _anchor_shift(
    text: _Characters, begin: int, end: int, chunk: list[_Set], positions: dict[str, dict[int, float]]
) -> float:
    """How far a chunk moves to the right so that its start, middle or end is where it begins."""
    anchor = word(text.owner[begin].style, "text-anchor", ("start", "middle", "end"))
    if anchor != "start" and any(positions["dx"].get(index) for index in range(begin + 1, end)):
        raise TextRefusal(f"dx inside a line with text-anchor {anchor}, where viewers differ")
    left = min(item.place.real + min(item.advance, 0.0) for item in chunk)
    right = max(item.place.real + max(item.advance, 0.0) for item in chunk)
    return chunk[0].place.real - {"start": left, "middle": (left + right) / 2, "end": right}[anchor]


def _chunk(
    text: _Characters, begin: int, end: int, pen: complex, positions: dict[str, dict[int, float]]
) -> tuple[list[_Set], complex]:
    """Clusters from one absolute position to the next, and where the pen is after them."""
    found: list[_Set] = []
    for first, last, script in _shaping_runs(text, begin, end):
        owner = text.owner[first]
        scale = owner.px / owner.font.units_per_em
        run = "".join(text.character[first:last])
        clusters = owner.font.shaped(run, script, owner.style.get("xml:lang", ""), owner.features)
        ends = [cluster.first for cluster in clusters[1:]] + [last - first]
        for cluster, stop in zip(clusters, ends, strict=True):
            index = first + cluster.first
            mine = text.owner[index]
            inside = range(index + 1, first + stop)
            if any(text.owner[i] is not mine for i in inside) or any(
                i in positions[n] for n in ("dx", "dy") for i in inside
            ):
                raise TextRefusal(f"letters {run[cluster.first : stop]!r} that join into one are split")
            if found:
                pen += _between(found[-1].owner, mine)
            pen += complex(positions["dx"].get(index, 0.0), positions["dy"].get(index, 0.0))
            outlines = [(mine.font.outline(glyph), offset) for glyph, offset in cluster.glyphs]
            advance = cluster.advance * scale
            if run[cluster.first] in " \u00a0":
                advance += mine.word_spacing
            found.append(_Set(mine, outlines, pen, advance))
            pen += advance
    return found, pen


def _between(before: _Owner, after: _Owner) -> float:
    """Letter spacing between two letters; none goes before the first and after the last of a chunk."""
    if before.letter_spacing != after.letter_spacing and not after.within(before):
        raise TextRefusal("letter-spacing changes within a line", f"start the next part with x and y, or {CONVERT}")
    return before.letter_spacing


def _shaping_runs(text: _Characters, begin: int, end: int) -> Iterator[tuple[int, int, str]]:
    while begin < end:
        last = begin + 1
        while last < end and text.owner[last].shaping == text.owner[begin].shaping:
            last += 1
        for first, stop, script in script_runs("".join(text.character[begin:last])):
            yield begin + first, begin + stop, script
        begin = last


def _placed(outline: tuple[Subpath, ...], place: complex, scale: float) -> tuple[Subpath, ...]:
    """Outline of a glyph, y up, set on the baseline with y down."""

    def at(point: complex) -> complex:
        return place + scale * point.conjugate()

    return tuple(
        Subpath(at(subpath.start), tuple(tuple(map(at, piece)) for piece in subpath.pieces), subpath.closed)
        for subpath in outline
    )
