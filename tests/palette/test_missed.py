"""Colours of an artwork that its palette has nothing near are told, with what would help."""

import numpy as np
import shapely

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.lab import delta_e00, lab_from_hex, lab_from_srgb1
from tint.palette.missed import missed_remark
from tint.palette.palette import Palette, PaletteColour
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench (invented)", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate (invented)", "304", "2B", 1.5, [100, 100])
BLUE, LEAF, BERRY, PAGE = (30, 55, 140), (30, 158, 74), (181, 18, 58), (255, 255, 255)
BARE = lab_from_srgb1(np.array([205, 203, 200]) / 255)


def palette(*colours):
    labs = lab_from_srgb1(np.array(colours) / 255)
    made = tuple(PaletteColour(f"mark {i}", Setting(15, 800, 300, 6, 0.002), lab, 2.0, 1.0) for i, lab in enumerate(labs, 1))
    return Palette("signs (invented)", LASER, SHEET, made, BARE)


def logo(*parts):
    """Drawing of bars: colour and height [mm] of each, 10 mm wide."""
    y, shapes = 0.0, []
    for colour, height in parts:
        shapes.append(Shape(shapely.box(0, y, 10, y + height), colour, "t"))
        y += height
    return Drawing("logo", 10, y, tuple(shapes))


def reach(*colours):
    return lab_from_srgb1(np.array([BLUE, *colours]) / 255)


def test_a_thin_colour_is_told_with_area_what_stands_in_and_what_holds_it():
    line = missed_remark(logo((PAGE, 90), (BLUE, 9.9), (BERRY, 0.1)), palette(BLUE), reach((170, 30, 60)))
    far = delta_e00(lab_from_hex("#b5123a"), palette(BLUE).lab).min()
    best = delta_e00(lab_from_hex("#b5123a"), reach((170, 30, 60))).min()
    assert line.startswith(f"colours of logo with nothing near, over 10 ΔE00: #b5123a (1 % of the area; mark 1 stands in, {far:.0f} away; ")
    assert line.endswith(f"this stock can come to {best:.0f}). A larger -n may serve it, --keep '#b5123a' does.") and "\n" not in line


def test_what_the_stock_cannot_show_is_told_without_advice():
    line = missed_remark(logo((BLUE, 5), (LEAF, 5)), palette(BLUE), reach((80, 90, 130)))
    assert "#1e9e4a (50 % of the area; bare metal stands in, " in line
    assert line.endswith("this stock shows nothing noticeably nearer).")


def test_the_background_counts_only_where_it_is_to_be_marked():
    art = logo((PAGE, 5), (BLUE, 5))
    assert missed_remark(art, palette(BLUE), reach()) == ""
    assert "#ffffff (50 %" in missed_remark(art, palette(BLUE), reach(), None)
    assert "#ffffff (50 %" in missed_remark(art, palette(BLUE), reach(), (0, 0, 0))
    assert missed_remark(logo((PAGE, 5)), palette(BLUE), reach()) == ""


def test_of_many_colours_four_are_named_the_largest_first():
    hues = [(200, 0, 0), (0, 200, 0), (200, 200, 0), (200, 0, 200), (0, 200, 200), (255, 100, 0)]
    line = missed_remark(logo(*((hue, 1 + i) for i, hue in enumerate(hues))), palette(BLUE), reach())
    assert line.count("stands in") == 4 and line.index("#ff6400") < line.index("#00c8c8") and "and 2 more (14 %)" in line


def test_a_flat_picture_is_told_like_a_drawing_and_a_photograph_is_not():
    pixels = np.full((200, 200, 3), PAGE, np.uint8)
    pixels[:100], pixels[150:160] = BLUE, BERRY
    line = missed_remark(Picture("logo", 20, 20, pixels, np.zeros((200, 200), bool)), palette(BLUE), reach(BERRY))
    assert "#b5123a (9" in line and "can come to 0" in line and "#ffffff" not in line
    noise = np.random.default_rng(1).integers(0, 256, (200, 200, 3)).astype(np.uint8)
    assert missed_remark(Picture("logo", 20, 20, noise, np.zeros((200, 200), bool)), palette(BLUE), reach()) == ""
