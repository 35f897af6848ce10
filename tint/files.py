"""How tint writes and reads its own files: whole or not at all, with a format name and version inside.

A file is written beside its place under a temporary name, brought to the disk and renamed, a folder likewise, so a crash leaves
the old one or the new one and never half of either. Where a system cannot swap two folders in one step, the old one stands aside
for a moment; a tint killed in that moment leaves it there, and the next one that writes to its place puts it back first. What else
a killed tint leaves under a temporary name, the next one that writes to the same place removes. Nothing is overwritten unless
`force` is set.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import secrets
import shutil
import stat
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from typing import Any

from tint.errors import FileError, TintError

LIST_NAME = ".tint"  # in every folder tint writes: its kind and its files, so that --force deletes nobody else's
TEMPORARY = ".tint."  # how the names of files and folders begin that have not taken their place yet
_TEMPORARY = re.compile(r"\.tint\.[0-9a-f]{16}")  # the whole of such a name: what people call .tint.something is theirs
# A temporary name younger than this is left alone: it may not be locked yet, waits for others that belong to it, or is another
# computer's on a disk they share, whose locks do not reach here
SETTLED_S = 3600.0
SYNCING = 8  # files brought to the disk at once: one by one costs a millisecond each, together a fifth (tests/bench)
MAX_TEXT_BYTES = 64_000_000  # larger than any table or model tint writes; keeps a wrong file from filling memory
MOST_DIGITS = 18  # of a whole number in JSON: it fits 64 bits, and a float without running over
MOST_SIGNS = 20_000  # of one text; a page of print has some 3,000. Outlines are longer
_HALF_SIGN = re.compile(r"\\u[dD][89a-fA-F]")  # half of a surrogate pair; alone it is text no file can hold


def write_file(path: str | Path, content: str | bytes, *, force: bool = False, sync: bool = True) -> Path:
    """Path of the file, written whole.

    Parameters
    ----------
    sync : wait until it is on the disk; a batch of thousands does that once, and looks at sizes when it goes on

    Raises
    ------
    FileError
        The file exists and `force` is not set, a folder is in its place, or the place cannot be written.
    """
    write_files({path: content}, force=force, sync=sync)
    return Path(path)


def write_files(contents: Mapping[str | Path, str | bytes], *, force: bool = False, sync: bool = True) -> None:
    """Nothing; writes files that belong together, each whole, and none of them where one cannot be written.

    A kill in the moment between two renames may leave the first files new and the last old, all of them whole.

    Raises
    ------
    FileError
        As `write_file`.
    """
    staged: dict[Path, str] = {}
    copies: dict[Path, str] = {}  # of what is replaced, to be put back where a later file cannot take its place
    placed: list[Path] = []
    path = Path()
    try:
        for path, content in ((Path(name), content) for name, content in contents.items()):
            refuse_overwrite(path, force)
            staged[path] = _staged(path, content.encode("utf-8") if isinstance(content, str) else content, sync)
        for path in staged:
            refuse_overwrite(path, force)  # it may have appeared meanwhile
        for path in staged if len(staged) > 1 else ():
            if os.path.lexists(path):
                copies[path] = _temporary(path)
                shutil.copy(path, copies[path], follow_symlinks=False)
        for path, temporary in list(staged.items()):
            os.replace(temporary, path)
            placed.append(path)
            del staged[path]
        for folder in {path.parent for path in map(Path, contents)} if sync else ():
            _sync(folder)
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    finally:
        for path in placed if staged else ():
            try:
                os.replace(copies[path], path) if path in copies else path.unlink()
            except OSError:
                copies.pop(path, None)  # all that is left of the old one stays where it is
        for temporary in (*staged.values(), *copies.values()):
            Path(temporary).unlink(missing_ok=True)


def _staged(path: Path, data: bytes, sync: bool) -> str:
    """Temporary file beside `path` that holds the data, on the disk with `sync`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    _sweep(str(path.parent))
    _refuse_name(path)
    temporary = _temporary(path)
    try:
        with open(temporary, "xb") as stream:
            _lock(stream.fileno())
            stream.write(data)
            stream.flush()
            if sync:
                os.fsync(stream.fileno())
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return temporary


def _temporary(path: Path) -> str:
    """Name beside `path` that nothing has."""
    return str(path.with_name(f"{TEMPORARY}{secrets.token_hex(8)}"))


def _refuse_name(path: Path) -> None:
    """Nothing; raises OSError where no file can have this name, before anything beside it is written."""
    with suppress(FileNotFoundError):
        os.lstat(path)


@contextmanager
def new_folder(path: str | Path, kind: str, *, force: bool = False, sync: bool = True) -> Iterator[Path]:
    """Temporary folder to fill; it takes its place at `path` only when the block ends without an error.

    Parameters
    ----------
    kind : what the folder holds, such as "job"; `force` replaces only a folder of the same kind
    sync : wait until all of it is on the disk, as `write_file` tells

    Raises
    ------
    FileError
        The folder exists and `force` is not set; it is not of this kind or holds a file tint did not write; it is the
        folder tint runs in; or the place cannot be written.
    """
    path = Path(path).absolute()
    refuse_folder(path, kind, force)
    try:
        path = path.resolve()
        path.parent.mkdir(parents=True, exist_ok=True)
        _sweep(str(path.parent))
        temporary = Path(_temporary(path))
        temporary.mkdir()
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    handle = None
    try:
        with suppress(OSError):  # systems that do not open folders
            _lock(handle := os.open(temporary, os.O_RDONLY))
        yield temporary
        names = sorted(item.relative_to(temporary).as_posix() for item in temporary.rglob("*"))
        (temporary / LIST_NAME).write_text("\n".join([f"tint {kind}", *names]) + "\n", encoding="utf-8")
        if sync:
            _sync_all(temporary)
        refuse_folder(path, kind, force)  # it may have appeared, or been added to, meanwhile
        _swap_in(temporary, path, force)
        if sync:
            _sync(path.parent)
    except (OSError, UnicodeEncodeError) as error:
        raise _cannot_write(path, error) from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
        if handle is not None:
            os.close(handle)


def _swap_in(new: Path, path: Path, force: bool) -> None:
    """`new` in the place of `path`; where that fails, `path` is as it was. What was there goes, or stands where `new` stood."""
    if not force or not path.exists():  # a folder that appeared this moment stays: nothing is renamed onto a full one
        os.rename(new, path)
        return
    if _exchange(new, path):
        return
    old = _aside(path)
    if os.path.lexists(old):
        raise FileError(f"{old} is an earlier {path.name}: a run was stopped while replacing it. Move it away, then write again.")
    handle = None
    try:
        with suppress(OSError):  # systems that do not open folders
            _lock(handle := os.open(path, os.O_RDONLY))  # so that nobody puts it back meanwhile
        os.rename(path, old)
        try:
            os.rename(new, path)
        except BaseException:
            with suppress(OSError):  # another's new one may stand there by now
                os.rename(old, path)
            raise
    finally:
        if handle is not None:
            os.close(handle)
    shutil.rmtree(old, ignore_errors=True)


def _aside(path: Path) -> Path:
    """Where a folder stands while its successor takes its place: a name that is not swept, and is found again by the folder's own."""
    return path.with_name(f"{TEMPORARY}{hashlib.sha256(os.fsencode(path.name)).hexdigest()[:16]}.old")


def _put_back(path: Path) -> bool:
    """Whether a folder that stood aside when a run was killed is back in its place."""
    with suppress(OSError, ValueError):
        if os.path.lexists(path) or not os.path.lexists(old := _aside(path)):
            return False
        handle = None
        try:
            with suppress(OSError):
                handle = os.open(old, os.O_RDONLY)
            if handle is None or _lock(handle) is not False:  # else its successor takes its place this moment
                os.rename(old, path)
                return True
        finally:
            if handle is not None:
                os.close(handle)
    return False


def _exchange(one: Path, other: Path) -> bool:
    """Whether two paths changed places in one step, as Linux can: no moment, and no crash, finds either place empty."""
    import ctypes

    here, exchange = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of linux/fcntl.h and linux/fs.h
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return rename(here, os.fsencode(one), here, os.fsencode(other), exchange) == 0


def _sync(folder: str | Path) -> None:
    """Brings a folder's own list of names to the disk; nothing where the system cannot."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sync_all(folder: Path) -> None:
    """Brings all files of a folder to the disk, and its list of names."""
    from concurrent.futures import ThreadPoolExecutor

    def bring(path: Path) -> None:
        handle = os.open(path, os.O_RDWR)  # a system may sync only what is open for writing
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    items = list(folder.rglob("*"))
    with ThreadPoolExecutor(SYNCING) as pool:
        list(pool.map(bring, [item for item in items if item.is_file()]))
    for place in (folder, *(item for item in items if item.is_dir())):
        _sync(place)


def _lock(handle: int) -> bool | None:
    """Whether an open file or folder is now this process's own, None where the system has no locks.

    The system lets go of it when the process ends, however.
    """
    try:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except (ImportError, OSError):
        return None
    return True


@contextmanager
def held(folder: str | Path) -> Iterator[None]:
    """Block in which a folder, made where it is missing, is this block's alone; where the system has no locks, nobody is refused.

    Raises
    ------
    FileError
        Another block, of this process or another, has the folder; or it cannot be made.
    """
    handle = None
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
        with suppress(OSError):  # systems that do not open folders
            handle = os.open(folder, os.O_RDONLY)
    except (OSError, ValueError) as error:
        raise _cannot_write(Path(folder), error) from None
    try:
        if handle is not None and _lock(handle) is False:
            raise FileError(f"another tint is at work in {folder}. Wait until it is done, or choose another name with -o.")
        yield
    finally:
        if handle is not None:
            os.close(handle)


@lru_cache(maxsize=256)  # once per folder and process: a batch writes thousands of times to one
def _sweep(folder: str) -> None:
    """Removes what a killed tint left in a folder under a temporary name. One that still works holds a lock on its own."""
    now = time.time()
    with suppress(OSError):
        for item in [entry for entry in os.scandir(folder) if _TEMPORARY.fullmatch(entry.name)]:
            with suppress(OSError):
                status = item.stat(follow_symlinks=False)
                ours = stat.S_ISREG(status.st_mode) or stat.S_ISDIR(status.st_mode)
                if not ours or now - status.st_mtime < SETTLED_S:
                    continue
                handle = os.open(item.path, os.O_RDONLY)
                try:
                    if _lock(handle):
                        shutil.rmtree(item.path) if item.is_dir() else os.unlink(item.path)
                finally:
                    os.close(handle)


def refuse_overwrite(path: str | Path, force: bool) -> None:
    """Nothing; raises `FileError` where a file is there and `force` is not set, or something else than a file is."""
    path = Path(path)
    try:
        there, folder = os.path.lexists(path), path.is_dir()
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    if folder:
        raise FileError(f"{path} is a folder; a file is to be written. Choose another name.")
    if there and not force:
        raise FileError(f"{path} is already there. Choose another name, or add --force to replace it.")


def refuse_folder(path: str | Path, kind: str, force: bool) -> None:
    """Nothing; raises `FileError` where a folder may not be written at `path`, as `new_folder` tells.

    One that a killed run left aside is put back first, so that it counts as there.
    """
    path = Path(path).absolute()
    try:
        back = " (put back: a run was stopped while replacing it)" if _put_back(path.resolve()) else ""
        if not os.path.lexists(path):
            return
        if not path.is_dir():
            raise FileError(f"{path} is a file; a folder is to be written. Choose another name with -o.")
        if not force:
            raise FileError(f"{path} is already there{back}. Choose another name with -o, or add --force to replace it.")
        here, place = Path.cwd().resolve(), path.resolve()
        if here == place or place in here.parents:
            raise FileError(
                f"{path} is the folder you are in, or above it; it cannot be replaced. Choose another name with -o."
            )
        listed = (path / LIST_NAME).read_text(encoding="utf-8").splitlines() if (path / LIST_NAME).is_file() else []
        if any(path.iterdir()) and listed[:1] != [f"tint {kind}"]:
            raise FileError(
                f"{path} is not a {kind} folder written by tint; --force will not replace it. Choose another name."
            )
        for item in path.rglob("*"):
            name = item.relative_to(path).as_posix()
            if name not in listed and name != LIST_NAME and not _TEMPORARY.match(name):
                raise FileError(
                    f"{path} holds {name}, which tint did not write; move it away, or choose another name with -o."
                )
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None


def _cannot_write(path: Path, error: Exception) -> FileError:
    if isinstance(error, UnicodeEncodeError):
        return FileError(f"cannot write {path}: a name or remark holds signs that are no text. Type it anew.")
    said = getattr(error, "strerror", None) or str(error)
    return FileError(f"cannot write {str(path)[:200]}: {said}. Free space, or choose another place or name.")


def read_text(path: str | Path) -> str:
    """Text of a UTF-8 file, a byte-order mark dropped.

    Raises
    ------
    FileError
        Missing, a folder, unreadable, too large, or not UTF-8 text.
    """
    try:
        return file_bytes(path, MAX_TEXT_BYTES, f"tint reads up to {MAX_TEXT_BYTES / 1e6:.0f} MB of text.").decode(
            "utf-8-sig"
        )
    except UnicodeDecodeError:
        raise FileError(
            f"{path} is not UTF-8 text: a picture or a program's own file? Tables are saved as CSV in UTF-8."
        ) from None


def file_bytes(path: str | Path, most_bytes: int, allowed: str) -> bytes:
    """Bytes of a file.

    Parameters
    ----------
    most_bytes : a larger file is refused
    allowed : what that refusal says after the file's size

    Raises
    ------
    FileError
        Missing, a folder, unreadable, or too large.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        if size > most_bytes:
            raise FileError(f"{path} has {size / 1e6:.0f} MB; {allowed}")
        with open(path, "rb") as stream:
            data = stream.read(most_bytes + 1)
        if len(data) > most_bytes:  # it grew, or is a pipe, which has no size
            raise FileError(f"{path} has more than {most_bytes / 1e6:.0f} MB; {allowed}")
        return data
    except FileNotFoundError:
        raise FileError(f"{path} is not there{left_aside(path) or '. Check the name'}.") from None
    except OSError as error:
        said = "it is a folder" if isinstance(error, IsADirectoryError) else error.strerror or error
        raise FileError(f"cannot read {str(path)[:200]}: {said}.") from None
    except ValueError as error:  # a name no system can have
        raise FileError(f"cannot read {str(path)[:200]!r}: {error}.") from None


def left_aside(path: Path) -> str:
    """Where the folder of a missing file stands aside since a run was killed, as a message goes on; "" where it does not."""
    with suppress(OSError, ValueError):
        for place in (path.absolute(), path.absolute().parent):
            if not os.path.lexists(place) and os.path.lexists(old := _aside(place)):
                return f": a run was stopped while replacing {place.name}, whose old content is in {old}. Rename that to {place.name}"
    return ""


def json_text(kind: str, version: int, body: dict[str, Any]) -> str:
    """JSON text that names its format, such as "tint-palette/1", first."""
    return (
        json.dumps({"format": f"tint-{kind}/{version}", **body}, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    )


def read_json(path: str | Path, kind: str, version: int) -> dict[str, Any]:
    """Contents of a JSON file that tint wrote.

    Parameters
    ----------
    kind, version
        "palette", 1 reads "tint-palette/1" and older; a newer version is refused.

    Raises
    ------
    FileError
        Not JSON, another kind of file, written by a newer tint, or damaged: numbers that are none, halves of signs.
    """
    try:
        body = json_from(read_text(path), str(path))
        found = body["format"] if isinstance(body, dict) else None
    except (ValueError, KeyError, RecursionError):
        found = None
    name, _, number = str(found).partition("/")
    if found is None or not name.startswith("tint-") or not number.isdecimal():
        raise FileError(f"{path} is not a file tint wrote; a tint-{kind} file is needed here.")
    if name != f"tint-{kind}":
        raise FileError(f"{path} is a {name} file; a tint-{kind} file is needed here.")
    if int(number) > version:
        raise FileError(f"{path} is {found}, newer than this tint reads (tint-{kind}/{version}). Update tint.")
    return body


def json_from(text: str, where: str) -> Any:
    """Contents of JSON text that tint wrote.

    Parameters
    ----------
    where : the file, as messages name it

    Raises
    ------
    FileError
        Numbers that are none (NaN, infinity, too many digits), halves of signs.
    ValueError, RecursionError
        Not JSON at all.
    """
    try:
        body = json.loads(text, parse_constant=_no_number, parse_float=_finite, parse_int=_whole)
        if _HALF_SIGN.search(text):
            json.dumps(body, ensure_ascii=False).encode("utf-8")  # what is read may be written again
        _refuse_long_text(body)
    except _Unfit as error:
        raise FileError(f"{where} is damaged: it holds {error}, which tint never writes.") from None
    except UnicodeEncodeError:
        raise FileError(f"{where} is damaged: it holds half of a sign, which tint never writes.") from None
    return body


class _Unfit(Exception):
    """What no JSON file of tint holds, a number that is none or a text without end; the message names it."""


def number_of(value: Any) -> float:
    """A number of a JSON file; raises `TypeError` for a text or true, which Python would take for one."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise TypeError(f"{value!r} is no number")
    return float(value)


def numbers_of(values: Any) -> list[Any]:
    """Numbers of a JSON file, a list of them or lists of lists; raises `TypeError` as `number_of`."""
    if not isinstance(values, list):
        raise TypeError("a list of numbers is needed")
    return [numbers_of(value) if isinstance(value, list) else number_of(value) for value in values]


def _refuse_long_text(body: Any) -> None:
    """Nothing; raises `_Unfit` where a text is longer than any name or remark: wrapping it onto a sheet would take hours."""
    rest = [body]
    while rest:
        part = rest.pop()
        if isinstance(part, dict):
            rest += [value for name, value in part.items() if name != "outline"]
            rest += part.keys()
        elif isinstance(part, list):
            rest += part
        elif isinstance(part, str) and len(part) > MOST_SIGNS:
            raise _Unfit(f"a text of {len(part):,} signs")


def _no_number(text: str) -> float:
    raise _Unfit(text)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _Unfit(text[:40])
    return value


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise _Unfit(f"a number of {len(text)} digits")
    return int(text)


@contextmanager
def reading(where: str | Path, lacks: str, damage: str, also: tuple[type[Exception], ...] = ()) -> Iterator[None]:
    """Block that turns a file's contents into values; whatever does not fit becomes one `FileError` that names the file.

    Parameters
    ----------
    where : the file, as messages name it
    lacks : what a part is missing from, such as "the grid."
    damage : the whole message where a value is of the wrong kind
    also : further exceptions that mean damage
    """
    damaged: tuple[type[Exception], ...] = (TypeError, ValueError, AttributeError, IndexError, ArithmeticError, *also)
    try:
        yield
    except KeyError as error:
        raise FileError(f"{where}: {error.args[0]} is missing from {lacks}") from None
    except TintError as error:
        raise FileError(f"{where}: {error}") from None
    except damaged:
        raise FileError(damage) from None
