"""What is lost of an artwork, place by place."""

import numpy as np
import pytest
import shapely
from invented import LABS, palette, picture

from tint.artwork.artwork import Drawing, Shape
from tint.errors import DataError
from tint.lab import delta_e00, lab_from_linear1, lab_from_srgb1, srgb255_from_lab
from tint.layers.layers import Layers
from tint.layers.lost import lost_map
from tint.layers.seen import blended_labels, blended_picture
from tint.palette.reach import lab_from_light, light_from_lab


def layers_of(labels, pitch_mm=0.05):
    mine = palette()
    nothing = np.full((len(mine) + 1, 3), np.nan)
    return Layers("sign", pitch_mm, np.asarray(labels, np.uint8), mine, nothing, nothing[:, 0])


def test_an_even_field_loses_the_difference_of_its_two_colours():
    asked = np.array([90, 120, 60])
    lost = lost_map(layers_of(np.full((40, 60), 3)), picture(np.broadcast_to(asked, (40, 60, 3)), 3.0))
    expected = delta_e00(lab_from_srgb1(asked / 255), np.array(LABS["blue"], float))
    assert lost.de00.shape == (8, 12) and lost.block_mm == pytest.approx(0.25)
    np.testing.assert_allclose(lost.de00, expected, atol=0.02)
    assert lost.mean_de00 == pytest.approx(float(expected), abs=0.02)


def test_cells_that_blend_to_the_tone_asked_for_lose_nothing():
    checks = np.indices((60, 60)).sum(axis=0) % 2 * 2 + 1  # straw and blue in turn, as a tonal separation sets them
    mine = palette()
    blend = lab_from_light(light_from_lab(mine.lab[[1, 3]]).mean(axis=0))
    asked = srgb255_from_lab(blend)
    lost = lost_map(layers_of(checks, 0.025), picture(np.broadcast_to(asked, (60, 60, 3)), 1.5))
    assert lost.mean_de00 < 0.6  # one byte of sRGB


def test_what_was_to_stay_bare_does_not_count():
    pixels = np.full((40, 40, 3), 255)
    pixels[:, 20:] = srgb255_from_lab(np.array(LABS["teal"], float))
    labels = np.zeros((40, 40))
    labels[:, 20:] = 4
    art = picture(pixels, 2.0)
    assert np.isnan(lost_map(layers_of(labels), art).de00[:, :4]).all()
    counted = lost_map(layers_of(labels), art, background=None).de00
    assert counted[:, :4].min() > 5 and counted[:, 4:].max() < 1
    clear = np.zeros((40, 40), bool)
    clear[:, :20] = True
    assert np.isnan(lost_map(layers_of(labels), picture(pixels, 2.0, clear), background=None).de00[:, :4]).all()
    with pytest.raises(DataError, match="all of it was to stay bare"):
        lost_map(layers_of(labels), picture(pixels, 2.0, np.ones((40, 40), bool)))


def test_a_drawing_is_compared_by_its_shapes():
    art = Drawing("sign", 3.0, 2.0, (Shape(shapely.box(0, 0, 1.5, 2), (90, 120, 60), "test"),))
    lost = lost_map(layers_of(np.full((40, 60), 3)), art)
    assert np.isfinite(lost.de00[:, :6]).all() and np.isnan(lost.de00[:, 6:]).all()


def test_an_artwork_of_other_proportions_is_refused():
    with pytest.raises(DataError, match="not the artwork they were made from"):
        lost_map(layers_of(np.ones((40, 60))), picture(np.zeros((60, 40, 3)), 3.0))


def test_blocks_hold_the_mean_light_of_their_pixels_cut_ones_too():
    rng = np.random.default_rng(6)
    labels, light = rng.integers(0, 4, (7, 10)), rng.random((4, 3))
    counted = rng.random((7, 10)) < 0.7
    counted[:3, :3] = False
    out = blended_labels(labels, light, 3, counted)
    assert out.shape == (3, 4, 3) and np.isnan(out[0, 0]).all()
    np.testing.assert_allclose(
        out[2, 3], light[labels[6:, 9:]][counted[6:, 9:]].mean(axis=0) if counted[6, 9] else np.nan
    )
    np.testing.assert_allclose(out[1, 1], light[labels[3:6, 3:6]][counted[3:6, 3:6]].mean(axis=0), rtol=1e-5)
    pixels = rng.integers(0, 256, (5, 5, 3)).astype(np.uint8)
    each = blended_picture(pixels, 1)
    np.testing.assert_allclose(lab_from_linear1(each), lab_from_srgb1(pixels / 255), atol=1e-3)
