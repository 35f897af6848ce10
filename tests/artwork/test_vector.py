"""Drawings against resvg, an independent rasteriser, and against areas known in closed form."""

import math
import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from resvg_oracle import IOU_NEEDED, coverage_ious

from tint.artwork.svg_scene import TOLERANCE_MM
from tint.artwork.vector import read_drawing
from tint.errors import FileError, LimitError

SKY = '<linearGradient id="sky"><stop stop-color="red"/><stop stop-color="blue"/></linearGradient>'
SVG = "http://www.w3.org/2000/svg"
DRAWINGS = sorted((Path(__file__).parent / "svg").glob("*.svg"))


@pytest.mark.parametrize("path", DRAWINGS, ids=lambda path: path.stem)
def test_every_colour_covers_what_resvg_paints(path):
    ious = coverage_ious(path, read_drawing(path))
    assert min(ious.values()) >= IOU_NEEDED, ious


# --- helpers of the tests below ---------------------------------------------------------------------------------


@pytest.fixture
def read(tmp_path):
    """Function that reads an SVG text; a body without an svg element gets a frame of 20 by 10 mm, 1 unit to 1 mm."""

    def reading(text, width_mm=None):
        if isinstance(text, str) and not re.search(r"<(svg|html|\?|!)|^\s*$", text):
            text = f'<svg xmlns="{SVG}" width="20mm" height="10mm" viewBox="0 0 20 10">\n{text}\n</svg>'
        path = tmp_path / "sign.svg"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_drawing(path, width_mm)

    return reading


def areas(drawing):
    return [shape.region.area for shape in drawing.shapes]


def bounds(drawing):
    return [round(float(value), 6) for value in shapely.total_bounds([shape.region for shape in drawing.shapes])]


# --- physical size ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "width_mm", "height_mm"),
    [
        ('width="40mm" height="3cm"', 40, 30),
        ('width="2in" height="72pt"', 50.8, 25.4),
        ('width="6pc" height="96px"', 25.4, 25.4),
        ('width="192" height="48"', 50.8, 12.7),
        ('width="80Q" height="10mm"', 20, 10),
        ('width="50mm" viewBox="0 0 10 4"', 50, 20),
        ('width="100%" height="20mm" viewBox="0 0 10 4"', 50, 20),
        ('style="width: 30mm; height: 10mm"', 30, 10),
    ],
)
def test_a_file_states_its_own_size_in_any_unit(read, size, width_mm, height_mm):
    drawing = read(f'<svg xmlns="{SVG}" {size}><rect width="100%" height="100%"/></svg>')
    assert (drawing.width_mm, drawing.height_mm) == pytest.approx((width_mm, height_mm), rel=1e-12)
    assert areas(drawing) == pytest.approx([width_mm * height_mm], rel=1e-9)


def test_a_width_given_keeps_the_proportion_and_scales_every_shape(read):
    body = '<rect width="10" height="5"/>'
    for frame in ('width="20mm" height="10mm" viewBox="0 0 20 10"', 'viewBox="0 0 20 10"', 'width="20" height="10"'):
        drawing = read(f'<svg xmlns="{SVG}" {frame}>{body}</svg>', width_mm=60)
        assert (drawing.width_mm, drawing.height_mm) == pytest.approx((60, 30))
        assert bounds(drawing) == [0, 0, 30, 15]


@pytest.mark.parametrize(
    "size", ['viewBox="0 0 20 10"', 'width="100%" height="100%" viewBox="0 0 20 10"', 'width="2em" viewBox="0 0 9 9"']
)
def test_a_file_without_a_physical_size_asks_for_one(read, size):
    with pytest.raises(FileError, match=r"states no physical size.*--width-mm"):
        read(f'<svg xmlns="{SVG}" {size}><rect width="5" height="5"/></svg>')


@pytest.mark.parametrize("width_mm", [0, -3, math.nan, math.inf, 1e8])
def test_a_width_that_cannot_be_is_refused(read, width_mm):
    with pytest.raises(LimitError, match="width"):
        read('<rect width="5" height="5"/>', width_mm)


def test_what_lies_outside_the_frame_is_cut_off(read):
    drawing = read('<rect x="-5" y="-5" width="15" height="10"/><circle cx="40" cy="40" r="5"/>')
    assert bounds(drawing) == [0, 0, 10, 5] and len(drawing.shapes) == 1


# --- areas known in closed form --------------------------------------------------------------------------------

POLYGON_SIDES = {"rel": 1e-9}
ROUND = {"rel": 2e-3}  # chords within 0.001 mm of curves some millimetres across


@pytest.mark.parametrize(
    ("body", "area_mm2", "within"),
    [
        ('<circle cx="5" cy="5" r="4"/>', math.pi * 16, ROUND),
        ('<ellipse cx="10" cy="5" rx="8" ry="3"/>', math.pi * 24, ROUND),
        ('<rect x="1" y="1" width="10" height="8" rx="2"/>', 80 - (4 - math.pi) * 4, ROUND),
        ('<path d="M1 5A4 4 0 0 1 9 5Z"/>', math.pi * 8, ROUND),
        ('<path d="M0 0Q5 10 10 0Z"/>', 2 / 3 * 10 * 5, ROUND),  # parabola segment: two thirds of base times height
        ('<polygon points="1,1 9,1 9,5"/>', 16, POLYGON_SIDES),
        ('<line x1="2" y1="5" x2="12" y2="5" stroke="red" stroke-width="2"/>', 20, POLYGON_SIDES),
        ('<line x1="2" y1="5" x2="12" y2="5" stroke="red" stroke-width="2" stroke-linecap="square"/>', 24, POLYGON_SIDES),
        ('<line x1="2" y1="5" x2="12" y2="5" stroke="red" stroke-width="2" stroke-linecap="round"/>', 20 + math.pi, ROUND),
        ('<path d="M2 2H8V8" fill="none" stroke="red" stroke-width="2"/>', 24, POLYGON_SIDES),
        ('<path d="M2 2H8V8" fill="none" stroke="red" stroke-width="2" stroke-linejoin="bevel"/>', 23.5, POLYGON_SIDES),
        ('<path d="M2 2H8V8" fill="none" stroke="red" stroke-width="2" stroke-miterlimit="1.4"/>', 23.5, POLYGON_SIDES),
        ('<path d="M2 2H8V8" fill="none" stroke="red" stroke-width="2" stroke-linejoin="round"/>', 23 + math.pi / 4, ROUND),
        ('<circle cx="5" cy="5" r="3" fill="none" stroke="red" stroke-width="2"/>', math.pi * (16 - 4), ROUND),
        ('<path d="M5 5z" fill="none" stroke="red" stroke-width="4" stroke-linecap="round"/>', math.pi * 4, ROUND),
        ('<path d="M0 5H20" stroke="red" stroke-width="2" stroke-dasharray="3 1"/>', 30, POLYGON_SIDES),
        ('<path d="M0 5H20" stroke="red" stroke-width="2" stroke-dasharray="3" stroke-dashoffset="-4"/>', 20, POLYGON_SIDES),
        ('<path d="M0 5H20" pathLength="4" stroke="red" stroke-width="2" stroke-dasharray="1"/>', 20, POLYGON_SIDES),
        ('<g transform="scale(2 1)"><path d="M1 5H6" stroke="red" stroke-width="2"/></g>', 20, POLYGON_SIDES),
        ('<g transform="scale(2 1)"><path d="M4 1V6" stroke="red" stroke-width="2"/></g>', 20, POLYGON_SIDES),
    ],
)  # fmt: skip
def test_an_area_is_what_geometry_says(read, body, area_mm2, within):
    assert sum(areas(read(body))) == pytest.approx(area_mm2, **within)


def test_a_circle_is_within_the_stated_tolerance(read):
    [shape] = read('<circle cx="5" cy="5" r="4.5"/>').shapes
    true = shapely.Point(5, 5).buffer(4.5, quad_segs=2000)
    assert shape.region.hausdorff_distance(true) <= TOLERANCE_MM * 1.05


def test_a_css_transform_does_what_the_attribute_does(read):
    body = '<rect width="4" height="2" {}/>'
    css = read(body.format('style="transform: translate(6px, 3px) rotate(0.125turn) scaleX(.5)"'))
    attribute = read(body.format('transform="translate(6 3) rotate(45) scale(.5 1)"'))
    assert css.shapes[0].region.symmetric_difference(attribute.shapes[0].region).area < 1e-9


@pytest.mark.parametrize(
    ("colour", "srgb255"),
    [
        ("teal", (0, 128, 128)),
        ("#0a5", (0, 170, 85)),
        ("#1467A8", (20, 103, 168)),
        ("rgb(10, 200, 30)", (10, 200, 30)),
        ("rgb(0%, 50%, 100%)", (0, 128, 255)),
        ("hsl(120, 100%, 25%)", (0, 128, 0)),
        ("currentColor", (1, 2, 3)),
        ("#cd853f icc-color(acmecmyk, 0.11, 0.48, 0.83, 0.00)", (205, 133, 63)),
        ("RGBA(1,2,3,1)", (1, 2, 3)),
    ],
)
def test_a_colour_is_read_as_css_says(read, colour, srgb255):
    [shape] = read(f'<g color="#010203"><rect width="5" height="5" fill="{colour}"/></g>').shapes
    assert shape.srgb255 == srgb255


def test_a_shape_says_where_it_is_in_the_file(read):
    drawing = read('<rect id="wing" width="5" height="5" stroke="red"/>\n<circle cx="12" cy="5" r="2"/>')
    assert [shape.source for shape in drawing.shapes] == [
        "rect 'wing' (line 2)",
        "stroke of rect 'wing' (line 2)",
        "circle (line 3)",
    ]


# --- refused by name and place ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ('<text x="2" y="5" id="t">King<tspan>fisher</tspan></text>', r"text 'Kingfisher' \(line 2\).*convert the text to outlines"),
        ('<image href="wing.png" width="5" height="5"/>', r"image \(line 2\)"),
        ('<foreignObject width="5" height="5"/>', r"foreignObject \(line 2\)"),
        (f'{SKY}<rect id="bar" width="5" height="5" fill="url(#sky)"/>', r"gradient 'sky' in fill of rect 'bar' \(line 2\)"),
        (f'{SKY}<path d="M0 5H9" stroke="url(#sky)"/>', r"gradient 'sky' in stroke of path \(line 2\)"),
        ('<pattern id="dots"/><rect width="5" height="5" fill="url(#dots)"/>', r"pattern 'dots' in fill of rect"),
        ('<rect width="5" height="5" fill="url(#gone)"/>', r"missing paint 'gone' in fill of rect"),
        ('<rect width="5" height="5" fill="url(other.svg#g)"/>', r"other.svg#g.*outside the file"),
        ('<mask id="m"/><rect width="5" height="5" mask="url(#m)"/>', r"mask of rect \(line 2\)"),
        ('<filter id="f"/><g style="filter:url(#f)"><rect width="5" height="5"/></g>', r"filter of g \(line 2\)"),
        ('<marker id="a"/><path d="M0 5H9" stroke="red" marker-end="url(#a)"/>', r"marker-end of path"),
        ('<g style="marker:url(#a)"><path d="M0 5H9" stroke="red"/></g>', r"marker-start of path"),
        ('<rect width="5" height="5" opacity=".5"/>', r"rect \(line 2\) 50% opaque"),
        ('<rect width="5" height="5" opacity=".9961"/>', r"rect \(line 2\) 99.6% opaque"),
        ('<rect width="5" height="5" fill-opacity=".9999"/>', r"fill of rect \(line 2\) 99.9% opaque"),
        ('<g opacity="50%"><rect width="5" height="5"/></g>', r"g \(line 2\) 50% opaque"),
        ('<rect width="5" height="5" fill-opacity="0.25"/>', r"fill of rect \(line 2\) 25% opaque"),
        ('<rect width="5" height="5" fill="#ff000080"/>', r"fill of rect \(line 2\) 50% opaque"),
        ('<rect width="5" height="5" stroke="red" stroke-opacity=".3"/>', r"stroke of rect \(line 2\) 30% opaque"),
        ('<rect width="5" height="5" style="mix-blend-mode:multiply"/>', r"mix-blend-mode of rect"),
        ('<rect width="5" height="5" stroke="red" vector-effect="non-scaling-stroke"/>', r"vector-effect of rect"),
        ('<rect width="5" height="5"><animate attributeName="x" to="5"/></rect>', r"animation animate \(line 2\)"),
        ('<script>draw()</script><rect width="5" height="5"/>', r"script \(line 2\)"),
        ('<rect width="5" height="5" onload="draw()"/>', r"script onload of rect \(line 2\)"),
        ('<use href="birds.svg#wing"/>', r"use \(line 2\): 'birds.svg#wing' is outside the file"),
        ('<use href="#nothing"/>', r"use \(line 2\): '#nothing' points at nothing"),
        ('<style>@import url("http://sheet.invalid/a.css");</style><rect width="5" height="5"/>', r"CSS @import \(line 2\)"),
        ('<style>\n@media print { rect { fill: red } }</style><rect width="5" height="5"/>', r"CSS @media \(line 3\)"),
        ('<style>rect { fill red }</style><rect width="5" height="5"/>', r"broken CSS"),
        ('<style>rect:::x { fill: red }</style><rect width="5" height="5"/>', r"CSS selector 'rect:::x' \(line 2\)"),
        ('<rect width="5" height="5" style="fill: var(--wing)"/>', r"fill 'var\(--wing\)' of rect"),
        ('<rect width="5" height="5" style="transform-origin: center" transform="rotate(9)"/>', r"transform-origin of rect"),
        ('<rect width="5" height="5" clip-path="circle(3px)"/>', r"clip-path 'circle\(3px\)' of rect"),
        ('<rect width="5" height="5" clip-path="url(#none)"/>', r"clip-path 'url\(#none\)' of rect"),
        ('<clipPath id="c"><text>A</text></clipPath><rect width="5" height="5" clip-path="url(#c)"/>', r"text \(line 2\) in a clip path"),
        ('<rect width="5" height="5" systemLanguage="en"/>', r"viewer's language"),
        ('<hexagon width="5"/>', r"unknown element hexagon \(line 2\)"),
        ('<rect width="5" height="5" fill="kingfisher"/>', r"rect \(line 2\): 'kingfisher' is not a colour"),
        ('<rect width="5em" height="5"/>', r"'5em' has a unit"),
        ('<rect width="-5" height="5"/>', r"width -5 is negative"),
        ('<polygon points="1,1 5,5 3"/>', r"polygon \(line 2\): 5 numbers in points"),
        ('<path id="wing" d="M0 0L5 nan"/>', r"path 'wing' \(line 2\): path data breaks off in 'L' at 'nan'"),
        ('<path d="M0 0L5 5 Lx"/>', r"path data breaks off in 'L' at 'x'"),
        ('<path d="M0 0L1e999 5"/>', r"number too large"),
        ('<path d="L0 0 5 5"/>', r"starts with 'L'"),
        ('<path d="M0 0H5z9 9"/>', r"number without a command at '9 9'"),
        ('<path d="M0 0a5 5 0 2 0 5 5"/>', r"breaks off in 'a' at '2 0 5 5'"),
        ('<rect width="5" height="5" x="inf"/>', r"'inf' is not a length"),
        ('<rect width="5" height="5" transform="rotate(nan)"/>', r"rect \(line 2\): 'nan' is not an angle"),
        ('<rect width="5" height="5" transform="twist(3)"/>', r"transform twist is not one"),
        ('<rect width="5" height="5" transform="scale(1e300)"/>', r"rect \(line 2\)"),
        ('<path d="M0 0L1.7e308 1.7e308 5 0z"/>', r"path \(line 2\): it reaches beyond 1,000 m"),
        ('<circle cx="1.7e308" cy="1.7e308" r="1"/>', r"circle \(line 2\): it reaches beyond 1,000 m"),
        ('<rect width="5" height="5" stroke="red" stroke-width="-1"/>', r"stroke-width -1 is negative"),
        ('<rect width="5" height="5" stroke="red" stroke-linejoin="arcs"/>', r"stroke-linejoin 'arcs'"),
        ('<path d="M0 5H20L1 1" stroke="red" stroke-linejoin="round" stroke-width="1e300"/>', r"stroke-width 1e\+300 is too large"),
        ('<path d="M0 5H20" stroke="red" stroke-dasharray="0.00001"/>', r"over 100,000 dashes"),
    ],
)  # fmt: skip
def test_what_cannot_be_marked_exactly_is_named_with_its_place(read, body, named):
    with pytest.raises(FileError, match=named) as caught:
        read(f'<rect x="15" width="2" height="2"/>{body}' if "\n" not in body else body)
    assert "\n" not in str(caught.value) and "PNG" in str(caught.value)


def test_all_that_cannot_be_marked_is_told_in_one_line(read):
    body = "\n".join(f'<text y="5">Trail {number}</text>' for number in range(8))
    with pytest.raises(FileError) as caught:
        read(body)
    told = str(caught.value)
    assert (
        "'Trail 0' (line 2)" in told and "'Trail 4' (line 6)" in told and "and 3 more" in told and "Trail 5" not in told
    )


def test_what_is_not_drawn_is_not_refused(read):
    drawing = read(
        '<defs><text>A</text><linearGradient id="g"><stop/><stop stop-color="red"/></linearGradient></defs>'
        '<g display="none"><image href="x.png"/></g><text visibility="hidden">B</text><text> </text>'
        '<g opacity="0"><text>C</text></g><metadata><rdf xmlns="urn:x">D</rdf></metadata><rect width="5" height="5"/>'
    )
    assert areas(drawing) == pytest.approx([25])


# --- bad input -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<svg xmlns='http://www.w3.org/2000/svg'><rect>", "not well-formed XML"),
        ("<svg", "not well-formed XML"),
        ("", "is empty"),
        ("   \n", "is empty"),
        (b"\x1f\x8b\x08\x00<svg", "compressed"),
        (b"\x00\x01\x02<svg\xff", "not well-formed XML"),
        ('<?xml version="1.0" encoding="klingon"?><svg/>', "encoding|well-formed"),
        ("<html><svg/></html>", "starts with 'html', not with svg"),
        ('<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><svg xmlns="http://www.w3.org/2000/svg">&b;</svg>', "XML entities"),
        ('<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]><svg xmlns="http://www.w3.org/2000/svg">&x;</svg>', "XML entities"),
        ('<!DOCTYPE svg [<!ENTITY % x SYSTEM "http://dtd.invalid/x.dtd"> %x;]><svg xmlns="http://www.w3.org/2000/svg"/>', "XML entities"),
        ('<!DOCTYPE svg SYSTEM "http://dtd.invalid/x.dtd"><svg xmlns="http://www.w3.org/2000/svg">&leaf;</svg>', "entity &leaf;"),
        ('<?xml-stylesheet href="http://sheet.invalid/a.css"?><svg xmlns="http://www.w3.org/2000/svg"/>', "style sheet outside"),
        (f'<svg xmlns="{SVG}" width="0" height="5"/>', "leave no area"),
        (f'<svg xmlns="{SVG}" width="9" height="5" viewBox="0 0 0 5"/>', "viewBox has no area"),
        (f'<svg xmlns="{SVG}" width="9" height="5" viewBox="0 0 nan 5"/>', "number belongs"),
        (f'<svg xmlns="{SVG}" width="nan" height="5"/>', "not a length"),
        (f'<svg xmlns="{SVG}" width="9" height="5" viewBox="0 0 9 5" preserveAspectRatio="middle"/>', "preserveAspectRatio"),
        (f'<svg xmlns="{SVG}" width="9" height="5" opacity="lots"/>', "not a number"),
    ],
)  # fmt: skip
def test_a_damaged_or_unsafe_file_is_one_clear_line(read, text, said):
    with pytest.raises(FileError, match=said) as caught:
        read(text)
    assert "\n" not in str(caught.value)


def test_a_drawing_with_nothing_visible_says_so(read):
    for body in (
        "<g/>",
        '<rect width="0" height="5"/><path d=""/><polygon points="1,1"/><path d="M1 1L5 5Z"/>',
        '<rect width="5" height="5" fill="none"/>',
        '<rect x="40" width="5" height="5"/>',
        '<rect width="5" height="5" transform="scale(0)" stroke="red"/>',
    ):
        with pytest.raises(FileError, match="no visible shape"):
            read(body)


def test_a_million_points_are_refused_in_one_line(read):
    xy = " ".join(f"{number % 1000},{number // 1000}" for number in range(1_000_000))
    for body in (f'<polyline points="{xy}"/>', f'<path d="M{xy}"/>'):
        with pytest.raises(FileError, match=r"over [05,1]+ (points|numbers)") as caught:
            read(body)
        assert len(str(caught.value)) < 300


def test_a_scribble_that_would_run_for_hours_is_refused(read):
    rng = np.random.default_rng(4)
    xy = " ".join(f"{x:.3f},{y:.3f}" for x, y in rng.uniform(0, 10, (4000, 2)))
    with pytest.raises(FileError, match="crosses itself"):
        read(f'<polygon points="{xy}"/>')


def test_loops_and_multiplying_uses_end_in_an_error(read, monkeypatch):
    with pytest.raises(FileError, match=r"use 'b' \(line 2\) uses itself"):
        read('<g id="a"><use id="b" href="#a"/></g>')
    with pytest.raises(FileError, match="uses itself"):
        read('<use id="a" href="#b"/><use id="b" href="#a"/>')
    with pytest.raises(FileError, match="clips itself"):
        read(
            '<clipPath id="c" clip-path="url(#c)"><rect width="9" height="9"/></clipPath><rect width="5" height="5" clip-path="url(#c)"/>'
        )
    levels = "".join(f'<g id="l{n}">' + f'<use href="#l{n - 1}"/>' * 10 + "</g>" for n in range(1, 9))
    monkeypatch.setattr("tint.artwork.svg_scene.MAX_VISITS", 5_000)  # the true limit takes some seconds to reach
    with pytest.raises(FileError, match="draws over 5,000 elements"):
        read(f'<defs><rect id="l0" width="1" height="1"/>{levels}</defs><use href="#l8"/>')
    with pytest.raises(FileError, match="deeper than 100"):
        read("<g>" * 5000 + '<rect width="5" height="5"/>' + "</g>" * 5000)


def test_a_missing_file_and_a_folder_are_one_clear_line(tmp_path):
    with pytest.raises(FileError, match="not there"):
        read_drawing(tmp_path / "none.svg")
    with pytest.raises(FileError, match="cannot read"):
        read_drawing(tmp_path)


# --- edge to edge ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", DRAWINGS, ids=lambda path: path.stem)
def test_shapes_never_overlap_and_share_their_borders(path):
    regions = [shape.region for shape in read_drawing(path).shapes]
    assert all(shapely.is_valid(regions)) and shapely.coverage_is_valid(regions)
    assert abs(sum(region.area for region in regions) - shapely.union_all(regions).area) <= 1e-6


def test_a_later_shape_cuts_away_an_earlier_one(read):
    drawing = read('<rect width="10" height="10" fill="red"/><rect x="2" y="2" width="6" height="6" fill="#fff"/>')
    assert areas(drawing) == pytest.approx([64, 36])
    assert drawing.shapes[1].srgb255 == (255, 255, 255)


def test_two_thousand_overlapping_shapes_still_fill_the_sheet_once(read):
    rng = np.random.default_rng(8)
    stones = "".join(
        f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{r:.3f}" fill="#{n % 4096:03x}"/>'
        for n, (x, y, r) in enumerate(
            zip(rng.uniform(0, 120, 2000), rng.uniform(0, 90, 2000), rng.uniform(0.5, 2, 2000), strict=True)
        )
    )
    drawing = read(
        f'<svg xmlns="{SVG}" width="120mm" height="90mm" viewBox="0 0 120 90"><rect width="120" height="90"/>{stones}</svg>'
    )
    assert sum(areas(drawing)) == pytest.approx(120 * 90, abs=1e-6)
