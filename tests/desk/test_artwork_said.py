"""What the page says of a separation is what the library says of it."""

import shapely
from PIL import Image

from tint.artwork.artwork import Drawing, Shape, read_artwork
from tint.artwork.preview import reduced
from tint.desk.artwork_said import remarks
from tint.desk.separation import separated
from tint.palette.palette import read_palette

FLAT = {"way": "flat", "map": None, "cell_mm": None, "paper": True, "ink": True, "smooth": False, "speck_mm2": None, "join": []}


def test_plain_colours_of_a_drawing_that_come_out_as_one_are_told_on_the_page(shop):
    palette = read_palette(shop / "simulated" / "palette.json")
    shapes = [Shape(shapely.box(9 * i, 0, 9 * i + 9, 9), colour, "test") for i, colour in enumerate([(255, 224, 0), (255, 247, 192)])]
    layers = separated(Drawing("reed", 18, 9, tuple(shapes)), palette, FLAT, None)
    assert [line for line in remarks(palette, layers, None) if line.startswith("colours that come out as one: #ffe000 and #fff7c0")]


def test_what_was_remarked_while_the_picture_was_read_stands_on_the_page(shop, tmp_path):
    Image.new("CMYK", (60, 40), (90, 0, 40, 10)).save(tmp_path / "inks.tif")
    palette = read_palette(shop / "simulated" / "palette.json")
    shown = reduced(read_artwork(tmp_path / "inks.tif", 6), 30)  # as the page previews it
    assert [line for line in remarks(palette, separated(shown, palette, FLAT, None), None) if "CMYK without a colour profile" in line]
