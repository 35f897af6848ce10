"""Options and ways of speaking that the commands share."""

from __future__ import annotations

import inspect
import shutil
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from tint.words import FIELDS, UNITS, WORDS

PATH = click.Path(path_type=Path)
FORCE = click.option("--force", is_flag=True, help="Replace the output if it is already there.")
SEED = click.IntRange(0, 2**31 - 1)  # what every generator of random numbers takes
JSON = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")


def output(default: str, said: str = "") -> Callable[[Any], Any]:
    """The option -o, with where a command writes unless told: a folder, or a file where the default has an ending."""
    words = said or ("File to write." if "." in default else "Folder to write.")
    return click.option("-o", "--output", type=PATH, default=default, show_default=True, help=words)


def of_each_field(said: str, **options: Any) -> Callable[[Any], Any]:
    """One option per field of a setting, such as --speed-mm-s; `said` goes before the field's word in its help."""

    def decorate(command: Any) -> Any:
        for field in reversed(FIELDS):
            unit = f" [{UNITS[field]}]" if UNITS[field] else ""
            words = f"{said} {WORDS[field]}{unit}.".strip()
            command = click.option(f"--{field.replace('_', '-')}", field, help=words[0].upper() + words[1:], **options)(
                command
            )
        return command

    return decorate


def on_command_line(ctx: click.Context, *names: str) -> str:
    """Those of the options that the command line states, as they are written there; "" where none is."""
    from click.core import ParameterSource

    flags = {option.name: option.opts[-1] for option in ctx.command.params}
    return ", ".join(flags[name] for name in names if ctx.get_parameter_source(name) is ParameterSource.COMMANDLINE)


@contextmanager
def typed() -> Iterator[None]:
    """Block that reads what was typed: what no file could make right is wrong use (2), not the data that says no (1)."""
    from tint.errors import DataError, LimitError, UseError

    try:
        yield
    except (DataError, LimitError) as error:
        raise UseError(str(error)) from None


def refuse_swapped(first: Path, second: Path, said: str) -> None:
    """Nothing, or a `FileError` that says the order, where a file stands first and the folder that belongs there second."""
    from tint.errors import FileError

    if first.is_file() and second.is_dir():
        raise FileError(f"{second} is a folder and {first} a file: {said}.")


def examples(*lines: str) -> Callable[[Any], Any]:
    """The command with example lines at the end of its help."""

    def decorate(command: Any) -> Any:
        command.__doc__ = (
            inspect.cleandoc(command.__doc__) + "\n\n\b\nExamples:\n" + "\n".join(f"  {line}" for line in lines)
        )
        return command

    return decorate


def remark(text: str) -> None:
    """Says a remark on stderr, wrapped to the terminal."""
    width = min(shutil.get_terminal_size((100, 24)).columns, 110)
    click.echo(
        "\n".join(textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False, initial_indent=""))
        or text,
        err=True,
    )
