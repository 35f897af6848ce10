"""Text against resvg, which shapes and draws the same font files on its own, and by positions worked out by hand."""

import re

import pytest
import shapely
from resvg_oracle import IOU_NEEDED, coverage_ious
from sign_fonts import VERA, VERA_FILES, VERA_FOLDER, invented_font

from tint.artwork.vector import read_drawing
from tint.errors import FileError

SVG = "http://www.w3.org/2000/svg"
RESVG_FONTS = {"font_files": VERA_FILES, "skip_system_fonts": True, "text_rendering": "optimize_speed"}
AT = f'x="10" y="60" {VERA} font-size="40"'


@pytest.fixture
def drawn(tmp_path, monkeypatch):
    """Function that reads a body in a frame of 30 by 12 mm, 10 units to 1 mm; its path is `drawn.path`."""
    monkeypatch.setenv("TINT_FONTS", str(VERA_FOLDER))

    def reading(body):
        reading.path.write_text(f'<svg xmlns="{SVG}" width="30mm" height="12mm" viewBox="0 0 300 120">{body}</svg>')
        return read_drawing(reading.path)

    reading.path = tmp_path / "sign.svg"
    return reading


@pytest.fixture
def squares(drawn, tmp_path, monkeypatch):
    """Function that gives left, baseline, right [units] of the letters of a text in a font of squares."""
    join = "languagesystem DFLT dflt; languagesystem latn dflt; feature liga { sub u0066 u0069 by joined; } liga;"
    invented_font(tmp_path / "squares.ttf", "Otter Squares", characters="ABCDfi ", features=join)
    monkeypatch.setenv("TINT_FONTS", str(tmp_path))

    def reading(attributes, content):
        drawing = drawn(f'<text font-family="Otter Squares" font-size="10" {attributes}>{content}</text>')
        boxes = [shapely.bounds(part) * 10 for shape in drawing.shapes for part in shapely.get_parts(shape.region)]
        return sorted(tuple(round(float(value), 4) for value in box[[0, 3, 2]]) for box in boxes)

    return reading


SEEN = {
    "plain": f"<text {AT}>Otter trail</text>",
    "kerning": f"<text {AT}>AV To Wa LT. Ty</text>",
    "kerning across tspans": f'<text {AT}>A<tspan fill="red">V</tspan>T<tspan fill="red">o</tspan></text>',
    "no kerning": f'<text {AT} style="font-kerning: none">AV To</text>',
    "accents": f"<text {AT}>Größe é œ ½</text>",
    "middle": f'<text x="150" y="60" {VERA} font-size="40" text-anchor="middle">Kingfisher</text>',
    "end": f'<text x="290" y="60" {VERA} font-size="40" text-anchor="end">Kingfisher</text>',
    "centred lines": f"""<text {VERA} font-size="30" text-anchor="middle">
        <tspan x="150" y="40">Reed</tspan>
        <tspan x="150" dy="1.2em" fill="red">bunting</tspan>
    </text>""",
    "letter-spacing": f'<text {AT} letter-spacing="0.1em">Heron AV</text>',
    "centred letter-spacing": f'<text x="150" y="60" {VERA} font-size="40" letter-spacing="5" text-anchor="middle">Heron</text>',
    "word-spacing": f'<text {AT} word-spacing="8">a b c</text>',
    "weights and slopes": f'<text {AT}><tspan font-weight="bold">Bo</tspan><tspan font-style="italic" fill="blue">It</tspan>'
    f'<tspan style="font-style:oblique;font-weight:700" fill="red">BI</tspan></text>',
    "shifts": f'<text {AT} dx="0 5 5 5" dy="0 3 -6 9">Waves AV</text>',
    "a place for each letter": f'<text x="10 50 90 130" y="60 40 60 40" {VERA} font-size="40">Newt</text>',
    "nested places": f'<text x="10 60 110 160 210" y="60" {VERA} font-size="40">a<tspan y="50 80">bc</tspan>de</text>',
    "fill and stroke": f'<text x="10" y="80" {VERA} font-size="80" fill="#2f7fa6" stroke="red" stroke-width="3">Osprey</text>',
    "stroke first": f'<text {AT} fill="#2f7fa6" stroke="red" stroke-width="4" paint-order="stroke">Osprey</text>',
    "transforms": f'<g transform="rotate(-12 100 60) scale(1.2 .8)"><text transform="skewX(15)" x="10" y="80" {VERA} font-size="40">Adder</text></g>',
    "units": f'<text x="1mm" y="50%" {VERA} font-size="10mm">mm</text><text x="150" y="60" {VERA} font-size="18pt" fill="red">pt</text>',
    "style sheet": '<style>.a{font: italic bold 40px "Bitstream Vera Sans"; fill: #0a5} tspan.b{font-size: 50%; fill: red}</style>'
    '<text class="a" x="10" y="60">Moss <tspan class="b">small</tspan></text>',
    "second family": """<text x="10" y="60" font-size="40" font-family="'No Such Otter', 'Bitstream Vera Sans', serif">fern</text>""",
    "blanks kept": f'<text {AT} xml:space="preserve">  a   b </text><text x="10" y="100" {VERA} font-size="30" fill="red">  a \n  b  </text>',
    "use and link": f'<defs><text id="t" {VERA} font-size="40">re<a href="#t">ed</a></text></defs><use href="#t" x="20" y="50"/>',
    "clipped": f'<clipPath id="c"><rect x="10" y="40" width="90" height="14"/></clipPath><text {AT} clip-path="url(#c)">reed</text>',
    "hidden and gone": f'<text {AT}>A<tspan visibility="hidden">BC</tspan>D<tspan display="none">E</tspan>F</text>',
}  # fmt: skip


@pytest.mark.parametrize("body", SEEN.values(), ids=SEEN.keys())
def test_text_covers_what_resvg_paints(drawn, body):
    drawing = drawn(body)
    ious = coverage_ious(drawn.path, drawing, RESVG_FONTS)
    assert min(ious.values()) >= IOU_NEEDED, ious
    regions = [shape.region for shape in drawing.shapes]
    assert all(shapely.is_valid(regions)) and shapely.coverage_is_valid(regions)


# A square of 5 units every 6 units.


@pytest.mark.parametrize(
    ("attributes", "content", "expected"),
    [
        ('x="10" y="20"', "AB", [(10, 20, 15), (16, 20, 21)]),
        ('x="10" y="20" letter-spacing="2"', "AB", [(10, 20, 15), (18, 20, 23)]),
        ('x="30" y="20" text-anchor="end"', "AB", [(18, 20, 23), (24, 20, 29)]),
        ('x="30" y="20" text-anchor="end" letter-spacing="2"', "AB", [(16, 20, 21), (24, 20, 29)]),  # none after the last
        ('x="30" y="20" text-anchor="middle" dx="4"', "AB", [(28, 20, 33), (34, 20, 39)]),
        ('x="10" y="20" word-spacing="3"', "A B", [(10, 20, 15), (25, 20, 30)]),
        ('x="10" y="20"', "  A \n\t B  ", [(10, 20, 15), (22, 20, 27)]),
        ('x="10" y="20"', "A<!-- reed -->\nB", [(10, 20, 15), (22, 20, 27)]),
        ('x="10" y="20" xml:space="preserve"', " A\nB", [(16, 20, 21), (28, 20, 33)]),
        ('x="10" y="20" style="white-space:pre"', " A", [(16, 20, 21)]),
        ('x="10 50" y="20"', 'A<tspan x="30">B</tspan>', [(10, 20, 15), (30, 20, 35)]),
        ('x="10" y="20 30"', "AB", [(10, 20, 15), (16, 30, 21)]),
        ('x="10" y="20"', "A<title>B</title><tspan/><tspan display='none'>CD</tspan>B", [(10, 20, 15), (16, 20, 21)]),
        ('x="10" y="20"', "fi", [(10, 20, 15)]),  # a ligature
        ('x="10" y="20" fill-rule="evenodd"', "D", [(10, 20, 15)]),  # letters are filled by the rule of fonts
        ('x="10" y="20" letter-spacing="1"', "fi", [(10, 20, 15), (17, 20, 22)]),
        ('x="10" y="20" style="font-variant-ligatures:none"', "fi", [(10, 20, 15), (16, 20, 21)]),
        ('x="10 20" y="20"', "fi", [(10, 20, 15), (20, 20, 25)]),  # chunks are shaped each on its own
        ('x="10" y="20"', 'A<tspan font-size="20" dy=".5em">B</tspan>', [(10, 20, 15), (16, 30, 26)]),
    ],
)  # fmt: skip
def test_letters_stand_where_the_standard_puts_them(squares, attributes, content, expected):
    assert squares(attributes, content) == [pytest.approx(box, abs=1e-3) for box in expected]


def test_a_text_names_itself_and_its_line(drawn):
    [fill, stroke] = drawn(f'\n<text {AT} stroke="red">Otter <tspan>trail</tspan></text>').shapes[:2]
    assert fill.source == "text 'Otter trail' (line 2)" and stroke.source == "stroke of text 'Otter trail' (line 2)"


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ("<text font-family='Foo Sans' font-size='9'>Otter trail</text>",
         r"text 'Otter trail' \(line 2\): font 'Foo Sans' is not installed\. "
         r"Install it, or convert the text to outlines \(paths\) in the drawing program;"),
        ("<text font-family='sans-serif' font-size='9'>A</text>", "font-family sans-serif is a different font on each computer"),
        ("<text font-size='9'>A</text>", "names no font"),
        (f"<text {VERA}>A</text>", "states no font-size"),
        (f"<text {VERA} font-size='large'>A</text>", "font-size large depends on the viewer"),
        (f"<text {VERA} font-size='2em'>A</text>", "font-size 2em depends on the viewer"),
        (f"<text {VERA} font-size='-2'>A</text>", "font-size -2 is negative"),
        (f"<text {VERA} font-size='9' font-weight='600'>A</text>", "without weight 600"),
        (f"<text {VERA} font-size='9' font-weight='heavy'>A</text>", "font-weight 'heavy'"),
        (f"<text {AT}>A水</text>", r"has no letter '水' \(U\+6C34\)"),
        (f"<text {AT}>Ae\u0323</text>", r"has no letter .* \(U\+0323\)"),
        (f"<text {AT}>שלום</text>", "writing from right to left"),
        (f"<text {AT} direction='rtl'>A</text>", "direction rtl"),
        (f"<text {AT} writing-mode='tb'>A</text>", "writing-mode tb"),
        (f"<text {AT} rotate='0 20'>AB</text>", r"turned letters \(rotate\)"),
        (f"<text {AT} textLength='50'>A</text>", "textLength"),
        (f"<text {AT} text-decoration='underline'>A</text>", "text-decoration underline"),
        (f"<g style='text-decoration-line:underline'><text {AT}>A</text></g>", "text-decoration-line underline"),
        (f"<text {AT} dominant-baseline='middle'>A</text>", "dominant-baseline middle"),
        (f"<text {AT}>A<tspan baseline-shift='super'>2</tspan></text>", "baseline-shift super"),
        (f"<text {AT}>A<tspan alignment-baseline='central'>2</tspan></text>", "alignment-baseline central"),
        (f"<text {AT} font-variant='small-caps'>A</text>", "font-variant small-caps"),
        (f"<text {AT} style='font-feature-settings:\"ss01\"'>A</text>", "font-feature-settings"),
        (f"<text {AT} style='text-transform:uppercase'>A</text>", "text-transform uppercase"),
        (f"<text {AT} style='font: caption'>A</text>", "font caption"),
        (f"<text {AT} style='inline-size:90px'>A</text>", "inline-size 90px"),
        (f"<text {AT} style='shape-inside:url(#r)'>A</text>", "shape-inside"),
        (f"<text {AT} style='white-space:pre'>A\nB</text>", "line breaks kept"),
        (f"<text {AT}><textPath href='#p'>A</textPath></text>", r"textPath \(line 2\)"),
        (f"<text {AT}>A<tref href='#p'/></text>", r"tref \(line 2\)"),
        (f"<text {AT}>A<tspan opacity='.5'>B</tspan></text>", r"opacity of tspan \(line 2\)"),
        (f"<text {AT}>A<tspan filter='url(#f)'>B</tspan></text>", r"filter of tspan \(line 2\)"),
        (f"<text {AT}>A<tspan transform='scale(2)'>B</tspan></text>", r"transform of tspan \(line 2\)"),
        (f"<text {AT}>A<tspan letter-spacing='3'>B</tspan>C</text>", "letter-spacing changes within a line"),
        (f"<text {AT} text-anchor='middle' dx='0 3'>AB</text>", "dx inside a line with text-anchor middle"),
        (f"<text {AT} text-anchor='end'>AB<tspan y='90'>C</tspan></text>", "y without x after a line with text-anchor"),
        (f"<text {AT} stroke='red' stroke-dasharray='2'>A</text>", "a dashed stroke"),
        (f"<text {AT} fill='red' fill-opacity='.5'>A</text>", r"fill of text \(line 2\) 50% opaque"),
        (f"<text {AT} x='5em5'>A</text>".replace('x="10" ', ""), "'5em5'"),
        (f"<style>@font-face {{ font-family: 'Bitstream Vera Sans'; src: url(v.woff) }}</style><text {AT}>A</text>",
         "font 'Bitstream Vera Sans' is embedded in the drawing"),
        (f"<clipPath id='c'><text {AT}>A</text></clipPath><rect width='9' height='9' clip-path='url(#c)'/>", "in a clip path"),
    ],
)  # fmt: skip
def test_text_that_would_look_different_elsewhere_is_refused_by_name_and_place(drawn, body, named):
    with pytest.raises(FileError, match=named) as refused:
        drawn("\n" + body)
    told = str(refused.value)
    assert "\n" not in told and re.search(r"\(line [23]\)", told)


def test_a_ligature_is_not_torn_apart(squares):
    for content in ('f<tspan fill="red">i</tspan>', 'f<tspan dx="3">i</tspan>'):
        with pytest.raises(FileError, match="letters 'fi' that join into one are split"):
            squares('x="10" y="20"', content)


def test_hidden_and_empty_text_needs_no_font(drawn):
    drawing = drawn('<text visibility="hidden">A</text><text> <tspan/> </text><rect width="10" height="10"/>')
    assert len(drawing.shapes) == 1


def test_a_page_of_text_is_read_without_delay_and_a_book_is_refused(drawn):
    with pytest.raises(FileError, match="over 20,000 characters"):
        drawn(f"<text {AT}>{'reed ' * 5000}</text>")
