"""Long work: watched, stopped, and told in one line when it fails."""

import os
import time

import labours
import pytest

from tint.desk.work import Workshop
from tint.errors import DataError


@pytest.fixture
def workshop():
    own = Workshop(lambda text: text.replace("/secret/", ""))
    yield own
    own.close()


def waited(work, seconds=20):
    until = time.monotonic() + seconds
    while work.state == "running" and time.monotonic() < until:
        time.sleep(0.02)
    return work


def test_work_says_how_far_it_is_and_what_came_out(workshop):
    work = waited(workshop.start("counting", "stock", labours.count, (3,), lambda said: {**said, "here": True}))
    assert work.state == "done" and work.answer == {"counted": 3, "here": True}
    assert work.as_dict()["said"] == ["step 1", "step 2", "step 3"] and workshop.get(work.id) is work


def test_work_that_fails_says_why_without_places(workshop):
    work = waited(workshop.start("fit", "stock", labours.refuse, ("/secret",), dict))
    assert (work.state, work.error) == ("failed", "patches.csv: only 7 good patches")


def test_stopped_work_ends_its_process(workshop, tmp_path):
    path = tmp_path / "pid"
    work = workshop.start("sleep", "artwork", labours.sleep, (str(path),), dict)
    with pytest.raises(DataError, match="still running"):
        workshop.start("sleep", "artwork", labours.sleep, (str(path),), dict)
    until = time.monotonic() + 20
    while not (path.exists() and path.read_text()) and time.monotonic() < until:
        time.sleep(0.02)
    pid = int(path.read_text())
    assert workshop.stop(work.id).state == "stopped" and workshop.running("artwork") is None
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert workshop.stop(work.id).state == "stopped"


def test_work_whose_process_vanishes_is_told_as_failed(workshop):
    work = waited(workshop.start("job", "artwork", labours.vanish, (), dict))
    assert work.state == "failed" and "without a word" in work.error


def test_unknown_work_is_refused(workshop):
    with pytest.raises(DataError, match="not known"):
        workshop.get("work-9")
