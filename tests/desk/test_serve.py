"""The desk ends when it is told to, and leaves nothing behind."""

import os
import signal
import time
from pathlib import Path

import pytest
from running_desk import RunningDesk


@pytest.mark.parametrize(
    "told", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=["Ctrl-C", "ended", "terminal closed"]
)
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


def children(pid):
    """Ids of the processes a process has started and that still run (Linux)."""
    found = []
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, parent = status.read_text().rsplit(")", 1)[1].split()[:2]
        except OSError:
            continue
        if parent == str(pid) and state != "Z":
            found.append(int(status.parent.name))
    return found


def test_a_killed_desk_takes_its_work_with_it_and_the_next_one_deletes_its_folder(tmp_path, shop):
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    desk = RunningDesk(shop / "simulated", TMPDIR=str(temporary)).enter()
    _, item = desk.load("artwork", "mine.png", (shop / "artwork/kingfisher-shaded.png").read_bytes())
    desk.post("artwork/open", file=item["id"], width_mm=60)
    desk.post("artwork/try", palette=desk.files("palette")["palette.json"])
    desk.post("artwork/job", hatch=True, trial=True, inset_spot=0)
    until = time.monotonic() + 10
    while not (workers := children(desk.process.pid)) and time.monotonic() < until:
        time.sleep(0.05)
    assert workers
    desk.process.kill()
    desk.process.communicate(timeout=10)
    until = time.monotonic() + 10
    while any(Path(f"/proc/{pid}").exists() for pid in workers) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in workers if Path(f"/proc/{pid}").exists()]
    (left,) = temporary.glob("tint-desk-*")
    os.utime(left / "alive", (0, 0))  # as if killed a while ago
    running = RunningDesk(tmp_path, TMPDIR=str(temporary)).enter()
    (own,) = temporary.glob("tint-desk-*")
    assert own != left
    os.utime(own / "alive", (0, 0))
    RunningDesk(tmp_path, TMPDIR=str(temporary)).end()
    assert own.exists()  # a desk that runs keeps its folder however old it is
    running.end()
    assert not list(temporary.glob("tint-desk-*"))


def test_the_link_is_printed_alone_and_the_cautions_beside_it(tmp_path):
    desk = RunningDesk(tmp_path).enter()
    desk.process.terminate()
    out, said = desk.process.communicate(timeout=10)
    assert out == "" and "Class 4 laser" in said and "works once" in said
