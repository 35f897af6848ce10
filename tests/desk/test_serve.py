"""The desk ends when it is told to, and leaves nothing behind."""

import signal

import pytest
from running_desk import RunningDesk


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "ended"])
def test_what_was_loaded_is_deleted_when_the_desk_ends(tmp_path, shop, told):
    temporary, folder = tmp_path / "temporary", tmp_path / "work"
    temporary.mkdir()
    folder.mkdir()
    desk = RunningDesk(folder, TMPDIR=str(temporary)).enter()
    status, _ = desk.load("palette", "mine.json", (shop / "simulated/palette.json").read_bytes())
    assert status == 200 and list(temporary.rglob("mine.json"))
    desk.process.send_signal(told)
    _, said = desk.process.communicate(timeout=10)
    assert desk.process.returncode == 0 and "Traceback" not in said
    assert not list(temporary.iterdir()) and not list(folder.iterdir())


def test_the_link_is_printed_alone_and_the_cautions_beside_it(tmp_path):
    desk = RunningDesk(tmp_path).enter()
    desk.process.terminate()
    out, said = desk.process.communicate(timeout=10)
    assert out == "" and "Class 4 laser" in said and "works once" in said
