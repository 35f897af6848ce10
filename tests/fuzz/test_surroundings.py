"""The surroundings a command runs in: odd names, other encodings, disks that are full, processes that die, pipes that close."""

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
import unicodedata
from pathlib import Path

import pytest
from good_shop import Shop, run

from tint.files.temporary import TEMPORARY, sweep
from tint.files.write import LIST_NAME

NAMES = [
    "with  two blanks",
    'it\'s "quoted"',
    "two\nlines",
    "-o",
    "--force",
    unicodedata.normalize("NFC", "grün"),
    unicodedata.normalize("NFD", "grün"),
    "CON",
    "aux.json",
    "trailing dot.",
    "C:\\plates\\one",
    "青い鳥",
    "emoji 🦆",
    "%s{}$(x)",
    "n" * 255,
    "ü" * 127,
    "\udce9 no text",
]


@pytest.fixture(scope="module")
def good(shop, tmp_path_factory):
    return Shop(shop, tmp_path_factory.mktemp("good") / "shop")


def contents(folder):
    return {
        item.relative_to(folder).as_posix(): item.read_bytes() for item in sorted(folder.rglob("*")) if item.is_file()
    }


def commands(good, out):
    """Quick commands that write, by name: the words, and what they write."""
    at = good.folder
    copy = out / "own"
    return {
        "grid": (["grid", at / "machine.toml", "--stock", at / "stock.toml", "-n", 12, "-o", out / "plate"], ["plate"]),
        "separate": (["separate", at / "small.svg", at / "palette.json", "-o", out / "layers"], ["layers"]),
        "job": (["job", at / "drawn", at / "machine.toml", "--trial", "--hatch", "-o", out / "job"], ["job"]),
        "proof": (["proof", at / "layers", "-o", out / "proof"], ["proof"]),
        "swatches": (["swatches", at / "palette.json", "-o", out / "swatches"], ["swatches"]),
        "measure": (["measure", at / "plate", copy / "reading.csv", "-o", out / "patches.csv"], ["patches.csv"]),
        "accept": (
            ["check", copy / "palette.json", at / "strip-first.csv", "--accept", "-o", out / "palette-2.json"],
            ["palette-2.json"],
        ),
        "history": (
            ["history", copy / "palette.json", "--csv", out / "h.csv", "--chart", out / "h.svg"],
            ["h.csv", "h.svg"],
        ),
    }


def begin(good, out):
    """A fresh place with the inputs that have to lie in it."""
    own = out / "own"
    own.mkdir(parents=True)
    shutil.copy(good.folder / "palette.json", own)
    (own / "palette-history.sqlite").write_bytes(good.history)
    lines = (good.folder / "plate" / "reading.csv").read_text(encoding="utf-8").replace(",,,,", ",60,5,10,")
    (own / "reading.csv").write_text(lines, encoding="utf-8")


# --- names ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES, ids=ascii)
def test_a_folder_of_any_name_the_system_takes_is_written_read_and_told_in_one_line(good, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    shutil.copy(good.folder / "small.svg", tmp_path / "in.svg")
    done = run(
        "grid",
        good.folder / "machine.toml",
        "--stock",
        good.folder / "stock.toml",
        "-n",
        12,
        f"--output={name}",
        f"--name={name}",
    )
    if "\udce9" in name:  # a name that is no text: told, and nothing is left
        assert done.exit_code == 2 and done.stderr.count("\n") == 1 and "no text" in done.stderr
        assert [item.name for item in tmp_path.iterdir()] == ["in.svg"]
        return
    assert done.exit_code == 0, done.output
    assert {item.name for item in tmp_path.iterdir()} == {name, "in.svg"}
    again = run(
        "grid", good.folder / "machine.toml", "--stock", good.folder / "stock.toml", "-n", 12, f"--output={name}"
    )
    assert again.exit_code == 2 and again.stderr.count("\n") == 1 and "already there" in again.stderr
    done = run("measure", f"./{name}", good.folder / "missing.csv")
    assert done.exit_code == 2 and done.stderr.count("\n") == 1 and "missing.csv is not there" in done.stderr


def test_names_too_long_for_what_stands_beside_leave_nothing(good, tmp_path):
    done = run("check", good.folder / "palette.json", good.folder / "strip-first.csv", "--no-record")
    assert done.exit_code in (0, 1)
    long = tmp_path / f"{'n' * 248}.json"  # the palette's own name would do, its picture's not
    from tint.palette.palette import read_palette
    from tint.palette.swatches import write_palette_and_picture

    with pytest.raises(Exception, match="cannot write .* too long"):
        write_palette_and_picture(read_palette(good.folder / "palette.json"), long)
    assert list(tmp_path.iterdir()) == []


def test_colours_of_any_name_get_file_names_every_system_takes(good, tmp_path):
    body = json.loads(good.read("palette.json"))
    odd = [
        "CON",
        "aux",
        "../../up",
        "a/b\\c",
        "two\nlines",
        "x" * 3000,
        "e\u0301",
        "\u202egnp",
        "nul.png",
        "trailing.",
        "🦆",
        "-rf",
        "",
        " ",
        "%s",
    ]
    for colour, name in zip(body["colours"], odd, strict=False):
        colour["name"] = name
    (tmp_path / "palette.json").write_text(json.dumps(body), encoding="utf-8")
    done = run(
        "separate", good.folder / "small.png", tmp_path / "palette.json", "--width-mm", 12, "-o", tmp_path / "layers"
    )
    assert done.exit_code == 0, done.output
    done = run("job", tmp_path / "layers", good.folder / "machine.toml", "--hatch", "-o", tmp_path / "job")
    assert done.exit_code == 0, done.output
    written = [item.relative_to(tmp_path / "job").as_posix() for item in (tmp_path / "job").rglob("*")]
    assert all(
        set(name) <= set("abcdefghijklmnopqrstuvwxyzREADM0123456789-_./t") and len(name) < 80 for name in written
    ), written
    assert {item.name for item in tmp_path.iterdir()} == {"palette.json", "layers", "job"}
    done = run("swatches", tmp_path / "palette.json", "-o", tmp_path / "swatches")
    assert done.exit_code == 0, done.output


# --- other encodings, another clock -----------------------------------------------------------------------------


def subprocess_of(words, **how):
    return subprocess.run([sys.executable, "-m", "tint.cli", *map(str, words)], capture_output=True, **how)


def comma_locale():
    """A locale with decimal commas where the system has one, else the plainest."""
    known = (
        subprocess.run(["locale", "-a"], capture_output=True, text=True).stdout.split()
        if shutil.which("locale")
        else []
    )
    return next((name for name in known if name.lower().startswith(("de_", "fr_", "it_", "es_", "nl_"))), "C")


def test_locale_and_encoding_of_the_console_change_no_byte(good, tmp_path):
    name = "grün"
    places = {}
    for kind, more in {
        "usual": {"LC_ALL": "C.UTF-8"},
        "other": {
            "LC_ALL": comma_locale(),
            "LANG": "C",
            "PYTHONUTF8": "0",
            "PYTHONCOERCECLOCALE": "0",
            "PYTHONIOENCODING": "latin-1",
        },
    }.items():
        out = tmp_path / kind / name
        out.mkdir(parents=True)
        words = [
            "separate",
            good.folder / "small.svg",
            good.folder / "palette.json",
            "-o",
            os.fsencode(out / "layers").decode("utf-8"),
        ]
        environment = {
            key: value for key, value in os.environ.items() if not key.startswith(("LC_", "LANG", "PYTHONUTF8"))
        }
        done = subprocess_of(words, env={**environment, **more}, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        places[kind] = contents(out / "layers")
    assert places["usual"] == places["other"] and len(places["usual"]) == 5


def test_the_history_keeps_the_order_of_arrival_through_time_zones_and_a_clock_set_back(good, tmp_path, monkeypatch):
    from tint.check.history import read_history
    from tint.palette.palette import read_palette

    begin(good, tmp_path)
    palette = tmp_path / "own" / "palette.json"
    monkeypatch.setenv("TZ", "UTC")
    for zone in ("Pacific/Kiritimati", "Etc/GMT+12", "Asia/Kathmandu"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        assert run("check", palette, good.folder / "strip-later.csv").exit_code in (0, 1)
    monkeypatch.delenv("TZ")
    time.tzset()
    found = read_history(tmp_path / "own" / "palette-history.sqlite", read_palette(palette))
    assert [row.number for row in found.checks] == [1, 2, 3, 4] and not found.clock_set_back
    assert [row.date[-6:] for row in found.checks[1:]] == ["+14:00", "-12:00", "+05:45"]
    monkeypatch.setattr("tint.check.history.now", lambda: "2001-01-01T00:00:00+00:00")
    done = run("check", palette, good.folder / "strip-first.csv")
    assert "set back" in done.stderr
    found = read_history(tmp_path / "own" / "palette-history.sqlite", read_palette(palette))
    assert (
        [row.number for row in found.checks] == [1, 2, 3, 4, 5]
        and found.checks[-1].date.startswith("2001")
        and found.clock_set_back
    )


# --- disks that are full ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["grid", "separate", "job", "proof", "swatches", "measure", "accept", "history"])
def test_a_disk_that_fills_up_at_any_size_loses_nothing_and_the_next_run_works(good, tmp_path, name):
    begin(good, tmp_path)
    words, written = commands(good, tmp_path)[name]
    before = contents(tmp_path)
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    for most in (
        (0, 400, 3000) if name != "swatches" else (400,)
    ):  # bytes a file may grow to: EFBIG stands for a disk that is full
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, hard))
        signal_before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        try:
            done = run(*words)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
            signal.signal(signal.SIGXFSZ, signal_before)
        if done.exit_code == 0:
            break
        assert done.exit_code == 2, done.output
        said = [line for line in done.stderr.splitlines() if line.startswith("tint: cannot write")]
        assert (
            len(said) == 1
            and done.stderr.splitlines()[-1:] == said
            and ("Free space" in said[0] or "free space" in said[0])
        )
        now = contents(tmp_path)
        assert {key: now[key] for key in before if "sqlite" not in key} == {
            key: before[key] for key in before if "sqlite" not in key
        }
        assert set(now) - set(before) <= {"h.csv"}, now  # written whole before the disk was full
        for extra in set(now) - set(before):
            (tmp_path / extra).unlink()
    else:
        done = run(*words)
        assert done.exit_code == 0, done.output
    assert all((tmp_path / item).exists() for item in written)
    assert not [item for item in tmp_path.rglob("*") if item.name.startswith(TEMPORARY)]


# --- processes that die -----------------------------------------------------------------------------------------


def forked(work):
    """Process number of a copy of this process that does some work and ends."""
    child = os.fork()
    if child == 0:
        try:
            with open(os.devnull, "w") as nowhere:
                os.dup2(nowhere.fileno(), 2)
                work()
        finally:
            os._exit(0)
    return child


@pytest.mark.parametrize("name", ["grid", "separate", "job", "accept"])
def test_killed_at_any_moment_the_output_is_whole_or_absent_and_the_next_run_clears_up(good, tmp_path, name):
    begin(good, tmp_path / "usual")
    words, written = commands(good, tmp_path / "usual")[name]
    began = time.perf_counter()
    assert run(*words).exit_code == 0
    usual_s = time.perf_counter() - began
    for part in (0.5, 0.8, 0.95):
        out = tmp_path / f"killed at {part}"
        begin(good, out)
        words, written = commands(good, out)[name]
        child = forked(lambda words=words: run(*words))
        time.sleep(usual_s * part)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        for item in written:
            place = out / item
            if place.is_dir():  # it took its place: every file on its own list is there
                assert {file for file in contents(place)} >= {
                    file for file in listed(place) if (place / file).is_file()
                }
                assert all((place / file).exists() for file in listed(place))
        for left in out.glob(f"{TEMPORARY}*"):
            os.utime(left, (1, 1))  # as an hour later
        sweep.cache_clear()
        done = run(*words, "--force")
        assert done.exit_code == 0, done.output
        assert not [item for item in out.rglob("*") if item.name.startswith(TEMPORARY)], list(out.iterdir())


def listed(folder):
    return (folder / LIST_NAME).read_text(encoding="utf-8").splitlines()[1:]


def test_two_that_write_to_one_place_at_once_leave_one_of_both_whole(tmp_path):
    from tint.errors import FileError
    from tint.files.write import new_folder, write_file

    def writer(sign):
        def work():
            for _ in range(40):
                write_file(tmp_path / "one.txt", sign * 100_000, force=True)
                try:
                    with new_folder(tmp_path / "job", "job", force=True) as place:
                        for name in "abc":
                            (place / name).write_text(sign * 1000)
                except FileError:
                    pass  # the other was just swapping: told, nothing harmed

        return work

    children = [forked(writer(sign)) for sign in "xy"]
    seen = set()
    while children:
        if (tmp_path / "one.txt").exists():
            text = (tmp_path / "one.txt").read_text()
            assert len(text) == 100_000 and len(set(text)) == 1
            seen.add(text[0])
        children = [child for child in children if os.waitpid(child, os.WNOHANG)[0] == 0]
    whole = contents(tmp_path / "job")
    assert set(whole) == {"a", "b", "c", LIST_NAME} and len({whole[name] for name in "abc"}) == 1
    assert {item.name for item in tmp_path.iterdir()} == {"one.txt", "job"} and seen


# --- pipes that close, Ctrl-C -----------------------------------------------------------------------------------


def test_a_closed_pipe_and_a_full_stdout_show_no_traceback(good):
    words = [
        sys.executable,
        "-m",
        "tint.cli",
        "predict",
        str(good.folder / "model.json"),
        "--settings",
        str(good.folder / "plate" / "settings.csv"),
    ]
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(words, stdout=writing, stderr=subprocess.PIPE, text=True)
    os.close(writing)
    assert (
        done.returncode in (0, 1, -signal.SIGPIPE)
        and "Traceback" not in done.stderr
        and "Exception ignored" not in done.stderr
    )
    if Path("/dev/full").exists():
        with open("/dev/full", "w") as full:
            done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True)
        assert done.returncode != 0 and "Traceback" not in done.stderr and "cannot write" in done.stderr, done.stderr


def test_ctrl_c_is_one_line_and_leaves_nothing(good, tmp_path, monkeypatch):
    def stop(*_, **__):
        raise KeyboardInterrupt

    for name, place in {
        "grid": "tint.plan.plate._masks",
        "separate": "tint.layers.folder.proof_image",
        "job": "tint.job.job.job_text",
        "measure": "tint.measure.patches.write_file",
    }.items():
        monkeypatch.setattr(place, stop)
        out = tmp_path / name
        begin(good, out)
        before = contents(out)
        done = run(*commands(good, out)[name][0])
        monkeypatch.undo()
        assert done.exit_code == 1 and done.stderr.strip().splitlines()[-1] == "Aborted!"
        assert contents(out) == before
