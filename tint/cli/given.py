"""Which kinds of files stood on the command line: says so where one plainly belongs to another argument, or was left aside by a kill."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

import click

from tint.files.temporary import left_aside
from tint.files.write import LIST_NAME

HEAD_BYTES = 65_536  # of a table or a file of tint's: notes on top may be long, the format and the columns follow
PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp")  # as in tint.artwork.artwork, which an error need not load
SAID = {
    "picture": "a picture", "drawing": "a drawing", "palette": "a palette", "model": "a colour model", "machine": "a machine's file",
    "stock": "a stock's file", "settings": "a table of settings", "patches": "a table of patches", "reading": "a table of readings",
    "layers": "a folder of layers", "grid": "a grid", "job": "a job folder", "proof": "a folder of proofs",
}  # fmt: skip
ARTWORK, TABLE = frozenset({"picture", "drawing"}), frozenset({"settings", "patches"})
# by the names of the commands' parameters; a parameter that is not here takes anything
TAKES = {
    "artwork": ARTWORK, "palette": {"palette"}, "old": {"palette"}, "verify": {"palette"}, "strip": {"palette"}, "model": {"model"},
    "after": {"model"}, "base": {"model"}, "machine": {"machine"}, "source": {"machine"}, "stock": {"stock"}, "layers": {"layers"},
    "grid": {"grid", *TABLE}, "files": {"reading", "patches", "picture"}, "patches": {"patches"}, "settings": TABLE,
    "settings_file": TABLE,
}  # fmt: skip


def told(ctx: click.Context, message: str) -> str:
    """The message of an error, with what is plain from the files named: two that changed places, one of another kind, one left aside."""
    given = [(param, path) for param in ctx.command.params for path in _paths(ctx.params.get(param.name or ""))]
    for _, path in given:
        if aside := left_aside(path):
            return f"{path} is not there{aside}."
    known = [(param, path, kind) for param, path in given if param.name in TAKES and (kind := kind_of(path))]
    wrong = [(param, path, kind) for param, path, kind in known if kind not in TAKES[param.name or ""]]
    for one, path, kind in wrong:
        for other, second, other_kind in wrong:
            if other is not one and kind in TAKES[other.name or ""] and other_kind in TAKES[one.name or ""]:
                places = " ".join(_label(param) for param in (one, other))
                return f"{path} is {SAID[kind]} and {second} {SAID[other_kind]}: they changed places; it is tint {ctx.info_name} {places}."
    for _, path, kind in wrong:
        rest = message.removeprefix(str(path))
        if rest != message and f"tint-{kind}" not in rest and SAID[kind].split()[-1].rstrip("s") not in rest:
            return f"{message} It is {SAID[kind]}."
    return message


def kind_of(path: Path) -> str:
    """What a file or folder plainly is, a word of `SAID`; "" where that is not plain."""
    kind = ""
    with suppress(OSError, ValueError):
        ending = path.suffix.lower()
        if (path / LIST_NAME).is_file():
            kind = _head(path / LIST_NAME).partition("\n")[0].removeprefix("tint ")
        elif path.is_file():  # a pipe would be waited for
            kind = "picture" if ending in PICTURES else _of_text(ending, _head(path))
    return kind if kind in SAID else ""


def _of_text(ending: str, text: str) -> str:
    if ending == ".svg":
        return "drawing" if "<svg" in text else ""
    if found := re.match(r'\s*\{\s*"format":\s*"tint-([a-z]+)/', text):
        return found[1]
    lines = text.splitlines()
    if ending == ".toml":
        names = {line.partition("=")[0].strip() for line in lines}
        return "machine" if "max_power_w" in names else "stock" if "grade" in names else ""
    columns = {name.strip() for name in next((line for line in lines if line.strip() and not line.startswith("#")), "").split(",")}
    measured = {"L", "a", "b"} <= columns
    if "power_pct" in columns:
        return "patches" if measured else "settings"
    return "reading" if measured and "patch" in columns else ""


def _head(path: Path) -> str:
    with path.open("rb") as stream:
        return stream.read(HEAD_BYTES).decode("utf-8-sig", "replace")


def _paths(value: object) -> list[Path]:
    values = value if isinstance(value, tuple) else (value,)
    return [one for one in values if isinstance(one, Path)]


def _label(param: click.Parameter) -> str:
    return param.opts[-1] if isinstance(param, click.Option) else param.human_readable_name.rstrip(".")
