"""What the page sees of the artwork: pictures, pieces at full size, what is lost, what lies at a place."""

from __future__ import annotations

import dataclasses
import io
from typing import Any

import numpy as np

from tint.artwork.alike import WHITE
from tint.desk.artwork import artwork_of, as_seen, layers_of, preview_pitch_mm
from tint.desk.desk import Desk
from tint.desk.plain import rounded
from tint.desk.session import Place
from tint.errors import DataError
from tint.lab import hex_from_srgb255
from tint.layers.heated import heated
from tint.layers.layers import Layers
from tint.layers.lost import Lost, lost_map
from tint.layers.proof import proof_image
from tint.layers.proof_pictures import BANDS, LEFT_BARE, lost_picture, piece_picture
from tint.layers.wanted import wanted_image

CROP_PX = 1600  # longest side of a piece of the full size sent to the page


def what_is_lost(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """How much of the artwork the preview loses, as ΔE00 seen over a quarter of a millimetre, and what the bands of its map mean."""
    de00 = _lost(desk.place("artwork")).de00
    named = [*((colour, words) for _, colour, words in BANDS), (LEFT_BARE, "left bare as asked")]
    bands = [{"hex": hex_from_srgb255(colour), "words": words} for colour, words in named]
    return {
        "median_de00": rounded(np.nanmedian(de00), 1),
        "p90_de00": rounded(np.nanquantile(de00, 0.9), 1),
        "bands": bands,
    }


def _lost(place: Place) -> Lost:
    layers = layers_of(place)
    if place.kept.get("lost") is None:
        place.kept["lost"] = lost_map(layers, artwork_of(place), WHITE if place.shown["options"]["paper"] else None)
    return place.kept["lost"]


def look_at_place(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """What lies at a place of the artwork [mm from its top left corner]: the layer's number, 0 for bare metal."""
    place = desk.place("artwork")
    as_seen(place, values)
    layers = layers_of(place)
    row, column = int(values["y_mm"] / layers.pitch_mm), int(values["x_mm"] / layers.pitch_mm)
    height, width = layers.labels.shape
    if not (0 <= row < height and 0 <= column < width):
        raise DataError(f"that place is not on the artwork ({layers.width_mm:g} × {layers.height_mm:g} mm).")
    number = int(layers.labels[row, column])
    return {"number": number, "name": layers.names[number]}


def picture(desk: Desk, values: dict[str, Any]) -> bytes:
    """PNG of the preview: as wanted, as predicted, with less and more heat, what is lost where, or the layer numbers as grey levels."""
    place = desk.place("artwork")
    if values["which"] == "wanted":
        artwork = artwork_of(place)
        return _png(wanted_image(artwork, preview_pitch_mm(artwork) or 1.0))
    layers = layers_of(place)
    if values["which"] == "proof":
        return _png(proof_image(layers))
    if values["which"] in ("light", "heavy"):
        moved = heated(layers.palette, model=desk.model_of(layers.palette, place.shown["options"]["model"]))
        lab = moved.light_lab if values["which"] == "light" else moved.heavy_lab
        return _png(piece_picture(layers, lab)[0])
    if values["which"] == "lost":
        height, width = layers.labels.shape
        lost = _lost(place)
        return _png(lost_picture(lost, (width, height), lost.block_mm / layers.pitch_mm))
    from PIL import Image

    return _png(Image.fromarray(layers.labels))


def crop(desk: Desk, values: dict[str, Any]) -> bytes:
    """PNG of a part of the full size, as wanted or as predicted; one picture pixel per pixel of the layers."""
    from PIL import Image

    place = desk.place("artwork")
    if values.get("rev", place.shown.get("rev")) != place.shown.get("rev"):
        return _png(Image.new("RGBA", (1, 1)))  # asked for before the last change: nothing to see any more
    full = place.kept.get("full")
    if full is None:
        raise DataError("the full size is not there. Ask for it first.")
    layers: Layers = full["layers"]
    height, width = layers.labels.shape
    left, top = (int(values[name] / layers.pitch_mm) for name in ("x_mm", "y_mm"))
    right, bottom = (-int(-values[name] // layers.pitch_mm) for name in ("to_x_mm", "to_y_mm"))
    left, top, right, bottom = max(0, left), max(0, top), min(width, right), min(height, bottom)
    if right <= left or bottom <= top:
        raise DataError("that part is not on the artwork.")
    if max(right - left, bottom - top) > CROP_PX:
        raise DataError(f"that part has more than {CROP_PX} pixels a side; look closer.")
    part = (slice(top, bottom), slice(left, right))
    if values["which"] == "wanted":
        image = Image.fromarray(np.ascontiguousarray(np.load(full["wanted"], mmap_mode="r")[part]))
    else:
        image = proof_image(dataclasses.replace(layers, labels=layers.labels[part], drawn=None, size_mm=None))
    return _png(image)


def _png(image: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG", compress_level=1)
    return out.getvalue()
