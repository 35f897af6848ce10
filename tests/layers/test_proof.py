"""The proof shows each label in the colour of its number."""

from __future__ import annotations

import numpy as np
import pytest

from tint.errors import LimitError
from tint.lab import lab_from_srgb1, srgb255_from_lab
from tint.layers.layers import Layers
from tint.layers.proof import proof_image
from tint.palette.palette import Palette, PaletteColour
from tint.palette.reach import light_from_lab
from tint.setting import Machine, Setting, Stock


@pytest.fixture(scope="module")
def layers() -> Layers:
    machine = Machine("bench laser (invented)", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    stock = Stock("sign plate (invented)", "304", "2B", 1.0, (120, 80))
    labs = ((38, 5, -35), (74, 6, 38))  # invented
    colours = tuple(PaletteColour(f"colour {i}", Setting(18, 800, 500, 6, 0.002), np.array(lab, float), 2, 1) for i, lab in enumerate(labs))
    palette = Palette("signs", machine, stock, colours, np.array([78.0, 0.4, 3.2]))
    labels = np.random.default_rng(3).integers(0, 3, (40, 60)).astype(np.uint8)
    return Layers("reeds", 0.1, labels, palette, np.full((3, 3), np.nan), np.full(3, np.nan))


def test_every_pixel_of_the_proof_has_the_colour_of_its_number_and_bare_metal_its_own(layers: Layers) -> None:
    picture = proof_image(layers)
    assert picture.mode == "RGB"
    wanted = srgb255_from_lab(layers.palette.lab)[layers.labels]
    np.testing.assert_array_equal(np.asarray(picture), wanted)


def test_a_smaller_proof_keeps_its_shape_and_mean_light(layers: Layers) -> None:
    small = proof_image(layers, 30)
    assert small.size == (30, 20)
    full, fewer = (light_from_lab(lab_from_srgb1(np.asarray(p) / 255)).mean(axis=(0, 1)) for p in (proof_image(layers), small))
    np.testing.assert_allclose(fewer, full, rtol=0.005)  # rounding to bytes; a mean of the bytes themselves is some 8 % too dark


def test_a_proof_is_never_enlarged_and_needs_a_size(layers: Layers) -> None:
    assert proof_image(layers, 5000).size == (60, 40)
    with pytest.raises(LimitError, match="max_px 0"):
        proof_image(layers, 0)
