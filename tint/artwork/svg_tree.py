"""SVG text to a tree of nodes: parsed without following anything, styled by the CSS cascade, each with its line.

What cannot be marked exactly is gathered in `Refusals` and told in one line at the end, so that the operator mends a
drawing once and not feature by feature. Only this module opens defusedxml, tinycss2 and cssselect2.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element
from xml.sax import SAXParseException
from xml.sax.handler import ContentHandler

from tint.artwork.svg_font_style import TEXT_INHERITED, font_longhands, settle
from tint.errors import FileError

MAX_SVG_BYTES = 64_000_000  # some 100 times a rich sign; keeps a wrong file from filling memory
MAX_ELEMENTS = 200_000  # a drawing beyond this is a traced photograph: a picture serves better
MAX_CASCADE = 10_000_000  # style rules times elements: ten seconds where every rule has to be tried on every element
MAX_DEPTH = 100  # groups in groups; real drawings stay below 20, and Python's own stack below 1000
TOLD = 5  # unsupported things spelled out in one message; more would not be read
SVG_NAMESPACE = "http://www.w3.org/2000/svg"
XLINK_NAMESPACE = "http://www.w3.org/1999/xlink"
XHTML_NAMESPACE = "http://www.w3.org/1999/xhtml"
XML_NAMESPACE = "http://www.w3.org/XML/1998/namespace"
LABEL_NAMESPACES = ("http://www.inkscape.org/namespaces/inkscape",)  # carries the layer name people typed

INHERITED = frozenset(
    "clip-rule color fill fill-opacity fill-rule marker-end marker-mid marker-start paint-order stroke stroke-dasharray "
    "stroke-dashoffset stroke-linecap stroke-linejoin stroke-miterlimit stroke-opacity stroke-width visibility".split()
).union(TEXT_INHERITED)
OWN = frozenset(
    "alignment-baseline clip clip-path display filter mask mix-blend-mode opacity overflow stop-color stop-opacity transform "
    "transform-box transform-origin unicode-bidi vector-effect".split()
)
PRESENTATION = INHERITED | OWN  # attributes that are style at the lowest rank
GEOMETRY = frozenset("x y width height cx cy r rx ry".split())  # may be styled too since SVG 2
# inherited like style, so they are kept as style
XML_ATTRIBUTES = {f"{{{XML_NAMESPACE}}}{name}": f"xml:{name}" for name in ("lang", "space")} | {"lang": "xml:lang"}
# values that change nothing; any other value of these properties is something tint does not do
HARMLESS = {
    "backdrop-filter": ("none",),
    "background": ("none", "transparent"),
    "background-color": ("transparent",),
    "background-image": ("none",),
    "border": ("none", "0"),
    "clip": ("auto",),
    "d": (),
    "filter": ("none",),
    "mask": ("none",),
    "mask-image": ("none",),
    "mix-blend-mode": ("normal",),
    "offset-path": ("none",),
    "rotate": ("none",),
    "scale": ("none",),
    "shape-inside": ("auto", "none"),
    "stroke-alignment": ("center",),
    "transform-box": ("view-box",),
    "transform-origin": ("0", "0 0", "0px 0px", "0px", "left top", "top left"),
    "translate": ("none",),
    "vector-effect": ("none",),
    "zoom": ("1", "normal"),
}
ANIMATION = frozenset({"animate", "animateColor", "animateMotion", "animateTransform", "set", "discard"})


@dataclass(frozen=True, eq=False)
class Node:
    """An element of the drawing.

    Parameters
    ----------
    tag : SVG name such as "path"; "" for an element of another language
    attributes : by plain name; `href` also stands for `xlink:href`
    style : cascaded style of this element alone, not yet inherited
    line : line of the file it starts on
    label : id or the name given in the drawing program, "" without
    text : all text inside a text element or style sheet, blanks collapsed, for messages; "" for other elements
    lead, tail : text as written, before the first child and after the element's own end
    """

    tag: str
    attributes: dict[str, str]
    style: dict[str, str]
    children: tuple[Node, ...]
    line: int
    label: str
    text: str
    lead: str = ""
    tail: str = ""

    @property
    def place(self) -> str:
        """What and where it is, such as "path 'wing' (line 12)"."""
        return f"{self.tag}{f' {self.label!r}' if self.label else ''} (line {self.line})"

    def walk(self) -> Iterator[Node]:
        """This node and every node below it, in document order."""
        yield self
        for child in self.children:
            yield from child.walk()


@dataclass(eq=False)
class Refusals:
    """What a drawing uses that cannot be marked exactly: gathered, then told in one line."""

    path: str
    found: dict[str, str] = field(default_factory=dict)

    def add(self, what: str, advice: str = "") -> None:
        """Note `what` (with its place) once, and what to do about it."""
        self.found.setdefault(what, advice)

    def raise_if_any(self) -> None:
        """Nothing, or one `FileError` that names up to `TOLD` of them and counts the rest."""
        if not self.found:
            return
        names = list(self.found)
        advices = list(dict.fromkeys(self.found[name] for name in names if self.found[name]))
        more = f", and {len(names) - TOLD} more" if len(names) > TOLD else ""
        advice = "; or ".join([*("; ".join(advices[:TOLD]),) * bool(advices), "export the drawing as PNG"])
        told = ", ".join(names[:TOLD])
        raise FileError(f"{self.path}: cannot be marked exactly: {told}{more}. {advice[0].upper()}{advice[1:]}.")


def read_tree(path: str | Path, refusals: Refusals) -> Node:
    """Root node of an SVG file; nothing outside the file is ever opened.

    Raises
    ------
    FileError
        Missing, too large, compressed, not well-formed XML, entities, or not SVG.
    """
    path = Path(path)
    root, lines = _parse(str(path), _bytes(path))
    namespace, _, name = root.tag.rpartition("}")
    if name != "svg" or namespace not in ("", "{" + SVG_NAMESPACE):
        raise FileError(f"{path} starts with {name!r}, not with svg. Export the drawing as plain SVG.")
    try:
        styles = _cascade(root, lines, namespace, refusals)
    except RecursionError:
        raise FileError(f"{path}: its styles nest too deep. Simplify them, or export the drawing as PNG.") from None
    node = _node(root, lines, styles, "" if not namespace else SVG_NAMESPACE)
    _refuse_moving_parts(node, refusals)
    return node


def _bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MAX_SVG_BYTES:
            raise FileError(f"{path} has {size / 1e6:.0f} MB; tint reads drawings up to {MAX_SVG_BYTES / 1e6:.0f} MB.")
        data = path.read_bytes()
    except FileNotFoundError:
        raise FileError(f"{path} is not there. Check the name.") from None
    except OSError as error:
        raise FileError(f"cannot read {path}: {error.strerror or error}.") from None
    if data[:2] == b"\x1f\x8b":
        raise FileError(f"{path} is compressed. Save it as plain SVG.")
    if not data.strip():
        raise FileError(f"{path} is empty. Export the drawing again.")
    return data


class _Builder(ContentHandler):
    """Elements with the line each starts on, from the events of the XML parser."""

    def __init__(self, path: str, refuse: type[FileError] = FileError) -> None:
        super().__init__()
        self.path, self.refuse = path, refuse
        self.root: Element | None = None
        self.open: list[Element] = []
        self.lines: dict[Element, int] = {}
        self.said: list[str] = []  # text since the last tag; the parser gives a piece per line, and adding each costs all before it

    _locator: Any  # the parser sets it before the first event

    @property
    def line(self) -> int:
        return self._locator.getLineNumber()

    def startElementNS(self, name: Any, qname: str | None, attrs: Any) -> None:
        self._flush()
        element = Element(_braced(name), {_braced(key): value for key, value in attrs.items()})
        self.lines[element] = self.line
        if len(self.lines) > MAX_ELEMENTS:
            raise self.refuse(f"{self.path} has over {MAX_ELEMENTS:,} elements. Simplify it, or export it as PNG.")
        if len(self.open) >= MAX_DEPTH:
            raise self.refuse(f"{self.path} line {self.line}: groups nest deeper than {MAX_DEPTH}. Ungroup some.")
        if self.open:
            self.open[-1].append(element)
        else:
            self.root = element
        self.open.append(element)

    def endElementNS(self, name: Any, qname: str | None) -> None:
        self._flush()
        self.open.pop()

    def characters(self, content: str) -> None:
        self.said.append(content)

    def _flush(self) -> None:
        content, self.said = "".join(self.said), []
        if not content:
            return
        parent = self.open[-1]
        if len(parent):
            parent[-1].tail = content
        else:
            parent.text = content

    def skippedEntity(self, name: str) -> None:
        raise self.refuse(
            f"{self.path} line {self.line}: entity &{name}; is not explained in the file. Save it as plain SVG."
        )

    def processingInstruction(self, target: str, data: str) -> None:
        if target == "xml-stylesheet":
            raise self.refuse(
                f"{self.path} line {self.line}: a style sheet outside the file; tint opens none. Embed it."
            )


def _braced(name: tuple[str | None, ...]) -> str:
    return f"{{{name[0]}}}{name[1]}" if name[0] else str(name[1])


def _parse(path: str, data: bytes) -> tuple[Element, dict[Element, int]]:
    import io

    from defusedxml.common import DefusedXmlException
    from defusedxml.expatreader import DefusedExpatParser

    # A plain DOCTYPE line is common and harmless: the parser never opens what it points to, and entities are refused.
    parser = DefusedExpatParser(namespaceHandling=1, forbid_dtd=False, forbid_entities=True, forbid_external=False)
    builder = _Builder(path)
    parser.setContentHandler(builder)
    try:
        parser.parse(io.BytesIO(data))
    except DefusedXmlException:
        line = parser.getLineNumber()
        raise FileError(
            f"{path} line {line}: defines XML entities, which tint refuses. Save it as plain SVG."
        ) from None
    except SAXParseException as error:
        where = f"line {error.getLineNumber()}, column {(error.getColumnNumber() or 0) + 1}"
        raise FileError(
            f"{path} {where}: not well-formed XML ({error.getMessage()}). Export the drawing again."
        ) from None
    except (UnicodeError, LookupError, ValueError) as error:
        raise FileError(f"{path}: its text encoding cannot be read ({error}). Save it as UTF-8.") from None
    assert builder.root is not None  # the parser refuses a file without an element
    return builder.root, builder.lines


def _node(element: Element, lines: dict[Element, int], styles: dict[Element, dict[str, str]], svg: str) -> Node:
    namespace, _, name = element.tag.rpartition("}")
    namespace = namespace.lstrip("{")
    attributes: dict[str, str] = {}
    label = ""
    for key, value in element.attrib.items():
        space, _, plain = key.rpartition("}")
        if not space:
            attributes[plain] = value
        elif space[1:] == XLINK_NAMESPACE and plain == "href":
            attributes.setdefault("href", value)
        elif space[1:] in LABEL_NAMESPACES and plain == "label":
            label = value
    if namespace == svg:
        tag = name
    else:
        tag = f"html:{name}" if namespace == XHTML_NAMESPACE else ""
    children = tuple(_node(child, lines, styles, svg) for child in element)
    text = " ".join("".join(element.itertext()).split()) if name in ("text", "flowRoot", "style") else ""
    label = " ".join((label or attributes.get("id", "")).split())
    return Node(
        tag, attributes, styles[element], children, lines[element], label, text, element.text or "", element.tail or ""
    )


def _refuse_moving_parts(root: Node, refusals: Refusals) -> None:
    for node in root.walk():
        if node.tag == "script" or (node.tag.startswith("html:") and node.tag != "html:style"):
            refusals.add(node.place, "take scripts and web content out")
        elif node.tag in ANIMATION:
            refusals.add(f"animation {node.place}", "take animation out")
        for name in node.attributes:
            if name.startswith("on") and node.tag:
                refusals.add(f"script {name} of {node.place}", "take scripts and web content out")


# --- the cascade ------------------------------------------------------------------------------------------------


def _cascade(
    root: Element, lines: dict[Element, int], namespace: str, refusals: Refusals
) -> dict[Element, dict[str, str]]:
    """Style of every element: attributes, then sheets by selector weight, then `style`; !important above them all."""
    import cssselect2
    import tinycss2

    matcher = cssselect2.Matcher()
    prefix = f"{namespace}}}" if namespace else ""
    rules = sum(
        _add_sheet(element, lines[element], matcher, refusals) for element in root.iter(f"{prefix}style")
    )
    elements = len(lines)
    if rules * elements > MAX_CASCADE:
        raise FileError(
            f"{refusals.path} has {rules:,} style rules for {elements:,} elements, too many. Simplify it, or export it as PNG."
        )
    styles: dict[Element, dict[str, str]] = {}
    for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
        element = wrapper.etree_element
        ranked: dict[str, tuple[tuple, str]] = {}

        def offer(name: str, value: str, rank: tuple, ranked: dict = ranked) -> None:
            if name not in ranked or rank >= ranked[name][0]:
                ranked[name] = (rank, value)

        for key, value in element.attrib.items():
            if key in PRESENTATION:
                offer(key, value.strip(), (False, 0, ()))
            elif key in XML_ATTRIBUTES:
                offer(XML_ATTRIBUTES[key], value.strip(), (False, 0, ()))
        try:
            matches = matcher.match(wrapper)
        except RecursionError:
            raise FileError(
                f"{refusals.path}: a style sheet selects by siblings over thousands of elements. Use classes."
            ) from None
        for specificity, _order, pseudo, declarations in matches:
            if pseudo is None:
                for name, value, important in declarations:
                    offer(name, value, (important, 1, specificity))
        if inline := element.get("style"):
            place = f"style of {element.tag.rpartition('}')[2]} (line {lines[element]})"
            for name, value, important in _declarations(tinycss2.parse_blocks_contents(inline), place, refusals):
                offer(name, value, (important, 2, ()))
        styles[element] = {name: value for name, (_, value) in ranked.items()}
    return styles


def _add_sheet(element: Element, line: int, matcher: Any, refusals: Refusals) -> int:
    """How many selectors a `style` element added to the matcher."""
    import cssselect2
    import tinycss2

    place = f"style sheet (line {line})"
    if element.get("type", "text/css").strip().lower() not in ("text/css", ""):
        refusals.add(f"{place} of type {element.get('type')!r}", "use CSS")
        return 0
    if element.get("media", "all").strip().lower() not in ("all", "screen", ""):
        refusals.add(f"{place} for media {element.get('media')!r}", "use styles that hold for every medium")
        return 0
    added = 0
    text = "".join(element.itertext())
    for rule in tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True):
        where = f"(line {line + rule.source_line - 1})"
        if rule.type == "error":
            refusals.add(f"broken CSS {where}", "mend the style sheet")
        elif rule.type == "at-rule":
            if rule.lower_at_keyword in ("import", "media", "supports", "keyframes", "layer", "container", "namespace"):
                refusals.add(f"CSS @{rule.lower_at_keyword} {where}", "use plain rules inside the file")
        else:
            try:
                selectors = cssselect2.compile_selector_list(rule.prelude)
            except cssselect2.SelectorError:
                shown = tinycss2.serialize(rule.prelude).strip()[:40]
                refusals.add(f"CSS selector {shown!r} {where}", "use simple selectors")
                continue
            declarations = list(_declarations(tinycss2.parse_blocks_contents(rule.content), f"CSS {where}", refusals))
            for selector in selectors:
                matcher.add_selector(selector, declarations)
            added += len(selectors)
    return added


def _declarations(tokens: Any, place: str, refusals: Refusals) -> Iterator[tuple[str, str, bool]]:
    import tinycss2

    for item in tokens:
        if item.type == "declaration":
            value = tinycss2.serialize([token for token in item.value if token.type != "comment"]).strip()
            longhands = font_longhands(value) if item.lower_name == "font" else None
            for name, part in (longhands or {item.lower_name: value}).items():
                yield name, part, item.important
        elif item.type not in ("whitespace", "comment"):
            refusals.add(f"broken CSS in {place}", "mend the style")


def computed(node: Node, parent: dict[str, str]) -> dict[str, str]:
    """Style of a node with what it inherits from its parent's computed style."""
    style = {name: value for name, value in parent.items() if name in INHERITED}
    marker = node.style.get("marker")
    own = {f"marker-{end}": marker for end in ("start", "mid", "end")} | node.style if marker else node.style
    for name, value in own.items():
        word = value.lower()
        if word == "inherit":
            if name in parent:
                style[name] = parent[name]
            else:
                style.pop(name, None)
        elif word in ("initial", "unset", "revert"):
            if word == "initial" or name not in INHERITED:
                style.pop(name, None)
        else:
            style[name] = value
    settle(style, own, parent)
    return style


def refuse_style(node: Node, style: dict[str, str], refusals: Refusals) -> None:
    """Nothing; notes each property of a drawn element whose effect tint does not reproduce."""
    for name in node.style:
        value = style.get(name)
        if value is None or name.startswith("--"):
            continue
        word = re.sub(r"\s+", " ", value.lower())
        if "var(" in word or "calc(" in word or "env(" in word:
            if name in PRESENTATION or name in HARMLESS or name in GEOMETRY:
                refusals.add(f"{name} {value!r} of {node.place}", "write plain values instead of CSS variables")
        elif name in HARMLESS and word not in HARMLESS[name]:
            idle = name.startswith("transform-") and "transform" not in style
            idle |= name == "vector-effect" and style.get("stroke", "none").lower() == "none"
            if not idle:
                refusals.add(f"{name} of {node.place}", _property_advice(name))
        elif (name.startswith("animation") and word != "none") or name == "all":
            refusals.add(f"{name} of {node.place}", "take animation out")
        elif "image-set(" in word or (name in PRESENTATION and re.search(r"url\(\s*['\"]?(?!\s*['\"]?#)", word)):
            refusals.add(f"{name} {value[:40]!r} of {node.place} (outside the file)", "embed what it points to")


def _property_advice(name: str) -> str:
    return {
        "filter": "take filters off",
        "mask": "use a clip path instead of a mask",
        "mask-image": "use a clip path instead of a mask",
        "mix-blend-mode": "flatten blending in the drawing program",
        "vector-effect": "expand strokes to outlines",
    }.get(name, f"take {name} off")
