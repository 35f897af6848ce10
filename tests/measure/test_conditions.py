"""Geometry, mode, illuminant, observer and scale: words brought to one, contradictions and gaps refused."""

import pytest

from tint.errors import FileError
from tint.measure.conditions import Conditions, geometry_of, same_geometry, stated, white_of


@pytest.mark.parametrize(
    ("text", "meant"),
    [  # notations of ISO 13655 and CIE 15, with the words instruments use
        ("45/0", "45/0"), ("45°/0°", "45/0"), ("45:0", "45/0"), ("0:45", "0/45"), ("45a:0", "45/0 annular"), ("0/45c", "0/45 annular"),
        ("45x:0", "45/0 one side"), ("45/0 annular", "45/0 annular"), ("d/8 SCI", "d/8 SCI"), ("di:8", "d/8 SCI"), ("de:8°", "d/8 SCE"),
        ("8/de", "d/8 SCE"), ("sphere, specular excluded", "d/8 SCE"), ("SPIN", "d/8 SCI"), ("d/8 SCI (simulated)", "d/8 SCI"),
        ("photo", "photo"), ("photo, no chart", "photo"), ("", ""),
    ],
)  # fmt: skip
def test_a_geometry_has_one_way_of_writing(text, meant):
    assert geometry_of(text) == meant


@pytest.mark.parametrize(
    ("text", "said"),
    [("d/8", "SCI or d/8 SCE"), ("sphere", "SCI or d/8 SCE"), ("hand-held", "known are 45/0"), ("45/90", "known are 45/0"), ("60/60", "not known"),
     ("SCI SCE", "not known"), ("45/45", "not known")],
)  # fmt: skip
def test_a_geometry_that_leaves_something_open_is_refused(text, said):
    with pytest.raises(FileError, match=said):
        geometry_of(text)


def test_light_and_eye_may_change_places_but_the_sphere_and_its_gloss_trap_count():
    assert same_geometry("45/0", "0/45") and same_geometry("45/0 annular", "45/0")
    assert not same_geometry("45/0 annular", "45/0 one side") and not same_geometry("d/8 SCI", "d/8 SCE")
    assert not same_geometry("45/0", "d/8 SCI") and not same_geometry("", "45/0")


@pytest.mark.parametrize(
    ("words", "said"),
    [({"illuminant": "F11"}, "illuminant 'F11' is not known"), ({"observer": "5"}, "2 or 10"), ({"mode": "M7"}, "M0, M1, M2 or M3"),
     ({"scale": "bits"}, "percent"), ({"illuminant": "D50/10", "observer": "2"}, "contradict"), ({"observer": "1000000000000"}, "2 or 10")],
)  # fmt: skip
def test_a_word_that_is_not_known_is_refused_with_what_is_allowed(words, said):
    with pytest.raises(FileError, match=said):
        stated(**words)


def test_the_operator_completes_a_file_and_may_not_contradict_it():
    found = stated(geometry="45/0", illuminant="D65")
    assert found.filled(stated(geometry="45/0 annular", observer="2"), "x") == Conditions("45/0 annular", "", "D65", "2", "")
    with pytest.raises(FileError, match="x says geometry 45/0, --geometry says d/8 SCI"):
        found.filled(stated(geometry="d/8 SCI"), "x")


def test_everything_missing_is_asked_for_in_one_line():
    with pytest.raises(FileError, match="x states no geometry or observer. Say how it was measured, such as --geometry 45/0 --observer 2"):
        stated(illuminant="D50").demand(["geometry", "illuminant", "observer"], "x")


def test_lab_of_the_ten_degree_observer_is_refused_with_the_reason_however_it_is_stated():
    for facts in ({"illuminant": "D65/10"}, {"observer": "10°"}):
        with pytest.raises(FileError, match="10° observer, and only spectra could turn it into 2°"):
            white_of(facts, "x")
    assert white_of({}, "x") == "D50" and white_of({"illuminant": "d65/2°"}, "x") == "D65"
