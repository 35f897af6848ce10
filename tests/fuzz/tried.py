"""One bad file given to its command, and what must hold afterwards."""

from __future__ import annotations

import csv
import json
import random
import re
import shutil
import signal
import sqlite3
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from formats import Format, order
from good_shop import Shop, run
from mutated import mutated

SECONDS = 60.0  # no small file takes longer, however bad; a busy machine is allowed for
LONGEST = 1200  # signs of a message: a line people read
TEXT_COLUMNS = (
    "patch",
    "flag",
    "strip",
    "verdict",
    "cause",
    "date",
    "digest",
    "colour",
    "colour_verdict",
    "remark",
    "name",
)
NO_NUMBER = re.compile(r"(?<![\w#'\"-])-?(nan|inf|infinity)(?![\w'\"-])", re.IGNORECASE)
LAYER_NAME = re.compile(r"(?<=^ {2}\d {2})\S+", re.MULTILINE)  # in the table of `tint job`: an operator may call a layer "nan"


class TooLong(BaseException):
    """An input took longer than `SECONDS`."""


@dataclass(frozen=True)
class Tried:
    """What became of one input.

    Parameters
    ----------
    seed : with the format it makes the same input again
    accepted : the command did its work, or said no on the grounds of what it read
    fault : what must not happen, in words; "" where all held
    seconds : time of the command
    message : what it said
    """

    seed: int
    accepted: bool
    fault: str
    seconds: float
    message: str


def try_one(form: Format, shop: Shop, seed: int, place: Path) -> Tried:
    """What becomes of the input number `seed` of a format; `place` is emptied before and after."""
    choice = random.Random(f"{form.name} {seed}")
    good = form.good(shop)
    data = mutated(choice.choice(good), form.family, choice)
    shutil.rmtree(place, ignore_errors=True)
    work, out = place / "in", place / "out"
    work.mkdir(parents=True)
    out.mkdir()
    path = work / form.file
    for other in form.beside(shop):
        shutil.copy(other, work / other.name)
    path.write_bytes(data)
    before = _contents(work)
    began = time.perf_counter()
    try:
        with alarm(SECONDS):
            words = form.words(path, shop, out)
            done = _inside(words, shop, work, out, data) if words[0] == "" else run(*words)
    except TooLong:
        return Tried(seed, False, f"took longer than {SECONDS:.0f} s", time.perf_counter() - began, "")
    seconds = time.perf_counter() - began
    fault = _fault(done, path, out, words)
    if not fault and _contents(work) != before and not (done.exit_code in (0, 1) and words[0] == "check"):
        fault = "an input was changed"
    accepted = done.exit_code == 0 or (done.exit_code == 1 and not done.stderr.startswith("tint: "))
    shutil.rmtree(place, ignore_errors=True)
    return Tried(seed, accepted, fault, seconds, done.stderr[:LONGEST])


@contextmanager
def alarm(seconds: float) -> Iterator[None]:
    """Block that is stopped after some seconds."""

    def ring(*_: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _fault(done, path: Path, out: Path, words: list[object]) -> str:
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        return "traceback: " + " | ".join(line.strip() for line in traceback.format_exception(done.exception)[-3:])
    if done.exit_code not in (0, 1, 2):
        return f"exit code {done.exit_code}"
    if done.stderr.startswith("tint: "):
        line = done.stderr.removesuffix("\n")
        if len(line.splitlines()) != 1:
            return f"the message is not one line: {line[:300]!r}"
        if len(line) > LONGEST:
            return f"the message has {len(line)} signs: {line[:200]!r}"
        named = [str(word) for word in words if isinstance(word, Path)] + [path.name, str(path.parent)]
        if words[0] != "" and done.exit_code == 2 and not any(name in line for name in named):
            return f"the message does not name the file: {line[:300]!r}"
        if left := sorted(str(item.relative_to(out)) for item in out.rglob("*")):
            return f"refused, but wrote {left[:3]}"
    elif "Traceback" in done.stderr:
        return "a traceback on stderr"
    said = LAYER_NAME.sub("", done.stdout) if words[0] == "job" else done.stdout
    if not done.stderr.startswith("tint: ") and (found := NO_NUMBER.search(said)):
        return f"answers with what is no number: {found!r}"
    for item in out.rglob("*"):
        if item.name.startswith(".tint."):
            return f"left {item.name} behind"
        if item.is_file() and (found := _no_number(item)):
            return f"{item.name} holds what is no number: {found}"
    return ""


def _no_number(path: Path) -> str:
    """What stands in an output where a number belongs and is none; "" for nothing. Texts an operator wrote may say anything."""
    if path.suffix == ".csv":
        lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
        for row in csv.DictReader(lines):
            for name, value in row.items():
                if name not in TEXT_COLUMNS and NO_NUMBER.fullmatch(str(value)):
                    return f"{name} {value}"
    elif path.suffix in (".json", ".svg", ".dxf"):
        text = path.read_text(encoding="utf-8")
        text = (
            " ".join(re.findall(r' \w+="([^"]*)"', text)) if path.suffix == ".svg" else text
        )  # numbers stand in attributes
        found = NO_NUMBER.search(text)
        return found.group() if found else ""
    return ""


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(item): item.read_bytes() for item in sorted(folder.rglob("*")) if item.is_file()}


# --- what no single command reads -------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Done:
    exit_code: int
    stdout: str
    stderr: str
    exception: BaseException | None


def _inside(words: list[object], shop: Shop, work: Path, out: Path, data: bytes):
    what = str(words[1])
    if what in ("batch", "record"):
        return _batch(what, shop, out, data)
    if what == "texts":
        return _texts(shop, out, data)
    table, _, column = what.partition(".")
    base = sqlite3.connect(out / "palette-history.sqlite")
    base.executescript(shop_history(shop, out))
    try:
        base.execute(f"UPDATE {table} SET {column} = ?", (data.decode("utf-8", "replace"),))
        base.commit()
    finally:
        base.close()
    shutil.copy(shop.folder / "palette.json", out / "palette.json")
    strip = shop.folder / "strip-later.csv"
    commands = {
        "versions": ["check", out / "palette.json", strip, "--no-record"],
        "checks": ["history", out / "palette.json", "--csv", out / "h.csv"],
    }
    done = run(*commands[table])
    for name in ("palette.json", "palette-history.sqlite", "h.csv"):
        if done.exit_code == 2:
            (out / name).unlink(missing_ok=True)
    return done


def shop_history(shop: Shop, out: Path) -> str:
    """SQL text of the good history, without the triggers that refuse changes."""
    source = out / "good.sqlite"
    source.write_bytes(shop.history)
    base = sqlite3.connect(source)
    lines = [line for line in base.iterdump() if "TRIGGER" not in line and "sqlite_sequence" not in line]
    (application,), (version,) = (
        base.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version")
    )
    base.close()
    source.unlink()
    return "\n".join([*lines, f"PRAGMA application_id = {application};", f"PRAGMA user_version = {version};"])


def _batch(what: str, shop: Shop, out: Path, data: bytes) -> _Done:
    from tint.batch.folder import BatchFolder
    from tint.batch.task import Piece
    from tint.errors import TintError

    folder = out / "batch"
    shutil.copytree(shop.folder / "batch", folder)
    (folder / "batch.json" if what == "batch" else folder / "records" / "heron.json").write_bytes(data)
    try:
        record = BatchFolder(folder, order(shop)).finished(Piece("heron", "heron.svg", b"<svg"))
        if record is not None:
            BatchFolder(folder, order(shop)).summarise([record])
    except TintError as error:
        shutil.rmtree(folder)
        return _Done(error.exit_code, "", f"tint: {error}\n", None)
    except Exception as error:
        return _Done(1, "", "", error)
    shutil.rmtree(folder / "records")
    (folder / "batch.json").unlink()
    return _Done(0, "", "", None)


def _texts(shop: Shop, out: Path, data: bytes):
    """Options given what is no number, no colour, no place: the first command that does not do its work tells."""
    try:
        texts = {str(key): str(value).replace("\0", "") for key, value in json.loads(data).items()}
    except (ValueError, AttributeError, RecursionError):
        return _Done(2, "", "tint: text.json\n", None)
    at, layers = shop.folder, shop.folder / "layers"
    get = texts.get
    commands = [
        ["match", at / "model.json", f"--lab={get('lab', '')}"],
        ["match", at / "model.json", f"--srgb={get('srgb', '')}"],
        ["job", layers, at / "machine.toml", f"--at-mm={get('at', '')}", "-o", out / "job"],
        [
            "job",
            layers,
            at / "machine.toml",
            f"--timed={shop.simulated / 'job-sign'}={get('timed', '')}",
            f"--timed={shop.simulated / 'job-shaded'}=60:05",
            "-o",
            out / "job",
        ],
        [
            "grid",
            at / "machine.toml",
            "--stock",
            at / "stock.toml",
            "-n",
            12,
            f"--speed-mm-s={get('range', '')}",
            f"--name={get('name', '')}",
            "-o",
            out / "plate",
        ],
        [
            "measure",
            at / "plate" / "settings.csv",
            at / "small.png",
            "--kind",
            "photo",
            "--chart",
            "before-nov-2014",
            f"--corners={get('corners', '')}",
            f"--cells={get('cells', '')}",
            "--machine",
            at / "machine.toml",
            "--stock",
            at / "stock.toml",
            "-o",
            out / "p.csv",
        ],
        [
            "separate",
            at / "small.png",
            at / "palette.json",
            f"--width-mm={get('width', '')}",
            f"--pitch-mm={get('pitch', '')}",
            f"--background={get('background', '')}",
            "-o",
            out / "layers",
        ],
        ["check", at / "palette.json", at / "strip-later.csv", "--no-record", f"--tolerance={get('tolerance', '')}"],
    ]
    done = None
    usual = {
        "match": "lab srgb",
        "job": "at timed",
        "grid": "range name",
        "measure": "corners cells",
        "separate": "width pitch background",
        "check": "tolerance",
    }
    from formats import TEXTS

    for words in commands:
        if all(get(key) == TEXTS[key] for key in usual[words[0]].split()):
            continue
        shutil.rmtree(out)
        out.mkdir()
        done = run(*words)
        if done.exit_code == 2 and done.stderr.startswith("Usage:"):  # click's own usage lines
            done = _Done(0, "", "", None)
        if done.exit_code != 0:
            return done
    return done or _Done(0, "", "", None)
