"""One colour of a palette exchanged for another setting."""

from __future__ import annotations

import dataclasses

from tint.errors import LimitError
from tint.model.find import Candidate
from tint.palette.along import Along
from tint.palette.names import colour_name, unused_name
from tint.palette.palette import Palette, PaletteColour
from tint.palette.twins import twins_told


def swap_colour(
    palette: Palette, number: int, candidate: Candidate, *, name: str | None = None, along: Along | None = None
) -> Palette:
    """The palette with one number given to a setting found for a wish; the other numbers keep theirs.

    Parameters
    ----------
    number : 1 is the first colour
    name : what to call it; None takes a plain colour name that the palette does not have yet
    along : how its colour moves when the machine strays, as `along_of` tells; None not known

    Raises
    ------
    LimitError
        A number the palette does not have, or a name it has already.
    """
    if not 1 <= number <= len(palette):
        raise LimitError(f"colour {number} is not in {palette.name}; it has 1 to {len(palette)}.")
    colours = list(palette.colours)
    if name is None:
        taken = {colour.name for i, colour in enumerate(colours, 1) if i != number}
        plain = colour_name(candidate.lab)
        name = unused_name(plain, taken)
    colours[number - 1] = PaletteColour(
        name, candidate.setting, candidate.lab.round(3), round(candidate.de00_90, 2), round(candidate.sensitivity_de00, 2),
        candidate.patch, along=along,
    )  # fmt: skip
    return twins_told(dataclasses.replace(palette, colours=tuple(colours)))
