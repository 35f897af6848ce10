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

from tint.errors import FileError

MAX_TEXT_BYTES = 64_000_000  # larger than any table or model tint writes; keeps a wrong file from filling memory


def write_file(path: str | Path, content: str | bytes, *, force: bool = False) -> Path:
    """Path of the file, written whole.

    Raises
    ------
    FileError
        The file exists and `force` is not set, or the place cannot be written.
    """
    path = Path(path)
    refuse_overwrite(path, force)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            _open_to_others(temporary, 0o666)
            os.replace(temporary, path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise FileError(
            f"cannot write {path}: {error.strerror or error}. Free space or choose another place."
        ) from None
    return path


@contextmanager
def new_folder(path: str | Path, *, force: bool = False) -> Iterator[Path]:
    """Temporary folder to fill; it takes its place at `path` only when the block ends without an error.

    Raises
    ------
    FileError
        The folder exists and `force` is not set, or the place cannot be written.
    """
    path = Path(path)
    refuse_overwrite(path, force)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}."))
    except OSError as error:
        raise FileError(f"cannot write {path}: {error.strerror or error}. Choose another place.") from None
    try:
        yield temporary
        _open_to_others(temporary, 0o777)
        if path.exists():
            old = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}.old."))
            os.replace(path, old / path.name)
            try:
                os.replace(temporary, path)
            except OSError:
                os.replace(old / path.name, path)
                raise
            finally:
                shutil.rmtree(old, ignore_errors=True)
        else:
            os.replace(temporary, path)
    except OSError as error:
        raise FileError(
            f"cannot write {path}: {error.strerror or error}. Free space or choose another place."
        ) from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def refuse_overwrite(path: str | Path, force: bool) -> None:
    """Nothing; raises `FileError` where `path` exists and `force` is not set."""
    path = Path(path)
    if path.exists() and not force:
        raise FileError(f"{path} is already there. Choose another name with -o, or add --force to replace it.")
    if path.is_dir() and force and any(path.iterdir()) and not _made_by_tint(path):
        raise FileError(f"{path} holds files tint did not write; --force will not replace it. Choose another name.")


def _made_by_tint(folder: Path) -> bool:
    """True where a JSON file at the top of the folder carries a format name of tint."""
    for path in folder.glob("*.json"):
        with path.open("rb") as stream:
            if b'"format": "tint-' in stream.read(64):
                return True
    return False


def read_text(path: str | Path) -> str:
    """Text of a UTF-8 file, a byte-order mark dropped.

    Raises
    ------
    FileError
        Missing, a folder, unreadable, too large, or not UTF-8 text.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        if size > MAX_TEXT_BYTES:
            raise FileError(f"{path} has {size / 1e6:.0f} MB; tint reads up to {MAX_TEXT_BYTES / 1e6:.0f} MB of text.")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise FileError(f"{path} is not UTF-8 text. Save it as plain text or CSV in UTF-8.") from None
    except FileNotFoundError:
        raise FileError(f"{path} is not there. Check the name.") from None
    except OSError as error:
        raise FileError(f"cannot read {path}: {error.strerror or error}.") from None


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
    if found is None or not name.startswith("tint-") or not number.isdigit():
        raise FileError(f"{path} is not a file tint wrote; a tint-{kind} file is needed here.")
    if name != f"tint-{kind}":
        raise FileError(f"{path} is a {name} file; a tint-{kind} file is needed here.")
    if int(number) > version:
        raise FileError(f"{path} is {found}, newer than this tint reads (tint-{kind}/{version}). Update tint.")
    return body


def _open_to_others(path: str | Path, wanted: int) -> None:
    # mkstemp and mkdtemp give owner-only rights; files people share follow the umask like any other
    mask = os.umask(0)
    os.umask(mask)
    os.chmod(path, wanted & ~mask)
