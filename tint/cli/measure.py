"""`tint measure`: patches with their uncertainty, from what an instrument or a camera says."""

from __future__ import annotations

from pathlib import Path

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark


@main.command(short_help="Join instrument readings to a grid.")
@examples(
    "tint measure plate-1 reading.csv --kind csv -o patches.csv",
)
@click.argument("grid", type=PATH)
@click.argument("file", type=PATH)
@click.option("--kind", type=click.Choice(["csv"]), default="csv", show_default=True, help="What FILE is.")
@output("patches.csv")
@FORCE
def measure(grid: Path, file: Path, kind: str, output: Path, force: bool) -> None:
    """Join instrument readings in FILE to the patches of GRID.

    FILE is a table with the columns patch, L, a, b (CIELAB D50/2°), optionally sd and flag. A row named "bare" is the
    unmarked metal.
    """
    from tint.measure.patches import write_patches
    from tint.measure.reading import patches_from_reading
    from tint.plan.grid import read_grid

    planned = read_grid(grid)
    patches = patches_from_reading(planned, file)
    write_patches(patches, output, force=force)
    missing = [name for name in planned.ids if name not in patches.ids]
    if missing:
        remark(f"{len(missing)} patches have no reading: {', '.join(missing[:8])}{' …' if len(missing) > 8 else ''}")
    if "adapted" in patches.facts:
        remark(f"readings converted {patches.facts['adapted']}")
    if patches.bare_lab is None:
        remark('no row named "bare": measure the unmarked metal too, the palette needs it')
    click.echo(f"{len(patches)} patches in {output}, {int((~patches.good).sum())} flagged")
