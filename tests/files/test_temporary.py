"""What is under a temporary name is somebody's, until it is old and nobody holds it."""

import os

import pytest
from job_folders import job, names

from tint.errors import FileError
from tint.files.temporary import TEMPORARY, lock, put_back, sweep
from tint.files.text import read_text
from tint.files.write import write_file


def test_what_people_call_almost_like_a_temporary_name_is_theirs(tmp_path):
    (tmp_path / ".tint.toml").write_text("precious")
    (tmp_path / ".tint.backup").mkdir()
    job(tmp_path / "job", "old")
    (tmp_path / "job" / ".tint.notes").write_text("precious")
    for mine in (".tint.toml", ".tint.backup", "job/.tint.notes"):
        os.utime(tmp_path / mine, (1, 1))
    sweep.cache_clear()
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
    assert lock(handle)
    sweep.cache_clear()
    write_file(tmp_path / "a.txt", "one")
    os.close(handle)
    assert names(tmp_path) == [held.name, young.name, "a.txt"]


def test_nobody_puts_a_folder_back_while_its_successor_takes_its_place(tmp_path, monkeypatch):
    job(tmp_path / "job", "old")
    real, met = os.rename, []

    def meets(source, target):
        real(source, target)
        if not met:
            met.append(put_back(tmp_path / "job"))

    monkeypatch.setattr(os, "rename", meets)
    monkeypatch.setattr("tint.files.write._exchange", lambda one, other: False)
    job(tmp_path / "job", "new", force=True)
    assert met == [False] and read_text(tmp_path / "job" / "job.json") == "new" and names(tmp_path) == ["job"]
