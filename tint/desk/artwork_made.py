"""What is made of the artwork at full size: layers, the job folder, the palette in use."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

from tint.desk.artwork import SEPARATION, as_seen, layers_of
from tint.desk.desk import Desk
from tint.desk.labour import separate_in_full, write_job_and_zip
from tint.desk.session import Place
from tint.errors import DataError
from tint.layers.folder import read_layers
from tint.palette.palette import write_palette


def start_full(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The work that separates the artwork at its full size."""
    place = desk.place("artwork")
    as_seen(place, values)
    wish = _wish(desk, place)
    folder = desk.session.room("full").parent
    rev = place.shown["rev"]

    def done(said: dict[str, Any]) -> dict[str, Any]:
        with place.lock:
            if place.shown.get("rev") == rev:
                place.kept["full"] = {"layers": read_layers(folder / "layers"), "wanted": folder / "wanted.npy"}
                place.shown["full"] = said
        return said

    return desk.workshop.start("full size", "artwork", separate_in_full, (wish, str(folder)), done).as_dict()


def start_job(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The work that writes the job folder at full size and packs it for download."""
    place = desk.place("artwork")
    as_seen(place, values)
    wish = {**_wish(desk, place), **{name: value for name, value in values.items() if name != "rev"}}
    folder = desk.session.room("job").parent

    def done(said: dict[str, Any]) -> dict[str, Any]:
        item = desk.made("download", Path(said.pop("zip")))
        return {**said, "file": item.as_dict()}

    return desk.workshop.start("job folder", "artwork", write_job_and_zip, (wish, str(folder)), done).as_dict()


def _wish(desk: Desk, place: Place) -> dict[str, Any]:
    """What long work needs to do the same in full: paths and plain values."""
    layers_of(place)
    shown, options = place.shown, place.shown["options"]
    path = desk.session.room("palette.json")
    write_palette(place.kept["palette"], path)
    item = desk.session.item(shown["file"], "artwork")
    return {
        "artwork": str(item.path), "width_mm": shown["width_mm"], "palette": str(path), "name": f"{item.path.stem}-job",
        "options": {name: options[name] for name in SEPARATION},
        "machine": str(desk.session.item(options["machine"], "machine").path) if options["machine"] else "",
        "stock": str(desk.session.item(options["stock"], "stock").path) if options["stock"] else "",
    }  # fmt: skip


def save_palette(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The palette in use, with what was exchanged, as a file on the desk to download."""
    as_seen(desk.place("artwork"), values)
    palette = desk.place("artwork").kept.get("palette")
    if palette is None:
        raise DataError("no palette is chosen.")
    path = desk.session.room("palette.json")
    write_palette(dataclasses.replace(palette, name=values.get("name") or palette.name), path)
    return desk.made("palette", path, f"{values.get('name') or palette.name}.json").as_dict()
