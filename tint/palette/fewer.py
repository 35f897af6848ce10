"""The few colours of a palette that serve an artwork best."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection

from tint.artwork.artwork import Artwork
from tint.errors import DataError
from tint.lab import delta_e00
from tint.palette.locate import locate
from tint.palette.palette import Palette
from tint.palette.twins import twins_told
from tint.palette.wishes import artwork_wishes


def fewer_colours(palette: Palette, n: int, artwork: Artwork, *, keep: Collection[str] = ()) -> Palette:
    """Palette of n of the palette's colours, in their order, chosen for an artwork's colours by their area.

    Parameters
    ----------
    keep : names of colours that stay whatever the artwork wants

    Raises
    ------
    DataError
        n outside 1 to the palette's size, fewer than are to be kept, or a name the palette does not have.

    Notes
    -----
    Facility location as in `choose_palette`, on ΔE00 between wanted and predicted colour; the bare metal is always at hand.
    """
    names = [colour.name for colour in palette.colours]
    if unknown := [name for name in keep if name not in names]:
        raise DataError(f"{unknown[0]!r} is not a colour of {palette.name}.")
    kept = [i for i, name in enumerate(names) if name in set(keep)]
    if not max(1, len(kept)) <= n <= len(palette):
        held = f", {len(kept)} of them kept" if kept else ""
        raise DataError(f"{n} colours cannot be; {palette.name} has {len(palette)}{held}.")
    wishes, weight = artwork_wishes(artwork)
    cost = delta_e00(wishes[:, None], palette.lab[None]) * weight[:, None]
    others = [i for i in range(len(palette)) if i not in kept]
    order = [*kept, *others]
    chosen = locate(cost[:, [i + 1 for i in order]], n, cost[:, 0], range(len(kept)))
    colours = tuple(palette.colours[i] for i in sorted(order[k] for k in chosen))
    return twins_told(dataclasses.replace(palette, colours=colours))
