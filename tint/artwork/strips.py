"""TIFF pictures too large to decode whole: decoded strip by strip, or one row of tiles after the other.

Each strip or tile is handed to Pillow as a small TIFF of its own, so every compression that Pillow reads works here too.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from typing import TYPE_CHECKING, BinaryIO

from tint.errors import FileError

if TYPE_CHECKING:
    from PIL import Image
    from PIL.TiffImagePlugin import TiffImageFile

# TIFF 6.0 tag numbers
_WIDTH, _HEIGHT, _COMPRESSION, _STRIP_OFFSETS, _ROWS_PER_STRIP, _STRIP_BYTES = 256, 257, 259, 273, 278, 279
_PLANES, _TILE_WIDTH, _TILE_HEIGHT, _TILE_OFFSETS, _TILE_BYTES = 284, 322, 323, 324, 325
_BITS, _SAMPLES, _TABLES = 258, 277, 347
# what else says how the numbers are packed: photometric, fill order, predictor, colour map, extra samples, sample format, YCbCr
_KEPT = (_BITS, _COMPRESSION, 262, 266, _SAMPLES, 317, 320, 338, 339, _TABLES, 529, 530, 531, 532)
_RAW = 1
_BAND_PX = 2_000_000  # rows of an uncompressed strip handed over at once
_PIECE_PX = 60_000_000  # largest strip or row of tiles decoded in one piece: 240 MB


def tiff_size(image: TiffImageFile) -> tuple[int, int]:
    """Width and height of a TIFF's rows as they are stored, before any turn [pixels]."""
    return int(image.tag_v2[_WIDTH]), int(image.tag_v2[_HEIGHT])


def tiff_bands(image: TiffImageFile, stream: BinaryIO) -> Iterator[Image.Image]:
    """Pillow pictures of a TIFF's rows from the top, full width, as they are stored.

    Raises
    ------
    FileError
        Colours in separate planes, or all rows in one compressed piece: such a file cannot be read bit by bit.
    OSError
        A strip or tile is damaged or missing.
    """
    tags = image.tag_v2
    width, height = tiff_size(image)
    tiled = _TILE_WIDTH in tags
    rows = int(tags[_TILE_HEIGHT] if tiled else min(height, tags.get(_ROWS_PER_STRIP, height)))
    raw = tags.get(_COMPRESSION, _RAW) == _RAW and not tiled
    if tags.get(_PLANES, 1) != 1 or (rows * width > _PIECE_PX and not raw):
        raise FileError(
            "its rows lie in one piece or its colours apart; save it as TIFF in strips or tiles, or smaller"
        )
    if tiled:
        yield from _tile_rows(image, stream, rows)
        return
    for number, top in enumerate(range(0, height, rows)):
        here = min(rows, height - top)
        if not raw:
            data = _read(stream, _listed(image, _STRIP_OFFSETS, number), _listed(image, _STRIP_BYTES, number))
            yield _piece(image, data, (width, here))
            continue
        row_bytes = -(-width * _bits(image) // 8)
        step = max(1, _BAND_PX // width)
        for start in range(0, here, step):
            count = min(step, here - start)
            data = _read(stream, _listed(image, _STRIP_OFFSETS, number) + start * row_bytes, count * row_bytes)
            yield _piece(image, data, (width, count))


def _tile_rows(image: TiffImageFile, stream: BinaryIO, tall: int) -> Iterator[Image.Image]:
    from PIL import Image

    tags = image.tag_v2
    width, height = tiff_size(image)
    wide = int(tags[_TILE_WIDTH])
    across = -(-width // wide)
    for row, top in enumerate(range(0, height, tall)):
        band = Image.new("1", (0, 0))  # takes the mode of the first tile
        for column in range(across):
            number = row * across + column
            data = _read(stream, _listed(image, _TILE_OFFSETS, number), _listed(image, _TILE_BYTES, number))
            tile = _piece(image, data, (wide, tall))
            if not column:
                band = Image.new(tile.mode, (width, tall))
                if tile.palette is not None:
                    band.putpalette(tile.palette)
            band.paste(tile, (column * wide, 0))
        yield band.crop((0, 0, width, min(tall, height - top)))


def _bits(image: TiffImageFile) -> int:
    bits = image.tag_v2.get(_BITS, 1)
    samples = int(image.tag_v2.get(_SAMPLES, 1))
    return (
        sum(bits)
        if isinstance(bits, tuple) and len(bits) == samples
        else samples * int(bits[0] if isinstance(bits, tuple) else bits)
    )


def _listed(image: TiffImageFile, tag: int, number: int) -> int:
    """Place or size [bytes] of a strip or tile, of the list under a tag."""
    try:
        return int(image.tag_v2[tag][number])
    except (KeyError, IndexError):
        raise OSError("its list of strips or tiles is cut short") from None


def _read(stream: BinaryIO, offset: int, size: int) -> bytes:
    stream.seek(offset)
    data = stream.read(size)
    if len(data) < size:
        raise OSError("the file ends before its last row")
    return data


def _piece(image: TiffImageFile, data: bytes, size: tuple[int, int]) -> Image.Image:
    """Pillow picture of one strip or tile, decoded."""
    from PIL import TiffImagePlugin

    tags = image.tag_v2
    order = ">" if tags.prefix == b"MM" else "<"
    directory = TiffImagePlugin.ImageFileDirectory_v2(tags.prefix + struct.pack(f"{order}HL", 42, 8))
    for tag in _KEPT:
        if tag in tags:
            directory.tagtype[tag] = tags.tagtype[tag]
            directory[tag] = tags[tag]
    directory[_WIDTH], directory[_HEIGHT], directory[_ROWS_PER_STRIP] = size[0], size[1], size[1]
    directory[_STRIP_BYTES] = len(data)
    directory[_STRIP_OFFSETS] = 0  # from the end of the directory
    file = io.BytesIO()
    directory.save(file)
    file.write(data)
    file.seek(0)
    piece = TiffImagePlugin.TiffImageFile(file)
    piece.load()
    return piece
