"""Files are written whole or not at all, and nothing is replaced unasked."""

import json
import os

import pytest

from tint.errors import FileError
from tint.files import json_text, new_folder, read_json, read_text, write_file


def names(folder):
    return sorted(item.name for item in folder.iterdir())


def test_a_file_is_replaced_only_with_force(tmp_path):
    path = write_file(tmp_path / "a.txt", "one")
    with pytest.raises(FileError, match="already there"):
        write_file(path, "two")
    assert path.read_text() == "one"
    write_file(path, "two", force=True)
    assert path.read_text() == "two" and names(tmp_path) == ["a.txt"]


def test_a_folder_appears_only_when_it_is_full(tmp_path):
    with pytest.raises(RuntimeError, match="stopped"), new_folder(tmp_path / "job", "job") as place:
        (place / "half.txt").write_text("half")
        assert not (tmp_path / "job").exists()
        raise RuntimeError("stopped")
    assert names(tmp_path) == []
    job(tmp_path / "job", "x")
    assert names(tmp_path / "job") == [".tint", "job.json"]


def job(path, text, *, force=False):
    with new_folder(path, "job", force=force) as place:
        (place / "job.json").write_text(text)


def test_force_replaces_a_folder_of_its_kind_and_leaves_nothing_beside_it(tmp_path):
    job(tmp_path / "job", "old")
    with pytest.raises(FileError, match="already there"):
        job(tmp_path / "job", "new")
    job(tmp_path / "job", "new", force=True)
    assert (tmp_path / "job" / "job.json").read_text() == "new" and names(tmp_path) == ["job"]


def test_the_old_folder_stays_when_the_new_one_fails_at_any_step(tmp_path, monkeypatch):
    job(tmp_path / "job", "old")
    with pytest.raises(RuntimeError), new_folder(tmp_path / "job", "job", force=True):
        raise RuntimeError
    real = os.rename
    for error in (KeyboardInterrupt, PermissionError("busy")):
        calls = []

        def failing(source, target, error=error, calls=calls):
            calls.append(source)
            if len(calls) == 2:  # the old folder is aside, the new one not yet in place
                raise error
            real(source, target)

        monkeypatch.setattr(os, "rename", failing)
        monkeypatch.setattr("tint.files._exchange", lambda one, other: False)  # as on systems that cannot
        with pytest.raises((KeyboardInterrupt, FileError)):
            job(tmp_path / "job", "new", force=True)
        monkeypatch.undo()
        assert (tmp_path / "job" / "job.json").read_text() == "old" and names(tmp_path) == ["job"]


def test_force_never_deletes_a_file_that_tint_did_not_write(tmp_path):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "heron.jpg").write_text("precious")
    (tmp_path / "photos" / "palette.json").write_text(json_text("palette", 1, {}))
    with pytest.raises(FileError, match="not a job folder written by tint"):
        job(tmp_path / "photos", "x", force=True)
    job(tmp_path / "job", "old")
    (tmp_path / "job" / "notes.txt").write_text("mine")
    with pytest.raises(FileError, match="holds notes.txt, which tint did not write"):
        job(tmp_path / "job", "new", force=True)
    with pytest.raises(FileError, match="not a layers folder"), new_folder(tmp_path / "job", "layers", force=True):
        pass
    assert names(tmp_path / "photos") == ["heron.jpg", "palette.json"] and "notes.txt" in names(tmp_path / "job")


def test_a_folder_that_appears_meanwhile_is_not_replaced_without_force(tmp_path):
    with pytest.raises(FileError, match="already there"), new_folder(tmp_path / "job", "job") as place:
        (place / "job.json").write_text("x")
        (tmp_path / "job").mkdir()
        (tmp_path / "job" / "heron.jpg").write_text("precious")
    assert names(tmp_path / "job") == ["heron.jpg"]


def test_the_folder_one_is_in_is_never_replaced_by_any_name(tmp_path, monkeypatch):
    job(tmp_path / "job", "old")
    (tmp_path / "job" / "below").mkdir()
    for where, name in (("job", "../job"), ("job", "."), ("job/below", "..")):
        monkeypatch.chdir(tmp_path / where)
        with pytest.raises(FileError, match="the folder you are in"):
            job(name, "new", force=True)
    assert (tmp_path / "job" / "job.json").read_text() == "old" and names(tmp_path) == ["job"]


def test_a_file_is_not_turned_into_a_folder_nor_a_folder_into_a_file(tmp_path):
    (tmp_path / "heron.svg").write_text("precious")
    with pytest.raises(FileError, match="is a file; a folder is to be written"):
        job(tmp_path / "heron.svg", "x", force=True)
    (tmp_path / "place").mkdir()
    with pytest.raises(FileError, match="is a folder; a file is to be written"):
        write_file(tmp_path / "place", "x", force=True)
    assert (tmp_path / "heron.svg").read_text() == "precious"


def test_names_no_system_takes_are_one_clear_line(tmp_path):
    for name in ("x" * 300, "a\0b"):
        with pytest.raises(FileError, match="cannot write"):
            write_file(tmp_path / name, "x")
        with pytest.raises(FileError, match="cannot write"):
            job(tmp_path / name, "x")
        with pytest.raises(FileError, match="cannot read|is not there"):
            read_text(tmp_path / name)


def test_a_place_that_cannot_be_written_is_one_clear_line(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError, match="cannot write"):
        write_file(tmp_path / "file" / "below.txt", "x")


def test_json_names_its_format_and_newer_ones_are_refused(tmp_path):
    path = tmp_path / "x.json"
    path.write_text(json_text("palette", 1, {"name": "ä"}), encoding="utf-8")
    assert read_json(path, "palette", 1)["name"] == "ä" and json.loads(path.read_text(encoding="utf-8"))["format"] == "tint-palette/1"
    with pytest.raises(FileError, match="is a tint-palette file; a tint-grid file is needed"):
        read_json(path, "grid", 1)
    path.write_text(json_text("palette", 2, {}), encoding="utf-8")
    with pytest.raises(FileError, match="newer than this tint reads"):
        read_json(path, "palette", 1)
    for text in ("", "[1]", '"x"', '{"format": 3}', '{"format": "tint-palette/²"}', "[" * 100_000):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(FileError, match="not a file tint wrote"):
            read_json(path, "palette", 1)


def test_text_beyond_the_limit_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("tint.files.MAX_TEXT_BYTES", 10)
    (tmp_path / "big.csv").write_text("x" * 11)
    with pytest.raises(FileError, match="tint reads up to"):
        read_text(tmp_path / "big.csv")
