"""Pictures for proofs: the piece in given colours, bare metal brushed, a map of what is lost, each with its caption."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from tint.lab import srgb255_from_lab
from tint.layers.layers import Layers
from tint.layers.lost import Lost
from tint.layers.seen import blended_labels
from tint.palette.lettering import fitting, wrapped
from tint.palette.reach import lab_from_light, light_from_lab

NOTE = "Screens differ and metal shifts with the angle: a proof is not exact."
SURROUND, INK, SOFT = (119,) * 3, (255,) * 3, (235,) * 3  # neutral grey near L* 50: colours look as they are
MOST_PX, LEAST_PX = 2600, 1100  # longer side of a picture: larger is slow to open, smaller leaves no room for its caption
BRUSHED = 5  # bytes by which the brushed lines of bare metal differ: told from a grey mark, hardly a change of colour
_STREAK_PX = 48
# ΔE00 up to, colour, what it means; 1 and 2.3 about the least seen side by side, 10 another colour (common practice)
BANDS = (
    (1.0, (243, 240, 232), "below 1: not seen"),
    (2.3, (250, 226, 160), "to 2.3: just seen"),
    (5.0, (246, 176, 100), "to 5: seen"),
    (10.0, (229, 108, 56), "to 10: plainly seen"),
    (20.0, (172, 40, 72), "to 20: another colour"),
    (np.inf, (70, 16, 68), "above 20: lost"),
)
LEFT_BARE = (160, 166, 172)


def piece_picture(layers: Layers, lab: np.ndarray) -> tuple[Any, float]:
    """Pillow picture (RGB) of the piece in colours (k + 1, 3) by number, bare metal brushed, and its pixel [mm].

    Large maps are averaged in linear light, small ones enlarged by whole numbers.
    """
    from PIL import Image

    longest = max(layers.labels.shape)
    if longest > MOST_PX:
        side = -(-longest // MOST_PX)
        light = blended_labels(layers.labels, light_from_lab(lab), side)
        bare = (
            blended_labels((layers.labels == 0).astype(np.uint8), np.array([[0.0] * 3, [1.0] * 3]), side)[..., 0] > 0.5
        )
        pixels, pixel_mm = srgb255_from_lab(lab_from_light(light)), layers.pitch_mm * side
    else:
        times = max(1, LEAST_PX // longest)
        labels = layers.labels.repeat(times, axis=0).repeat(times, axis=1)
        pixels, bare, pixel_mm = srgb255_from_lab(lab)[labels], labels == 0, layers.pitch_mm / times
    return Image.fromarray(_brushed(pixels, bare)), pixel_mm


def lost_picture(lost: Lost, size_px: tuple[int, int], block_px: float) -> Any:
    """Pillow picture (RGB) of a map of what is lost, in bands of colour; grey where the artwork leaves the metal bare.

    Parameters
    ----------
    size_px : width and height of the picture
    block_px : side of one place of the map in pixels of the picture
    """
    from PIL import Image

    band = np.searchsorted([limit for limit, _, _ in BANDS[:-1]], np.nan_to_num(lost.de00), side="right")
    pixels = np.array([colour for _, colour, _ in BANDS], dtype=np.uint8)[band]
    pixels[np.isnan(lost.de00)] = LEFT_BARE
    rows, columns = (
        np.minimum((np.arange(side) / block_px).astype(int), count - 1)
        for side, count in zip(size_px[::-1], lost.de00.shape, strict=True)
    )
    return Image.fromarray(pixels[rows][:, columns])


def captioned(picture: Any, title: str, lines: Sequence[str], *, bands: bool = False) -> Any:
    """The picture on a grey ground with a caption below: title, lines and the note that a proof is not exact.

    Its pixels stay what they are, at the top left, so that its size in print is that of the piece.
    """
    from PIL import Image, ImageDraw, ImageFont

    wide = max(picture.width, LEAST_PX // 2)
    size = min(max(wide // 52, 13), 34)
    big, small = ImageFont.load_default(round(size * 1.25)), ImageFont.load_default(size)
    room = wide - 2 * size
    text = [line for each in (*lines, NOTE) for line in wrapped(each, small, room)]
    keys = _key_rows(small, room) if bands else []
    lead = round(size * 1.45)
    tall = size + round(size * 2) + lead * (len(text) + len(keys)) + size // 2
    out = Image.new("RGB", (wide, picture.height + tall), SURROUND)
    out.paste(picture, (0, 0))
    draw = ImageDraw.Draw(out)
    y = picture.height + size
    draw.text((size, y), fitting(title, big, room), font=big, fill=INK)
    y += round(size * 2)
    for row in keys:
        x = size
        for colour, words in row:
            draw.rectangle([x, y + 2, x + size, y + 2 + size], fill=colour)
            draw.text((x + size * 1.4, y), words, font=small, fill=SOFT)
            x += size * 2.6 + small.getlength(words)
        y += lead
    for line in text:
        draw.text((size, y), line, font=small, fill=SOFT)
        y += lead
    return out


def side_by_side(pictures: Sequence[Any], each_px: int = 900) -> Any:
    """One picture of several, two a row, each at most `each_px` wide, for a screen."""
    from PIL import Image

    gap = 24
    small = [
        picture if picture.width <= each_px
        else picture.resize((each_px, round(picture.height * each_px / picture.width)), Image.Resampling.LANCZOS)
        for picture in pictures
    ]  # fmt: skip
    columns = min(2, len(small))
    rows = [small[i : i + columns] for i in range(0, len(small), columns)]
    cell = max(picture.width for picture in small)
    wide = columns * (cell + gap) + gap
    out = Image.new("RGB", (wide, gap + sum(max(p.height for p in row) + gap for row in rows)), SURROUND)
    y = gap
    for row in rows:
        for column, picture in enumerate(row):
            out.paste(picture, (gap + column * (cell + gap), y))
        y += max(p.height for p in row) + gap
    return out


def _brushed(pixels: np.ndarray, bare: np.ndarray) -> np.ndarray:
    """Pixels (h, w, 3) with faint brushed lines where the metal is bare; their mean colour stays."""
    height, width = bare.shape
    streaks = np.random.default_rng(0).integers(-BRUSHED, BRUSHED + 1, (height, width // _STREAK_PX + 2))
    shift = (np.arange(height) * 17) % _STREAK_PX  # rows start their streaks at different places: no columns appear
    column = (np.arange(width)[None, :] + shift[:, None]) // _STREAK_PX
    lines = np.take_along_axis(streaks, column, axis=1)
    changed = np.clip(pixels.astype(np.int16) + np.where(bare, lines, 0)[..., None], 0, 255)
    return changed.astype(np.uint8)


def _key_rows(font: Any, room: float) -> list[list[tuple[tuple[int, int, int], str]]]:
    entries = [*((colour, words) for _, colour, words in BANDS), (LEFT_BARE, "left bare as asked")]
    rows: list[list[tuple[tuple[int, int, int], str]]] = [[]]
    used = 0.0
    for colour, words in entries:
        wide = font.size * 2.6 + font.getlength(words)
        if rows[-1] and used + wide > room:
            rows.append([])
            used = 0.0
        rows[-1].append((colour, words))
        used += wide
    return rows
