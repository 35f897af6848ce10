"""Tint's own files: JSON with a format name and version inside, read soundly or refused as damaged."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tint.errors import FileError, TintError
from tint.files.text import read_text

# command that writes each kind of file, for somebody who named another
WRITTEN_BY = {
    "model": "fit", "palette": "palette", "layers": "separate", "grid": "grid", "job": "job", "batch": "batch", "batch-record": "batch",
}  # fmt: skip
MOST_DIGITS = 18  # of a whole number in JSON: it fits 64 bits, and a float without running over
MOST_SIGNS = 20_000  # of one text; a page of print has some 3,000. Outlines are longer
_HALF_SIGN = re.compile(r"\\u[dD][89a-fA-F]")  # half of a surrogate pair; alone it is text no file can hold


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
        a kind of `WRITTEN_BY`; "palette", 1 reads "tint-palette/1" and older; a newer version is refused.

    Raises
    ------
    FileError
        Not JSON, another kind of file, written by a newer tint, or damaged: numbers that are none, halves of signs.
    """
    empty = ""
    try:
        text = read_text(path)
        empty = "" if text.strip() else "empty, so "
        body = json_from(text, str(path))
        found = body["format"] if isinstance(body, dict) else None
    except (ValueError, KeyError, RecursionError):
        found = None
    name, _, number = str(found).partition("/")
    needed = f"a tint-{kind} file is needed here, which `tint {WRITTEN_BY[kind]}` writes"
    if found is None or not name.startswith("tint-") or not number.isdecimal():
        raise FileError(f"{path} is {empty}not a file tint wrote; {needed}.")
    if name != f"tint-{kind}":
        raise FileError(f"{path} is a {name} file; {needed}.")
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


class _Unfit(Exception):
    """What no JSON file of tint holds, a number that is none or a text without end; the message names it."""


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
