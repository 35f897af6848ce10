"""The demo's photograph: drawn, labelled so, and read back near the colours it was drawn with."""

import numpy as np
import pytest

from tint.demo.photo import EDITION
from tint.lab import delta_e00
from tint.measure.patches import read_patches
from tint.plan.grid import read_grid

pytest.importorskip("cv2")


def test_the_demo_photo_is_read_near_the_colours_it_was_drawn_with_and_its_glare_is_flagged(shop):
    from tint.measure.photo.read import read_photo

    place = shop / "simulated"
    drawn = read_patches(place / "patches.csv")
    patches, _ = read_photo(read_grid(place / "plate-1"), place / "photo.jpg", chart=EDITION)
    away, good = delta_e00(patches.lab, drawn.lab), patches.good
    assert np.median(away[good]) < 1 and np.percentile(away[good], 95) < 2 and 0.02 < (~good).mean() < 0.3
    assert all("glare" in flag for flag in patches.flags if flag)
    assert "SIMULATED" in patches.facts["instrument"] and "photo.jpg" in (shop / "README.txt").read_text(
        encoding="utf-8"
    )
