"""The group of all commands: `TintError` to one line, order of the work, consoles without Greek letters."""

from __future__ import annotations

import sys
from typing import Any

import click

from tint import __version__
from tint.errors import TintError

ORDER = (
    "demo",
    "grid",
    "measure",
    "fit",
    "plot",
    "borrow",
    "palette",
    "swatches",
    "separate",
    "proof",
    "job",
    "batch",
    "check",
    "history",
    "predict",
    "match",
    "desk",
)  # of the work


class Commands(click.Group):
    """Commands whose `TintError` becomes one line on stderr and the error's exit code."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # Δ and ² on a console that lacks them
        return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except TintError as error:
            click.echo(f"tint: {error}", err=True)
            ctx.exit(error.exit_code)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*[name for name in ORDER if name in self.commands], *sorted(set(self.commands) - set(ORDER))]


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, "--version", prog_name="tint")
def main() -> None:
    """Colour marking on metal with an adjustable-pulse fibre laser.

    \b
    The work, in order:
      grid → (mark it) → measure → fit → palette → separate → job → (mark it)
    Ask any time:  predict (the colour of a setting)  ·  match (settings for a colour)
    New here:      tint demo demo-shop

    Class 4 laser: enclosure, eyewear for the wavelength, fume extraction. tint never drives a machine.
    """
