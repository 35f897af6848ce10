"""Clip paths by areas worked out by hand; their look against resvg is in test_vector."""

import pytest

from tint.artwork.vector import read_drawing

NINE = '<rect width="9" height="9" clip-path="url(#c)"/>'
SVG = "http://www.w3.org/2000/svg"


@pytest.mark.parametrize(
    ("clip", "body", "area_mm2"),
    [
        ('<clipPath id="c"><rect width="4" height="3"/></clipPath>', NINE, 12),
        ('<clipPath id="c"><rect width="4" height="3"/><rect x="2" width="4" height="3"/></clipPath>', NINE, 18),
        ('<clipPath id="c" transform="scale(2)"><rect width="2" height="2"/></clipPath>', NINE, 16),
        ('<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height=".5"/></clipPath>',
         '<rect x="2" y="2" width="6" height="4" stroke="red" stroke-width="0" clip-path="url(#c)"/>', 6),
        ('<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>',
         '<g clip-path="url(#c)"><rect width="2" height="2"/><rect x="8" width="2" height="2"/></g>', 4),
        ('<clipPath id="c"><path clip-rule="evenodd" d="M0 0H6V6H0zM2 2H4V4H2z"/></clipPath>', NINE, 32),
        ('<clipPath id="c"><path fill-rule="evenodd" d="M0 0H6V6H0zM2 2H4V4H2z"/></clipPath>', NINE, 36),
        ('<clipPath id="c"><rect width="4" height="3" clip-path="url(#d)"/></clipPath>'
         '<clipPath id="d"><rect width="2" height="9"/></clipPath>',
         NINE, 6),
        ('<clipPath id="c" clip-path="url(#d)"><rect width="4" height="3"/></clipPath>'
         '<clipPath id="d"><rect width="9" height="1"/></clipPath>',
         NINE, 4),
        ('<clipPath id="c"><use href="#r" x="1"/></clipPath><defs><rect id="r" width="4" height="3"/></defs>',
         '<g transform="translate(2 2)"><rect width="4" height="4" clip-path="url(#c)"/></g>', 9),
        ('<clipPath id="c"><rect width="4" height="3" fill="none" opacity="1"/></clipPath>',
         '<g clip-path="url(#c)"><rect x="2" width="9" height="9" clip-path="url(#c)"/></g>', 6),
        ('<clipPath id="c"><rect width="4" height="3" display="none"/><rect width="1" height="1"/></clipPath>', NINE, 1),
        ('<clipPath id="c"/>', '<rect width="9" height="9" clip-path="url(#c)"/><rect x="12" width="2" height="2"/>', 4),
    ],
)  # fmt: skip
def test_a_clip_path_lets_through_what_it_covers(tmp_path, clip, body, area_mm2):
    path = tmp_path / "sign.svg"
    path.write_text(f'<svg xmlns="{SVG}" width="20mm" height="10mm" viewBox="0 0 20 10">{clip}{body}</svg>')
    assert sum(shape.region.area for shape in read_drawing(path).shapes) == pytest.approx(area_mm2, rel=1e-9)
