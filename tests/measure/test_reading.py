"""Instrument tables joined to the grid that was marked."""

import numpy as np
import pytest

from tint.errors import FileError
from tint.lab import delta_e00
from tint.measure.patches import read_patches, reading_table
from tint.measure.reading import kind_of, patches_from_reading
from tint.plan.first import plan_grid
from tint.setting import Machine, Stock

LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
GRID = plan_grid(LASER, Stock("plate", "304", "2B", 1.5, [100, 100]), 12)


def reading(tmp_path, *rows, facts=()):
    path = tmp_path / "reading.csv"
    path.write_text("\n".join([*facts, "patch,L,a,b,sd,flag", *rows]) + "\n", encoding="utf-8")
    return path


def test_rows_are_matched_by_id_in_any_order_and_bare_metal_becomes_a_fact(tmp_path):
    patches = patches_from_reading(GRID, reading(tmp_path, "A02,60,1,2,0.3,", "bare,80,1,3,,", "A01,50,0,0,,dull"))
    assert patches.ids == ("A01", "A02") and patches.flags == ("dull", "")
    assert patches.setting == GRID.setting[[0, 1]] and patches.order.tolist() == GRID.order[:2].tolist()
    assert patches.bare_lab.tolist() == [80, 1, 3] and patches.facts["machine"] == "bench"


def test_repeated_readings_are_averaged_and_their_spread_is_the_uncertainty(tmp_path):
    patches = patches_from_reading(GRID, reading(tmp_path, "A01,50,0,0,,", "A01,52,0,0,,", "A01,54,0,0,,"))
    assert patches.lab.tolist() == [[52, 0, 0]]
    # standard error of a mean of three, in ΔE00
    away = delta_e00([[50, 0, 0], [54, 0, 0]], [52, 0, 0])
    assert patches.sd[0] == pytest.approx(np.sqrt((away**2).sum() / 2 / 3))


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["Z99,50,0,0,,"], "line 2: 'Z99' is not on plate 1"),
        (["bare,80,0,0,,"], "no reading of any patch"),
        (["A01,500,0,0,,"], "line 2: L 500 cannot be"),
        (["A01,,0,0,,"], "column L: is empty"),
        (["A01,50,0,0,-1,"], "column sd: is negative"),
        (["A01,,,,,", "bare,,,,,"], "no reading of any patch"),
    ],
)
def test_a_reading_that_does_not_fit_the_grid_is_refused(tmp_path, rows, said):
    with pytest.raises(FileError, match=said):
        patches_from_reading(GRID, reading(tmp_path, *rows))


def test_rows_not_filled_in_are_patches_not_read(tmp_path):
    patches = patches_from_reading(GRID, reading(tmp_path, "bare,,,,,", "A01,50,0,0,,", "A02,,,,,"))
    assert patches.ids == ("A01",) and patches.bare_lab is None


def test_a_patch_flagged_and_not_measured_is_a_patch_not_read(tmp_path):
    patches = patches_from_reading(GRID, reading(tmp_path, "A01,50,0,0,,", "A02,,,,,scratched"))
    assert patches.ids == ("A01",) and patches.flags == ("",)
    with pytest.raises(FileError, match="line 3, column b: is empty"):
        patches_from_reading(GRID, reading(tmp_path, "A01,50,0,0,,", "A02,50,1,,,scratched"))


def test_equal_readings_are_not_taken_for_certainty(tmp_path):
    patches = patches_from_reading(GRID, reading(tmp_path, "A01,50,0,0,0.4,", "A01,50,0,0,,", "A02,50,0,0,,", "A02,50,0,0,,"))
    assert patches.sd[0] == pytest.approx(0.4 / 2**0.5) and np.isnan(patches.sd[1])


def test_readings_of_another_plate_are_refused(tmp_path):
    other = plan_grid(LASER, GRID.stock, 12, seed=1)
    assert other.mark != GRID.mark
    with pytest.raises(FileError, match=f"another plate .{other.mark}.; this grid is {GRID.mark}"):
        patches_from_reading(GRID, reading(tmp_path, "A01,50,0,0,,", facts=[f"# plate: {other.mark}"]))
    assert len(patches_from_reading(GRID, reading(tmp_path, "A01,50,0,0,,", facts=[f"# plate: {GRID.mark}"]))) == 1


def test_another_white_is_adapted_and_noted(tmp_path):
    patches = patches_from_reading(GRID, reading(tmp_path, "A01,50,10,0,,", facts=["# illuminant: D65"]))
    assert patches.facts["adapted"] == "from D65 to D50 (Bradford)" and patches.facts["illuminant"] == "D50"
    assert not np.allclose(patches.lab[0], [50, 10, 0], atol=0.01)


def test_patches_written_as_a_reading_come_back_as_they_were(tmp_path):
    first = patches_from_reading(GRID, reading(tmp_path, "A01,50,1,2,0.3,", "bare,80,1,3,,", facts=["# instrument: bench reader"]))
    path = tmp_path / "again.csv"
    path.write_text(reading_table(first), encoding="utf-8")
    again = patches_from_reading(GRID, path)
    assert again.ids == first.ids and again.facts["bare_lab"] == first.facts["bare_lab"]
    np.testing.assert_array_equal(again.lab, first.lab)


def test_the_open_grid_is_read_as_it_was_published():
    from tint.demo.shop import open_patches

    patches = open_patches()
    assert len(patches) == 100 and int(patches.good.sum()) == 92
    assert "camera colours" in patches.facts["remark"]


def test_both_copies_of_the_open_grid_are_the_same():
    from importlib.resources import files
    from pathlib import Path

    copy = Path(__file__).parents[2] / "palettes" / "open-6ns" / "patches.csv"
    assert copy.read_bytes() == (files("tint") / "data" / "open_6ns.csv").read_bytes()
    assert len(read_patches(copy)) == 100


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"patch,L,a,b\n", "csv"), (b"\xef\xbb\xbfpatch;L;a;b\n", "csv"), (b"<b>,L\n", "refused"), (b"CGATS.17\nBEGIN_DATA_FORMAT\n", "cgats"),
        (b"\xef\xbb\xbf<?xml version='1.0'?><cc:CxF/>", "cxf"), ("<CxF/>".encode("utf-16"), "cxf"), (b"<html>", "refused"),
        (b"\x89PNG\r\n", "photo"), (b"\xff\xd8\xff", "photo"), (b"II*\0....", "photo"),
    ],
)  # fmt: skip
def test_the_contents_tell_the_kind_and_the_name_does_not(tmp_path, content, kind):
    (tmp_path / "reading.csv").write_bytes(content)
    if kind == "refused":
        with pytest.raises(FileError, match="is XML, but not CxF/X"):
            kind_of(tmp_path / "reading.csv")
    else:
        assert kind_of(tmp_path / "reading.csv") == kind


def test_what_is_not_there_or_too_large_is_refused_by_name(tmp_path):
    with pytest.raises(FileError, match="is not there"):
        kind_of(tmp_path / "nowhere.csv")
    with pytest.raises(FileError, match="it is a folder"):
        kind_of(tmp_path)
    with open(tmp_path / "large", "wb") as stream:
        stream.truncate(21_000_000)
    with pytest.raises(FileError, match="stay below 20 MB"):
        kind_of(tmp_path / "large")
