"""Orders in which a plate is read, as a person would walk over it with a finger."""

import numpy as np
import pytest
from small_plates import GRID

from tint.measure.scan import PATTERNS, STARTS, scan

NAMES = np.array(GRID.ids)  # A01 to A04, B01 to B04, C01 to C04


@pytest.mark.parametrize(
    ("pattern", "start", "walk"),
    [
        ("row-wise", "top-left", "A01 A02 A03 A04 B01 B02 B03 B04 C01 C02 C03 C04"),
        ("row-wise", "bottom-right", "C04 C03 C02 C01 B04 B03 B02 B01 A04 A03 A02 A01"),
        ("row-wise", "top-right", "A04 A03 A02 A01 B04 B03 B02 B01 C04 C03 C02 C01"),
        ("row-wise", "bottom-left", "C01 C02 C03 C04 B01 B02 B03 B04 A01 A02 A03 A04"),
        ("serpentine", "top-left", "A01 A02 A03 A04 B04 B03 B02 B01 C01 C02 C03 C04"),
        ("serpentine", "bottom-right", "C04 C03 C02 C01 B01 B02 B03 B04 A04 A03 A02 A01"),
        ("column-wise", "top-left", "A01 B01 C01 A02 B02 C02 A03 B03 C03 A04 B04 C04"),
        ("column-wise", "top-right", "A04 B04 C04 A03 B03 C03 A02 B02 C02 A01 B01 C01"),
        ("column-wise", "bottom-left", "C01 B01 A01 C02 B02 A02 C03 B03 A03 C04 B04 A04"),
    ],
)
def test_a_pattern_walks_the_plate_as_its_name_says(pattern, start, walk):
    assert " ".join(NAMES[scan(GRID, pattern, start)]) == walk


def test_the_order_of_marking_is_that_of_the_settings_table():
    assert GRID.order[scan(GRID, "order")].tolist() == list(range(1, 13))


def test_every_pattern_reads_every_patch_once():
    for pattern in PATTERNS:
        for start in STARTS:
            assert sorted(scan(GRID, pattern, start)) == list(range(12))
