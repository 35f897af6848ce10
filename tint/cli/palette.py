"""`tint palette`: choose the handful of colours, and draw them."""

from __future__ import annotations

from pathlib import Path

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark


@main.command(short_help="Choose the handful of colours, and draw them.")
@examples(
    "tint palette model.json -n 8 -o palette.json",
    "tint palette model.json -n 6 --for kingfisher.svg -o kingfisher-palette.json",
)
@click.argument("model", type=PATH)
@click.option("-n", "count", type=int, default=8, show_default=True, help="Colours, the bare metal not counted.")
@click.option(
    "--for", "artwork", type=PATH, help="Serve this artwork's colours instead of everything the stock can show."
)
@click.option("--name", help="What to call the palette.")
@output("palette.json")
@FORCE
def palette(model: Path, count: int, artwork: Path | None, name: str | None, output: Path, force: bool) -> None:
    """Choose the handful of colours to work with, and draw them (a PNG beside the palette)."""
    from tint.model.model import read_model
    from tint.palette.choose import choose_palette, read_wishes
    from tint.palette.swatches import write_palette_and_picture

    wishes = read_wishes(artwork) if artwork is not None else None
    chosen = choose_palette(read_model(model), count, artwork=wishes, name=name)
    picture = write_palette_and_picture(chosen, output, force=force)
    for number, colour in enumerate(chosen.colours, 1):
        click.echo(
            f"{number:3d}  {colour.name:24s} ±{colour.de00_90:4.1f}  jitter {colour.sensitivity_de00:4.1f}   {colour.setting}"
        )
    for line in chosen.remarks:
        remark(line)
    remark(f"palette in {output}, picture in {picture}")
    remark(SHORT)
