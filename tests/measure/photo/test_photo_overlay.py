"""The picture of what was read: patches where they are, flagged ones marked, colours as read."""

import io

import numpy as np
from photo_scene import View
from PIL import Image

from tint.lab import srgb255_from_lab
from tint.measure.photo.overlay import BAD, overlay_png
from tint.measure.photo.read import read_photo


def test_the_overlay_shows_the_colour_read_in_each_patch_and_red_only_where_flagged(grid, photo_of):
    path, shot = photo_of(View(light="D65", size_px=(1200, 800), glare=0.25))
    patches, (one,) = read_photo(grid, path, chart="before-nov-2014")
    picture = np.asarray(Image.open(io.BytesIO(overlay_png(grid, one))))
    scale = picture.shape[1] / 1200
    red = (np.abs(picture.astype(int) - BAD).max(axis=-1) < 12).nonzero()
    reds = np.stack([red[1], red[0]], axis=1) / scale
    for i, centre in enumerate(shot.px(grid.xy_mm)):
        near = np.abs(reds - centre).max(axis=1) < 0.35 * grid.patch_mm * np.linalg.norm(
            shot.px([[1, 0]]) - shot.px([[0, 0]])
        )
        assert near.any() == bool(patches.flags[i])
        if not patches.flags[i]:
            x, y = np.round(centre * scale).astype(int)
            np.testing.assert_allclose(picture[y, x], srgb255_from_lab(one.lab[i]), atol=2)
