"""The folder of a separation: `layers.json`, `labels.png`, `proof.png`, `report.txt`."""

from __future__ import annotations

import io
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from tint.artwork.raster import MAX_PIXELS
from tint.errors import FileError
from tint.files.own import json_text, number_of, numbers_of, read_json, reading
from tint.files.write import new_folder
from tint.lab import srgb255_from_lab
from tint.layers.layers import Layers, pixels_of
from tint.layers.proof import proof_image
from tint.palette.palette import palette_from

VERSION = 1


def write_layers(layers: Layers, folder: str | Path, *, force: bool = False) -> Path:
    """Path of the separation's folder, written whole; `read_layers` gives the same layers back.

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    """
    with new_folder(folder, "layers", force=force) as place:
        fill_layers(place, layers)
    return Path(folder)


def fill_layers(place: Path, layers: Layers) -> None:
    """Puts the separation's files into an empty folder that is there."""
    (place / "labels.png").write_bytes(_labels_png(layers))
    proof_image(layers).save(place / "proof.png", dpi=(25.4 / layers.pitch_mm,) * 2, compress_level=3)
    (place / "report.txt").write_text(report_text(layers), encoding="utf-8")
    (place / "layers.json").write_text(json_text("layers", VERSION, _as_dict(layers)), encoding="utf-8")


def read_layers(folder: str | Path) -> Layers:
    """Layers of a separation's folder.

    Raises
    ------
    FileError
        A file of the folder is missing, damaged, or newer than this tint.
    """
    import shapely
    from PIL import Image

    folder = Path(folder)
    if not folder.is_dir():
        raise FileError(f"{folder} is not a folder of layers; `tint separate` writes one.")
    path = folder / "layers.json"
    body = read_json(path, "layers", VERSION)
    damage = f"{folder} is damaged: labels.png and layers.json do not make layers. Separate the artwork again."
    broken = (OSError, SyntaxError, EOFError, MemoryError, Image.DecompressionBombError, shapely.errors.ShapelyError)
    with reading(path, "the layers.", damage, also=broken):
        palette = palette_from(body["palette"], "the palette")
        size_mm, pitch_mm = (number_of(body["width_mm"]), number_of(body["height_mm"])), number_of(body["pitch_mm"])
        with warnings.catch_warnings(action="ignore"), Image.open(folder / "labels.png") as image:  # size is looked at here
            width, height = image.size
            if pixels_of(size_mm, pitch_mm) != (height, width) or width * height > MAX_PIXELS:
                raise FileError(f"labels.png has {width} × {height} pixels, which is not the size layers.json states.")
            labels = np.array(image)
        k = len(palette)
        if not {int(row["number"]) for row in body["layers"]} <= set(range(k + 1)):
            raise ValueError("a layer of no colour")
        wanted, lost = np.full((k + 1, 3), np.nan), np.full(k + 1, np.nan)
        for row in body["layers"]:
            if row["wanted_lab"] is not None:
                place = int(row["number"])
                wanted[place], lost[place] = numbers_of(row["wanted_lab"]), number_of(row["lost_de00"])
        drawn = None
        if body["vector"]:
            outline = {int(row["number"]): row.get("outline") for row in body["layers"]}
            drawn = tuple(shapely.from_wkt(outline.get(number) or "MULTIPOLYGON EMPTY") for number in range(1, k + 1))
            if not shapely.is_valid(drawn).all():
                raise ValueError("an outline crosses itself")
        remarks = tuple(str(line) for line in body["remarks"])
        simplify_px, own_size = float(body["simplify_px"]), size_mm if drawn is not None else None
        smooth = bool(body.get("smooth", False))
        return Layers(
            str(body["name"]), pitch_mm, labels, palette, wanted, lost, remarks, drawn, simplify_px, own_size, smooth
        )


def report_text(layers: Layers) -> str:
    """Text of the folder's `report.txt`: the table of layers, remarks, and how to read the proof."""
    remarks = [*layers.palette.remarks, *layers.remarks]
    said = [f"- {line}" for line in remarks] if remarks else ["- nothing to remark"]
    files = (
        "proof.png    the piece in the predicted colours, one pixel per label. Screens differ, and metal shifts with the angle",
        "             and the light: a guide, not a promise. Mark a trial on scrap of the same batch.",
        "labels.png   the same pixels; each pixel's number is its layer, 0 bare metal. For programs.",
        "layers.json  sizes, palette and outlines. `tint job` turns this folder into a job.",
    )
    return "\n".join([layers_text(layers), "", "Remarks", *said, "", "Files", *files, ""])


def layers_text(layers: Layers) -> str:
    """Table of the layers for people: number, name, area and how far the colours are from those wanted."""
    size = f"{layers.name}: {layers.width_mm:.1f} × {layers.height_mm:.1f} mm, pixel {layers.pitch_mm:.4g} mm"
    off = f" {'off by ΔE00':>12s}" * bool(np.isfinite(layers.lost_de00).any())
    lines = [size, f"{'':3s} {'colour':26s} {'area mm²':>10s}{off}"]
    for number in layers.used:
        lost = layers.lost_de00[number]
        far = f" {lost:12.1f}" * bool(np.isfinite(lost))
        lines.append(f"{number:3d} {layers.names[number]:26s} {layers.area_mm2(number):10.1f}{far}")
    return "\n".join(lines)


def _labels_png(layers: Layers) -> bytes:
    from PIL import Image

    image = Image.fromarray(layers.labels).convert("P")
    image.putpalette(srgb255_from_lab(layers.palette.lab).ravel().tolist())
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(25.4 / layers.pitch_mm,) * 2, compress_level=3)
    return out.getvalue()


def _as_dict(layers: Layers) -> dict[str, Any]:
    import shapely

    rows = []
    for number in (0, *layers.used):
        known = bool(np.isfinite(layers.lost_de00[number]))
        row = {
            "number": number,
            "name": layers.names[number],
            "area_mm2": round(layers.area_mm2(number), 6) if number else None,
            "wanted_lab": layers.wanted_lab[number].round(3).tolist() if known else None,
            "lost_de00": round(float(layers.lost_de00[number]), 3) if known else None,
        }
        if number and layers.drawn is not None:
            row["outline"] = shapely.to_wkt(layers.drawn[number - 1], rounding_precision=-1)
        rows.append(row)
    return {
        "name": layers.name,
        "width_mm": layers.width_mm,
        "height_mm": layers.height_mm,
        "pitch_mm": layers.pitch_mm,
        "vector": layers.drawn is not None,
        "simplify_px": layers.simplify_px,
        "smooth": layers.smooth,
        "remarks": list(layers.remarks),
        "layers": rows,
        "palette": layers.palette.as_dict(),
    }
