"""Pictures of the job sheet: right, and small enough."""

from __future__ import annotations

import io

import numpy as np
import pytest
import shapely
from pieces import layers_of, palette, pond
from PIL import Image

from tint.job.thumbnail import (
    BARE,
    MARKED,
    MAX_PROOF_BYTES,
    PARTLY,
    THUMB_PX,
    key_picture,
    key_spots,
    proof_picture,
    thumbnail_picture,
)
from tint.layers.layers import Layers


def test_a_thumbnail_is_dark_where_the_layer_is_marked(layers: Layers) -> None:
    for number in layers.used:
        grey = np.asarray(thumbnail_picture(layers, number), float)
        mask = layers.labels.reshape(40, 2, 60, 2) == number  # two labels to a pixel of the thumbnail
        assert grey.shape == (120, 180)  # each repeated three times
        grey = grey[::3, ::3]
        assert ((grey == MARKED) == mask.all(axis=(1, 3))).all() and ((grey == BARE) == ~mask.any(axis=(1, 3))).all()


@pytest.mark.parametrize("shape", [(1999, 1001), (90, 2000), (3, 7)])
def test_a_line_one_pixel_wide_is_whole_and_visible_on_a_thumbnail_however_large_the_artwork(shape: tuple[int, int]) -> None:
    labels = np.ones(shape, dtype=np.uint8)
    labels[:, shape[1] // 2] = 2
    labels[-1, -1] = 2
    nothing = np.full((3, 3), np.nan)
    grey = np.asarray(thumbnail_picture(Layers("reeds", 0.05, labels, palette(2), nothing, nothing[:, 0]), 2))
    assert max(grey.shape) <= 2 * THUMB_PX
    lined = (grey <= PARTLY).all(axis=0)
    columns = -(-shape[1] // -(-max(shape) // THUMB_PX))
    assert lined.sum() * columns == grey.shape[1]  # one column of pixels
    assert grey[-1, -1] <= PARTLY and BARE - PARTLY > 100
    other = np.asarray(thumbnail_picture(Layers("reeds", 0.05, labels, palette(2), nothing, nothing[:, 0]), 1))
    assert (grey == BARE).any() and (other[grey == BARE] == MARKED).all()


def test_the_key_draws_lines_on_borders_only() -> None:
    labels = np.ones((50, 80), dtype=np.uint8)
    labels[:, 40:] = 2
    key = np.asarray(key_picture(layers_of(labels, 1.0, palette(2))))
    dark = np.flatnonzero((key < 255).any(axis=0))
    assert len(dark) == 2 and dark.mean() == pytest.approx(key.shape[1] / 2, abs=1)


def test_each_number_of_the_key_stands_inside_its_own_layer(layers: Layers) -> None:
    spots = key_spots(layers, 4.0)
    assert [spot.number for spot in spots] == list(layers.used)
    for spot in spots:
        assert layers.outlines[spot.number - 1].contains(shapely.Point(spot.x * layers.width_mm, spot.y * layers.height_mm))


def test_a_proof_of_flat_colours_keeps_its_pixels_and_one_of_noise_stays_small() -> None:
    flat = proof_picture(layers_of(pond(4), 0.5, palette(4)))
    assert flat.mode == "RGB" and flat.size == (960, 640)  # 120 × 80 labels, each repeated eight times
    labels = np.random.default_rng(5).integers(0, 5, (900, 1400)).astype(np.uint8)
    nothing = np.full((5, 3), np.nan)
    noise = Layers("reeds", 0.05, labels, palette(4), nothing, nothing[:, 0])
    data = proof_picture(noise)
    assert Image.open(io.BytesIO(data)).format == "JPEG" and len(data) <= MAX_PROOF_BYTES


def test_numbers_of_thin_bands_beside_each_other_do_not_cover_each_other() -> None:
    labels = np.repeat(np.arange(1, 9, dtype=np.uint8), 3)[:, None].repeat(60, axis=1)  # eight bands, 3 mm high
    spots = key_spots(layers_of(labels, 1.0, palette(8)), 4.0)
    places = np.array([(60 * spot.x, 24 * spot.y) for spot in spots])
    apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    assert apart[~np.eye(8, dtype=bool)].min() >= 4.0
