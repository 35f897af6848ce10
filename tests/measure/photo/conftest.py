"""Simulated photographs shared by the tests, each made once."""

from functools import cache

import numpy as np
import pytest
from photo_scene import film_reflectances, save, take

from tint.plan.first import plan_grid
from tint.setting import Machine, Stock

pytest.importorskip("cv2")
LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)


@pytest.fixture(scope="session")
def grid():
    return plan_grid(LASER, Stock("plate", "304", "2B", 1.5, [100, 100]), 60, seed=1)


@pytest.fixture(scope="session")
def taken(grid):
    """Function from a view to the photograph taken so, of two oxide films on steel."""
    return cache(lambda view: take(grid, film_reflectances(len(grid)), view))


@pytest.fixture
def photo_of(taken, tmp_path):
    """Function from a view (and a change of its pixels 0..1) to the path of the photograph, and the truth."""

    def make(view, change=None, name="photo.png", **options):
        shot = taken(view)
        changed = (
            shot
            if change is None
            else type(shot)(np.clip(change(shot.encoded), 0, 1), shot.lab, shot.bare_lab, shot.to_px)
        )
        save(changed, tmp_path / name, view, **options)
        return tmp_path / name, shot

    return make
