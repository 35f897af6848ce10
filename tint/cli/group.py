"""The group of all commands: `TintError` to one line, order of the work, consoles without Greek letters."""

from __future__ import annotations

import re
import sys
from typing import Any

import click

from tint import __version__
from tint.errors import FileError, TintError

ORDER = (  # of the work, not of the alphabet
    "demo", "grid", "measure", "fit", "plot", "stocks", "borrow", "palette", "swatches", "separate",
    "proof", "job", "batch", "check", "history", "predict", "match", "desk", "guide",
)  # fmt: skip


class Command(click.Command):
    """A command that tells where files of its command line changed places."""

    def invoke(self, ctx: click.Context) -> Any:
        """What the command gives; a `FileError` says what is plain from the files named, too."""
        try:
            return super().invoke(ctx)
        except FileError as error:
            from tint.cli.given import told

            raise FileError(told(ctx, str(error))) from None


class Commands(click.Group):
    """Commands whose `TintError` becomes one line on stderr and the error's exit code."""

    command_class = Command

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """What click's own gives; signs that a console lacks are replaced before."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # Δ and ² on a console that lacks them
        return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        """What the command gives; a `TintError` is printed in one line and leaves with its exit code."""
        try:
            return super().invoke(ctx)
        except TintError as error:
            click.echo(f"tint: {error}", err=True)
            ctx.exit(error.exit_code)
        except click.BadParameter as error:
            said = _in_shop_words(error.message)
            if said == error.message:
                raise
            raise click.BadParameter(said, error.ctx, error.param, error.param_hint) from None
        except click.UsageError as error:
            if "unexpected extra argument" not in error.message:
                raise
            raise click.UsageError(f"{error.message}. A name with spaces goes in quotes.", error.ctx) from None
        except MemoryError:
            click.echo("tint: not enough memory. Close other programs, or use a smaller picture or a coarser --pitch-mm.", err=True)
            ctx.exit(1)
        except OSError as error:
            from tint.files.write import FULL

            if error.errno not in FULL:  # where the answer goes to a file
                raise
            click.echo(f"tint: cannot write: {error.strerror}. Free space, or choose another place.", err=True)
            ctx.exit(FileError.exit_code)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the work, further ones after them."""
        return [*[name for name in ORDER if name in self.commands], *sorted(set(self.commands) - set(ORDER))]


def _in_shop_words(message: str) -> str:
    """Click's words about a number that cannot be read, for somebody who types a decimal comma, a unit or a percent sign."""
    said = re.sub(r"is not a valid float( range)?\.$", "is not a number; write it with a point and no unit, such as 4.5.", message)
    return re.sub(r"is not a valid integer( range)?\.$", "is not a whole number; write it without unit, such as 12.", said)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, "--version", prog_name="tint")
def main() -> None:
    """Colour marking on metal with an adjustable-pulse fibre laser.

    \b
    The work, in order:
      grid → (mark it) → measure → fit → palette → separate → job → (mark it)
    Ask any time:  predict (the colour of a setting)  ·  match (settings for a colour)
    Keep it true:  check (a strip against a palette)  ·  history (all strips, with a chart)
    New here:      tint demo demo-shop  ·  tint guide (how to do things, page by page)

    Leaves with 0 when done, 1 where the data says no, 2 where a command or file is wrong. COMMAND --help tells the rest.

    Class 4 laser: enclosure, eyewear for the wavelength, fume extraction. tint never drives a machine.
    """
