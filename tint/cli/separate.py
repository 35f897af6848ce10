"""`tint separate`: artwork into layers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark
from tint.cli.separating import separating, separating_words


@main.command(short_help="Artwork into layers, with a proof.")
@examples(
    "tint separate kingfisher.svg palette.json -o kingfisher-layers",
    "tint separate heron.png palette.json --width-mm 60 -o heron-layers",
    "tint separate heron.png palette.json --width-mm 60 --tonal --compare heron-maps.png -o heron-tones",
)
@click.argument("artwork", type=PATH)
@click.argument("palette", type=PATH)
@separating
@click.option("--compare", type=PATH, help="Write a picture of the maps side by side, too (.png, .jpg or .webp).")
@output("layers")
@FORCE
def separate(artwork: Path, palette: Path, compare: Path | None, output: Path, force: bool, **said: Any) -> None:
    """Reduce ARTWORK (PNG, JPEG, TIFF, WebP, SVG) to layers in the colours of PALETTE, with a proof.

    Flat layers take, place by place, the colour nearest by ΔE00. That is right for signs and lettering; photographs
    often look better with --tonal, or with --map hue or tone: --compare shows all of them.
    """
    from tint.artwork.artwork import read_artwork
    from tint.files.write import refuse_folder, refuse_overwrite, write_file
    from tint.layers.compare import captioned_maps, kind_by_ending, picture_bytes
    from tint.layers.folder import layers_text, write_layers
    from tint.layers.separate import separate as separate_artwork
    from tint.palette.palette import read_palette

    refuse_folder(output, "layers", force)
    if compare is not None:
        kind = kind_by_ending(compare)
        refuse_overwrite(compare, force)
    chosen = read_palette(palette)
    _refuse_width(chosen.machine, said["width_mm"])
    words = separating_words(chosen, said)
    wanted = read_artwork(artwork, said["width_mm"], said["pitch_mm"], progress=remark)
    pitch_mm = None if said["tonal"] else said["pitch_mm"]
    layers = separate_artwork(wanted, chosen, pitch_mm=pitch_mm, progress=remark, **words)
    if compare is not None:
        maps = captioned_maps(wanted, chosen, words["tonal"], words["background"], words["ink"], progress=remark)
        write_file(compare, picture_bytes(maps, kind), force=force)
        remark(f"maps side by side in {compare}")
    write_layers(layers, output, force=force)
    click.echo(layers_text(layers))
    for line in (*layers.remarks, *chosen.remarks, chosen.edited_remark):
        if line and line not in wanted.remarks:  # these were said as it was read
            remark(line)
    remark(f"proof in {output / 'proof.png'}: screens differ and metal shifts with the angle")


def _refuse_width(machine: Any, width_mm: float | None) -> None:
    """Nothing, or a `LimitError` where the machine's field can hold no artwork of this width."""
    from tint.errors import LimitError
    from tint.layers.separate import SLACK_MM

    wide, tall = machine.field_mm
    if width_mm is not None and not 0 < width_mm <= wide + SLACK_MM:
        raise LimitError(
            f"width {width_mm:g} mm cannot be; the field of {machine.name} is {wide:g} × {tall:g} mm. "
            f"Choose a --width-mm above 0, up to {wide:g}."
        )
