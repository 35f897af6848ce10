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
    "tint separate heron.png palette.json --width-mm 60 --tonal --compare heron-maps.png -o heron-tones",
)
@click.argument("artwork", type=PATH)
@click.argument("palette", type=PATH)
@click.option("--width-mm", type=float, help="Width on the metal; a drawing may state its own.")
@click.option("--pitch-mm", type=float, help="Pixel size on the metal; a picture keeps its own pixels unless stated.")
@click.option("--speck-mm2", type=float, help="Smallest region kept of a picture  [default: the area of the spot]")
@click.option(
    "--thin",
    type=click.Choice(["absorb", "keep", "widen", "refuse"]),
    default="absorb",
    show_default=True,
    help="A picture's lines thinner than the spot: absorb what is small, keep, widen to the spot, or refuse and list them.",
)
@click.option(
    "--soft-edges", is_flag=True, help="Leave the mixed pixels on edges of flat artwork; else they go to one side."
)
@click.option("--smooth", is_flag=True, help="Round the stairs of a picture's outlines.")
@click.option("--tonal", is_flag=True, help="Show tones by cells one spot wide, side by side, that blend in the eye.")
@click.option(
    "--cell-mm", type=float, help="With --tonal: side of a cell  [default: from the spot up, whole scan lines]"
)
@click.option(
    "--ordered", is_flag=True, help="With --tonal: by a fixed blue-noise pattern; grainier, but changes stay local."
)
@click.option("--mixtures", type=PATH, help="With --tonal: measured mixtures of this palette (mixtures.csv).")
@click.option(
    "--map",
    "how",
    type=click.Choice(["nearest", "hue", "tone"]),
    help="How colours out of reach are brought in: as near as can be, keeping the hue, or keeping light and dark.",
)
@click.option("--background", default="#ffffff", show_default=True, help="Colour that stays bare metal, or none.")
@click.option("--ink", default="#000000", show_default=True, help="Colour that becomes the darkest mark, or none.")
@click.option("--compare", type=PATH, help="Write a picture of the maps side by side, too (PNG).")
@output("layers")
@FORCE
def separate(artwork: Path, palette: Path, width_mm: float | None, pitch_mm: float | None, speck_mm2: float | None,
             thin: str, soft_edges: bool, smooth: bool, tonal: bool, cell_mm: float | None, ordered: bool, mixtures: Path | None, how: str | None,
             background: str, ink: str, compare: Path | None, output: Path, force: bool) -> None:  # fmt: skip
    """Reduce ARTWORK (PNG, JPEG, TIFF, WebP, SVG) to layers in the colours of PALETTE, with a proof.

    Flat layers take, place by place, the colour nearest by ΔE00. That is right for signs and lettering; photographs
    often look better with --tonal, or with --map hue or tone: --compare shows all of them.
    """
    from tint.artwork.artwork import read_artwork
    from tint.files import refuse_folder, refuse_overwrite, write_file
    from tint.layers.compare import compare_maps, png_bytes
    from tint.layers.folder import layers_text, write_layers
    from tint.layers.mixture import IDEAL, read_mixing
    from tint.layers.paper import colour_or_none
    from tint.layers.separate import separate as separate_artwork
    from tint.layers.tonal import Tonal
    from tint.palette.palette import read_palette

    refuse_folder(output, "layers", force)
    if compare is not None:
        refuse_overwrite(compare, force)
    if not tonal and (ordered or cell_mm is not None or mixtures is not None):
        raise click.UsageError("--cell-mm, --ordered and --mixtures belong to --tonal. Add it, or leave them out.")
    paper, black = colour_or_none(background, "--background"), colour_or_none(ink, "--ink")
    chosen = read_palette(palette)
    mixing = read_mixing(mixtures, chosen) if mixtures is not None else IDEAL
    cells = Tonal(cell_mm, "ordered" if ordered else "diffused", mixing) if tonal else None
    wanted = read_artwork(artwork, width_mm, pitch_mm, progress=remark)
    layers = separate_artwork(
        wanted,
        chosen,
        speck_mm2=speck_mm2,
        smooth=smooth,
        pitch_mm=None if tonal else pitch_mm,
        how=how,
        tonal=cells,
        background=paper,
        ink=black,
        thin=thin,
        soft_edges=soft_edges,
        progress=remark,
    )
    if compare is not None:
        write_file(compare, png_bytes(compare_maps(wanted, chosen, cells, paper, black)), force=force)
        remark(f"maps side by side in {compare}")
    write_layers(layers, output, force=force)
    click.echo(layers_text(layers))
    for line in (*layers.remarks, *chosen.remarks, chosen.edited_remark):
        if line:
            remark(line)
    remark(f"proof in {output / 'proof.png'}: screens differ and metal shifts with the angle")
