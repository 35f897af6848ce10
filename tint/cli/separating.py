"""How artwork is separated: the options that one artwork and a batch of them share."""

from __future__ import annotations

from typing import Any

import click

from tint.cli.options import PATH, typed

OPTIONS = (
    click.option("--width-mm", type=float, help="Width on the metal [mm]; a drawing may state its own."),
    click.option("--pitch-mm", type=float, help="Pixel size on the metal [mm]; a picture keeps its own pixels unless stated."),
    click.option("--speck-mm2", type=float, help="Smallest region kept of a picture [mm²]  [default: the area of the spot]"),
    click.option(
        "--thin",
        type=click.Choice(["absorb", "keep", "widen", "refuse"]),
        default="absorb",
        show_default=True,
        help="A picture's lines thinner than the spot: absorb what is small, keep, widen to the spot, or refuse and list them.",
    ),
    click.option(
        "--soft-edges", is_flag=True, help="Leave the mixed pixels on edges of flat artwork; else they go to one side."
    ),
    click.option("--smooth", is_flag=True, help="Round the stairs of a picture's outlines."),
    click.option("--tonal", is_flag=True, help="Show tones by cells one spot wide, side by side, that blend in the eye."),
    click.option("--cell-mm", type=float, help="With --tonal: side of a cell [mm]  [default: from the spot up, whole scan lines]"),
    click.option("--ordered", is_flag=True, help="With --tonal: by a fixed blue-noise pattern; grainier, but changes stay local."),
    click.option("--mixtures", type=PATH, help="With --tonal: measured mixtures of this palette (mixtures.csv)."),
    click.option(
        "--map",
        "how",
        type=click.Choice(["nearest", "hue", "tone"]),
        help="What counts most for colours out of reach: to be near (flat layers: lightness twice), the hue, or light and dark  "
        "[default: none for flat layers, nearest for --tonal]",
    ),
    click.option("--background", default="#ffffff", show_default=True, help="Colour of a picture that stays bare metal, or none."),
    click.option("--ink", default="#000000", show_default=True, help="Colour of a picture that becomes the darkest mark, or none."),
)  # fmt: skip


def separating(command: Any) -> Any:
    """The command with the options of a separation."""
    for option in reversed(OPTIONS):
        command = option(command)
    return command


def separating_words(palette: Any, said: dict[str, Any]) -> dict[str, Any]:
    """Keyword arguments of `tint.layers.separate.separate` from what was said on the command line, its size left out.

    Raises
    ------
    click.UsageError
        An option of tonal cells without --tonal.
    TintError
        A colour that is none, mixtures that do not fit the palette.
    """
    from tint.layers.mixture import IDEAL, read_mixing
    from tint.layers.paper import colour_or_none
    from tint.layers.tonal import Tonal

    if not said["tonal"] and (said["ordered"] or said["cell_mm"] is not None or said["mixtures"] is not None):
        raise click.UsageError("--cell-mm, --ordered and --mixtures belong to --tonal. Add it, or leave them out.")
    with typed():
        paper, black = colour_or_none(said["background"], "--background"), colour_or_none(said["ink"], "--ink")
    mixing = read_mixing(said["mixtures"], palette) if said["mixtures"] is not None else IDEAL
    cells = Tonal(said["cell_mm"], "ordered" if said["ordered"] else "diffused", mixing) if said["tonal"] else None
    return {
        "speck_mm2": said["speck_mm2"], "smooth": said["smooth"], "how": said["how"], "tonal": cells, "background": paper,
        "ink": black, "thin": said["thin"], "soft_edges": said["soft_edges"],
    }  # fmt: skip
