"""Files that stand in each other's place on the command line are named as what they are, and nothing else is said of any."""

import shutil

import pytest
from calling import one_line, tint

from tint.artwork.artwork import PICTURES
from tint.cli import main
from tint.cli.given import PICTURES as PICTURES_HERE
from tint.cli.given import SAID, TAKES, kind_of
from tint.files.temporary import aside


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["separate", "palette.json", "../artwork/kingfisher.svg"],
         "palette.json is a palette and ../artwork/kingfisher.svg a drawing: they changed places; it is tint separate ARTWORK PALETTE."),
        (["separate", "palette.json", "photo.jpg"], "palette.json is a palette and photo.jpg a picture: they changed places"),
        (["check", "strip-first.csv", "palette.json"],
         "strip-first.csv is a table of patches and palette.json a palette: they changed places; it is tint check PALETTE PATCHES."),
        (["job", "machine.toml", "layers-sign"], "it is tint job LAYERS MACHINE."),
        (["measure", "reading.csv", "plate-1"],
         "reading.csv is a table of readings and plate-1 a grid: they changed places; it is tint measure GRID FILE."),
        (["predict", "plate-1/settings.csv", "--settings", "model.json"], "they changed places; it is tint predict MODEL --settings."),
        (["fit", "machine.toml", "--machine", "patches.csv", "--stock", "stock.toml"], "it is tint fit PATCHES --machine."),
        (["grid", "stock.toml", "--stock", "machine.toml"],
         "stock.toml is a stock's file and machine.toml a machine's file: they changed places; it is tint grid MACHINE --stock."),
        (["job", "photo.jpg", "machine.toml"], "photo.jpg is not a folder of layers; `tint separate` writes one. It is a picture."),
        (["job", "palette.json", "machine.toml"], "writes one. It is a palette."),
        (["job", "layers-sign", "palette.json"], "palette.json is not valid TOML: Invalid statement (at line 1, column 1). It is a palette."),
        (["measure", "layers-sign", "reading.csv"], "layers-sign/grid.json is not there. Check the name. It is a folder of layers."),
    ],
)  # fmt: skip
def test_files_in_each_other_s_place_are_named_in_the_one_line(shop, monkeypatch, tmp_path, words, said):
    monkeypatch.chdir(shop / "simulated")
    more = [] if words[0] in ("check", "predict") else ["-o", tmp_path / "out"]
    assert said in one_line(tint(*words, *more), 2)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["palette", "palette.json"], "palette.json is a tint-palette file; a tint-model file is needed here, which `tint fit` writes.\n"),
        (["job", "layers-sign", "none.toml"], "none.toml is not there. Check the name.\n"),
        (["measure", "plate-1", "none.csv"], "none.csv is not there. Check the name.\n"),
        (["fit", "reading.csv", "--machine", "machine.toml", "--stock", "stock.toml"], "Join it to its grid first: tint measure.\n"),
    ],
)
def test_a_message_that_says_it_all_is_left_as_it_is(shop, monkeypatch, tmp_path, words, said):
    monkeypatch.chdir(shop / "simulated")
    assert one_line(tint(*words, "-o", tmp_path / "out.json"), 2).endswith(said)


def test_right_files_are_blamed_for_nothing_when_the_output_is_there(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(shop / "simulated")
    for words in (["separate", "../artwork/kingfisher.svg", "palette.json"], ["job", "layers-sign", "machine.toml"],
                  ["grid", "machine.toml", "--stock", "stock.toml"], ["proof", "layers-sign", "--model", "model.json"]):  # fmt: skip
        assert one_line(tint(*words, "-o", tmp_path), 2).endswith("is already there. Choose another name with -o, or add --force to replace it.\n")


def test_layers_that_a_kill_left_aside_are_named(shop, tmp_path):
    place = tmp_path / "layers"
    shutil.copytree(shop / "simulated" / "layers-sign", aside(place))
    for words in (["job", place, shop / "simulated" / "machine.toml"], ["proof", place]):
        said = one_line(tint(*words, "-o", tmp_path / "out"), 2)
        assert f"{place} is not there: a run was stopped while replacing layers, whose old content is in {aside(place)}." in said


def test_kinds_of_files_are_told_by_what_they_plainly_are(shop, tmp_path):
    place = shop / "simulated"
    plain = {"palette.json": "palette", "model.json": "model", "machine.toml": "machine", "stock.toml": "stock", "patches.csv": "patches",
             "plate-1/settings.csv": "settings", "reading.csv": "reading", "layers-sign": "layers", "job-sign": "job", "plate-1": "grid",
             "photo.jpg": "picture", "report.txt": "", "none.png": "", "../artwork": ""}  # fmt: skip
    assert {name: kind_of(place / name) for name in plain} == plain
    for name, content in (("a.json", b'{"format": "tint-'), ("a.csv", b"\xff\xfe,"), ("a.toml", b""), ("a.svg", b"x"), ("b.json", b"[]")):
        (tmp_path / name).write_bytes(content)
        assert kind_of(tmp_path / name) == ""


def test_what_is_expected_is_of_parameters_that_there_are():
    names = {param.name for command in main.commands.values() for param in command.params}
    assert set(TAKES) <= names and set().union(*TAKES.values()) <= set(SAID) and PICTURES_HERE == PICTURES
