"""Small pictures for the job sheet: proof, key and one thumbnail per layer, each small enough for a light PDF."""

from __future__ import annotations

import io
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.layers.layers import Layers
from tint.layers.proof import proof_image

PROOF_PX, KEY_PX, THUMB_PX = 1000, 700, 150  # about 300, 200 and 270 pixels per inch at the size they print
MAX_PROOF_BYTES = 130_000  # of a sheet that stays under 400 kB with two fonts and ten thumbnails
BUSY_EDGES = 0.12  # share of edge pixels above which lines would fill the key: they are drawn lighter


@dataclass(frozen=True)
class Spot:
    """Where a layer's number stands on the key: share of the width and height [0..1], y down."""

    number: int
    x: float
    y: float


def proof_file(layers: Layers) -> bytes:
    """Proof as a picture file: PNG where it packs well (flat colours), else JPEG of falling size."""
    for size_px in (PROOF_PX, 700):
        picture = _enlarged(proof_image(layers, size_px), size_px)
        if len(zlib.compress(picture.tobytes(), 6)) * 5 / 4 <= MAX_PROOF_BYTES:  # PDF text coding adds a quarter
            return _saved(picture, "PNG")
    for size_px in (PROOF_PX, 700, 500, 350):
        data = _saved(proof_image(layers, size_px), "JPEG", quality=85, subsampling=0)
        if len(data) * 5 / 4 <= MAX_PROOF_BYTES:
            break
    return data


def key_file(layers: Layers) -> bytes:
    """PNG of the borders between layers, dark lines on white; much finer artwork gets lighter lines."""
    from PIL import Image

    labels = np.asarray(_enlarged(Image.fromarray(_thinned(layers.labels, KEY_PX)), KEY_PX))
    edges = np.zeros(labels.shape, dtype=bool)
    edges[:, 1:] |= labels[:, 1:] != labels[:, :-1]
    edges[1:] |= labels[1:] != labels[:-1]
    line = 70 if edges.mean() < BUSY_EDGES else 205
    edges[:, 1:] |= edges[:, :-1]  # two pixels wide: 0.17 mm at the size it prints
    edges[1:] |= edges[:-1]
    return _saved(Image.fromarray(np.where(edges, np.uint8(line), np.uint8(255))), "PNG")


def thumbnail_file(layers: Layers, number: int) -> bytes:
    """Grey PNG of one layer, what is marked dark on a light ground."""
    from PIL import Image

    mask = np.where(_thinned(layers.labels, 4 * THUMB_PX) == number, np.uint8(25), np.uint8(238))
    picture = _enlarged(Image.fromarray(mask), 2 * THUMB_PX)
    scale = min(1.0, THUMB_PX / max(picture.size))
    size = tuple(max(1, round(side * scale)) for side in picture.size)
    return _saved(picture.resize(size, Image.Resampling.BOX), "PNG")


def key_spots(layers: Layers, clear_mm: float, tries: int = 6) -> tuple[Spot, ...]:
    """Places of the layers' numbers on the key: in the widest part of a large region, no two closer than `clear_mm` [mm].

    Parameters
    ----------
    clear_mm : distance to keep [mm on the metal]
    tries : regions of a layer tried, the largest first; where none is free the first is taken
    """
    import shapely

    taken: list[tuple[float, float]] = []
    spots = []
    for number in sorted(layers.used, key=layers.area_mm2):  # small layers choose first: they have no other place
        regions = list(getattr(layers.outlines[number - 1], "geoms", [layers.outlines[number - 1]]))
        regions.sort(key=lambda region: -region.area)
        places = []
        for region in regions[:tries]:
            radius_line = shapely.maximum_inscribed_circle(region.simplify(layers.pitch_mm), tolerance=layers.pitch_mm)
            x, y = radius_line.coords[0] if not radius_line.is_empty else region.representative_point().coords[0]
            places.append((x, y))
            if all(np.hypot(x - u, y - v) >= clear_mm for u, v in taken):
                break
        else:
            x, y = places[0]
        taken.append((x, y))
        spots.append(Spot(number, x / layers.width_mm, y / layers.height_mm))
    return tuple(sorted(spots, key=lambda spot: spot.number))


def _thinned(labels: np.ndarray, size_px: int) -> np.ndarray:
    """Label map with its longest side at most `size_px`: every k-th pixel, k as small as fits."""
    step = -(-max(labels.shape) // size_px)
    return labels[step // 2 :: step, step // 2 :: step] if min(labels.shape) > step else labels[:, ::step][::step]


def _enlarged(picture: Any, size_px: int) -> Any:
    """A small picture with each pixel repeated as often as fits: viewers blur pixels they enlarge themselves."""
    from PIL import Image

    times = size_px // max(picture.size)
    return picture if times < 2 else picture.resize([side * times for side in picture.size], Image.Resampling.NEAREST)


def _saved(picture: Any, kind: str, **options: Any) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()
