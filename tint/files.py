"""How tint writes and reads its own files: whole or not at all, with a format name and version inside.

A file is written beside its place under a temporary name and renamed, a folder likewise, so a crash leaves the old
one or the new one and never half of either. Nothing is overwritten unless `force` is set.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tint.errors import FileError, TintError

LIST_NAME = ".tint"  # in every folder tint writes: its kind and its files, so that --force deletes nobody else's
MAX_TEXT_BYTES = 64_000_000  # larger than any table or model tint writes; keeps a wrong file from filling memory


def write_file(path: str | Path, content: str | bytes, *, force: bool = False) -> Path:
    """Path of the file, written whole.

    Raises
    ------
    FileError
        The file exists and `force` is not set, a folder is in its place, or the place cannot be written.
    """
    path = Path(path)
    refuse_overwrite(path, force)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".tint.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            _open_to_others(temporary, 0o666)
            refuse_overwrite(path, force)  # it may have appeared meanwhile
            os.replace(temporary, path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    return path


@contextmanager
def new_folder(path: str | Path, kind: str, *, force: bool = False) -> Iterator[Path]:
    """Temporary folder to fill; it takes its place at `path` only when the block ends without an error.

    Parameters
    ----------
    kind : what the folder holds, such as "job"; `force` replaces only a folder of the same kind

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
        temporary = Path(tempfile.mkdtemp(dir=path.parent, prefix=".tint."))
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    try:
        yield temporary
        _open_to_others(temporary, 0o777)
        names = sorted(item.relative_to(temporary).as_posix() for item in temporary.rglob("*"))
        (temporary / LIST_NAME).write_text("\n".join([f"tint {kind}", *names]) + "\n", encoding="utf-8")
        refuse_folder(path, kind, force)  # it may have appeared, or been added to, meanwhile
        _swap_in(temporary, path)
    except OSError as error:
        raise _cannot_write(path, error) from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def _swap_in(new: Path, path: Path) -> None:
    """`new` in the place of `path`; where that fails, `path` is as it was."""
    if not path.exists():
        os.rename(new, path)
        return
    old = path.with_name(f"{new.name}.old")
    os.rename(path, old)
    try:
        os.rename(new, path)
    except BaseException:
        os.rename(old, path)
        raise
    shutil.rmtree(old, ignore_errors=True)


def refuse_overwrite(path: str | Path, force: bool) -> None:
    """Nothing; raises `FileError` where a file is there and `force` is not set, or something else than a file is."""
    path = Path(path)
    try:
        there, folder = os.path.lexists(path), path.is_dir()
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    if folder:
        raise FileError(f"{path} is a folder; a file is to be written. Choose another name with -o.")
    if there and not force:
        raise FileError(f"{path} is already there. Choose another name with -o, or add --force to replace it.")


def refuse_folder(path: str | Path, kind: str, force: bool) -> None:
    """Nothing; raises `FileError` where a folder may not be written at `path`, as `new_folder` tells."""
    path = Path(path).absolute()
    try:
        if not os.path.lexists(path):
            return
        if not path.is_dir():
            raise FileError(f"{path} is a file; a folder is to be written. Choose another name with -o.")
        if not force:
            raise FileError(f"{path} is already there. Choose another name with -o, or add --force to replace it.")
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
            if name not in listed and name != LIST_NAME:
                raise FileError(
                    f"{path} holds {name}, which tint did not write; move it away, or choose another name with -o."
                )
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None


def _cannot_write(path: Path, error: Exception) -> FileError:
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
        return path.read_bytes()
    except FileNotFoundError:
        raise FileError(f"{path} is not there. Check the name.") from None
    except OSError as error:
        said = "it is a folder" if isinstance(error, IsADirectoryError) else error.strerror or error
        raise FileError(f"cannot read {str(path)[:200]}: {said}.") from None
    except ValueError as error:  # a name no system can have
        raise FileError(f"cannot read {str(path)[:200]!r}: {error}.") from None


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
        Not JSON, another kind of file, or written by a newer tint.
    """
    text = read_text(path)
    try:
        body = json.loads(text)
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
    try:
        yield
    except KeyError as error:
        raise FileError(f"{where}: {error.args[0]} is missing from {lacks}") from None
    except TintError as error:
        raise FileError(f"{where}: {error}") from None
    except (TypeError, ValueError, AttributeError, IndexError, ArithmeticError, *also):
        raise FileError(damage) from None


def _open_to_others(path: str | Path, wanted: int) -> None:
    # mkstemp and mkdtemp give owner-only rights; files people share follow the umask like any other
    mask = os.umask(0)
    os.umask(mask)
    os.chmod(path, wanted & ~mask)
