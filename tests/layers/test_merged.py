"""Colours of flat artwork that come out as one are told, and stay told in the folder of layers."""

import dataclasses
import json

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.lab import delta_e00, lab_from_hex, lab_from_srgb1
from tint.layers.folder import write_layers
from tint.layers.merged import merged_in_picture, merged_remark
from tint.layers.separate import separate
from tint.palette.palette import Palette, PaletteColour
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench (invented)", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate (invented)", "304", "2B", 1.5, [100, 100])
WATER, REED, DUSK, STRAW, BLUSH = (20, 60, 140), (60, 40, 150), (24, 64, 136), (210, 170, 60), (235, 225, 225)


def palette():
    labs = {"blue": lab_from_srgb1(np.array([30, 55, 140]) / 255), "straw": lab_from_srgb1(np.array(STRAW) / 255)}
    colours = tuple(PaletteColour(name, Setting(15, 800, 300, 6, 0.002), lab, 2.0, 1.0) for name, lab in labs.items())
    return Palette("signs (invented)", LASER, SHEET, colours, lab_from_srgb1(np.array([230, 228, 224]) / 255))


def drawing(*colours):
    shapes = tuple(Shape(shapely.box(5 * i, 0, 5 * i + 5, 4 + i), colour, "test") for i, colour in enumerate(colours))
    return Drawing("pond", 5 * len(colours), 4 + len(colours), shapes)


def said(*colours):
    """What a separation says of it, "" for nothing."""
    lines = [line for line in separate(drawing(*colours), palette(), background=None).remarks if "come out as one" in line]
    assert len(lines) <= 1
    return "".join(lines)


def test_two_plain_colours_in_one_layer_are_named_with_their_distance():
    apart = delta_e00(lab_from_srgb1(np.array(WATER) / 255), lab_from_hex("#3c2896"))
    line = said(WATER, STRAW, REED)
    assert "#3c2896 and #143c8c" in line  # the larger first
    assert f"{apart:.0f} ΔE00 apart in the artwork, are both blue." in line and "\n" not in line and apart > 10


def test_colours_lost_in_the_bare_metal_count_too_and_further_layers_are_named():
    line = said(WATER, REED, STRAW, BLUSH, (225, 240, 200))
    apart = delta_e00(lab_from_hex("#3c2896"), lab_from_hex("#143c8c"))
    assert f"#e1f0c8 and #ebe1e1, 20 ΔE00 apart in the artwork, are both bare metal; #3c2896 and #143c8c are blue ({apart:.0f}). A" in line


def test_of_many_further_layers_two_are_named_and_the_others_counted():
    grey = [(level, level, level) for level in range(0, 256, 16)]
    labs = lab_from_srgb1(np.array(grey) / 255)
    colours = tuple(PaletteColour(f"grey {i}", Setting(15, 800, 300, 6, 0.002), lab, 2.0, 1.0) for i, lab in enumerate(labs))
    many = Palette("greys (invented)", LASER, SHEET, colours, labs[-1])
    srgb255 = np.array([(i, 80, 200 - i) for i in range(8)] + [(i, 200, 80) for i in range(8)])
    line = merged_remark(srgb255, np.ones(16), np.tile(np.arange(1, 9), 2), many)
    assert line.count("are grey") == 2 and "; colours of 5 more layers likewise. A palette" in line and "\n" not in line


def test_all_plainly_different_colours_of_a_layer_are_named_up_to_four():
    hues = [(0, 0, 0), (90, 45, 130), (26, 35, 126), (26, 36, 126)]
    line = merged_remark(np.array(hues), np.array([1.0, 4.0, 3.0, 2.0]), np.ones(4, int), palette())
    assert "as one: #5a2d82, #000000 and #1a237e, up to 31 ΔE00 apart in the artwork, are all blue. A palette" in line
    many = np.array([(r, g, b) for r in (0, 255) for g in (0, 255) for b in (0, 255)])
    assert merged_remark(many, np.ones(8), np.ones(8, int), palette()).count("#") == 4


def test_a_palette_chosen_for_this_artwork_is_not_advised_again():
    shapes = drawing(WATER, REED)
    chosen = separate(shapes, dataclasses.replace(palette(), artwork="pond"), background=None).remarks[-1]
    other = separate(shapes, dataclasses.replace(palette(), artwork="reeds"), background=None).remarks[-1]
    assert "This palette was chosen for pond: more colours (tint palette -n) or --keep" in chosen and "--for" not in chosen
    assert other.endswith("A palette chosen for the artwork (tint palette --for) may keep them apart.")


@pytest.mark.parametrize("colours", [(WATER,), (WATER, STRAW), (WATER, DUSK, STRAW), (WATER, WATER)])
def test_colours_that_stay_apart_or_are_alike_are_not_told(colours):
    assert said(*colours) == ""


def bars(*colours, soft=True):
    """Picture of bars on white with soft edges, as a drawing program exports them, 40 × 20 mm."""
    large = Image.new("RGB", (1600, 800), "white")
    for i, colour in enumerate(colours):
        left = 62 + 1500 * i // len(colours)
        ImageDraw.Draw(large).rectangle((left, 61, left + 1200 // len(colours), 741), fill=colour)
    pixels = np.asarray(large.resize((400, 200), Image.Resampling.LANCZOS if soft else Image.Resampling.NEAREST))
    return Picture("pond", 40, 20, pixels, np.zeros((200, 400), bool))


def told(picture, chosen=None, **options):
    return [line for line in separate(picture, chosen or palette(), **options).remarks if "come out as one" in line]


@pytest.mark.parametrize("soft", [True, False])
def test_a_flat_picture_tells_the_same_as_the_drawing(soft):
    (line,) = told(bars(WATER, STRAW, REED, soft=soft))
    assert line == said(WATER, STRAW, REED).replace("#3c2896 and #143c8c", "#143c8c and #3c2896")  # equal areas here
    assert not told(bars(WATER, STRAW, DUSK, soft=soft))


def test_pale_colours_of_a_picture_are_told_from_the_page_they_vanish_in():
    (line,) = told(bars(WATER, (225, 240, 200)))
    assert "#ffffff and #e1f0c8" in line and "are both bare metal" in line
    clear = bars(WATER, (225, 240, 200))
    assert not told(dataclasses.replace(clear, bare=(clear.srgb255 == 255).all(axis=2)))  # hidden white is no colour


def test_photographs_and_shading_say_nothing():
    noise = np.random.default_rng(4).integers(0, 256, (200, 400, 3)).astype(np.uint8)
    slope = np.repeat(np.linspace(0, 255, 400).astype(np.uint8)[None, :, None], 200, axis=0).repeat(3, axis=2)
    for pixels in (noise, slope, np.array([[WATER, REED] * 200] * 200, np.uint8), noise[:1], noise[:, :1]):
        assert merged_in_picture(Picture("pond", 40, 20, pixels, np.zeros(pixels.shape[:2], bool)), np.ones(pixels.shape[:2], int), palette()) == ""


def test_only_the_largest_colours_of_many_are_compared_and_a_colour_counts_with_all_its_shapes(monkeypatch):
    monkeypatch.setattr("tint.layers.merged.MOST_COLOURS", 2)
    srgb255, number = np.array([WATER, STRAW, REED, REED]), np.array([1, 2, 1, 1])
    assert merged_remark(srgb255, np.array([5.0, 4.0, 1.0, 2.0]), number, palette()) == ""  # reed is the third
    assert "are both blue" in merged_remark(srgb255, np.array([5.0, 4.0, 2.5, 2.5]), number, palette())


def test_the_folder_of_layers_keeps_the_line(tmp_path):
    layers = separate(drawing(WATER, STRAW, REED), palette(), background=None)
    kept = json.loads((write_layers(layers, tmp_path / "layers") / "layers.json").read_text(encoding="utf-8"))["remarks"]
    assert kept == list(layers.remarks) and sum("come out as one" in line for line in kept) == 1
