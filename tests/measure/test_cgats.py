"""CGATS.17 / ISO 28178 text files, written from the standard's field list with variations; all values invented."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_plates import DATA, GRID, written

from tint.errors import FileError, TintError
from tint.lab import delta_e00, lab_d50_from
from tint.measure.cgats import read_cgats
from tint.measure.conditions import stated
from tint.measure.match import match

SAID = stated(geometry="45/0", illuminant="D50", observer="2")
NM = range(380, 731, 10)


def lab_file(rows=('1 "A01" 50 10 -20',), columns="SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B", head=(), sets=None):
    return "\n".join(
        ["CGATS.17", *head, "BEGIN_DATA_FORMAT", columns, "END_DATA_FORMAT", f"NUMBER_OF_SETS {len(rows) if sets is None else sets}",
         "BEGIN_DATA", *rows, "END_DATA", ""]
    )  # fmt: skip


def spectral_file(name="SPECTRAL_NM{}", number="0.5", head=("SPECTRAL_NORM 1", 'MEASUREMENT_GEOMETRY "45/0"')):
    return lab_file([f"1 A01 {' '.join([number] * len(NM))}"], "SampleID SampleName " + " ".join(name.format(nm) for nm in NM), head)


def read(tmp_path, text, said=SAID, table=None):
    return read_cgats(written(tmp_path, text), said, table)


def test_a_spectral_file_of_the_standards_field_list_is_read_with_its_conditions():
    reading = read_cgats(DATA / "plate_spectral.cgats")
    assert len(reading) == 13 and reading.labels[1] == ("2", "A01") and reading.bare.tolist() == [True] + [False] * 12
    assert {key: reading.facts[key] for key in ("geometry", "mode", "illuminant", "instrument", "date")} == {
        "geometry": "45/0", "mode": "M1", "illuminant": "D50", "instrument": "invented bench reader", "date": "2026-03-02",
    }  # fmt: skip
    assert reading.facts["spectra"].startswith("380–730 nm in steps of 10 nm, white is 100")


def test_spectra_and_lab_of_the_same_plate_agree_and_land_on_their_patches():
    patches = [match(GRID, read_cgats(DATA / name)) for name in ("plate_spectral.cgats", "plate_lab.cgats")]
    assert patches[0].ids == patches[1].ids == GRID.ids and patches[1].facts["geometry"] == "0/45"
    assert delta_e00(patches[0].lab, patches[1].lab).max() < 0.01  # what three printed decimals allow
    assert patches[0].order.tolist() == GRID.order.tolist() and patches[0].bare_lab is not None


@pytest.mark.parametrize(
    "name", ["SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "spectral_nm{}", "NM_{}", "nm{}", "NM{}", "R_{}", "{}", "{}nm", "SPECTRAL_NM{}.0"]
)
def test_a_wavelength_column_is_known_in_every_spelling_met(tmp_path, name):
    np.testing.assert_allclose(read(tmp_path, spectral_file(name)).lab, [[76.0693, 0, 0]], atol=0.001)


@pytest.mark.parametrize(
    "columns",
    ["SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B", "SampleID SAMPLE_NAME Lab_L Lab_a Lab_b", "SAMPLE_NO Name L* a* b*", "INDEX SampleName L a b",
     "Sample_Id SAMPLE_LOC CIE_L CIE_a CIE_b"],
)  # fmt: skip
def test_lab_and_names_are_known_in_every_spelling_met(tmp_path, columns):
    reading = read(tmp_path, lab_file(columns=columns))
    assert reading.lab.tolist() == [[50, 10, -20]] and "A01" in reading.labels[0]


def test_wavelengths_beside_their_values_are_read_with_the_scale_their_names_tell(tmp_path):
    for name, number in (("SPECTRAL_PCT", "50"), ("SPECTRAL_DEC", "0.5")):
        columns = "SAMPLE_ID " + " ".join([f"SPECTRAL_NM {name}"] * len(NM))
        row = "A01 " + " ".join(f"{nm} {number}" for nm in NM)
        reading = read(tmp_path, lab_file([row], columns), stated(geometry="45/0"))
        np.testing.assert_allclose(reading.lab, [[76.0693, 0, 0]], atol=0.001)


def test_decimal_commas_tabs_blanks_in_names_and_doubled_quotes_are_read(tmp_path):
    rows = ['1\t"trail ""heron"" 3"\t50,5\t10,25\t-20', "2\ttrail heron 4\t50,5\t10,25\t-20"]
    reading = read(tmp_path, lab_file(rows))
    assert reading.labels == (("1", 'trail "heron" 3'), ("2", "trail heron 4"))
    assert read(tmp_path, lab_file(['1 "trail ""heron"" 3" 50 10 -20'])).labels == (("1", 'trail "heron" 3'),)
    assert reading.lab.tolist() == [[50.5, 10.25, -20]] * 2


def test_rows_wrapped_over_several_lines_are_put_together_where_the_number_of_sets_agrees(tmp_path):
    assert read(tmp_path, lab_file(["1 A01", "50 10 -20", "2 A02 51 10 -20"], sets=2)).lab[:, 0].tolist() == [50, 51]


def test_dashes_and_empty_cells_are_patches_not_read(tmp_path):
    reading = read(tmp_path, lab_file(["1 A01 50 10 -20", "2 A02 - - -"]))
    assert reading.read.tolist() == [True, False]


@pytest.mark.parametrize(
    ("head", "geometry", "mode"),
    [
        (('MEASUREMENT_GEOMETRY "45/0"', 'MEASUREMENT_SOURCE "M2"'), "45/0", "M2"),
        (('MEASUREMENT_SOURCE "Geometry=45:0 MeasurementCondition=M0 Illumination=D50 ObserverAngle=2"',), "45/0", "M0"),
        (("GEOMETRY d/8", 'POLARIZATION "yes"'), None, None),
        (('DEVICE_GEOMETRY "di:8"', 'POLARIZATION "yes"'), "d/8 SCI", "M3"),
        (('MEASUREMENT_GEOMETRY "0/45"', 'MEASUREMENT_SOURCE "M0 M1"'), "0/45", ""),
    ],
)
def test_geometry_and_mode_come_from_the_keywords(tmp_path, head, geometry, mode):
    said = stated(illuminant="D50", observer="2")
    if geometry is None:
        with pytest.raises(FileError, match="SCI or d/8 SCE"):
            read(tmp_path, lab_file(head=head), said)
    else:
        facts = read(tmp_path, lab_file(head=head), said).facts
        assert (facts["geometry"], facts.get("mode", "")) == (geometry, mode)


def test_another_white_is_adapted_and_another_observer_refused(tmp_path):
    head = ('WEIGHTING_FUNCTION "ILLUMINANT, D65"', 'WEIGHTING_FUNCTION "OBSERVER, 2 degree"')
    reading = read(tmp_path, lab_file(head=head), stated(geometry="45/0"))
    np.testing.assert_allclose(reading.lab[0], lab_d50_from([50, 10, -20], "D65"))
    assert reading.facts["adapted"] == "from D65 to D50 (Bradford)"
    with pytest.raises(FileError, match="10° observer, and only spectra"):
        read(tmp_path, lab_file(head=(head[0], 'WEIGHTING_FUNCTION "OBSERVER, 10 degree"')), stated(geometry="45/0"))


def test_a_file_without_geometry_is_one_line_that_says_what_to_add(tmp_path):
    with pytest.raises(FileError, match="states no geometry or illuminant or observer. Say .* such as --geometry 45/0 --illuminant D50"):
        read(tmp_path, lab_file(), stated())
    with pytest.raises(FileError, match="states no geometry or scale"):
        read(tmp_path, spectral_file(head=()), stated())


def test_of_several_tables_the_operator_names_one_by_number_or_mode(tmp_path):
    tables = [lab_file([f"1 A01 {40 + i} 0 0"], head=(f"MEASUREMENT_CONDITION M{i}",)) for i in range(3)]
    settings = lab_file(["1 20"], "SAMPLE_ID POWER")
    text = settings + "".join(tables)
    with pytest.raises(FileError, match=r"3 tables with colours .modes M0, M1, M2.. Say which: --table 1 to --table 3"):
        read(tmp_path, text)
    assert read(tmp_path, text, table=2).lab[0, 0] == 41
    assert read(tmp_path, text, stated(geometry="45/0", illuminant="D50/2", mode="M2")).lab[0, 0] == 42
    with pytest.raises(FileError, match="--table 9 is not there"):
        read(tmp_path, text, table=9)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (lab_file(sets=2), "NUMBER_OF_SETS says 2, but there are 1 rows"),
        (lab_file(sets="many"), "'many' is not a whole number"),
        (lab_file(["1 A01 50 10"]), "line 7 has 4 values for 5 columns"),
        (lab_file(["1 A 01 50 10 -20"]), "line 7 has 6 values for 5 columns. Quote names that hold blanks"),
        (lab_file(["1 A01 50 x -20"]), "line 7, column LAB_A: 'x' is not a number"),
        (lab_file(["1 A01 500 10 -20"]), "line 7: L 500 cannot be"),
        (lab_file(['1 "A01 50 10 -20']), "line 7: a quotation mark is not closed"),
        (lab_file(columns="SAMPLE_ID SAMPLE_NAME RGB_R RGB_G RGB_B"), "no table with Lab or spectra"),
        (lab_file(columns=""), "0 column names"),
        (lab_file().replace("END_DATA\n", ""), "END_DATA is missing; the file was cut short"),
        (lab_file().replace("END_DATA_FORMAT\n", ""), "END_DATA_FORMAT is missing before it"),
        ("CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", "BEGIN_DATA without column names"),
        ("CGATS.17\n", "no BEGIN_DATA block"),
        ("CGATS.17\nORIGINATOR \"Gr\xfcn\"\n".encode("latin-1"), "not UTF-8"),
        (spectral_file("SPECTRAL_NM400"), "two columns state the same wavelength"),
        (spectral_file(number="50"), "reflectance 50 cannot be on the scale 'one'"),
        ("", "is empty"),
    ],
)  # fmt: skip
def test_a_file_that_is_wrong_is_refused_in_one_line_that_names_the_place(tmp_path, text, said):
    with pytest.raises(FileError, match=said) as caught:
        read(tmp_path, text, stated(geometry="45/0", illuminant="D50", observer="2"))
    assert "\n" not in str(caught.value) and "reading.txt" in str(caught.value)


def test_wrong_files_of_great_size_are_refused_in_few_words(tmp_path):
    same = "CGATS.17\n" + "MEASUREMENT_SOURCE x\n" * 200_000
    word = f'CGATS.17\nMEASUREMENT_SOURCE "{"x" * 2_000_000}"\n' + lab_file()
    tables = "CGATS.17\n" + "BEGIN_DATA_FORMAT\nL a b\nEND_DATA_FORMAT\nBEGIN_DATA\nEND_DATA\n" * 5000
    quotes = "BEGIN_DATA_FORMAT\n" + '"' * 1_000_001 + "\nEND_DATA_FORMAT\n"
    wrong = ((same, "no BEGIN_DATA block"), (word, "states no geometry"), (tables, "more than 100 tables"), (quotes, "quotation mark"))
    for text, said in wrong:  # none of these takes time that grows faster than the file
        with pytest.raises(FileError, match=said) as caught:
            read(tmp_path, text, stated())
        assert len(str(caught.value)) < 700


@given(st.integers(0, 2**32 - 1), st.sampled_from(["plate_spectral.cgats", "plate_lab.cgats"]))
def test_no_file_however_mutated_gives_anything_but_a_reading_or_one_line(tmp_path_factory, seed, name):
    rng, lines = np.random.default_rng(seed), (DATA / name).read_text(encoding="utf-8").splitlines(keepends=True)
    torn = ["\0", '"', "é", "1e999", "BEGIN_DATA\n", "END_DATA\n", "\t\t", "-", "nan", "NUMBER_OF_SETS 9999999999999999999999\n", "#"]
    for _ in range(rng.integers(1, 5)):
        at, what = rng.integers(len(lines)), rng.integers(6)
        line = lines[at]
        cut = int(rng.integers(len(line) + 1))
        junk = torn[rng.integers(len(torn))]
        lines[at] = [line[:cut], line[:cut] + junk + line[cut:], line + line, "", junk, line.replace(" ", junk)][what]
    try:
        read_cgats(written(tmp_path_factory.mktemp("torn"), "".join(lines)))
    except TintError as error:
        assert "\n" not in str(error) and len(str(error)) < 700
