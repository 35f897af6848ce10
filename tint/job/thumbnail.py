"""Small pictures for the job sheet: proof, key and one thumbnail per layer, each small enough for a light PDF."""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.layers.layers import Layers
from tint.layers.proof import proof_image

PROOF_PX, KEY_PX, THUMB_PX = 1000, 700, 110  # about 280, 200 and 240 pixels per inch at the size they mostly print
WHOLE_PX = 1500  # longest side of a proof of flat colours that goes in with its own pixels: averaging costs more than they do
MARKED, PARTLY, BARE = 25, 120, 238  # greys of a thumbnail: pixels marked whole, hardly, and not at all
MAX_PROOF_BYTES = 104_000  # of a sheet that stays under 400 kB with two fonts and ten thumbnails
BUSY_EDGES = 0.12  # share of edge pixels above which lines would fill the key: they are drawn lighter


@dataclass(frozen=True)
class Spot:
    """Where a layer's number stands on the key: share of the width and height [0..1], y down."""

    number: int
    x: float
    y: float


def proof_picture(layers: Layers) -> Any:
    """Proof as a Pillow picture (RGB) where it packs well (flat colours), else as the bytes of a JPEG of falling size."""
    for size_px in (WHOLE_PX, 700) if max(layers.labels.shape) <= WHOLE_PX else (PROOF_PX, 700):
        picture = _enlarged(proof_image(layers, size_px), min(size_px, PROOF_PX))
        if len(zlib.compress(picture.tobytes())) <= MAX_PROOF_BYTES:  # as it goes into the PDF
            return picture
    for size_px in (PROOF_PX, 700, 500, 350):
        data = _jpeg(proof_image(layers, size_px))
        if len(data) <= MAX_PROOF_BYTES:
            break
    return data


def key_picture(layers: Layers) -> Any:
    """Pillow picture (grey) of the borders between layers, dark lines on white; much finer artwork gets lighter lines."""
    from PIL import Image

    labels = np.asarray(_enlarged(Image.fromarray(_thinned(layers.labels, KEY_PX)), KEY_PX))
    edges = np.zeros(labels.shape, dtype=bool)
    edges[:, 1:] |= labels[:, 1:] != labels[:, :-1]
    edges[1:] |= labels[1:] != labels[:-1]
    line = 70 if edges.mean() < BUSY_EDGES else 205
    edges[:, 1:] |= edges[:, :-1]  # two pixels wide: 0.17 mm at the size it prints
    edges[1:] |= edges[:-1]
    return Image.fromarray(np.where(edges, np.uint8(line), np.uint8(255)))


def thumbnail_picture(layers: Layers, number: int) -> Any:
    """Pillow picture (grey) of one layer, what is marked dark on a light ground; a pixel that is marked only partly stands out too."""
    from PIL import Image

    mask = layers.labels == number
    step = -(-max(mask.shape) // THUMB_PX)
    starts = [np.arange(0, side, step) for side in mask.shape]
    marked = np.add.reduceat(np.add.reduceat(mask, starts[0], axis=0, dtype=np.int32), starts[1], axis=1)
    pixels = np.multiply.outer(
        *(np.minimum(step, side - start) for side, start in zip(mask.shape, starts, strict=True))
    )
    grey = np.where(marked > 0, PARTLY + (MARKED - PARTLY) * marked / pixels, BARE)
    return _enlarged(Image.fromarray(grey.round().astype(np.uint8)), 2 * THUMB_PX)


def key_spots(layers: Layers, clear_mm: float, tries: int = 4) -> tuple[Spot, ...]:
    """Places of the layers' numbers on the key: in wide parts of large regions, where possible `clear_mm` apart.

    Parameters
    ----------
    clear_mm : distance to keep [mm on the metal]
    tries : regions of a layer tried, the largest first; where no place is free the one farthest from others is taken
    """
    taken: list[tuple[float, float]] = []
    spots = []
    for number in sorted(layers.used, key=layers.area_mm2):  # small layers choose first: they have no other place
        regions = list(getattr(layers.outlines[number - 1], "geoms", [layers.outlines[number - 1]]))
        regions.sort(key=lambda region: -region.area)
        best, best_mm = (0.0, 0.0), -1.0
        for x, y in (_widest(part, layers.pitch_mm) for region in regions[:tries] for part in _parts(region)):
            apart_mm = min((float(np.hypot(x - u, y - v)) for u, v in taken), default=np.inf)
            if apart_mm > best_mm:
                best, best_mm = (x, y), apart_mm
            if best_mm >= clear_mm:
                break
        taken.append(best)
        spots.append(Spot(number, best[0] / layers.width_mm, best[1] / layers.height_mm))
    return tuple(sorted(spots, key=lambda spot: spot.number))


def _parts(region: Any) -> Iterator[Any]:
    """The region, then its pieces in four equal strips across its longer side."""
    import shapely

    yield region
    x0, y0, x1, y1 = region.bounds
    for share in (0.0, 0.75, 0.25, 0.5):
        if x1 - x0 >= y1 - y0:
            strip = shapely.box(x0 + share * (x1 - x0), y0, x0 + (share + 0.25) * (x1 - x0), y1)
        else:
            strip = shapely.box(x0, y0 + share * (y1 - y0), x1, y0 + (share + 0.25) * (y1 - y0))
        part = region.intersection(strip)
        pieces = [
            piece for piece in getattr(part, "geoms", [part]) if piece.geom_type == "Polygon" and not piece.is_empty
        ]
        if pieces:
            yield max(pieces, key=lambda piece: piece.area)


def _widest(region: Any, tolerance_mm: float) -> tuple[float, float]:
    """Middle of the largest circle that fits into a region [mm]."""
    import shapely

    radius = shapely.maximum_inscribed_circle(region, tolerance=tolerance_mm)
    return radius.coords[0] if not radius.is_empty else region.representative_point().coords[0]


def _thinned(labels: np.ndarray, size_px: int) -> np.ndarray:
    """Label map with its longest side at most `size_px`: every k-th pixel, k as small as fits."""
    step = -(-max(labels.shape) // size_px)
    return labels[step // 2 :: step, step // 2 :: step] if min(labels.shape) > step else labels[:, ::step][::step]


def _enlarged(picture: Any, size_px: int) -> Any:
    """A small picture with each pixel repeated as often as fits: viewers blur pixels they enlarge themselves."""
    from PIL import Image

    times = size_px // max(picture.size)
    return picture if times < 2 else picture.resize([side * times for side in picture.size], Image.Resampling.NEAREST)


def _jpeg(picture: Any) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85, subsampling=0)
    return out.getvalue()
