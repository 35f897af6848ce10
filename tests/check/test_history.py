"""The history: it only grows, two programs may write at once, and no kill, clock or full disk loses anything."""

import json
import os
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from marked import palette, promised, strip

from tint.check.check import check_strip
from tint.check.correct import accepted
from tint.check.history import (
    add_version,
    history_csv,
    read_history,
    record_check,
    recorded_palettes,
    recorded_version,
)
from tint.errors import DataError, FileError
from tint.palette.palette import read_palette, write_palette

FIRST = palette()
CHECK = check_strip(FIRST, strip(FIRST, 1))
DATE = "2026-03-14T09:00:00+01:00"


def record(path, count=1, date=DATE):
    return [record_check(path, CHECK, "patch,L,a,b\n", date) for _ in range(count)]


def whole(path):
    """Number of checks in a history that opens and is sound."""
    base = sqlite3.connect(path)
    assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    base.close()
    return len(read_history(path, FIRST).checks)


def test_a_check_is_read_back_with_its_colours_limits_and_version(tmp_path):
    path = tmp_path / "h.sqlite"
    record(path)
    (row,), (version,) = read_history(path, FIRST).checks, read_history(path, FIRST).versions
    assert (row.version, row.digest, row.date, row.verdict) == (1, FIRST.digest, DATE, CHECK.verdict)
    assert row.heat_pct == CHECK.heat.pct and [item["name"] for item in row.colours] == [c.name for c in FIRST.colours]
    assert row.max_de00 == CHECK.de00.max() and version.digest == FIRST.digest
    table = history_csv(read_history(path, FIRST)).splitlines()
    assert len(table) == 1 + len(FIRST) and table[0].startswith("check,version,digest,date")


def test_a_strip_checked_twice_counts_once_and_the_one_at_hand_not_at_all(tmp_path):
    path = tmp_path / "h.sqlite"
    for table in ("monday", "tuesday", "monday"):
        record_check(path, CHECK, table, DATE)
    history = read_history(path, FIRST)
    assert len(history.checks) == 3 and len(history.heat_pct(FIRST)) == 2
    assert (
        history.heat_pct(FIRST, "monday") == (CHECK.heat.pct,)
        and history.heat_pct(FIRST, "friday") == (CHECK.heat.pct,) * 2
    )


def test_rows_cannot_be_changed_or_deleted(tmp_path):
    path = tmp_path / "h.sqlite"
    record(path)
    base = sqlite3.connect(path)
    for statement in ("UPDATE checks SET verdict = 'within'", "DELETE FROM checks", "UPDATE versions SET version = 9", "DELETE FROM versions",
                      "REPLACE INTO versions SELECT * FROM versions"):  # fmt: skip
        with pytest.raises(sqlite3.DatabaseError):
            base.execute("PRAGMA recursive_triggers = ON")
            base.execute(statement)
    base.close()
    assert whole(path) == 1


def test_versions_count_on_and_old_ones_come_back_exactly(tmp_path):
    path = tmp_path / "h.sqlite"
    second = add_version(path, FIRST, lambda version: accepted(CHECK, version, DATE), DATE)
    third = add_version(path, FIRST, lambda version: accepted(CHECK, version, DATE), DATE)
    assert (second.lineage.version, third.lineage.version) == (2, 3)
    assert [item.lineage.version for item in recorded_palettes(path, third)] == [1, 2, 3]
    back = read_palette(write_palette(recorded_version(path, third, 2), tmp_path / "two.json"))
    assert back.digest == second.digest and back.edited == () and back.line == FIRST.line
    with pytest.raises(DataError, match="version 9 of .* is not in .*known are 1, 2, 3"):
        recorded_version(path, FIRST, 9)


def test_palettes_of_one_folder_do_not_mix(tmp_path):
    import dataclasses

    path = tmp_path / "h.sqlite"
    record(path)
    assert read_history(path, dataclasses.replace(FIRST, name="trail signs (invented)")).checks == ()


def test_a_clock_set_back_does_not_change_the_order(tmp_path):
    path = tmp_path / "h.sqlite"
    dates = ["2026-03-14T09:00:00+01:00", "2025-01-01T00:00:00+01:00", "2026-03-15T09:00:00+01:00"]
    for date in dates:
        record(path, date=date)
    history = read_history(path, FIRST)
    assert [row.date for row in history.checks] == dates and history.clock_set_back
    assert [row.number for row in history.checks] == [1, 2, 3]


def test_two_programs_at_once_both_end_up_in_the_history(tmp_path):
    path = tmp_path / "h.sqlite"
    children = []
    for _ in range(2):
        if not (child := os.fork()):
            try:
                record(path, 12)
                os._exit(0)
            finally:
                os._exit(1)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0, 0]
    assert whole(path) == 24


def test_killed_before_any_line_of_a_write_the_history_is_as_it_was_or_complete(tmp_path):
    # a child runs one write and ends itself, without tidying up, at the n-th line it executes: once for every line there is
    path, seen, n = tmp_path / "h.sqlite", set(), 0
    record(path)
    before = whole(path)
    while True:
        n += 1
        if not (child := os.fork()):
            count = 0

            def kill_at_line(frame, event, _, n=n):
                nonlocal count
                if not frame.f_code.co_filename.endswith("history.py"):
                    return None
                if event == "line":
                    count += 1
                    if count == n:
                        os._exit(9)
                return kill_at_line

            sys.settrace(kill_at_line)
            record(path)
            os._exit(0)
        ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        after = whole(path)
        assert after in (before, before + 1)
        seen.add(after - before)
        before = after
        if ended == 0:
            break
        assert ended == 9
    assert n > 30 and seen == {0, 1}


def test_killed_at_any_moment_by_the_system_no_finished_check_is_lost(tmp_path):
    path = tmp_path / "h.sqlite"
    record(path)
    for attempt in range(12):
        start = whole(path)
        reading, writing = os.pipe()
        if not (child := os.fork()):
            while True:
                record(path)
                os.write(writing, b".")
        time.sleep(0.004 + 0.0031 * attempt)
        before = whole(path)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(writing)
        said = len(os.read(reading, 10_000))
        os.close(reading)
        # every check whose end was reported is there, and at most the one that was under way
        assert whole(path) >= before and start + said <= whole(path) <= start + said + 1


def test_killed_before_any_line_of_writing_a_palette_the_old_file_or_the_new_is_there(tmp_path):
    path, new = write_palette(FIRST, tmp_path / "p.json"), promised()
    n, seen = 0, set()
    while True:
        n += 1
        write_palette(FIRST, path, force=True)
        if not (child := os.fork()):
            count = 0

            def kill_at_line(frame, event, _, n=n):
                nonlocal count
                if Path(frame.f_code.co_filename).parent.name != "files":
                    return None
                count += event == "line"
                if count == n:
                    os._exit(9)
                return kill_at_line

            sys.settrace(kill_at_line)
            write_palette(new, path, force=True)
            os._exit(0)
        ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        seen.add(read_palette(path).digest)
        if ended == 0:
            break
    assert n > 10 and seen == {FIRST.digest, new.digest}


def test_a_full_disk_is_one_line_and_loses_nothing(tmp_path):
    path = tmp_path / "h.sqlite"
    record(path)
    if not (child := os.fork()):
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        size = path.stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))  # no file may grow beyond what this one has
        try:
            record(path, 40)
        except FileError as error:
            os._exit(3 if "cannot write" in str(error) and "\n" not in str(error) else 4)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 3
    assert whole(path) >= 1
    record(path)


def test_a_folder_that_may_not_be_written_is_one_line(tmp_path):
    place = tmp_path / "locked"
    place.mkdir()
    place.chmod(0o555)
    if not (child := os.fork()):
        if os.getuid() == 0:
            os.setgroups([])
            os.setuid(65534)
        try:
            record(place / "h.sqlite")
        except FileError as error:
            os._exit(3 if "cannot write" in str(error) and "\n" not in str(error) else 4)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 3
    assert list(place.iterdir()) == []


def test_a_database_of_others_a_newer_one_and_a_damaged_one_are_refused(tmp_path):
    path = tmp_path / "h.sqlite"
    base = sqlite3.connect(path)
    base.execute("CREATE TABLE birds (name)")
    base.close()
    with pytest.raises(FileError, match="not a history tint wrote"):
        record(path)
    path = tmp_path / "newer.sqlite"
    record(path)
    base = sqlite3.connect(path)
    base.execute("PRAGMA user_version = 99")
    base.close()
    for use in (record, lambda place: read_history(place, FIRST)):
        with pytest.raises(FileError, match="Update tint"):
            use(path)
    path = tmp_path / "damaged.sqlite"
    path.write_bytes(b"not a database at all " * 100)
    for use in (record, lambda place: read_history(place, FIRST)):
        with pytest.raises(FileError, match="is damaged or not a history"):
            use(path)


def test_while_another_program_writes_for_long_one_line_says_so(tmp_path, monkeypatch):
    path = tmp_path / "h.sqlite"
    record(path)
    monkeypatch.setattr("tint.check.history.BUSY_S", 0.05)
    base = sqlite3.connect(path, isolation_level=None)
    base.execute("BEGIN IMMEDIATE")
    with pytest.raises(FileError, match="another tint is writing"):
        record(path)
    base.execute("ROLLBACK")
    base.close()
    assert record(path) == [2]


def test_a_history_needs_nothing_but_the_standard_library_to_be_read(tmp_path):
    path = tmp_path / "h.sqlite"
    record(path)
    code = f"import sqlite3, json; print(json.loads(sqlite3.connect({str(path)!r}).execute('SELECT palette FROM versions').fetchone()[0])['format'])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "tint-palette/2" and json.dumps(done.stdout) and Path(path).exists()
