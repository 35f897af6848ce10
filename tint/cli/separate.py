"""`tint separate`: artwork into layers."""

from __future__ import annotations

from pathlib import Path

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark


@main.command(short_help="Artwork into layers, with a proof.")
@examples(
    "tint separate kingfisher.svg palette.json -o kingfisher-layers",
    "tint separate heron.png palette.json --width-mm 60 -o heron-layers",
)
@click.argument("artwork", type=PATH)
@click.argument("palette", type=PATH)
@click.option("--width-mm", type=float, help="Width on the metal; a drawing may state its own.")
@click.option("--pitch-mm", type=float, help="Pixel size on the metal; a picture keeps its own pixels unless stated.")
@click.option("--speck-mm2", type=float, help="Smallest region kept of a picture  [default: the area of the spot]")
@click.option("--smooth", is_flag=True, help="Round the stairs of a picture's outlines.")
@output("layers")
@FORCE
def separate(artwork: Path, palette: Path, width_mm: float | None, pitch_mm: float | None, speck_mm2: float | None,
             smooth: bool, output: Path, force: bool) -> None:  # fmt: skip
    """Reduce ARTWORK (PNG, JPEG, TIFF, WebP, SVG) to layers in the colours of PALETTE, with a proof."""
    from tint.artwork.artwork import read_artwork
    from tint.files import refuse_folder
    from tint.layers.folder import layers_text, write_layers
    from tint.layers.separate import separate as separate_artwork
    from tint.palette.palette import read_palette

    refuse_folder(output, "layers", force)
    chosen = read_palette(palette)
    layers = separate_artwork(
        read_artwork(artwork, width_mm, pitch_mm),
        chosen,
        speck_mm2=speck_mm2,
        smooth=smooth,
        pitch_mm=pitch_mm,
        progress=remark,
    )
    write_layers(layers, output, force=force)
    click.echo(layers_text(layers))
    for line in (*layers.remarks, *chosen.remarks):
        remark(line)
    remark(f"proof in {output / 'proof.png'}: screens differ and metal shifts with the angle")
