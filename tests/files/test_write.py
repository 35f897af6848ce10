"""Files are written whole or not at all, and nothing is replaced unasked."""

import errno
import os
import sys
from contextlib import suppress

import pytest
from job_folders import job, names

import tint.files.write
from tint.errors import FileError
from tint.files.own import json_text, read_json
from tint.files.temporary import TEMPORARY
from tint.files.text import read_text
from tint.files.write import held, new_folder, write_file, write_files


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
        monkeypatch.setattr("tint.files.write._exchange", lambda one, other: False)  # as on systems that cannot
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
        tint.files.write._exchange = lambda one, other: False
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
    monkeypatch.setattr("tint.files.write._exchange", lambda one, other: False)
    with pytest.raises(FileError, match=r"\.old is an earlier job: a run was stopped while replacing it\. Move it away"):
        job(place, "new", force=True)
    assert read_text(old / "job.json") == "old" and names(place) == []


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
        monkeypatch.setattr("tint.files.write._refuse_folder", lambda path, shown, kind, force: job_of_another(tmp_path / "job"))
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


@pytest.mark.parametrize(
    ("number", "advice"),
    [(errno.ENOSPC, "Free space, or choose"), (errno.EACCES, "Choose another place, or have yourself allowed"),
     (errno.EROFS, "Choose another place, or have yourself"), (errno.ENAMETOOLONG, "Choose another place or name.")],
)  # fmt: skip
def test_only_a_full_disk_asks_for_space_and_the_place_is_named_as_it_was_typed(tmp_path, monkeypatch, number, advice):
    def barred(*words, **more):
        raise OSError(number, os.strerror(number))

    (tmp_path / "pond").mkdir()
    monkeypatch.chdir(tmp_path / "pond")
    monkeypatch.setattr("tint.files.write.Path.mkdir", barred)
    with pytest.raises(FileError) as caught:
        job("../reserve/job", "x")
    assert str(caught.value).startswith(f"cannot write ../reserve/job: {os.strerror(number)}. {advice}")


def test_a_folder_that_is_there_is_named_as_it_was_typed(tmp_path, monkeypatch):
    job(tmp_path / "job", "old")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(FileError, match="^job is already there"):
        job("job", "new")
