"""Colours of a drawing that come out as one are told, and stay told in the folder of layers."""

import json

import numpy as np
import pytest
import shapely

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.lab import delta_e00, lab_from_hex, lab_from_srgb1
from tint.layers.folder import write_layers
from tint.layers.merged import merged_remark
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


def test_colours_lost_in_the_bare_metal_count_too_and_further_layers_are_counted():
    line = said(WATER, REED, STRAW, BLUSH, (225, 240, 200))
    assert "and colours of 1 more layer likewise." in line and "#e1f0c8 and #ebe1e1, 20 ΔE00 apart in the artwork, are both bare metal," in line


@pytest.mark.parametrize("colours", [(WATER,), (WATER, STRAW), (WATER, DUSK, STRAW), (WATER, WATER)])
def test_colours_that_stay_apart_or_are_alike_are_not_told(colours):
    assert said(*colours) == ""


def test_a_picture_has_no_such_line():
    pixels = np.array([[WATER, REED] * 20] * 20, np.uint8)
    picture = Picture("pond", 40, 20, pixels, np.zeros((20, 40), bool))
    assert not any("come out as one" in line for line in separate(picture, palette()).remarks)


def test_only_the_largest_colours_of_many_are_compared_and_a_colour_counts_with_all_its_shapes(monkeypatch):
    monkeypatch.setattr("tint.layers.merged.MOST_COLOURS", 2)
    srgb255, number = np.array([WATER, STRAW, REED, REED]), np.array([1, 2, 1, 1])
    assert merged_remark(srgb255, np.array([5.0, 4.0, 1.0, 2.0]), number, palette()) == ""  # reed is the third
    assert "are both blue" in merged_remark(srgb255, np.array([5.0, 4.0, 2.5, 2.5]), number, palette())


def test_the_folder_of_layers_keeps_the_line(tmp_path):
    layers = separate(drawing(WATER, STRAW, REED), palette(), background=None)
    kept = json.loads((write_layers(layers, tmp_path / "layers") / "layers.json").read_text(encoding="utf-8"))["remarks"]
    assert kept == list(layers.remarks) and sum("come out as one" in line for line in kept) == 1
