"""How the page's wishes become calls: one place, so that the preview and the full size ask the library for the same."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tint.artwork.alike import WHITE
from tint.artwork.artwork import Artwork, Drawing
from tint.layers.join import join_layers
from tint.layers.layers import Layers
from tint.layers.paper import BLACK
from tint.layers.separate import separate
from tint.layers.tonal import Tonal
from tint.palette.palette import Palette


def separated(
    artwork: Artwork, palette: Palette, options: dict[str, Any], pitch_mm: float | None, progress: Callable[[str], None] | None = None,
    *, cell_mm: float | None = None,
) -> Layers:  # fmt: skip
    """Layers of the artwork in the palette's colours, with the options of the page and what was joined by hand.

    Parameters
    ----------
    options : way ("flat", "diffused" or "ordered"), map (None: the library's own choice), cell_mm, paper and ink (keep white
        bare, black darkest), smooth, speck_mm2 (None: the spot's area), and join, pairs of colour names: from, into
    pitch_mm : pixel of a drawing's label map [mm]; None takes the usual one
    cell_mm : least cell of tones [mm], for a preview; None takes the options' own
    """
    flat = options["way"] == "flat"
    drawing = isinstance(artwork, Drawing)
    layers = separate(
        artwork,
        palette,
        speck_mm2=options["speck_mm2"] if flat and not drawing else None,
        smooth=options["smooth"] and flat and not drawing,
        pitch_mm=pitch_mm if drawing and flat else None,
        how=options["map"],
        tonal=None if flat else Tonal(cell_mm or options["cell_mm"], options["way"]),
        background=WHITE if options["paper"] else None,
        ink=BLACK if options["ink"] else None,
        progress=progress,
    )
    number = {name: i for i, name in enumerate(layers.names)}
    into = {number[a]: number[b] for a, b in options["join"] if a in number and b in number}
    return join_layers(layers, into) if into else layers
