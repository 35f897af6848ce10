"""Fonts for the tests: Bitstream Vera (free licence), which ships with reportlab, and tiny invented ones made on the spot."""

from pathlib import Path

import reportlab

VERA_FOLDER = Path(reportlab.__file__).parent / "fonts"
VERA_FILES = [str(VERA_FOLDER / f"Vera{style}.ttf") for style in ("", "Bd", "It", "BI")]
VERA = 'font-family="Bitstream Vera Sans"'


def invented_font(path, family, *, characters="AB", weight=400, width_class=5, axes=(), colour=False, typographic="", features=""):
    """A font whose letters are squares 0.5 em wide on an advance of 0.6 em, written to `path`.

    The blank is empty, and D is drawn twice over.
    """
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    def square(name):
        pen = TTGlyphPen(None)
        for _ in range({"u0020": 0, "u0044": 2}.get(name, 1)):
            for index, point in enumerate([(0, 0), (0, 500), (500, 500), (500, 0)]):
                (pen.lineTo if index else pen.moveTo)(point)
            pen.closePath()
        return pen.glyph()

    names = [".notdef", *(f"u{ord(c):04X}" for c in characters), *(["joined"] if features else [])]
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap({ord(c): f"u{ord(c):04X}" for c in characters})
    builder.setupGlyf({name: square(name) for name in names})
    builder.setupHorizontalMetrics(dict.fromkeys(names, (600, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": family, "styleName": "Regular"} | ({"typographicFamily": typographic} if typographic else {}))
    builder.setupOS2(usWeightClass=weight, usWidthClass=width_class)
    builder.setupPost()
    if axes:
        builder.setupFvar([(tag, low, default, high, tag) for tag, low, default, high in axes], [])
        builder.setupGvar({name: [] for name in names})
    if colour:
        builder.setupCOLR({names[1]: [(names[1], 0)]})
        builder.setupCPAL([[(1.0, 0.0, 0.0, 1.0)]])
    if features:
        builder.addOpenTypeFeatures(features)
    builder.save(path)
