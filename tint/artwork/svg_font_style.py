"""Values of the CSS properties that choose a font: the `font` shorthand, sizes, weights, spacings and family lists.

Values that refer to the element above (`em`, `%`, `bolder`) are settled while styles are inherited, so that the reader of
text finds plain numbers. What cannot be read stays as written; the reader of text refuses it with its place.

References
----------
CSS Fonts Module Level 4, W3C Working Draft (2024), sections 2.2 (relative weights), 2.5 (size) and 2.7 (shorthand).
"""

from __future__ import annotations

import re

from tint.artwork.svg_values import length

# What is inherited and has a say in how text looks; `svg_text` allows few values of most.
TEXT_INHERITED = frozenset(
    "baseline-shift direction dominant-baseline font font-family font-feature-settings font-kerning font-language-override "
    "font-optical-sizing font-palette font-size font-size-adjust font-stretch font-style font-variant "
    "font-variant-alternates font-variant-caps font-variant-east-asian font-variant-emoji font-variant-ligatures "
    "font-variant-numeric font-variant-position font-variation-settings font-weight glyph-orientation-horizontal "
    "glyph-orientation-vertical kerning letter-spacing text-anchor text-combine-upright text-decoration "
    "text-decoration-line text-emphasis text-emphasis-style text-indent text-rendering text-shadow text-transform "
    "white-space white-space-collapse word-spacing writing-mode xml:lang xml:space".split()
)
WIDTH_CLASS = {  # CSS Fonts Level 4, section 2.3, and OpenType 1.9, OS/2.usWidthClass
    "ultra-condensed": 1, "50%": 1, "extra-condensed": 2, "62.5%": 2, "condensed": 3, "75%": 3, "semi-condensed": 4,
    "87.5%": 4, "normal": 5, "100%": 5, "semi-expanded": 6, "112.5%": 6, "expanded": 7, "125%": 7, "extra-expanded": 8,
    "150%": 8, "ultra-expanded": 9, "200%": 9,
}  # fmt: skip
GENERIC = frozenset(
    "serif sans-serif monospace cursive fantasy system-ui ui-serif ui-sans-serif ui-monospace ui-rounded math emoji "
    "fangsong -apple-system blinkmacsystemfont".split()
)
_SIZE = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)(em|%)", re.IGNORECASE)
_WEIGHT = re.compile(r"normal|bold|bolder|lighter|\d+(?:\.\d+)?", re.IGNORECASE)
_DECORATIONS = ("text-decoration", "text-decoration-line")
# Order matters: spacings in em need the size.
_SETTLED = ("font-size", "font-weight", "letter-spacing", "word-spacing", *_DECORATIONS)


def settle(style: dict[str, str], own: dict[str, str], parent: dict[str, str]) -> None:
    """Nothing; values in `style` that an element's `own` style relates to its `parent` become plain ones."""
    for name in _SETTLED:
        if name not in own or name not in style:
            continue
        value = style[name].strip().lower()
        if name == "font-size":
            style[name] = _times(value, parent.get("font-size"))
        elif name == "font-weight" and value in ("bolder", "lighter") and own[name].strip().lower() == value:
            style[name] = _relative_weight(value, parent.get("font-weight", "normal"))
        elif name in _DECORATIONS:
            if value.split()[:1] == ["none"]:
                style[name] = parent.get(name, "none")  # a line drawn for an ancestor runs through all of its text
        elif not value.endswith("%"):
            style[name] = _times(value, style.get("font-size"))


def _times(value: str, size: str | None) -> str:
    """`value` in px where it is in em or % of `size`."""
    match = _SIZE.fullmatch(value)
    if not match or size is None:
        return value
    try:
        px = length(size, 0.0)
    except ValueError:
        return value
    return repr(float(match.group(1)) / (100 if match.group(2) == "%" else 1) * px)


def _relative_weight(word: str, above: str) -> str:
    try:
        weight = font_weight(above)
    except ValueError:
        return word
    steps = ((350, 400), (550, 700), (900, 900)) if word == "bolder" else ((100, weight), (550, 100), (750, 400))
    return repr(next((new for below, new in steps if weight < below), weight if word == "bolder" else 700))


def font_weight(text: str) -> float:
    """Weight, 1..1000.

    Raises
    ------
    ValueError
        Something else.
    """
    text = text.strip().lower()
    try:
        weight = {"normal": 400.0, "bold": 700.0}.get(text) or float(text)
    except ValueError:
        weight = 0.0
    if not 1 <= weight <= 1000:
        raise ValueError(f"font-weight {text[:24]!r} cannot be read")
    return weight


def font_families(text: str) -> list[tuple[str, bool]]:
    """Family names in order, and whether each is a generic word rather than a name.

    Examples
    --------
    >>> font_families("'Otter  Sans', River Serif, serif")
    [('Otter  Sans', False), ('River Serif', False), ('serif', True)]
    """
    found = []
    for item in re.findall(r"""(?:"[^"]*"|'[^']*'|[^,])+""", text):
        item = item.strip()
        if item[:1] in ("'", '"') and item[-1:] == item[:1] and len(item) > 1:
            found.append((item[1:-1].strip(), False))
        elif item:
            name = " ".join(item.split())
            found.append((name, name.lower() in GENERIC))
    return found


def font_longhands(text: str) -> dict[str, str] | None:
    """What a `font` shorthand sets; None where it cannot be read.

    Examples
    --------
    >>> longhands = font_longhands("italic bold 12px/30px 'Otter Sans', serif")
    >>> longhands["font-style"], longhands["font-weight"], longhands["font-size"], longhands["font-family"]
    ('italic', 'bold', '12px', "'Otter Sans', serif")
    """
    names = ("font-style", "font-variant", "font-weight", "font-stretch", "font-size", "font-family")
    if text.strip().lower() in ("inherit", "initial", "unset"):
        return dict.fromkeys(names, text.strip())
    found = dict.fromkeys(names, "normal") | {"font-kerning": "auto", "font-feature-settings": "normal"}
    rest = text.strip()
    while match := re.match(r"([a-z0-9.-]+)\s+", rest, re.IGNORECASE):
        word = match.group(1).lower()
        if word in ("italic", "oblique"):
            name = "font-style"
        elif word == "small-caps":
            name = "font-variant"
        elif word in WIDTH_CLASS and word != "normal":
            name = "font-stretch"
        elif word != "normal" and _WEIGHT.fullmatch(word):
            name = "font-weight"
        elif word != "normal":
            break
        else:
            name = ""
        if name:
            found[name] = word
        rest = rest[match.end() :]
    match = re.fullmatch(r"([^\s/]+)\s*(?:/\s*[^\s]+\s+|\s)\s*(.+)", rest, re.DOTALL)
    if not match:
        return None
    found["font-size"], found["font-family"] = match.group(1), match.group(2)
    return found
