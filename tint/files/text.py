"""A file's bytes or text, or one clear line why not."""

from __future__ import annotations

from pathlib import Path

from tint.errors import FileError
from tint.files.temporary import left_aside

MAX_TEXT_BYTES = 64_000_000  # larger than any table or model tint writes; keeps a wrong file from filling memory


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
