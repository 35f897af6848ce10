"""Files are written whole or not at all, and nothing is replaced unasked."""

import json

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
    with pytest.raises(RuntimeError, match="stopped"), new_folder(tmp_path / "job") as place:
        (place / "half.txt").write_text("half")
        assert not (tmp_path / "job").exists()
        raise RuntimeError("stopped")
    assert names(tmp_path) == []
    with new_folder(tmp_path / "job") as place:
        (place / "job.json").write_text("{}")
    assert names(tmp_path / "job") == ["job.json"]


def test_a_folder_of_tint_is_replaced_with_force_and_the_old_one_stays_when_the_new_fails(tmp_path):
    with new_folder(tmp_path / "job") as place:
        (place / "job.json").write_text(json_text("job", 1, {"text": "old"}))
    with pytest.raises(RuntimeError), new_folder(tmp_path / "job", force=True) as place:
        raise RuntimeError
    assert "old" in (tmp_path / "job" / "job.json").read_text()
    with new_folder(tmp_path / "job", force=True) as place:
        (place / "job.json").write_text(json_text("job", 1, {"text": "new"}))
    assert "new" in (tmp_path / "job" / "job.json").read_text() and names(tmp_path) == ["job"]


def test_force_never_replaces_a_folder_of_somebody_elses_files(tmp_path):
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "heron.jpg").write_text("precious")
    with pytest.raises(FileError, match="files tint did not write"), new_folder(tmp_path / "photos", force=True):
        pass
    assert names(tmp_path / "photos") == ["heron.jpg"]


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
    for text in ("", "[1]", '"x"', '{"format": 3}', "[" * 100_000):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(FileError, match="not a file tint wrote"):
            read_json(path, "palette", 1)


def test_text_beyond_the_limit_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("tint.files.MAX_TEXT_BYTES", 10)
    (tmp_path / "big.csv").write_text("x" * 11)
    with pytest.raises(FileError, match="tint reads up to"):
        read_text(tmp_path / "big.csv")
