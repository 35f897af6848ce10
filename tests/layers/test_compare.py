"""The picture of the maps side by side."""

import dataclasses
import io
from pathlib import Path

import numpy as np
import pytest
from invented import palette, picture
from PIL import Image

from tint.errors import UseError
from tint.layers.compare import _swatches, captioned_maps, compare_maps, kind_by_ending, picture_bytes
from tint.layers.tonal import Tonal


def test_the_maps_stand_side_by_side_and_differ():
    y, x = np.mgrid[0:60, 0:90] / 90
    art = picture(np.clip(np.stack([255 * x, 200 * y, 255 - 255 * x], axis=-1), 0, 255), 9)
    sheet = np.asarray(compare_maps(art, palette(), Tonal(0.1)))
    assert sheet.ndim == 3 and sheet.shape[1] > 3 * 400
    columns = [sheet[100:300, left + 20 : left + 420].astype(int) for left in (14, 648, 1282)]
    assert all(np.abs(columns[a] - columns[b]).mean() > 1 for a, b in ((0, 1), (1, 2), (0, 2)))


def test_the_palette_fills_its_panel_in_order_and_every_colour_has_its_field():
    for count in (2, 3, 7, 10, 13, 256):
        lab = np.column_stack([np.linspace(10, 90, count), np.zeros(count), np.zeros(count)])
        light = _swatches(lab, (300, 450))
        assert light.shape == (300, 450, 3)
        shown, fields = np.unique(light[..., 1], return_counts=True)
        assert len(shown) == count and fields.max() <= 2.2 * fields.min()
        assert light[0, 0, 1] == shown[0] and light[-1, -1, 1] == shown[-1]


def test_the_picture_says_where_its_colours_come_from(monkeypatch):
    import tint.layers.compare as compare

    said = []
    captioned = compare.captioned
    monkeypatch.setattr(compare, "captioned", lambda sheet, title, lines: (said.extend([title, *lines]), captioned(sheet, title, lines))[1])
    art, simulated = picture(np.full((20, 30, 3), (90, 120, 160)), 3), dataclasses.replace(palette(), remarks=("SIMULATED colours", "more"))
    shown = captioned_maps(art, simulated)
    assert shown.height > compare_maps(art, simulated).height + 40
    assert "SIMULATED colours" in said and art.name in said[0]


@pytest.mark.parametrize(("name", "kind"), [("maps.png", "PNG"), ("maps.JPG", "JPEG"), ("maps.jpeg", "JPEG"), ("maps.webp", "WEBP")])
def test_the_ending_is_the_kind_of_the_file(name, kind):
    image = Image.fromarray(np.random.default_rng(0).integers(0, 256, (24, 24, 3), dtype=np.uint8))
    read = Image.open(io.BytesIO(picture_bytes(image, kind_by_ending(Path(name)))))
    assert read.format == kind
    if kind != "JPEG":
        np.testing.assert_array_equal(np.asarray(read.convert("RGB")), np.asarray(image))


@pytest.mark.parametrize("name", ["maps", "maps.tif", "maps.pdf", ".png"])
def test_another_ending_is_refused_with_a_name_that_would_do(name):
    with pytest.raises(UseError, match=r"written as .png, .jpg or .webp; choose a name such as .+\.png\.$"):
        kind_by_ending(Path(name))
