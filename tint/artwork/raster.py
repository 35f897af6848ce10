"""Pictures: PNG, JPEG, TIFF or WebP at a physical size, as sRGB pixels with a mask of what stays bare."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tint.artwork.artwork import Picture
from tint.artwork.average import OPAQUE, averaged, scaled
from tint.artwork.bands import Source, open_source
from tint.errors import LimitError

__all__ = ["MAX_PITCH_MM", "MAX_PIXELS", "MIN_PITCH_MM", "OPAQUE", "read_picture"]

MAX_PIXELS = 120_000_000  # kept of a picture: about 1 GB while it is separated
MIN_PITCH_MM, MAX_PITCH_MM = 0.002, 1.0  # finer than any line spacing; coarser than any spot
MOST_WIDTH_MM = 1e6  # as far as drawings reach (svg_scene); any machine's field is far smaller
_SAID_FROM_PX = 50_000_000  # smaller pictures are read before anybody could read how far it is


def read_picture(
    path: str | Path,
    width_mm: float | None,
    pitch_mm: float | None = None,
    *,
    progress: Callable[[str], None] | None = None,
) -> Picture:
    """Picture at `width_mm` on the metal; its height keeps the picture's proportions.

    Parameters
    ----------
    width_mm : width on the metal [mm]
    pitch_mm : size of a pixel on the metal [mm] to resample to, in linear light; None keeps the picture's own pixels, or
        averages those of a picture above 120 megapixels by a whole number
    progress : called with each of the picture's remarks and, for large pictures, how far reading is

    Raises
    ------
    FileError
        Not a picture, damaged, animated, or too large: above 120 megapixels, TIFF and baseline JPEG above 1000.
    LimitError
        No width, or a pitch outside 0.002–1 mm.

    Notes
    -----
    EXIF turn and embedded ICC profile are honoured; a turn outside 1–8 counts as none, and a profile for other colours than the
    picture's is left out and told. CMYK, grey, 16-bit and palette pictures become 8-bit sRGB, CMYK without a profile by the plain
    formula. Larger pictures pass through a band at a time: a TIFF of 400 megapixels needs no more memory than
    the picture that is kept. JPEG above 120 megapixels is decoded at a part of its size, which averages numbers, not light.
    """
    if width_mm is None:
        raise LimitError(f"{path} is a picture and has no size of its own; say how wide it is to be with --width-mm.")
    if not 0 < width_mm <= MOST_WIDTH_MM:
        raise LimitError(f"width {width_mm:g} mm cannot be; it is a number above 0, up to {MOST_WIDTH_MM:,.0f} mm.")
    say = progress or (lambda text: None)
    source = open_source(Path(path))
    remarks = list(_colour_remarks(source))
    size = (source.width, source.height)
    wanted = _wanted_size(source, width_mm, pitch_mm)
    if pitch_mm is None and math.prod(wanted) < source.file_px:
        kept = f"{source.file_px / 1e6:.0f} megapixels; averaged to {math.prod(wanted) / 1e6:.0f}"
        remarks.append(f"the picture has {kept} as it is read, and finer detail is lost")
    for line in remarks:
        say(line)
    if wanted[0] < size[0] or wanted[1] < size[1]:
        srgb, bare = averaged(_told(source, say), size, wanted)
    else:
        srgb, bare = _whole(source, say)
    source.images = lambda: iter(())  # the decoded picture is not needed any more
    if wanted[0] > size[0]:
        srgb, bare = scaled(srgb, bare, wanted)
    srgb, bare = _turned(srgb, source.turn), _turned(bare, source.turn)
    pitch = width_mm / srgb.shape[1]
    if not MIN_PITCH_MM <= pitch <= MAX_PITCH_MM:
        raise LimitError(
            f"a pixel of {path} would be {pitch:.4g} mm on the metal; state --pitch-mm (such as 0.05) to resample it."
        )
    height_mm = srgb.shape[0] * float(width_mm) / srgb.shape[1]
    return Picture(Path(path).stem, float(width_mm), height_mm, srgb, bare, remarks=tuple(remarks))


def _colour_remarks(source: Source) -> Iterator[str]:
    """What makes the colours of a picture doubtful; without its name, as lines go where it stands already."""
    if source.unserved:
        yield (
            f"the picture's colour profile is for {source.unserved}, which its pixels are not: tint leaves it out, and colours may be "
            "off. Save it as sRGB, or with its own profile, to be sure"
        )
    elif source.mode == "CMYK" and not source.profile:
        yield (
            "the picture is CMYK without a colour profile: tint takes its inks for ideal ones, and colours may be far off. Save it as "
            "sRGB, or with its profile, to be sure"
        )


def _wanted_size(source: Source, width_mm: float, pitch_mm: float | None) -> tuple[int, int]:
    """Width and height to keep [pixels], as the rows are stored."""
    width, height = (source.height, source.width) if source.turned else (source.width, source.height)
    if pitch_mm is not None and not np.isclose(pitch_mm, width_mm / width, rtol=1e-6):
        if not MIN_PITCH_MM <= pitch_mm <= MAX_PITCH_MM:
            raise LimitError(
                f"pitch {pitch_mm:g} mm cannot be; it lies between {MIN_PITCH_MM:g} and {MAX_PITCH_MM:g} mm."
            )
        columns = max(1, round(width_mm / pitch_mm))
        rows = max(1, round(columns * height / width))
        if columns * rows > MAX_PIXELS:
            raise LimitError(
                f"{columns} × {rows} pixels at {pitch_mm:g} mm are too many (up to {MAX_PIXELS / 1e6:.0f} million); use a coarser pitch."
            )
    else:
        part = math.ceil(math.sqrt(width * height / MAX_PIXELS))
        columns, rows = max(1, round(width / part)), max(1, round(height / part))
    return (rows, columns) if source.turned else (columns, rows)


def _whole(source: Source, say: Callable[[str], None]) -> tuple[np.ndarray, np.ndarray]:
    srgb = np.empty((source.height, source.width, 3), dtype=np.uint8)
    bare = np.zeros((source.height, source.width), dtype=bool)
    top = 0
    for band, clear in _told(source, say):
        srgb[top : top + len(band)] = band
        if clear.any():  # memory of zeros that are never written is never taken
            bare[top : top + len(band)] = clear
        top += len(band)
    return srgb, bare


def _told(source: Source, say: Callable[[str], None]) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """The bands of a picture, with a word at every quarter of a large one."""
    read, told = 0, 0
    for band in source.bands():
        yield band
        read += len(band[1])
        quarter = 4 * read // source.height
        if quarter > told and source.width * source.height >= _SAID_FROM_PX:
            told = quarter
            say(f"read {25 * told} % of {source.path.name}")


def _turned(pixels: np.ndarray, turn: int) -> np.ndarray:
    """Pixels as EXIF's tag 0x0112 (1..8) says they are to be seen."""
    if turn in (5, 6, 7, 8):
        pixels = pixels.swapaxes(0, 1)
    if turn in (3, 4, 7, 8):
        pixels = pixels[::-1]
    if turn in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    return np.ascontiguousarray(pixels)
