"""CSV readings: Lab or spectra, commas, semicolons or tabs, decimal commas, and everything that can be wrong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_plates import DATA, written

from tint.errors import FileError, TintError
from tint.measure.conditions import stated
from tint.measure.csv_table import read_csv

NM = range(400, 701, 10)


def spectral(scale="one", sign=".", separator=",", facts=(), values=0.5):
    number = f"{values}".replace(".", sign)
    head = separator.join(["patch", *(f"nm{nm}" for nm in NM)])
    row = separator.join(["A01", *([number] * len(NM))])
    return "\n".join([*facts, f"# scale: {scale}", head, row, ""])


def test_a_table_that_an_office_program_saved_is_read_as_it_is():
    reading = read_csv(DATA / "plate_office.csv")
    assert reading.labels[1] == ("A01",) and reading.lab[1].tolist() == [82.223, 0.817, 3.104] and reading.bare[0]
    assert reading.facts["geometry"] == "d/8 SCI" and len(reading) == 13


@pytest.mark.parametrize(("separator", "sign"), [(",", "."), (";", ","), (";", "."), ("\t", ","), ("\t", ".")])
def test_spectra_are_read_with_any_separator_that_leaves_no_doubt(tmp_path, separator, sign):
    reading = read_csv(written(tmp_path, spectral(separator=separator, sign=sign)))
    np.testing.assert_allclose(reading.lab, [[76.0693, 0, 0]], atol=0.001)  # CIELAB L of Y = 50 (ISO/CIE 11664-4)


def test_the_scale_is_said_by_the_file_or_the_operator_and_never_guessed(tmp_path):
    without = spectral().replace("# scale: one\n", "")
    with pytest.raises(FileError, match="states no scale. Say how it was measured, such as --scale percent"):
        read_csv(written(tmp_path, without))
    by_option = read_csv(written(tmp_path, without), stated(scale="one"))
    by_file = read_csv(written(tmp_path, spectral("percent", values=50.0)))
    np.testing.assert_allclose(by_option.lab, by_file.lab)
    with pytest.raises(FileError, match="says scale one, --scale says percent"):
        read_csv(written(tmp_path, spectral()), stated(scale="percent"))


def test_conditions_become_facts_and_a_remark_behind_the_geometry_stays(tmp_path):
    text = "# geometry: 45/0 (ring light)\n# mode: M1\n# illuminant: D50/2\n# instrument: bench reader\npatch,L,a,b\nA01,50,1,2\n"
    facts = read_csv(written(tmp_path, text)).facts
    assert facts == {"instrument": "bench reader", "geometry": "45/0 (ring light)", "mode": "M1", "illuminant": "D50"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("patch;L;a;b\nA01;50;1.234,5;2\n", "line 2, column a: '1.234,5' is not a number"),
        ("patch,L,a,b\nA01,50,\"1,5\",2\n", "line 2, column a: '1,5' has a decimal comma"),
        ("patch,L,a,b\nA01,50,1,5,2\n", "line 2 has 5 values for 4 columns. Decimal commas"),
        ("patch,X,Y,Z\nA01,50,1,2\n", "column L, a or b is missing; a reading has L, a, b .CIELAB., or one column per wavelength"),
        ("patch,L,a,B\nA01,50,1,2\n", "There is 'B': rename it"),
        ("# geometry: sideways\npatch,L,a,b\nA01,50,1,2\n", "geometry 'sideways' is not known"),
        ("# observer: 10\npatch,L,a,b\nA01,50,1,2\n", "only spectra could turn it into 2°"),
        ("# scale: one\npatch,nm400,400\nA01,1,2\n", "two columns state the same wavelength"),
        ("# scale: one\npatch,nm400,nm410\nA01,.1,.2\n", "400–410 nm in steps of 10 nm; needed are 400–700"),
        ("patch,L,a,b\nA01,50,1,\n", "column b: is empty"),
        ("", "is empty"),
        (b"patch,L,a,b\nA01,50,1,2\n# Gr\xfcn\n", "not UTF-8"),
        ("patch,L,a,b\nA01,50,1,2\n".encode("utf-16"), "not UTF-8"),
    ],
)  # fmt: skip
def test_a_table_that_is_wrong_is_refused_in_one_line_that_names_the_place(tmp_path, text, said):
    with pytest.raises(FileError, match=said) as caught:
        read_csv(written(tmp_path, text))
    assert "\n" not in str(caught.value) and "reading.txt" in str(caught.value)


def test_a_file_beyond_any_reading_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "large.csv"
    with open(path, "wb") as stream:
        stream.truncate(30_000_000)
    with pytest.raises(FileError, match="30 MB; readings of a plate stay below 20 MB"):
        read_csv(path)


def test_wrong_files_of_great_size_are_refused_in_few_words(tmp_path):
    wide, deep = ",".join(f"c{i}" for i in range(300_000)), "# geometry: " + "(" * 2_000_000 + "\npatch,L,a,b\nA01,50,1,2\n"
    long = "patch,L,a,b\nA01,50,1," + "x" * 100_000
    for text, said in ((wide, "300000 columns; a table has up to 2000"), (deep, "a fact of 2,000,012 signs"), (long, "is not a number")):
        with pytest.raises(FileError, match=said) as caught:
            read_csv(written(tmp_path, text))
        assert len(str(caught.value)) < 700


PIECES = st.lists(st.sampled_from(["patch", "L", "a", "b", "A01", "50", "1,5", "-3.25", "nan", "inf", "nm400", "nm410", "", " ", '"', "# scale: one",
                                   "# illuminant: X", ",", ";", "\t", "\n", "\n", "1e999", "−3", "\0", "é"]), max_size=60)  # fmt: skip


@given(PIECES)
def test_no_table_however_torn_gives_anything_but_a_reading_or_one_line(tmp_path_factory, pieces):
    path = written(tmp_path_factory.mktemp("torn"), "".join(pieces))
    try:
        read_csv(path)
    except TintError as error:
        assert "\n" not in str(error) and len(str(error)) < 700
