"""The strip: every colour the same number of times, in complete blocks, on a short piece."""

import dataclasses

import numpy as np
import pytest
from marked import palette

from tint.check.strip import plan_strip
from tint.errors import DataError
from tint.plan.grid import read_grid, write_grid
from tint.setting import Stock


@pytest.mark.parametrize("replicates", [2, 3])
def test_each_block_holds_every_colour_once_in_place_and_in_time(replicates, tmp_path):
    ours = palette()
    strip = plan_strip(ours, ours.machine, ours.stock, replicates=replicates, seed=4)
    k = len(ours)
    assert len(strip) == k * replicates and strip.plate_mm[1] <= 8 * replicates + 10
    speed = ours.setting.table()
    for block in range(replicates):
        marked_then = np.argsort(strip.order)[block * k : (block + 1) * k]
        for rows in (np.arange(block * k, (block + 1) * k), marked_then):
            assert sorted(map(tuple, strip.setting.table()[rows])) == sorted(map(tuple, speed))
        assert len(set(strip.xy_mm[block * k : (block + 1) * k, 1])) == 1  # one row
    back = read_grid(write_grid(strip, tmp_path / "grid.json"))
    assert back.setting == strip.setting and back.mark == strip.mark


def test_patches_lie_inside_the_piece_and_apart():
    ours = palette()
    narrow = Stock("scrap", "304", "2B", 1.5, [40, 80])
    strip = plan_strip(ours, ours.machine, narrow, replicates=3)
    half = strip.patch_mm / 2
    assert (strip.xy_mm - half >= 4.99).all() and (strip.xy_mm + half <= np.array(strip.plate_mm) - 4.99).all()
    assert all(side <= room for side, room in zip(strip.plate_mm, narrow.size_mm, strict=True))
    apart = np.abs(strip.xy_mm[:, None] - strip.xy_mm[None]).max(axis=-1) + 100 * np.eye(len(strip))
    assert apart.min() >= strip.patch_mm + 1.49


def test_rows_beyond_the_alphabet_are_named_as_on_any_plate():
    ours = palette()
    tall = Stock("bar", "304", "2B", 1.5, [16.5, 400])
    machine = dataclasses.replace(ours.machine, field_mm=(400.0, 400.0))
    strip = plan_strip(ours, machine, tall, replicates=-(-28 // len(ours)))
    assert strip.ids[25:28] == ("Z01", "AA01", "AB01")


def test_another_seed_shuffles_otherwise_and_the_same_seed_alike():
    ours = palette()
    first, again, other = (plan_strip(ours, ours.machine, ours.stock, seed=seed) for seed in (1, 1, 2))
    assert first.mark == again.mark != other.mark


def test_a_strip_too_large_or_without_marks_is_refused():
    ours = palette()
    with pytest.raises(DataError, match="does not fit on 30 × 20 mm.*--replicates 2"):
        plan_strip(ours, ours.machine, Stock("scrap", "304", "2B", 1.5, [30, 20]))
    for bad in (0, 10):
        with pytest.raises(DataError, match="replicates cannot be"):
            plan_strip(ours, ours.machine, ours.stock, replicates=bad)
