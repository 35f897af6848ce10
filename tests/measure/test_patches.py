"""patches.csv: what is read and written, and every way a table can be wrong, by line and column."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.errors import FileError, LimitError
from tint.lab import lab_d50_from
from tint.measure.patches import Patches, join_patches, read_patches, read_settings, settings_table, write_patches
from tint.setting import Setting

HEADER = "patch,power_pct,speed_mm_s,freq_khz,pulse_ns,spacing_mm,L,a,b"
GOOD = "A01,20,800,300,6,0.002,55,10,-20"


def table(tmp_path, *lines, name="patches.csv"):
    path = tmp_path / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def some(n=3, **changes):
    values = {
        "ids": tuple(f"P{i}" for i in range(n)), "setting": Setting(np.linspace(10, 30, n), 800, 300, 6, 0.002),
        "lab": np.tile([50.0, 1.5, -3.25], (n, 1)), "sd": np.full(n, np.nan), "order": np.arange(1.0, n + 1),
        "xy_mm": np.full((n, 2), np.nan), "flags": ("",) * n, "facts": {"stock": "304"},
    }  # fmt: skip
    return Patches(**{**values, **changes})


def test_a_plain_table_is_read_and_missing_columns_take_their_stated_meaning(tmp_path):
    patches = read_patches(table(tmp_path, "# stock: sheet A", "# bare_lab: 80 0.5 3", HEADER, GOOD))
    assert patches.ids == ("A01",) and patches.facts["stock"] == "sheet A"
    assert patches.setting.passes[0] == 1 and patches.setting.focus_mm[0] == 0 and math.isnan(patches.setting.hatch_deg[0])
    assert math.isnan(patches.sd[0]) and math.isnan(patches.order[0]) and patches.flags == ("",)
    assert patches.bare_lab.tolist() == [80, 0.5, 3]


def test_what_is_written_is_read_back_the_same(tmp_path):
    patches = some(flags=("", "scratched, twice", 'said "bad"'), sd=np.array([0.3, np.nan, 0]))
    back = read_patches(write_patches(patches, tmp_path / "p.csv"))
    assert back.ids == patches.ids and back.setting == patches.setting and back.flags == patches.flags and back.facts == patches.facts
    for name in ("lab", "sd", "order", "xy_mm"):
        np.testing.assert_array_equal(getattr(back, name), getattr(patches, name))
    assert back.good.tolist() == [True, False, False]


@given(st.lists(st.floats(-100, 100), min_size=2, max_size=2), st.floats(0, 100), st.floats(0.0005, 0.5))
def test_numbers_survive_the_file_to_ten_decimals(tmp_path_factory, ab, lightness, spacing):
    patches = some(1, lab=np.array([[lightness, *ab]]), setting=Setting([10], 800, 300, 6, spacing))
    back = read_patches(write_patches(patches, tmp_path_factory.mktemp("p") / "p.csv"))
    np.testing.assert_allclose(back.lab, patches.lab, atol=1e-9)
    np.testing.assert_allclose(back.setting.spacing_mm, spacing, atol=1e-9)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([], "is empty"),
        (["# stock: x"], "is empty"),
        ([HEADER], "has a header but no rows"),
        ([HEADER.replace(",", ";"), GOOD.replace(",", ";")], "line 1: columns are parted by semicolons; tint reads commas"),
        ([HEADER.replace(",", "\t"), GOOD.replace(",", "\t")], "parted by tabs"),
        ([HEADER.replace("freq_khz,", ""), "A01,20,800,6,0.002,55,10,-20"], r"line 1: column freq_khz \(frequency\) is missing"),
        ([HEADER.replace(",L,", ",l,"), GOOD], "column L is missing. There is 'l': rename it"),
        ([HEADER.replace("speed_mm_s", "speed_m_min"), GOOD], "column 'speed_m_min' has a unit tint does not read; convert it to speed_mm_s"),
        ([HEADER.replace("spacing_mm", "spacing (in)"), GOOD], r"column 'spacing \(in\)' has a unit"),
        ([HEADER.replace("power_pct", "power_w"), GOOD], "convert it to power_pct"),
        (["# illuminant: /", HEADER, GOOD], "illuminant '/' is not known"),
        (["a" * 140_000 + ",patch", GOOD], "no header row"),
        ([HEADER + ",a", GOOD + ",1"], "column a is there twice"),
        ([HEADER, GOOD, "A02,20,fast,300,6,0.002,55,10,-20"], "line 3, column speed_mm_s: 'fast' is not a number"),
        ([HEADER, 'A01,"20,5",800,300,6,0.002,55,10,-20'], "line 2, column power_pct: '20,5' has a decimal comma; write 20.5"),
        ([HEADER, "A01,20,5,800,300,6,0,002,55,10,-20"], "line 2 has 11 values for 9 columns. Decimal commas"),
        ([HEADER, "A01,20,800,300,6,0.002,55,10"], "line 2 has 8 values for 9 columns"),
        ([HEADER, "A01,,800,300,6,0.002,55,10,-20"], "column power_pct: is empty"),
        ([HEADER, "A01,20,800,300,6,0.002,nan,10,-20"], "column L: 'nan' is not a number"),
        ([HEADER, "A01,20,800,300,6,0.002,155,10,-20"], "line 2: L 155 cannot be"),
        ([HEADER, "A01,20,800,300,6,0.002,55,210,-20"], "line 2: a 210 cannot be"),
        ([HEADER, GOOD, "", GOOD], "line 4, column patch: 'A01' is also on line 2"),
        ([HEADER, ",20,800,300,6,0.002,55,10,-20"], "column patch: is empty"),
        ([HEADER, "A01,-20,800,300,6,0.002,55,10,-20"], "line 2: power -20 % cannot be"),
        ([HEADER + ",sd", GOOD + ",-1"], "column sd: is negative"),
        (["# illuminant: F11", HEADER, GOOD], "illuminant 'F11' is not known"),
        ([HEADER, 'A01,20,800,300,6,0.002,55,10,"-20'], "Check the quotes"),
    ],
)
def test_a_table_that_is_wrong_is_refused_in_one_line_that_names_the_place(tmp_path, lines, said):
    with pytest.raises(FileError, match=said) as caught:
        read_patches(table(tmp_path, *lines))
    assert "patches.csv" in str(caught.value) and "\n" not in str(caught.value)


def test_files_that_are_no_text_table_are_refused(tmp_path):
    (tmp_path / "latin.csv").write_bytes("patch,größe\n".encode("latin-1"))
    (tmp_path / "zeros.csv").write_bytes(b"patch\0,L\n")
    for name, said in (("latin.csv", "not UTF-8"), ("zeros.csv", "not a text table"), ("nowhere.csv", "is not there")):
        with pytest.raises(FileError, match=said):
            read_patches(tmp_path / name)
    with pytest.raises(FileError, match="cannot read"):
        read_patches(tmp_path)


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(tmp_path):
    path = tmp_path / "windows.csv"
    path.write_bytes(("﻿" + HEADER + "\r\n" + GOOD + "\r\n").encode("utf-8"))
    patches = read_patches(path)
    assert patches.ids == ("A01",) and patches.lab.tolist() == [[55, 10, -20]] and patches.setting.power_pct.tolist() == [20]


def test_lab_under_d65_is_adapted_to_d50_and_the_file_says_so(tmp_path):
    patches = read_patches(table(tmp_path, "# illuminant: D65/2", HEADER, GOOD))
    np.testing.assert_allclose(patches.lab[0], lab_d50_from([55, 10, -20], "D65"))
    assert patches.facts["illuminant"] == "D50" and "D65" in patches.facts["adapted"]


def test_a_bare_lab_that_is_no_colour_is_refused(tmp_path):
    for text in ("white", "80 1", "800 0 0"):
        with pytest.raises(FileError, match=r"\.csv: bare_lab"):
            read_patches(table(tmp_path, f"# bare_lab: {text}", HEADER, GOOD))


def test_several_tables_join_and_ids_used_twice_get_their_tables_number():
    joined = join_patches([some(2), some(3)])
    assert joined.ids == ("1-P0", "1-P1", "2-P0", "2-P1", "P2")
    assert len(joined.setting) == 5


def test_a_joined_table_joins_again_and_no_patch_gets_a_name_another_had():
    joined = join_patches([some(2), some(2)])  # 1-P0, 1-P1, 2-P0, 2-P1
    again = join_patches([joined, some(2), some(1)])
    assert again.ids == ("1-P0", "1-P1", "2-P0", "2-P1", "2-2-P0", "P1", "3-P0")
    assert len(set(join_patches([again, again, joined]).ids)) == 18


def test_joining_loses_no_fact_and_refuses_another_machine():
    one = some(1, facts={"machine": "A", "source": "x"})
    other = some(1, facts={"machine": "A", "source": "y", "remark": "SIMULATED", "bare_lab": "80 0 3"})
    assert join_patches([one, other]).facts == {"machine": "A", "source": "x | y", "remark": "SIMULATED", "bare_lab": "80 0 3"}
    with pytest.raises(FileError, match="different machines"):
        join_patches([one, some(1, facts={"machine": "B"})])


def test_each_joined_table_is_a_plate_and_parts_of_one_plate_stay_one():
    first, rest = some(4).take([0, 2]), some(4).take([1, 3])  # order 1, 3 and 2, 4: one plate read in two goes
    assert join_patches([some(2), some(3)]).plates == ("1", "1", "2", "2", "2")
    assert join_patches([first, rest]).plates == ("1", "1", "1", "1")
    assert join_patches([first, some(4), rest]).plates == (*"11", *"2222", *"11")
    marked = [dataclasses.replace(part, facts={"plate": mark}) for part, mark in ((first, "aa"), (rest, "bb"))]
    assert join_patches(marked).plates == ("1", "1", "2", "2")  # no order number twice, but each states another plate
    joined = join_patches([some(2), some(3)])
    assert join_patches([some(1), joined, some(2)]).plates == (*"1", *"22", *"333", *"44")


def test_plates_are_written_where_they_are_known_and_files_without_them_stay_as_they_were(tmp_path):
    joined = join_patches([some(2), some(3)])
    back = read_patches(write_patches(joined, tmp_path / "joined.csv"))
    assert back.plates == joined.plates == joined.take([2, 0, 1, 3, 4]).take([1, 2, 0, 3, 4]).plates
    single = write_patches(some(2), tmp_path / "single.csv")
    assert "plate" not in single.read_text(encoding="utf-8").replace("patch", "") and read_patches(single).plates == ("", "")
    named = read_patches(table(tmp_path, HEADER + ",plate", GOOD + ",Monday", GOOD.replace("A01", "A02") + ","))
    assert named.plates == ("Monday", "")


def test_columns_with_notes_of_ones_own_are_left_alone(tmp_path):
    header, row = HEADER + ",focus note,x,speed remark", GOOD + ",sharp,3,slow"
    assert len(read_patches(table(tmp_path, header, row))) == 1


def test_patches_that_do_not_fit_together_are_refused():
    with pytest.raises(LimitError, match="3 patches need"):
        some(3, lab=np.zeros((2, 3)))
    with pytest.raises(LimitError, match="2 patches need 2 settings, flags and plates"):
        some(2, plates=("1",))
    with pytest.raises(LimitError, match="there twice"):
        some(2, ids=("A", "A"))
    with pytest.raises(LimitError, match="patch 'P0': L 200"):
        some(1, lab=np.array([[200.0, 0, 0]]))


def test_a_settings_table_is_read_back_with_its_extra_columns_ignored(tmp_path):
    setting = Setting([10, 20.5], 800, 300, 6, 0.0021, hatch_deg=[math.nan, 45])
    path = tmp_path / "settings.csv"
    path.write_text(settings_table(setting, {"layer": ["1", "2"]}, after={"note": ["x", "y"]}), encoding="utf-8")
    assert read_settings(path) == setting
