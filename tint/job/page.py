"""Paper: pages drawn in millimetres from the top left corner, with text that never leaves its place."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from typing import Any

A4_MM = (210.0, 297.0)
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 12.0, A4_MM[0] - 12.0, 11.0, A4_MM[1] - 9.0
WIDTH_MM = RIGHT_MM - LEFT_MM
GREY = 0.38  # of secondary text: prints and copies well
PLAIN, BOLD = "Vera", "VeraBd"  # come with reportlab, free to embed; they cover Latin scripts
MM_PER_PT = 25.4 / 72
ELLIPSIS = "…"


class Page:
    """A PDF being drawn; x to the right, y down [mm], text placed by its baseline, sizes [pt], greys 0 black to 1 white.

    The document carries `date` (ISO), not the clock's: equal pages give equal files.
    """

    def __init__(self, title: str, subject: str, date: str = "2000-01-01") -> None:
        from reportlab.pdfgen.canvas import Canvas

        self._out = io.BytesIO()
        size = tuple(side / MM_PER_PT for side in A4_MM)
        self._canvas = Canvas(self._out, pagesize=size, pageCompression=1, invariant=1)
        stamp = f"D:{date.replace('-', '')}000000Z"  # PDF 1.7 (ISO 32000-1), section 7.9.4
        self._canvas.setDateFormatter(lambda *_: stamp)
        self._canvas.setTitle(title)
        self._canvas.setSubject(subject)
        self._canvas.setCreator("tint")
        self._canvas.setAuthor("")
        for name in (PLAIN, BOLD):
            _font(name)
        self.replaced = False  # True once a character had no glyph

    def pdf(self) -> bytes:
        """The finished document; nothing can be drawn after."""
        with _binary():
            self._canvas.save()
        return self._out.getvalue()

    def turn(self) -> None:
        """Ends the page and begins the next."""
        with _binary():
            self._canvas.showPage()

    def printable(self, text: str, bold: bool = False) -> str:
        """Text with every character the font lacks replaced by its plain letter, or by "?" where there is none."""
        line, replaced = _printable(text, BOLD if bold else PLAIN)
        self.replaced = self.replaced or replaced
        return line

    def width_mm(self, text: str, size_pt: float, bold: bool = False) -> float:
        """Width of a printable text [mm]."""
        return _width_1pt(text, BOLD if bold else PLAIN) * size_pt * MM_PER_PT

    def wrapped(self, text: str, size_pt: float, width_mm: float, max_lines: int, bold: bool = False) -> list[str]:
        """Lines of a text that fit the width; words too long are broken, what does not fit ends in an ellipsis."""
        lines: list[str] = []
        line = ""
        words = self.printable(text, bold).split(" ")
        while words:
            word = words.pop(0)
            wanted = f"{line} {word}" if line else word
            if self.width_mm(wanted, size_pt, bold) <= width_mm:
                line = wanted
            elif line:
                lines.append(line)
                line, words = "", [word, *words]
            else:
                head = self._head(word, size_pt, width_mm, bold)
                lines.append(head)
                words.insert(0, word[len(head) :])
        lines.append(line)
        if len(lines) > max_lines:
            last = f"{lines[max_lines - 1]} {lines[max_lines]}"
            head = self._head(last, size_pt, width_mm - self.width_mm(ELLIPSIS, size_pt, bold), bold)
            lines = [*lines[: max_lines - 1], head.rstrip(" ,;.") + ELLIPSIS]
        return lines

    def _head(self, word: str, size_pt: float, width_mm: float, bold: bool) -> str:
        count = len(word)
        while count > 1 and self.width_mm(word[:count], size_pt, bold) > width_mm:
            count -= 1
        return word[:count]

    def text(
        self, x_mm: float, y_mm: float, text: str, size_pt: float, *, bold: bool = False, grey: float = 0.0,
        align: str = "left", width_mm: float | None = None, least: float = 0.75,
    ) -> None:  # fmt: skip
        """Draws one line; with `width_mm` it shrinks to `least` of its size, then ends in an ellipsis."""
        line = self.printable(text, bold)
        if width_mm is not None:
            wide = self.width_mm(line, size_pt, bold)
            if wide > width_mm:
                size_pt = max(size_pt * least, size_pt * width_mm / wide * 0.999)
                line = self.wrapped(line, size_pt, width_mm, 1, bold)[0]
        offset = {"left": 0.0, "centre": 0.5, "right": 1.0}[align] * self.width_mm(line, size_pt, bold)
        self._canvas.setFillGray(grey)
        self._canvas.setFont(BOLD if bold else PLAIN, size_pt)
        self._canvas.drawString((x_mm - offset) / MM_PER_PT, self._up(y_mm), line)

    def paragraph(
        self, x_mm: float, y_mm: float, text: str, size_pt: float, width_mm: float, *, max_lines: int = 99,
        bold: bool = False, grey: float = 0.0, lead: float = 1.28,
    ) -> float:  # fmt: skip
        """Draws wrapped lines, the first on baseline `y_mm`; the baseline after the last [mm]."""
        for line in self.wrapped(text, size_pt, width_mm, max_lines, bold):
            self.text(x_mm, y_mm, line, size_pt, bold=bold, grey=grey)
            y_mm += size_pt * lead * MM_PER_PT
        return y_mm

    def line(
        self, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float, width_pt: float = 0.4, grey: float = 0.0
    ) -> None:
        """Draws a straight line."""
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(width_pt)
        self._canvas.line(x0_mm / MM_PER_PT, self._up(y0_mm), x1_mm / MM_PER_PT, self._up(y1_mm))

    def box(
        self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, *, fill: Any = None, frame_pt: float = 0.0,
        grey: float = 0.0, round_mm: float = 0.0,
    ) -> None:  # fmt: skip
        """Draws a rectangle by its top left corner; `fill` a grey or an sRGB triple 0..1, the frame in `grey`."""
        if isinstance(fill, (int, float)):
            self._canvas.setFillGray(fill)
        elif fill is not None:
            self._canvas.setFillColorRGB(*(float(value) for value in fill))
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(frame_pt)
        place = (x_mm / MM_PER_PT, self._up(y_mm + height_mm), width_mm / MM_PER_PT, height_mm / MM_PER_PT)
        drawn = {"fill": int(fill is not None), "stroke": int(frame_pt > 0)}
        self._canvas.roundRect(*place, round_mm / MM_PER_PT, **drawn)

    def disc(self, x_mm: float, y_mm: float, radius_mm: float, label: str, size_pt: float) -> None:
        """Draws a white disc with a thin frame and a label in its middle."""
        self._canvas.setFillGray(1)
        self._canvas.setStrokeGray(0)
        self._canvas.setLineWidth(0.5)
        self._canvas.circle(x_mm / MM_PER_PT, self._up(y_mm), radius_mm / MM_PER_PT, fill=1, stroke=1)
        self.text(x_mm, y_mm + size_pt * 0.36 * MM_PER_PT, label, size_pt, bold=True, align="centre")

    def picture(self, data: Any, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> None:
        """Draws a Pillow picture, or a picture file's bytes (a JPEG goes in as it is), into a rectangle."""
        from reportlab.lib.utils import ImageReader

        image = ImageReader(io.BytesIO(data) if isinstance(data, bytes) else data)
        with _binary():
            self._canvas.drawImage(
                image, x_mm / MM_PER_PT, self._up(y_mm + height_mm), width_mm / MM_PER_PT, height_mm / MM_PER_PT
            )

    def _up(self, y_mm: float) -> float:
        return (A4_MM[1] - y_mm) / MM_PER_PT


@contextmanager
def _binary() -> Iterator[None]:
    """Block in which streams go into the document as bytes: as text, the library's default, they are a quarter larger."""
    from reportlab import rl_config

    before, rl_config.useA85 = rl_config.useA85, 0
    try:
        yield
    finally:
        rl_config.useA85 = before


@lru_cache(20_000)  # wrapping asks for the same words over and over, on every sheet: a third of a small sheet's time
def _width_1pt(text: str, font: str) -> float:
    """Width of a text at a size of one point [pt]."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, font, 1.0))


@lru_cache(20_000)
def _printable(text: str, font: str) -> tuple[str, bool]:
    """Text without the characters a font lacks, and whether one was left that has no plain letter."""
    glyphs = _font(font)
    out, replaced = [], False
    for char in " ".join(text.replace("Δ", "∆").split()):
        if ord(char) in glyphs:
            out.append(char)
            continue
        plain = "".join(part for part in unicodedata.normalize("NFKD", char) if ord(part) in glyphs)
        if not unicodedata.combining(char):
            out.append(plain or "?")
            replaced = replaced or not plain
    return "".join(out), replaced


@cache
def _font(name: str) -> frozenset[int]:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if name not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    return frozenset(pdfmetrics.getFont(name).face.charToGlyph)
