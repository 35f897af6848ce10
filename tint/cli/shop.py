"""`tint demo`: the invented shop."""

from __future__ import annotations

from pathlib import Path

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, remark


@main.command(short_help="Build the invented shop and run the whole job on it.")
@examples(
    "tint demo demo-shop",
)
@click.argument("folder", type=PATH)
@FORCE
def demo(folder: Path, force: bool) -> None:
    """Build the invented shop in FOLDER and run the whole main job on it.

    A simulated laser marks a grid; tint fits, chooses a palette, separates a kingfisher sign and writes the jobs. Then
    the same on a grid of real marks (open data, camera colours). Takes about a minute.
    """
    from tint.demo.shop import run_demo

    click.echo(run_demo(folder, force=force, progress=remark))
