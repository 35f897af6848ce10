"""CxF/X-3 files, written from the standard's element list; all values invented. Oracles: CGATS of the same plate, colour-cxf."""

import re
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_plates import DATA, GRID, written

from tint.errors import FileError, TintError
from tint.lab import delta_e00, lab_d50_from
from tint.measure.cgats import read_cgats
from tint.measure.conditions import stated
from tint.measure.cxf import MAX_DEPTH, read_cxf
from tint.measure.match import match

PLATE = (DATA / "plate.cxf").read_text(encoding="utf-8")
SPEC = re.search(r"   <ColorSpecification .*?</ColorSpecification>\n", PLATE, re.S)[0]
SPHERE = "<SphereGeometry>Specular_Included</SphereGeometry>"


def read(tmp_path, text, said=None):
    return read_cxf(written(tmp_path, text, "plate.cxf"), said)


def without_spectra(text):
    return re.sub(r"<ReflectanceSpectrum.*?</ReflectanceSpectrum>", "", text)


def two_ways(second):
    """Every object measured a second time, under a specification that says `second` where the first says the sphere."""
    twice = re.sub(r'(<ReflectanceSpectrum ColorSpecification=")included(".*?</ReflectanceSpectrum>)', r"\g<0>\1other\2", PLATE)
    return twice.replace(SPEC, SPEC + second(SPEC.replace('Id="included"', 'Id="other"')))


def test_objects_become_rows_with_their_conditions_and_the_substrate_is_bare_metal():
    reading = read_cxf(DATA / "plate.cxf")
    assert len(reading) == 13 and reading.bare.tolist() == [True] + [False] * 12 and reading.labels[1] == ("o1", "A01")
    assert reading.facts["geometry"] == "d/8 SCI" and reading.facts["mode"] == "M1" and "ASTM E308" in reading.facts["spectra"]


def test_the_same_plate_as_cgats_gives_the_same_patches():
    one, other = match(GRID, read_cxf(DATA / "plate.cxf")), match(GRID, read_cgats(DATA / "plate_spectral.cgats"))
    assert one.ids == other.ids and delta_e00(one.lab, other.lab).max() < 0.01


def test_spectra_that_end_before_700_nm_are_refused_in_a_file_of_another_hand_too():
    path = files("colour_cxf") / "tests" / "resources" / "sample.cxf"  # 144 printed colours, 45/0 annular, 380 to 680 nm
    with pytest.raises(FileError, match="spectra 380–680 nm in steps of 10 nm; needed are 400–700"):
        read_cxf(str(path))


def test_lab_without_spectra_is_read_and_adapted(tmp_path):
    text = without_spectra(PLATE)
    plain = read(tmp_path, text)
    assert plain.lab[1].tolist() == [82.223, 0.817, 3.104] and "spectra" not in plain.facts
    adapted = read(tmp_path, text.replace("<Illuminant>D50<", "<Illuminant>D65<"))
    np.testing.assert_allclose(adapted.lab, lab_d50_from(plain.lab, "D65"))
    with pytest.raises(FileError, match="10° observer, and only spectra"):
        read(tmp_path, text.replace("2_Degree", "10_Degree"))
    with pytest.raises(FileError, match="illuminant 'F2' is not known"):
        read(tmp_path, text.replace("<Illuminant>D50<", "<Illuminant>F2<"))
    np.testing.assert_array_equal(read(tmp_path, PLATE.replace("2_Degree", "10_Degree")).lab, read(tmp_path, PLATE).lab)


@pytest.mark.parametrize(
    ("choice", "meant"),
    [
        ("<SphereGeometry>Specular_Excluded</SphereGeometry>", "d/8 SCE"),
        ("<SingleAngle><SingleAngleConfiguration>Annular</SingleAngleConfiguration><IlluminationAngle>45</IlluminationAngle>"
         "<MeasurementAngle>0</MeasurementAngle></SingleAngle>", "45/0 annular"),
        ("<SingleAngle><SingleAngleConfiguration>Uniplanar</SingleAngleConfiguration><IlluminationAngle>0</IlluminationAngle>"
         "<MeasurementAngle>-45</MeasurementAngle></SingleAngle>", "0/45 one side"),
    ],
)  # fmt: skip
def test_the_geometry_comes_from_the_specification(tmp_path, choice, meant):
    assert read(tmp_path, PLATE.replace(SPHERE, choice)).facts["geometry"] == meant


def test_a_geometry_nobody_states_is_asked_for_and_the_operator_may_say_it(tmp_path):
    unknown = PLATE.replace(SPHERE, "<UnknownGeometry>bench</UnknownGeometry>")
    with pytest.raises(FileError, match="states no geometry. Say how it was measured, such as --geometry 45/0"):
        read(tmp_path, unknown)
    assert read(tmp_path, unknown, stated(geometry="45/0")).facts["geometry"] == "45/0"
    with pytest.raises(FileError, match="says geometry d/8 SCI, --geometry says 45/0"):
        read(tmp_path, PLATE, stated(geometry="45/0"))


def test_of_two_ways_of_measuring_the_operator_names_one(tmp_path):
    text = two_ways(lambda spec: spec.replace("Included", "Excluded"))
    with pytest.raises(FileError, match="several kinds: d/8 SCI M1 scale one; d/8 SCE M1 scale one. Say which"):
        read(tmp_path, text)
    assert read(tmp_path, text, stated(geometry="d/8 SCE")).facts["geometry"] == "d/8 SCE"
    modes = two_ways(lambda spec: spec.replace("M1_Daylight", "M0_Incandescent"))
    assert read(tmp_path, modes, stated(mode="M0")).facts["mode"] == "M0"


def test_two_readings_made_alike_are_repeats_of_the_patch(tmp_path):
    reading = read(tmp_path, two_ways(lambda spec: spec))
    assert len(reading) == 26 and len(match(GRID, reading)) == 12


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PLATE.replace(SPEC, ""), "colour specification 'included' is not in the file"),
        (PLATE.replace("Spectrum_Reflectance", "Spectrum_Emissive"), "holds Spectrum_Emissive; a plate is measured in reflection"),
        (PLATE.replace('<WavelengthRange StartWL="380" Increment="10"/>', ""), "states no wavelength range"),
        (PLATE.replace('Increment="10"', 'Increment="ten"'), "states no wavelength range"),
        (re.sub(r'(<ReflectanceSpectrum[^>]*>)0\.', r"\g<1>0,", PLATE, count=1), "stands where a number is needed. Numbers of CxF have a point"),
        (re.sub(r'(<ReflectanceSpectrum[^>]*>)\S+ ', r"\1", PLATE, count=1), "different wavelengths or lengths"),
        (re.sub(r"\b0\.(\d\d)(\d\d)\b", r"\1.\2", PLATE), "states no scale"),
        (without_spectra(re.sub(r"<ColorCIELab.*?</ColorCIELab>", "", PLATE)), "no reflectance spectra and no CIELAB"),
        (PLATE[:3000], "not well-formed XML"),
        ("<svg xmlns='http://www.w3.org/2000/svg'/>", "is not CxF/X-3"),
        ("<CxF/>", "is not CxF/X-3"),
        ("L,a,b\n1,2,3\n", "not well-formed XML"),
    ],
)  # fmt: skip
def test_a_file_that_is_wrong_is_refused_in_one_line_that_names_the_place(tmp_path, text, said):
    with pytest.raises(FileError, match=said) as caught:
        read(tmp_path, text)
    assert "\n" not in str(caught.value) and "plate.cxf" in str(caught.value)


def test_percent_against_the_standard_are_read_when_the_operator_says_so(tmp_path):
    text = re.sub(r"\b0\.(\d\d)(\d\d)\b", r"\1.\2", PLATE)
    np.testing.assert_allclose(read(tmp_path, text, stated(scale="percent")).lab, read(tmp_path, PLATE).lab, atol=1e-9)


def test_document_types_entities_and_depths_are_refused_at_first_sight(tmp_path):
    bomb = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 12))
    for prolog in (f'<!DOCTYPE CxF [<!ENTITY e0 "ha">{bomb}]>', '<!DOCTYPE CxF SYSTEM "file:///etc/hostname">', "<!DOCTYPE CxF>"):
        with pytest.raises(FileError, match="declares a document type"):
            read(tmp_path, PLATE.replace("<CxF ", prolog + "<CxF ", 1).replace("heron sign", "&e11;"))
    with pytest.raises(FileError, match="more elements, or deeper ones"):
        read(tmp_path, "<CxF>" + "<a>" * (MAX_DEPTH + 5))
    with pytest.raises(FileError, match="more elements, or deeper ones"):
        read(tmp_path, "<CxF>" + "<a/>" * 600_000 + "</CxF>")
    with pytest.raises(FileError, match="more elements, or deeper ones"):
        read(tmp_path, "<CxF " + " ".join(f'a{i}=""' for i in range(100)) + "/>")


@given(st.integers(0, 2**32 - 1))
def test_no_file_however_mutated_gives_anything_but_a_reading_or_one_line(tmp_path_factory, seed):
    rng, text = np.random.default_rng(seed), PLATE
    for _ in range(rng.integers(1, 4)):
        words = [match.span() for match in re.finditer(r"[\w.#:/\-]+", text)]
        start, end = words[rng.integers(len(words))]
        junk = ["", "nan", "inf", "-1", "1e400", "Ü", "x y", "&amp;", "<", "<Object/>", "9" * 40, "Specular_Included"][rng.integers(12)]
        text = text[:start] + junk + text[end:]
    try:
        read_cxf(written(tmp_path_factory.mktemp("torn"), text, "plate.cxf"))
    except TintError as error:
        assert "\n" not in str(error) and len(str(error)) < 700
