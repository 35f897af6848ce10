"""Files are written whole or not at all, and nothing is replaced unasked."""

import json
import os
import sys
import threading
from contextlib import suppress

import pytest

import tint.files
from tint.errors import FileError
from tint.files import (
    TEMPORARY,
    _lock,
    _put_back,
    _sweep,
    file_bytes,
    held,
    json_text,
    new_folder,
    read_json,
    read_text,
    write_file,
    write_files,
)


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


@pytest.fixture
def killed_while_replacing(tmp_path):
    """A folder whose replacing was killed when the old one stood aside, on a system that cannot swap in one step."""
    job(tmp_path / "job", "old")
    child = os.fork()
    if child == 0:
        real = os.rename

        def dies(source, target):
            if os.path.basename(source).startswith(TEMPORARY):  # the new one, about to take its place
                os._exit(9)
            real(source, target)

        os.rename = dies
        tint.files._exchange = lambda one, other: False
        with suppress(BaseException):
            job(tmp_path / "job", "new", force=True)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9 and not (tmp_path / "job").exists()
    return tmp_path / "job"


def test_a_folder_that_a_kill_left_aside_is_named_where_it_is_read(killed_while_replacing):
    place = killed_while_replacing
    for missing in (place, place / "job.json"):
        with pytest.raises(FileError, match="a run was stopped while replacing job, whose old content is in") as told:
            read_json(missing, "job", 1)
        old = str(told.value).partition("content is in ")[2].partition(". Rename that to job")[0]
        assert os.path.isfile(os.path.join(old, "job.json"))
    with pytest.raises(FileError, match=r"jobs is not there\. Check the name\."):
        read_text(place.parent / "jobs")
    os.rename(old, place)
    assert read_text(place / "job.json") == "old"


def test_a_folder_that_a_kill_left_aside_is_put_back_before_another_takes_its_place(killed_while_replacing):
    place = killed_while_replacing
    with pytest.raises(FileError, match="already there .put back: a run was stopped while replacing it"):
        job(place, "new")
    assert read_text(place / "job.json") == "old"
    job(place, "new", force=True)
    assert read_text(place / "job.json") == "new"
    left = [item for item in names(place.parent) if item != "job"]
    assert len(left) == 1 and read_text(place.parent / left[0] / "job.json") == "new"  # the killed one's, which is swept in an hour


def test_a_folder_left_aside_whose_name_is_taken_is_never_deleted(killed_while_replacing, monkeypatch):
    place = killed_while_replacing
    (old,) = place.parent.glob(".tint.*.old")
    place.mkdir()
    monkeypatch.setattr("tint.files._exchange", lambda one, other: False)
    with pytest.raises(FileError, match=r"\.old is an earlier job: a run was stopped while replacing it\. Move it away"):
        job(place, "new", force=True)
    assert read_text(old / "job.json") == "old" and names(place) == []


def test_nobody_puts_a_folder_back_while_its_successor_takes_its_place(tmp_path, monkeypatch):
    job(tmp_path / "job", "old")
    real, met = os.rename, []

    def meets(source, target):
        real(source, target)
        if not met:
            met.append(_put_back(tmp_path / "job"))

    monkeypatch.setattr(os, "rename", meets)
    monkeypatch.setattr("tint.files._exchange", lambda one, other: False)
    job(tmp_path / "job", "new", force=True)
    assert met == [False] and read_text(tmp_path / "job" / "job.json") == "new" and names(tmp_path) == ["job"]


@pytest.mark.parametrize("error", [KeyboardInterrupt(), PermissionError("busy")])
def test_files_that_belong_together_are_all_old_where_one_cannot_take_its_place(tmp_path, monkeypatch, error):
    write_file(tmp_path / "b", "old b")
    os.chmod(tmp_path / "b", 0o640)
    os.symlink("b", tmp_path / "c")
    real, calls = os.replace, []

    def fails(source, target):
        calls.append(target)
        if len(calls) == 4:
            raise error
        real(source, target)

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises((KeyboardInterrupt, FileError)):
        write_files({tmp_path / name: f"new {name}" for name in "abcd"}, force=True)
    assert names(tmp_path) == ["b", "c"] and (tmp_path / "c").is_symlink()
    assert (tmp_path / "b").read_text() == "old b" and (tmp_path / "b").stat().st_mode & 0o777 == 0o640
    monkeypatch.undo()
    write_files({tmp_path / name: f"new {name}" for name in "abcd"}, force=True)
    assert [read_text(tmp_path / name) for name in names(tmp_path)] == ["new a", "new b", "new c", "new d"]


def test_an_old_file_that_cannot_be_put_back_is_not_deleted_either(tmp_path, monkeypatch):
    for name in "ab":
        write_file(tmp_path / name, f"old {name}")
    real, calls = os.replace, []

    def fails(source, target):
        calls.append(target)
        if len(calls) > 1:
            raise PermissionError("busy")
        real(source, target)

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(FileError, match="cannot write .*b: busy"):
        write_files({tmp_path / name: f"new {name}" for name in "ab"}, force=True)
    assert sorted(item.read_text() for item in tmp_path.iterdir()) == ["new a", "old a", "old b"]


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


def test_a_folder_is_held_by_one_at_a_time_and_let_go_of_however_it_ends(tmp_path):
    place = tmp_path / "new" / "batch"
    with pytest.raises(RuntimeError, match="stopped"), held(place):
        with pytest.raises(FileError, match="another tint is at work in"), held(place):
            raise AssertionError
        raise RuntimeError("stopped")
    with held(place):
        assert names(place) == []
    (tmp_path / "file").write_text("x")
    with pytest.raises(FileError, match="cannot write"), held(tmp_path / "file"):
        raise AssertionError


def test_a_folder_is_held_for_nobody_where_the_system_has_no_locks(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "fcntl", None)
    with held(tmp_path), held(tmp_path):
        pass


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
