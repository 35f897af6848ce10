"""Clip paths by areas worked out by hand; their look against resvg is in test_vector."""

import pytest

from tint.artwork.vector import read_drawing
from tint.errors import FileError

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
        ('<clipPath id="c" clip-path="url(#d)"><rect width="20" height="9"/></clipPath>'
         '<clipPath id="d" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>',
         '<rect width="4" height="4" clip-path="url(#c)"/><rect x="10" width="6" height="4" clip-path="url(#c)"/>', 8 + 12),
        # the transform of a clip path turns user units, those of a bounding box too: the left half, moved by 1 to the right
        ('<clipPath id="c" clipPathUnits="objectBoundingBox" transform="translate(1 0)"><rect width=".5" height="1"/></clipPath>',
         '<rect x="2" y="2" width="6" height="4" clip-path="url(#c)"/><rect x="4" width="1" height="1"/>', 12 + 1),
        # SVG 1.1, section 5.6: x and y of a use are the end of its transform, so its clip path moves along
        ('<clipPath id="c"><rect x="1" width="2" height="3"/></clipPath><defs><rect id="r" width="4" height="3"/></defs>',
         '<use href="#r" x="5" y="2" clip-path="url(#c)"/>', 6),
        ('<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
         '<defs><rect id="r" width="4" height="3"/></defs>',
         '<use href="#r" x="5" y="2" clip-path="url(#c)"/><g clip-path="url(#c)"><use href="#r" x="12"/></g>', 6 + 6),
        ('<clipPath id="c"><use href="#r" x="1" clip-path="url(#d)"/></clipPath><defs><rect id="r" width="4" height="3"/></defs>'
         '<clipPath id="d"><rect width="2" height="9"/></clipPath>', NINE, 6),
        ('<clipPath id="c"/>', '<rect width="9" height="9" clip-path="url(#c)"/><rect x="12" width="2" height="2"/>', 4),
    ],
)  # fmt: skip
def test_a_clip_path_lets_through_what_it_covers(tmp_path, clip, body, area_mm2):
    path = tmp_path / "sign.svg"
    path.write_text(f'<svg xmlns="{SVG}" width="20mm" height="10mm" viewBox="0 0 20 10">{clip}{body}</svg>')
    assert sum(shape.region.area for shape in read_drawing(path).shapes) == pytest.approx(area_mm2, rel=1e-9)


@pytest.mark.parametrize(
    ("body", "named"),
    [
        ('<symbol id="s"><rect width="4" height="4"/></symbol><use href="#s" clip-path="url(#c)"/>', "needs groups and shapes only"),
        ('<switch clip-path="url(#c)"><rect width="4" height="4"/><rect width="20" height="4"/></switch>', "needs groups and shapes only"),
        ('<path clip-path="url(#c)" d="M0 0C1e308 1e308 -1e308 -1e308 4 4z"/>', "reaches beyond 1,000 m"),
    ],
)  # fmt: skip
def test_a_bounding_box_that_is_not_known_is_refused_and_nothing_is_dropped(tmp_path, body, named):
    path = tmp_path / "sign.svg"
    clip = '<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
    path.write_text(f'<svg xmlns="{SVG}" width="20mm" height="10mm" viewBox="0 0 20 10">{clip}{body}<rect width="1" height="1"/></svg>')
    with pytest.raises(FileError, match=named) as caught:
        read_drawing(path)
    assert "\n" not in str(caught.value)
