"""Small files that would grow: each is one clear line, or read, within bounds of time and memory. They run in a process of their own."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SECONDS, MEGABYTES = 20.0, 450.0  # far below what any of them would take if it went off: minutes to for ever, gigabytes


@pytest.fixture(scope="module")
def met(shop, tmp_path_factory):
    done = subprocess.run(
        [sys.executable, str(HERE / "bombs.py"), str(shop), str(tmp_path_factory.mktemp("bombs"))],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Traceback" not in done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_none_shows_a_traceback(met):
    assert len(met) > 50 and not [one for one in met if one["trace"]]


def test_each_refusal_is_one_line_that_names_the_file_and_leaves_nothing(met):
    for one in met:
        if one["exit"]:
            said = [line for line in one["said"].splitlines() if line.startswith("tint: ")]
            assert one["exit"] in (1, 2) and one["said"].splitlines()[-1:] == said, one
            assert "bomb" in said[0] and len(said[0]) < 1100 and not one["left"], one


def test_each_stays_within_bounds_of_time_and_memory(met):
    slow = [one for one in met if one["seconds"] > SECONDS or one["grown_mb"] > MEGABYTES]
    assert not slow


def test_what_would_multiply_or_reach_outside_is_refused(met):
    accepted = {one["name"] for one in met if one["exit"] == 0}
    assert not {
        name
        for name in accepted
        if "entit" in name or "double" in name or "use" in name or "outside" in name or "million" in name
    }
