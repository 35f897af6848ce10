"""The folder of proofs: the piece as expected, light and heavy, what is lost of the artwork, and a sheet at true size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint.artwork.alike import WHITE, Srgb255
from tint.artwork.artwork import Artwork
from tint.errors import DataError
from tint.files.write import new_folder
from tint.lab import delta_e00
from tint.layers.heated import USUAL_HEAT_PCT, Heated, heated
from tint.layers.layers import Layers
from tint.layers.lost import Lost, lost_map, refuse_other_shape
from tint.layers.proof_pictures import NOTE, captioned, lost_picture, piece_picture, side_by_side
from tint.layers.true_size import true_size_svg
from tint.model.model import ColourModel


@dataclass(frozen=True, eq=False)
class Proofs:
    """What the proofs say in numbers.

    Attributes
    ----------
    names : files written
    light_de00, heavy_de00 : mean change of the marked area under less and more heat [ΔE00]
    how : what was changed for light and heavy, in words
    lost : map of what is lost of the artwork; None where none was given
    """

    names: tuple[str, ...]
    light_de00: float
    heavy_de00: float
    how: str
    lost: Lost | None

    def words(self) -> str:
        """The numbers in words, a line each."""
        lines = [f"light {self.light_de00:.1f}, heavy {self.heavy_de00:.1f} ΔE00 from expected on average ({self.how})"]
        if self.lost is not None:
            lines.append(
                f"lost against the artwork: {self.lost.mean_de00:.1f} ΔE00 on average, 95 % of it below {self.lost.p95_de00:.1f}"
            )
        return "\n".join(lines)


def write_proofs(
    layers: Layers,
    folder: str | Path,
    *,
    model: ColourModel | None = None,
    artwork: Artwork | None = None,
    heat_pct: float = USUAL_HEAT_PCT,
    background: Srgb255 | None = WHITE,
    compare: bool = False,
    force: bool = False,
    progress: Callable[[str], None] | None = None,
) -> Proofs:
    """What the proofs say, after they were written into a new folder.

    Parameters
    ----------
    model : tells how colours move with heat; None takes what the palette knows
    artwork : what the layers were made from, for the map of what is lost
    heat_pct : how much less and more power the light and heavy proof show [%]
    background : colour of a picture that was to stay bare metal; None for none
    compare : draw the artwork beside flat layers and each gamut map, too, in tones where the layers are tonal; needs the artwork
    progress : called with a short text as each step begins

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    LimitError
        Heat outside 0–20 %.
    DataError
        A model of another stock or machine, an artwork of other proportions or wholly transparent, or nothing to compare.
    """
    if compare and artwork is None:
        raise DataError("maps are compared on an artwork; name it with --artwork.")
    step = progress or (lambda text: None)
    moved = heated(layers.palette, heat_pct, model)
    lost = None
    if artwork is not None:
        refuse_other_shape(layers, artwork)
        step("comparing the layers with the artwork, place by place")
        lost = lost_map(layers, artwork, background)
    shifts = _shifts(layers, moved)
    step("drawing the piece as expected, light and heavy")
    pictures = _pictures(layers, moved, shifts, lost)
    maps = _maps_picture(layers, artwork, background, step) if compare and artwork is not None else None
    step("writing the pictures")
    names = (*pictures, "overview.png", "true-size.svg", *(["maps.png"] if maps else []), "README.txt")
    done = Proofs(names, *shifts, moved.words, lost)
    with new_folder(folder, "proof", force=force) as place:
        for name, (picture, pixel_mm) in pictures.items():
            picture.save(place / name, dpi=(25.4 / pixel_mm,) * 2, compress_level=4)
        side_by_side([picture for picture, _ in pictures.values()]).save(place / "overview.png", compress_level=4)
        if maps is not None:
            maps.save(place / "maps.png", compress_level=4)
        (place / "true-size.svg").write_text(true_size_svg(layers, moved), encoding="utf-8")
        (place / "README.txt").write_text(_readme(layers, done), encoding="utf-8")
    return done


def _shifts(layers: Layers, moved: Heated) -> tuple[float, float]:
    """Mean ΔE00 by marked area between the expected and the light, and the heavy."""
    area = np.array(
        [layers.area_mm2(number) if number in layers.used else 0.0 for number in range(1, len(layers.palette) + 1)]
    )
    lab = layers.palette.lab[1:]
    light, heavy = (delta_e00(lab, other[1:]) @ area / area.sum() for other in (moved.light_lab, moved.heavy_lab))
    return float(light), float(heavy)


def _pictures(
    layers: Layers, moved: Heated, shifts: tuple[float, float], lost: Lost | None
) -> dict[str, tuple[Any, float]]:
    """Captioned pictures by file name, each with its pixel [mm]."""
    size = f"{layers.width_mm:g} × {layers.height_mm:g} mm on {layers.palette.stock.name}"
    said = layers.palette.remarks[:1]  # the first is what a reader must know, such as "simulated"
    both = f"Light and heavy: {moved.words}."
    out = {}
    for name, lab, lines in (
        ("expected", layers.palette.lab, (f"As the colours are expected, {size}. Brushed lines: bare metal.",)),
        ("light", moved.light_lab, (f"Too little heat: {shifts[0]:.1f} ΔE00 from expected on average. {both}",)),
        ("heavy", moved.heavy_lab, (f"Too much heat: {shifts[1]:.1f} ΔE00 from expected on average. {both}",)),
    ):  # fmt: skip
        picture, pixel_mm = piece_picture(layers, lab)
        out[f"{name}.png"] = (captioned(picture, f"{layers.name}: {name}", (*lines, *said)), pixel_mm)
    if lost is not None:
        whole = lost_picture(lost, picture.size, lost.block_mm / pixel_mm)
        words = (
            f"ΔE00 between artwork and proof, as the eye blends it over {lost.block_mm:.2g} mm: {lost.mean_de00:.1f} on average, "
            f"95 % below {lost.p95_de00:.1f}."
        )
        out["lost.png"] = (
            captioned(whole, f"{layers.name}: lost against the artwork", (words, *said), bands=True),
            pixel_mm,
        )
    return out


def _maps_picture(layers: Layers, artwork: Artwork, background: Srgb255 | None, step: Callable[[str], None]) -> Any:
    """The artwork, flat layers and each gamut map side by side: flat for flat layers, in cells of their size for tonal ones."""
    from tint.layers.compare import captioned_maps
    from tint.layers.tonal import Tonal

    in_cells = layers.simplify_px == 0 and not np.isfinite(layers.lost_de00).any()  # square, and none meant to have its own colour
    tonal = Tonal(layers.pitch_mm) if in_cells else None
    return captioned_maps(artwork, layers.palette, tonal, background, progress=step)


def _readme(layers: Layers, done: Proofs) -> str:
    lines = [
        f"Proofs of {layers.name}, {layers.width_mm:g} × {layers.height_mm:g} mm",
        f"{layers.palette.name}; {layers.palette.stock.name} on {layers.palette.machine.name}",
        "",
        done.words(),
        "",
        "overview.png    all of them side by side, for a screen",
        "expected.png    the piece in the colours expected; brushed lines are bare metal",
        "light.png       every colour as too little heat would make it",
        "heavy.png       every colour as too much heat would make it; the piece should land between the two",
        *(
            ["lost.png        where the proof differs from the artwork, in bands of ΔE00"]
            if done.lost is not None
            else []
        ),
        *(
            ["maps.png        ways to bring colours out of reach into it, for a separation with --map"]
            if "maps.png" in done.names
            else []
        ),
        "true-size.svg   the piece at its true size, with the light and the heavy where the paper has room: to print at 100 %",
        "                and lay beside the metal",
        "",
        "The PNG pictures state their pixels per metre: printed at 100 % the piece has its true size.",
        NOTE + " Mark a trial on scrap of the same batch.",
        *layers.palette.remarks,
        "",
    ]
    return "\n".join(lines)
