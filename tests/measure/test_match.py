"""Rows find their patches by id or by the order they were read in, and say so where they do not."""

import numpy as np
import pytest
from small_plates import GRID

from tint.errors import FileError
from tint.measure.instrument import Reading
from tint.measure.match import match
from tint.measure.scan import PATTERNS, STARTS, scan


def reading(labels, lightness, flags=None, **facts):
    n = len(labels)
    lab = np.stack([np.asarray(lightness, float), np.zeros(n), np.zeros(n)], axis=1)
    lab[np.isnan(lab[:, 0])] = np.nan
    return Reading("r.txt", tuple(labels), tuple(f"line {i + 1}" for i in range(n)), lab, np.full(n, np.nan), tuple(flags or [""] * n), facts)


def test_ids_are_known_without_their_zeros_and_capitals_and_among_several_names():
    patches = match(GRID, reading([("1", "a1"), ("2", "B02"), ("3", "c04 ")], [40, 50, 60]))
    assert patches.ids == ("A01", "B02", "C04") and patches.lab[:, 0].tolist() == [40, 50, 60]
    assert patches.order.tolist() == GRID.order[[0, 5, 11]].tolist()


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("start", STARTS)
def test_rows_without_names_follow_the_pattern_stated(pattern, start):
    truth = np.arange(40.0, 52)
    steps = scan(GRID, pattern, start)
    patches = match(GRID, reading([(str(i),) for i in range(12)], truth[steps]), pattern, start)
    assert patches.lab[:, 0].tolist() == truth.tolist() and patches.facts["rows"] == f"{pattern} from {start}"


def test_a_plate_that_lay_turned_is_put_right_by_its_corner():
    truth = np.arange(40.0, 52)
    named = reading([(name,) for name in GRID.ids], truth[scan(GRID, "row-wise", "bottom-right")])
    assert match(GRID, named, start="bottom-right").lab[:, 0].tolist() == truth.tolist()


def test_bare_metal_and_rows_left_empty_do_not_shift_a_pattern():
    lightness = [80, 40, np.nan, *range(42, 52), 82]
    labels = [("Bare",), *[()] * 12, ("bare",)]
    patches = match(GRID, reading(labels, lightness), "row-wise")
    assert patches.ids == tuple(name for name in GRID.ids if name != "A02")
    assert patches.lab[:, 0].tolist() == [40, *range(42, 52)] and patches.bare_lab.tolist() == [81, 0, 0]


def test_of_repeated_readings_the_flagged_do_not_count_while_a_good_one_is_there():
    patches = match(GRID, reading([("A01",), ("A01",), ("A02",), ("A02",)], [50, 20, 30, 40], ["", "hair", "dull", "scratch"]))
    assert patches.lab[:, 0].tolist() == [50, 35] and patches.flags == ("", "dull")


@pytest.mark.parametrize(
    ("labels", "rows", "said"),
    [
        ([("Z9",)], "id", "line 1: 'Z9' is not on plate 1 .A01 to C04, or bare.. Name the patch, or, .* say how: --rows order"),
        ([("A01", "A02")], "id", "'A01' / 'A02' names two patches"),
        ([()], "id", "a row without a name is not on plate 1"),
        ([()] * 11, "row-wise", "11 rows for 12 patches of plate 1; in row-wise order each patch needs its row, left empty"),
        ([()] * 24, "order", "24 rows for 12 patches .* Read 2 times. Part it into files and use --merge"),
        ([()] * 0, "serpentine", "0 rows for 12 patches"),
        ([("A01",), ("A03",), *[()] * 10], "row-wise", "line 2 is named 'A03', but by --rows row-wise it is A02"),
    ],
)
def test_rows_that_do_not_fit_the_plate_are_refused_with_what_to_do(labels, rows, said):
    with pytest.raises(FileError, match=said):
        match(GRID, reading(labels, np.full(len(labels), 50.0)), rows)


def test_nothing_read_and_another_plate_are_refused():
    with pytest.raises(FileError, match="no reading of any patch"):
        match(GRID, reading([()] * 12, np.full(12, np.nan)), "row-wise")
    with pytest.raises(FileError, match="another plate .ffff.; this grid is"):
        match(GRID, reading([("A01",)], [50], plate="ffff"))
