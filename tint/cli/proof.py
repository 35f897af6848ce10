"""`tint proof`: what the piece will look like, and how sure that is."""

from __future__ import annotations

from pathlib import Path

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark, typed


@main.command(short_help="What the piece will look like: expected, light, heavy, lost.")
@examples(
    "tint proof kingfisher-layers -o kingfisher-proof",
    "tint proof kingfisher-layers --model model.json --artwork kingfisher.svg -o kingfisher-proof",
    "tint proof heron-layers --artwork heron.png --compare -o heron-proof",
)
@click.argument("layers", type=PATH)
@click.option(
    "--model", type=PATH, help="Colour model that tells how colours move with heat  [default: what the palette knows]"
)
@click.option("--artwork", type=PATH, help="What LAYERS were made from, for a map of what is lost.")
@click.option("--heat-pct", type=float, default=5.0, show_default=True,
              help="How much less and more power the light and heavy proof show [%].")  # fmt: skip
@click.option(
    "--background",
    default="#ffffff",
    show_default=True,
    help="Colour of a picture that was to stay bare metal, or none.",
)
@click.option("--compare", is_flag=True, help="With --artwork: a picture of the ways to bring colours into reach, too.")
@output("proof")
@FORCE
def proof(layers: Path, model: Path | None, artwork: Path | None, heat_pct: float, background: str, compare: bool,
          output: Path, force: bool) -> None:  # fmt: skip
    """Draw what LAYERS (a folder of `tint separate`) will look like, for the screen and at true size.

    As expected, light and heavy (all colours with less and with more heat), and where it differs from the artwork.
    """
    from tint.files.write import refuse_folder
    from tint.layers.folder import read_layers
    from tint.layers.lost import read_same_artwork
    from tint.layers.paper import colour_or_none
    from tint.layers.proof_folder import write_proofs
    from tint.layers.proof_pictures import NOTE
    from tint.model.model import read_model

    refuse_folder(output, "proof", force)
    with typed():
        paper = colour_or_none(background, "--background")
    separated = read_layers(layers)
    done = write_proofs(
        separated,
        output,
        model=read_model(model) if model is not None else None,
        artwork=read_same_artwork(artwork, separated, progress=remark) if artwork is not None else None,
        heat_pct=heat_pct,
        background=paper,
        compare=compare,
        force=force,
        progress=remark,
    )
    click.echo(done.words())
    for line in separated.palette.remarks:
        remark(line)
    remark(f"in {output}: {', '.join(done.names)}")
    remark(NOTE)
