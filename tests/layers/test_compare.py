"""The picture of the maps side by side."""

import numpy as np
from invented import palette, picture

from tint.layers.compare import compare_maps
from tint.layers.tonal import Tonal


def test_the_maps_stand_side_by_side_and_differ():
    y, x = np.mgrid[0:60, 0:90] / 90
    art = picture(np.clip(np.stack([255 * x, 200 * y, 255 - 255 * x], axis=-1), 0, 255), 9)
    sheet = np.asarray(compare_maps(art, palette(), Tonal(0.1)))
    assert sheet.ndim == 3 and sheet.shape[1] > 3 * 400
    columns = [sheet[100:300, left + 20 : left + 420].astype(int) for left in (14, 648, 1282)]
    assert all(np.abs(columns[a] - columns[b]).mean() > 1 for a, b in ((0, 1), (1, 2), (0, 2)))
