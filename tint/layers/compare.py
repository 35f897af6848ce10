"""One picture that shows an artwork beside what each map makes of it, with how far each looks from it."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from tint.artwork.alike import WHITE, Srgb255
from tint.artwork.artwork import Artwork, Picture
from tint.artwork.preview import reduced
from tint.errors import UseError
from tint.lab import srgb255_from_lab
from tint.layers.difference import light_of_srgb255
from tint.layers.gamut import MAPS
from tint.layers.paper import BLACK, without_background
from tint.layers.proof_pictures import captioned
from tint.layers.separate import separate
from tint.layers.spatial import DISTANCE_MM, spatial_error
from tint.layers.tonal import Tonal, in_cells
from tint.layers.wanted import drawn
from tint.palette.lettering import drawable
from tint.palette.palette import Palette
from tint.palette.reach import lab_from_light, light_from_lab

PANEL_PX = 620  # longest side of a panel: three fit a screen side by side
_WORDS_PX, _COLUMN_PX = 22, 560  # height of the panels' words, and the width that holds them
MAX_SOURCE_PX = 1600  # longest side of the picture the maps are tried on; finer changes no figure shown
KINDS = {"PNG": (".png",), "JPEG": (".jpg", ".jpeg"), "WEBP": (".webp",)}
# cells one pixel wide keep their colour: no colour is halved in JPEG, nothing is left out in WebP
SAVED_AS: dict[str, dict[str, Any]] = {"JPEG": {"quality": 95, "subsampling": 0}, "WEBP": {"lossless": True}}
WORDS = {
    "": "nearest colour, place by place",
    "nearest": "as near as can be",
    "hue": "keeps the hue",
    "tone": "keeps light and dark",
}
FLAT_WORDS = {
    "nearest": "lightness counts twice",
    "hue": "hue counts most",
    "tone": "light and dark count most",
}


def compare_maps(
    artwork: Artwork, palette: Palette, tonal: Tonal | None = None, background: Srgb255 | None = WHITE,
    ink: Srgb255 | None = BLACK, progress: Callable[[str], None] | None = None,
) -> Any:  # fmt: skip
    """Pillow picture (RGB): the artwork, flat layers of the nearest colour, the palette, and each of `MAPS`, captioned.

    Parameters
    ----------
    tonal : how tones are shown in the mapped panels; None takes flat layers there too
    progress : called with a short text as each panel begins

    Notes
    -----
    Captions give the spatial error: mean ΔE00 to the artwork on bare metal as both look from 300 mm. Panels are scaled in
    linear light, so that cells blend as they do in the eye.
    """
    longest_mm = max(artwork.width_mm, artwork.height_mm)
    picture = artwork if isinstance(artwork, Picture) else drawn(artwork, longest_mm / MAX_SOURCE_PX)
    if background is not None:
        picture = without_background(picture, background)
    picture = reduced(picture, MAX_SOURCE_PX)
    bare = light_from_lab(palette.bare_lab)
    panels = [("artwork", _light_of(picture, bare), picture.pitch_mm)]
    tries: list[tuple[str, str | None, Tonal | None]] = [("flat: " + WORDS[""], None, None)]
    tries += [(f"tonal, {how}: {WORDS[how]}" if tonal else f"flat, {how}: {FLAT_WORDS[how]}", how, tonal) for how in MAPS]
    step = progress or (lambda text: None)
    for number, (title, how, cells) in enumerate(tries, 1):
        step(f"drawing the maps, {number} of {len(tries)}: {title}")
        layers = separate(picture, palette, how=how, tonal=cells, background=None, ink=ink)
        light = light_from_lab(palette.lab)[layers.labels]
        pitch = layers.pitch_mm
        wanted = _light_of(in_cells(picture, pitch) if cells else picture, bare)
        error = spatial_error(light, wanted, pitch)
        panels.append((f"{title}\n{error:.1f} ΔE00 from the artwork, seen from {DISTANCE_MM:g} mm", light, pitch))
    words = f"what there is to mix: bare metal and {len(palette)} colours"
    panels.insert(2, (words, _swatches(palette.lab, panels[0][1].shape[:2]), picture.pitch_mm))
    return _sheet(panels)


def _swatches(lab: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Light (h, w, 3) of a panel filled by the colours in their order, row by row."""
    height, width = shape
    count = len(lab)
    rows = min(count, max(1, round(math.sqrt(count * height / width))))
    row = np.arange(height) * rows // height
    first, last = row * count // rows, (row + 1) * count // rows
    place = first[:, None] + np.arange(width) * (last - first)[:, None] // width
    return light_from_lab(lab)[place]


def captioned_maps(
    artwork: Artwork, palette: Palette, tonal: Tonal | None = None, background: Srgb255 | None = WHITE,
    ink: Srgb255 | None = BLACK, progress: Callable[[str], None] | None = None,
) -> Any:  # fmt: skip
    """The picture of `compare_maps` over a caption that names the artwork and says where the palette's colours come from."""
    shown = "tones by cells" if tonal else "flat layers"
    words = f"The artwork, flat layers of the nearest colour, the palette, then {shown} by each way to bring in what is out of reach."
    sheet = compare_maps(artwork, palette, tonal, background, ink, progress)
    return captioned(sheet, f"{artwork.name}: ways to bring it into reach", (words, *palette.remarks[:1]))


def kind_by_ending(path: Path) -> str:
    """Kind of picture that a file's ending asks for, a key of `KINDS`; `UseError` where it asks for another."""
    ending = path.suffix.lower()
    found = next((kind for kind, endings in KINDS.items() if ending in endings), None)
    if found is None:
        raise UseError(f"{path}: the maps are written as .png, .jpg or .webp; choose a name such as {path.with_suffix('.png').name or 'maps.png'}.")
    return found


def picture_bytes(picture: Any, kind: str) -> bytes:
    """File of a Pillow picture, of a kind of `KINDS`."""
    out = io.BytesIO()
    picture.save(out, kind, **SAVED_AS.get(kind, {}))
    return out.getvalue()


def png_bytes(picture: Any) -> bytes:
    """PNG file of a Pillow picture."""
    return picture_bytes(picture, "PNG")


def _light_of(picture: Picture, bare: np.ndarray) -> np.ndarray:
    """Light (h, w, 3) of the picture, on bare metal."""
    return np.where(picture.bare[..., None], bare, light_of_srgb255(picture.srgb255))


def _sheet(panels: list[tuple[str, np.ndarray, float]]) -> Any:
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default(_WORDS_PX)
    across, gap, words_px = 3, 14, 3 * _WORDS_PX
    height, width = panels[0][1].shape[:2]
    scale = PANEL_PX / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    column = max(size[0], _COLUMN_PX)
    down = -(-len(panels) // across)
    sheet = Image.new("RGB", (across * (column + gap) + gap, down * (size[1] + words_px + gap) + gap), (250, 250, 250))
    draw = ImageDraw.Draw(sheet)
    for place, (title, light, _) in enumerate(panels):
        x, y = gap + place % across * (column + gap), gap + place // across * (size[1] + words_px + gap)
        draw.multiline_text(
            (x, y), "\n".join(drawable(line, font) for line in title.split("\n")), (40, 40, 40), font, spacing=4
        )
        sheet.paste(_scaled(light, size), (x, y + words_px))
    return sheet


def _scaled(light: np.ndarray, size: tuple[int, int]) -> Any:
    from PIL import Image

    smaller = size[0] <= light.shape[1]
    way = Image.Resampling.BOX if smaller else Image.Resampling.NEAREST
    planes = [np.asarray(Image.fromarray(light[..., i].astype(np.float32)).resize(size, way)) for i in range(3)]
    return Image.fromarray(srgb255_from_lab(lab_from_light(np.stack(planes, axis=-1))))
