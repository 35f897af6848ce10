"""Files on the desk: told by id, in a folder that goes away, and no place of this computer in any message."""

import pytest

from tint.desk import session as session_module
from tint.desk.session import Session
from tint.errors import DataError, FileError


@pytest.fixture
def session(tmp_path):
    own = Session(tmp_path)
    yield own
    own.close()


def test_a_file_is_had_by_its_id_and_kind_only(session, tmp_path):
    item = session.add("palette", "heron.json", tmp_path / "heron.json", "loaded")
    assert session.item(item.id) is item and session.item(item.id, "palette", "model") is item
    with pytest.raises(DataError, match="heron.json is a palette file; here a model"):
        session.item(item.id, "model")
    with pytest.raises(DataError, match="not on the desk"):
        session.item("palette-99")
    session.remove(item)
    with pytest.raises(DataError, match="not on the desk"):
        session.item(item.id)


def test_ids_are_never_given_twice(session, tmp_path):
    first = session.add("palette", "a", tmp_path / "a", "loaded")
    session.remove(first)
    assert session.add("palette", "b", tmp_path / "b", "loaded").id != first.id


def test_messages_name_files_and_no_folders(session, tmp_path):
    loaded = session.room("003.json")
    session.add("palette", "heron palette.json", loaded, "loaded")
    said = session.told(f"{loaded}: damaged; {loaded.parent}/other.json too; {tmp_path}/machine.toml as well")
    assert said.startswith("heron palette.json: damaged") and str(tmp_path) not in said and "tint-desk-" not in said
    assert "machine.toml as well" in said


def test_the_folder_goes_away_with_the_session(tmp_path):
    session = Session(None)
    path = session.room("a.txt")
    path.write_text("x")
    session.close()
    assert not path.exists() and not path.parent.parent.exists()


def test_uploads_and_files_have_a_limit(session, tmp_path, monkeypatch):
    monkeypatch.setattr(session_module, "MAX_BYTES", 10)
    session.spend(6)
    with pytest.raises(FileError, match="start the desk again"):
        session.spend(6)
    monkeypatch.setattr(session_module, "MAX_ITEMS", 1)
    session.add("palette", "a", tmp_path / "a", "loaded")
    with pytest.raises(FileError, match="1 files are on the desk"):
        session.add("palette", "b", tmp_path / "b", "loaded")


def test_only_so_many_files_are_kept_parsed(session, tmp_path):
    reads = []

    def reader(path):
        reads.append(path.name)
        return path.name

    items = [session.add("palette", f"{i}", tmp_path / f"{i}", "loaded") for i in range(session_module.KEPT + 1)]
    for item in (*items, items[-1], items[0]):
        assert session.read(item, reader) == item.path.name
    assert reads == [*(item.path.name for item in items), "0"]
