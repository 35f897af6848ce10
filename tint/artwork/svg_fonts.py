"""Fonts installed on this computer, found by name, and the outlines of their glyphs.

Font files are looked for in the usual folders of the system, and first in what the environment variable `TINT_FONTS`
lists (folders or files, parted as in PATH). Their name tables say what they are; no program is asked. Only a font of exactly
the family, weight, slope and width asked for is taken: a nearest or slanted stand-in would mark other letters than the
drawing shows. Only this module opens fontTools and uharfbuzz.

References
----------
OpenType 1.9.1 (ISO/IEC 14496-22): tables name, OS/2, head, fvar. CSS Fonts Module Level 4, section 5.2.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from tint.artwork.svg_path import Subpath

FONTS_VARIABLE = "TINT_FONTS"
ENDINGS = (".ttf", ".otf", ".ttc", ".otc")
MAX_FILES = 20_000  # a studio's collection; stops a wrong folder such as a whole disk
CONVERT = "convert the text to outlines (paths) in the drawing program"
INSTALL = f"install it, or {CONVERT}"
_FAMILY, _TYPOGRAPHIC_FAMILY = 1, 16  # name table
_ITALIC, _BOLD, _OBLIQUE = 1 << 0, 1 << 5, 1 << 9  # OS/2.fsSelection
_COLOUR_TABLES = frozenset({"COLR", "CBDT", "sbix", "SVG "})  # plain pixels beside outlines (EBDT) do no harm


class TextRefusal(ValueError):
    """Text that cannot be marked exactly: what is in the way, and the `advice`."""

    def __init__(self, what: str, advice: str = CONVERT) -> None:
        super().__init__(what)
        self.advice = advice


@dataclass(frozen=True)
class FontWish:
    """The font a text asks for.

    Parameters
    ----------
    families : names in order of preference, and whether each is a generic word such as serif
    weight : 400 is regular, 700 bold
    width_class : 5 is normal (OpenType usWidthClass)
    """

    families: tuple[tuple[str, bool], ...]
    weight: float = 400.0
    italic: bool = False
    width_class: int = 5

    @property
    def style(self) -> str:
        """Such as "weight 700 italic"."""
        width = "" if self.width_class == 5 else f" width class {self.width_class}"
        return f"weight {self.weight:g}{' italic' if self.italic else ''}{width}"


@dataclass(frozen=True, eq=False)
class FontFile:
    """One font of a file.

    Parameters
    ----------
    families : its names in lower case; True for those of a family of four (regular, italic, bold, both) whose name
        already says how wide and heavy these are, such as "Otter Sans Narrow"
    bold : whether it is one of the bold ones among the four
    """

    path: Path
    index: int
    families: Mapping[str, bool]
    weight: float
    italic: bool
    width_class: int
    bold: bool
    variable: bool

    def fits(self, family: str, wish: FontWish) -> bool:
        """Whether it is exactly what is wished for."""
        of_four = self.families[family]
        weight = self.weight == wish.weight or (of_four and wish.weight == (700 if self.bold else 400))
        width = self.width_class == wish.width_class or (of_four and wish.width_class == 5)
        return weight and width and self.italic == wish.italic


def font_places(environment: Mapping[str, str] = os.environ, platform: str = sys.platform) -> list[Path]:
    """Folders and files in which fonts are looked for, in order."""
    home = Path(environment.get("USERPROFILE" if platform == "win32" else "HOME") or Path.home())
    named = [Path(item) for item in environment.get(FONTS_VARIABLE, "").split(os.pathsep) if item]
    if platform == "win32":
        local = Path(environment.get("LOCALAPPDATA") or home / "AppData" / "Local")
        return [
            *named,
            local / "Microsoft" / "Windows" / "Fonts",
            Path(environment.get("WINDIR") or "C:/Windows") / "Fonts",
        ]
    if platform == "darwin":
        return [*named, home / "Library" / "Fonts", Path("/Library/Fonts"), Path("/System/Library/Fonts")]
    data = Path(environment.get("XDG_DATA_HOME") or home / ".local" / "share")
    return [*named, data / "fonts", home / ".fonts", Path("/usr/local/share/fonts"), Path("/usr/share/fonts")]


def _files(places: Sequence[Path]) -> Iterator[Path]:
    seen: set[str] = set()
    count = 0
    for place in places:
        if place.is_file():
            yield place
        for folder, folders, names in os.walk(place, followlinks=True):
            real = os.path.realpath(folder)
            if real in seen:  # links in a circle
                folders.clear()
                continue
            seen.add(real)
            folders.sort()
            for name in sorted(names):
                count += 1
                if count > MAX_FILES:
                    return
                if name.lower().endswith(ENDINGS):
                    yield Path(folder, name)


def _read(path: Path) -> list[FontFile]:
    from fontTools.ttLib import TTCollection, TTFont

    try:
        with open(path, "rb") as file:
            if file.read(4) == b"ttcf":
                fonts = list(TTCollection(file, lazy=True))
            else:
                file.seek(0)
                fonts = [TTFont(file, lazy=True)]
            return [_described(path, index, font) for index, font in enumerate(fonts)]
    except Exception:  # a damaged font among hundreds is not this drawing's business; the reader raises all kinds
        return []


def _described(path: Path, index: int, font: Any) -> FontFile:
    names: dict[int, set[str]] = {_FAMILY: set(), _TYPOGRAPHIC_FAMILY: set()}
    for record in font["name"].names:
        if record.nameID in names:
            names[record.nameID].add(record.toUnicode(errors="replace").strip().casefold())
    families = dict.fromkeys(names[_FAMILY], True) | dict.fromkeys(names[_TYPOGRAPHIC_FAMILY], False)
    bold, slanted = bool(font["head"].macStyle & 1), bool(font["head"].macStyle & 2)
    weight, width_class = (700.0 if bold else 400.0), 5
    if "OS/2" in font:
        table = font["OS/2"]
        weight, width_class = float(table.usWeightClass), table.usWidthClass
        slanted |= bool(table.fsSelection & (_ITALIC | _OBLIQUE))
        bold |= bool(table.fsSelection & _BOLD)
    return FontFile(path, index, families, weight, slanted, width_class, bold, "fvar" in font)


class FontShelf:
    """Fonts of this computer; looked through once, when the first text asks."""

    def __init__(self, places: Sequence[Path] | None = None) -> None:
        self._places = places
        self._open: dict[FontFile, OpenFont] = {}

    @cached_property
    def _files(self) -> list[FontFile]:
        return [font for path in _files(self._places or font_places()) for font in _read(path)]

    def find(self, wish: FontWish) -> OpenFont:
        """The installed font a text asks for.

        Raises
        ------
        TextRefusal
            None of the families is there, or not exactly so; a generic family; a font without plain outlines.
        """
        missing: list[str] = []
        for name, generic in wish.families:
            if generic and not missing:
                raise TextRefusal(
                    f"font-family {name} is a different font on each computer", f"name one font, or {CONVERT}"
                )
            if generic:
                break
            family = " ".join(name.split()).casefold()
            fonts = [font for font in self._files if family in font.families]
            if fonts:
                return self._opened(name, _chosen(name, family, fonts, wish))
            missing.append(repr(name))
        if not missing:
            raise TextRefusal("it names no font", f"name one font, or {CONVERT}")
        are = "font {} is" if len(missing) == 1 else "fonts {} are"
        raise TextRefusal(f"{are.format(', '.join(missing))} not installed", INSTALL)

    def _opened(self, name: str, file: FontFile) -> OpenFont:
        if file not in self._open:
            self._open[file] = OpenFont(name, file)
        return self._open[file]


def _chosen(name: str, family: str, fonts: Sequence[FontFile], wish: FontWish) -> FontFile:
    fitting = sorted((font for font in fonts if font.fits(family, wish)), key=lambda font: font.variable)
    if fitting:
        return fitting[0]
    there = sorted({(font.weight, font.italic) for font in fonts})
    told = ", ".join(f"{weight:g}{' italic' if italic else ''}" for weight, italic in there[:6])
    kind = "a variable font, of which only the default is read" if any(font.variable for font in fonts) else "installed"
    raise TextRefusal(
        f"font {name!r} is {kind}, without {wish.style} (it has weight {told})", f"install that style, or {CONVERT}"
    )


@dataclass(frozen=True)
class Cluster:
    """Characters that are drawn as one: mostly one, more for a ligature or an accent set over a letter.

    Parameters
    ----------
    first : index of its first character in the text that was shaped
    glyphs : number and offset (x right, y up) of each glyph [font units]
    advance : how far the next cluster stands on [font units]
    """

    first: int
    glyphs: tuple[tuple[int, complex], ...]
    advance: float


class OpenFont:
    """A font whose text can be shaped and whose glyphs can be drawn.

    Raises
    ------
    TextRefusal
        A font without plain outlines, or a variable one that would look different at another size.
    """

    def __init__(self, name: str, file: FontFile) -> None:
        import uharfbuzz as hb

        self.name, self.file = name, file
        face = hb.Face(hb.Blob.from_file_path(str(file.path)), file.index)
        tables = set(face.table_tags)
        if tables & _COLOUR_TABLES or not tables & {"glyf", "CFF ", "CFF2"}:
            raise TextRefusal(
                f"font {name!r} is made of colours or pixels, not of plain outlines", f"choose another, or {CONVERT}"
            )
        if file.variable:
            for axis in face.axis_infos:
                if axis.tag == "opsz" or (axis.tag == "wght" and axis.default_value != file.weight):
                    raise TextRefusal(f"font {name!r} is variable in {axis.tag}", f"choose another, or {CONVERT}")
        self.units_per_em = face.upem
        self._font = hb.Font(face)
        self._drawn: dict[int, tuple[Subpath, ...]] = {}

    def shaped(self, text: str, script: str, language: str, features: Mapping[str, bool]) -> list[Cluster]:
        """Clusters of a text of one script, in writing order from left to right.

        Raises
        ------
        TextRefusal
            A character the font has no glyph for.
        """
        import uharfbuzz as hb

        buffer = hb.Buffer()
        buffer.add_codepoints([ord(character) for character in text])
        buffer.direction, buffer.script = "ltr", script
        if language:
            buffer.language = language
        hb.shape(self._font, buffer, dict(features))
        found: dict[int, tuple[list[tuple[int, complex]], float]] = {}
        for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            if info.codepoint == 0:
                missing = next(
                    (c for c in text[info.cluster :] if not self._font.get_nominal_glyph(ord(c))), text[info.cluster]
                )
                raise TextRefusal(
                    f"font {self.name!r} has no letter {missing!r} (U+{ord(missing):04X})",
                    f"choose another, or {CONVERT}",
                )
            glyphs, along = found.get(info.cluster, ([], 0.0))
            glyphs.append((info.codepoint, complex(along + place.x_offset, place.y_offset)))
            found[info.cluster] = (glyphs, along + place.x_advance)
        return [Cluster(first, tuple(glyphs), advance) for first, (glyphs, advance) in sorted(found.items())]

    def outline(self, glyph: int) -> tuple[Subpath, ...]:
        """Closed subpaths of a glyph, y up [font units]."""
        if glyph not in self._drawn:
            pen = _OutlinePen()
            self._font.draw_glyph_with_pen(glyph, pen)
            self._drawn[glyph] = tuple(pen.done)
        return self._drawn[glyph]


class _OutlinePen:
    """Gathers what a font draws."""

    def __init__(self) -> None:
        self.done: list[Subpath] = []
        self.start = 0j
        self.pieces: list[tuple[complex, ...]] = []

    def moveTo(self, point: tuple[float, float]) -> None:
        self.start, self.pieces = complex(*point), []

    def lineTo(self, point: tuple[float, float]) -> None:
        self.pieces.append((complex(*point),))

    def qCurveTo(self, *points: tuple[float, float]) -> None:
        self.pieces.append(tuple(complex(*point) for point in points))

    curveTo = qCurveTo

    def closePath(self) -> None:
        if self.pieces:
            self.done.append(Subpath(self.start, tuple(self.pieces), True))
        self.pieces = []

    endPath = closePath


def script_runs(text: str) -> Iterator[tuple[int, int, str]]:
    """Start, end and script (ISO 15924) of the runs of a text; digits and signs belong to the letters before them.

    Examples
    --------
    >>> list(script_runs("Otter 2, Ωμέγα"))
    [(0, 9, 'Latn'), (9, 14, 'Grek')]
    """
    from fontTools import unicodedata

    begin, current = 0, "Zyyy"
    for index, character in enumerate(text):
        script = unicodedata.script(character)
        if script in ("Zyyy", "Zinh", "Zzzz", current):
            continue
        if current != "Zyyy":
            yield begin, index, current
            begin = index
        current = script
    if begin < len(text):
        yield begin, len(text), current
