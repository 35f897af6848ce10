"""`tint swatches`: a palette for design programs."""

from __future__ import annotations

from pathlib import Path

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark


@main.command(short_help="A palette for design programs: swatches, sheet, ICC profile.")
@examples(
    "tint swatches palette.json -o swatches",
)
@click.argument("palette", type=PATH)
@output("swatches")
@FORCE
def swatches(palette: Path, output: Path, force: bool) -> None:
    """Write PALETTE for design programs: GIMP palette, CSS variables, a sheet to print at true size, an ICC profile.

    Through the profile (ICC v4, output) any colour-managed editor proofs a design on screen: colours out of reach show as
    the nearest that marks of this palette side by side can come to.
    """
    from tint.files.write import refuse_folder
    from tint.palette.palette import read_palette
    from tint.palette.swatch_folder import write_swatches

    refuse_folder(output, "swatches", force)
    chosen = read_palette(palette)
    names = write_swatches(chosen, output, force=force)
    click.echo(f"{len(chosen)} colours and bare metal in {output}: {', '.join(names)}")
    for line in chosen.remarks:
        remark(line)
    remark("proof in an editor with palette.icc, relative colorimetric, black point compensation off")
    remark(SHORT)
