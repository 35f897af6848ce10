"""The simulated laser does what it is for: it answers every setting, drifts, scatters, and says that it is simulated."""

import numpy as np

from tint.demo.laser import DEMO_RANGES, SimulatedLaser, demo_machine, demo_stock
from tint.lab import delta_e00
from tint.plan.first import plan_grid

MACHINE = demo_machine()
LASER = SimulatedLaser(MACHINE)
GRID = plan_grid(MACHINE, demo_stock(), 96, ranges=DEMO_RANGES, seed=1)


def test_the_demo_grid_shows_many_hues_from_straw_to_blue_and_beyond():
    lab = LASER.lab(GRID.setting)
    hue, chroma = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360, np.hypot(lab[:, 1], lab[:, 2])
    sectors = set((hue[chroma > 12] // 45).astype(int).tolist())
    assert len(sectors) >= 6


def test_more_power_or_slower_scanning_grows_a_thicker_film():
    base = GRID.setting
    thick = sum(LASER.film_nm(base)[:2])
    assert (sum(LASER.film_nm(base.replace(power_pct=base.power_pct * 1.1))[:2]) > thick).all()
    assert (sum(LASER.film_nm(base.replace(speed_mm_s=base.speed_mm_s * 1.1))[:2]) < thick).all()


def test_marks_scatter_about_the_true_colour_and_the_same_seed_marks_the_same_plate():
    first, again, other = LASER.mark(GRID, seed=3), LASER.mark(GRID, seed=3), LASER.mark(GRID, seed=4)
    np.testing.assert_array_equal(first.lab, again.lab)
    away = delta_e00(first.lab, LASER.lab(GRID.setting))[first.good]
    assert 0.3 < np.median(away) < 4 and not np.array_equal(first.lab, other.lab)
    assert (~first.good).sum() == 1


def test_everything_it_says_is_labelled_simulated():
    facts = LASER.mark(GRID).facts
    assert all("simulated" in facts[key].lower() for key in ("source", "remark", "instrument", "geometry"))
    assert "invented" in MACHINE.name and "invented" in demo_stock().name
