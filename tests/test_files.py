"""Files are written whole or not at all, and nothing is replaced unasked."""

import json
import os
import threading

import pytest

from tint.errors import FileError
from tint.files import TEMPORARY, _lock, _sweep, file_bytes, json_text, new_folder, read_json, read_text, write_file


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


def test_what_people_call_almost_like_a_temporary_name_is_theirs(tmp_path):
    (tmp_path / ".tint.toml").write_text("precious")
    (tmp_path / ".tint.backup").mkdir()
    job(tmp_path / "job", "old")
    (tmp_path / "job" / ".tint.notes").write_text("precious")
    for mine in (".tint.toml", ".tint.backup", "job/.tint.notes"):
        os.utime(tmp_path / mine, (1, 1))
    _sweep.cache_clear()
    write_file(tmp_path / "a.txt", "one")
    with pytest.raises(FileError, match=r"holds \.tint\.notes, which tint did not write"):
        job(tmp_path / "job", "new", force=True)
    assert names(tmp_path) == [".tint.backup", ".tint.toml", "a.txt", "job"] and ".tint.notes" in names(tmp_path / "job")


def test_a_killed_tint_s_leavings_go_once_they_are_old_and_nobody_holds_them(tmp_path):
    left, held, young = (tmp_path / f"{TEMPORARY}{sign * 16}" for sign in "abc")
    for place in (left, held, young):
        place.mkdir()
        (place / "half.txt").write_text("half")
    for place in (left, held):
        os.utime(place, (1, 1))
    handle = os.open(held, os.O_RDONLY)
    assert _lock(handle)
    _sweep.cache_clear()
    write_file(tmp_path / "a.txt", "one")
    os.close(handle)
    assert names(tmp_path) == [held.name, young.name, "a.txt"]


def test_rights_of_files_and_folders_follow_the_umask(tmp_path):
    before = os.umask(0o027)
    try:
        write_file(tmp_path / "a.txt", "one")
        job(tmp_path / "job", "x")
    finally:
        os.umask(before)
    assert [(tmp_path / name).stat().st_mode & 0o777 for name in ("a.txt", "job", "job/job.json")] == [0o640, 0o750, 0o640]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_is_read_up_to_the_limit(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for size in (10, 11):
        child = threading.Thread(target=(tmp_path / "pipe").write_bytes, args=(b"x" * size,))
        child.start()
        if size == 10:
            assert file_bytes(tmp_path / "pipe", 10, "no more.") == b"x" * 10
        else:
            with pytest.raises(FileError, match="has more than"):
                file_bytes(tmp_path / "pipe", 10, "no more.")
        child.join()


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


def test_a_folder_that_appears_after_the_last_look_is_not_replaced_either(tmp_path, monkeypatch):
    with pytest.raises(FileError, match="cannot write"), new_folder(tmp_path / "job", "job") as place:
        (place / "job.json").write_text("x")
        monkeypatch.setattr("tint.files.refuse_folder", lambda path, kind, force: job_of_another(tmp_path / "job"))
    assert names(tmp_path) == ["job"] and names(tmp_path / "job") == ["theirs.json"]


def job_of_another(path):
    path.mkdir()
    (path / "theirs.json").write_text("precious")


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
