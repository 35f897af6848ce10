"""Every format tint reads: good files of it, and the command that reads one. All files are invented or simulated."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from good_shop import PLATE, Shop

DATA = Path(__file__).parents[1] / "data"


@dataclass(frozen=True)
class Format:
    """A format tint reads.

    Parameters
    ----------
    name : what the table calls it
    file : name of the mutated file
    family : of `mutated.FAMILIES`
    good : gives good files of it
    words : gives the command, from the mutated file's path, the shop and a path for the output
    beside : gives files that have to lie beside it, by name; folders are copied
    share : of the inputs of a long run that fall on it
    """

    name: str
    file: str
    family: str
    good: Callable[[Shop], list[bytes]]
    words: Callable[[Path, Shop, Path], list[object]]
    beside: Callable[[Shop], list[Path]] = lambda shop: []
    share: float = 1.0


# --- good files -------------------------------------------------------------------------------------------------


def _reading(shop: Shop) -> list[bytes]:
    from tint.plan.grid import read_grid

    ids = read_grid(shop.folder / "plate").ids
    lab = "\n".join(
        [
            "# geometry: 45/0",
            "# illuminant: D65",
            "patch,L,a,b,sd,flag",
            *(f"{name},{60 - i},{i},-{i}.5,0.3," for i, name in enumerate(ids)),
            "bare,78.1,0.4,3.2,,",
        ]
    )
    waves = range(400, 701, 20)
    spectra = ["# scale: percent", "# observer: 2", "patch;" + ";".join(f"nm{nm}" for nm in waves)]
    spectra += [f"{name};" + ";".join(f"{30 + i},{nm % 7}" for nm in waves) for i, name in enumerate(ids)]
    return [lab.encode(), "\n".join(spectra).encode()]


def _mixtures(shop: Shop) -> list[bytes]:
    from tint.layers.mixture import mixture_lab, mixtures_text, strip_areas
    from tint.palette.palette import read_palette

    palette = read_palette(shop.folder / "palette.json")
    area = strip_areas(len(palette), (0.5,))[:14]
    return [mixtures_text(area, [colour.name for colour in palette.colours], mixture_lab(area, palette.lab)).encode()]


def _saved(image, kind: str, **options) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def _profile() -> bytes:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def _png(shop: Shop) -> list[bytes]:
    from PIL import Image, PngImagePlugin

    rgb, text = shop.picture.convert("RGB"), PngImagePlugin.PngInfo()
    text.add_text("Title", "a kingfisher", zip=True)
    text.add_itxt("Comment", "grün", zip=True)
    deep = Image.fromarray(np.asarray(rgb.convert("L"), np.uint16) * 257)
    return [
        _saved(shop.picture, "PNG"),
        _saved(rgb.quantize(16), "PNG", transparency=3),
        _saved(deep, "PNG"),
        _saved(rgb, "PNG", icc_profile=_profile(), pnginfo=text, dpi=(300, 300)),
        _saved(rgb.convert("1"), "PNG"),
        _saved(shop.picture.convert("LA"), "PNG"),
    ]


def _jpeg(shop: Shop) -> list[bytes]:
    from PIL import Image

    rgb, exif = shop.picture.convert("RGB"), Image.Exif()
    exif[0x0112], exif[0x010E] = 6, "a kingfisher"
    return [
        _saved(rgb, "JPEG", exif=exif, icc_profile=_profile()),
        _saved(rgb, "JPEG", progressive=True),
        _saved(rgb.convert("L"), "JPEG"),
        _saved(rgb.convert("CMYK"), "JPEG"),
        _saved(rgb, "JPEG", exif=exif, quality=30),
    ]


def _tiff(shop: Shop) -> list[bytes]:
    import tifffile

    rgb = shop.picture.convert("RGB")
    deep = io.BytesIO()
    tifffile.imwrite(deep, np.asarray(rgb, np.uint16) * 257, photometric="rgb")
    tiled = io.BytesIO()
    tifffile.imwrite(tiled, np.asarray(rgb), photometric="rgb", tile=(16, 16), bigtiff=True)
    return [
        _saved(rgb, "TIFF"),
        _saved(rgb, "TIFF", compression="tiff_lzw"),
        _saved(rgb.convert("CMYK"), "TIFF", compression="tiff_deflate"),
        _saved(shop.picture, "TIFF", icc_profile=_profile(), compression="packbits"),
        deep.getvalue(),
        tiled.getvalue(),
        _saved(rgb, "TIFF", compression="jpeg"),
    ]


def _webp(shop: Shop) -> list[bytes]:
    return [_saved(shop.picture, "WEBP"), _saved(shop.picture, "WEBP", lossless=True, icc_profile=_profile())]


def _batch(shop: Shop) -> list[bytes]:
    from tint.batch.folder import BatchFolder
    from tint.batch.task import Outcome, Piece

    place = BatchFolder(shop.folder / "batch", order(shop))
    piece = Piece("heron", "heron.svg", b"<svg")
    if not (place.path / "records" / "heron.json").is_file():
        place.keep(piece, Outcome({"job.json": b"{}"}, b"", {"width_mm": 30.0, "layers": 2.0}, ("a remark",), "", 0.5))
    return [(place.path / "batch.json").read_bytes(), (place.path / "records" / "heron.json").read_bytes()]


def order(shop: Shop):
    """What the artworks of a batch share."""
    from tint.batch.task import Order
    from tint.palette.palette import read_palette

    palette = read_palette(shop.folder / "palette.json")
    return Order(palette, palette.machine)


def _cgats(shop: Shop) -> list[bytes]:
    return [(DATA / name).read_bytes() for name in ("plate_spectral.cgats", "plate_lab.cgats")]


def _cxf(shop: Shop) -> list[bytes]:
    return [(DATA / "plate.cxf").read_bytes()]


def _history_with(table: str, column: str) -> Callable[[Shop], list[bytes]]:
    """Text of one column of the history as a good 'file', so that what lies inside the database is mutated too."""

    def good(shop: Shop) -> list[bytes]:
        import sqlite3
        import tempfile

        with tempfile.TemporaryDirectory() as place:
            (Path(place) / "h.sqlite").write_bytes(shop.history)
            base = sqlite3.connect(Path(place) / "h.sqlite")
            rows = [text.encode() for (text,) in base.execute(f"SELECT {column} FROM {table}")]
            base.close()
        return rows

    return good


# --- commands ---------------------------------------------------------------------------------------------------


def _measure(kind: str) -> Callable[[Path, Shop, Path], list[object]]:
    return lambda path, shop, out: ["measure", shop.folder / "plate", path, "--kind", kind, "-o", out / "patches.csv"]


def _separate(path: Path, shop: Shop, out: Path) -> list[object]:
    return ["separate", path, shop.folder / "palette.json", "--width-mm", 12, "-o", out / "layers"]


def _grid(path: Path, shop: Shop, out: Path) -> list[object]:
    other = {"machine.toml": "stock.toml", "stock.toml": "machine.toml"}[path.name]
    files = {path.name: path, other: shop.folder / other}
    return ["grid", files["machine.toml"], "--stock", files["stock.toml"], "-n", 12, "-o", out / "plate"]


def _job(path: Path, shop: Shop, out: Path) -> list[object]:
    return ["job", path.parent, shop.folder / "machine.toml", "-o", out / "job"]


def _timed(path: Path, shop: Shop, out: Path) -> list[object]:
    times = ["--timed", f"{path}=40:20", "--timed", f"{shop.simulated / 'job-shaded'}=60:05"]
    return ["job", shop.folder / "layers", shop.folder / "machine.toml", *times, "-o", out / "job"]


def _predict(path: Path, shop: Shop, out: Path) -> list[object]:
    return [
        "predict",
        path,
        "--power-pct",
        28,
        "--speed-mm-s",
        900,
        "--freq-khz",
        320,
        "--pulse-ns",
        14,
        "--spacing-mm",
        0.002,
    ]


FORMATS = (
    Format(
        "strip or patches CSV",
        "patches.csv",
        "table",
        lambda shop: [shop.read("strip-first.csv"), shop.read("strip-later.csv")],
        lambda path, shop, out: ["check", shop.folder / "palette.json", path, "--no-record"],
    ),
    Format(
        "settings CSV",
        "settings.csv",
        "table",
        lambda shop: [(shop.folder / "plate" / "settings.csv").read_bytes()],
        lambda path, shop, out: ["predict", shop.folder / "model.json", "--settings", path],
    ),
    Format("reading CSV", "reading.csv", "table", _reading, _measure("csv")),
    Format("CGATS", "reading.txt", "table", _cgats, _measure("cgats")),
    Format("CxF", "reading.cxf", "xml", _cxf, _measure("cxf")),
    Format(
        "mixtures CSV",
        "mixtures.csv",
        "table",
        _mixtures,
        lambda path, shop, out: [
            "separate",
            shop.folder / "small.png",
            shop.folder / "palette.json",
            "--width-mm",
            12,
            "--tonal",
            "--mixtures",
            path,
            "-o",
            out / "layers",
        ],
        share=0.1,
    ),
    Format(
        "machine TOML",
        "machine.toml",
        "toml",
        lambda shop: [
            shop.read("machine.toml") + b"power_curve = [[10, 4.1], [50, 27.9], [100, 57.2]]\nturn_ms = 0.6\n"
        ],
        _grid,
    ),
    Format("stock TOML", "stock.toml", "toml", lambda shop: [shop.read("stock.toml")], _grid),
    Format(
        "grid JSON",
        "grid.json",
        "json",
        lambda shop: [(shop.folder / "plate" / "grid.json").read_bytes()],
        lambda path, shop, out: ["measure", path, DATA / "plate_lab.cgats", "-o", out / "patches.csv"],
    ),
    Format("model JSON", "model.json", "json", lambda shop: [shop.read("model.json")], _predict),
    Format(
        "palette JSON",
        "palette.json",
        "json",
        lambda shop: [shop.read("palette.json")],
        lambda path, shop, out: [
            "check",
            path,
            shop.folder / "strip-later.csv",
            "--accept",
            "-o",
            out / "palette-2.json",
        ],
    ),
    Format(
        "palette JSON, exported",
        "palette.json",
        "json",
        lambda shop: [shop.read("palette.json")],
        lambda path, shop, out: ["swatches", path, "-o", out / "swatches"],
        share=0.25,
    ),
    Format(
        "layers JSON",
        "layers.json",
        "json",
        lambda shop: [(shop.folder / "layers" / "layers.json").read_bytes()],
        _job,
        beside=lambda shop: [shop.folder / "layers" / "labels.png"],
    ),
    Format(
        "layers JSON, drawn",
        "layers.json",
        "json",
        lambda shop: [(shop.folder / "drawn" / "layers.json").read_bytes()],
        _job,
        beside=lambda shop: [shop.folder / "drawn" / "labels.png"],
        share=0.5,
    ),
    Format(
        "label map PNG",
        "labels.png",
        "bytes",
        lambda shop: [(shop.folder / "layers" / "labels.png").read_bytes()],
        _job,
        beside=lambda shop: [shop.folder / "layers" / "layers.json"],
    ),
    Format(
        "job JSON", "job.json", "json", lambda shop: [(shop.simulated / "job-sign" / "job.json").read_bytes()], _timed
    ),
    Format(
        "batch JSON", "batch.json", "json", lambda shop: _batch(shop)[:1], lambda path, shop, out: ["", "batch", path]
    ),
    Format(
        "batch record JSON",
        "heron.json",
        "json",
        lambda shop: _batch(shop)[1:],
        lambda path, shop, out: ["", "record", path],
    ),
    Format(
        "history SQLite",
        "palette-history.sqlite",
        "bytes",
        lambda shop: [shop.history],
        lambda path, shop, out: [
            "history",
            path.with_name("palette.json"),
            "--csv",
            out / "history.csv",
            "--chart",
            out / "drift.svg",
        ],
        beside=lambda shop: [shop.folder / "palette.json"],
        share=0.5,
    ),
    Format(
        "history SQLite, checked into",
        "palette-history.sqlite",
        "bytes",
        lambda shop: [shop.history],
        lambda path, shop, out: ["check", path.with_name("palette.json"), shop.folder / "strip-later.csv"],
        beside=lambda shop: [shop.folder / "palette.json"],
        share=0.5,
    ),
    Format(
        "history's palettes",
        "inside.json",
        "json",
        _history_with("versions", "palette"),
        lambda path, shop, out: ["", "versions.palette", path],
        share=0.5,
    ),
    Format(
        "history's colours",
        "inside.json",
        "json",
        _history_with("checks", "colours"),
        lambda path, shop, out: ["", "checks.colours", path],
        share=0.5,
    ),
    Format(
        "SVG",
        "artwork.svg",
        "xml",
        lambda shop: [
            PLATE.encode(),
            *(path.read_bytes() for path in sorted((shop.simulated.parent / "artwork" / "markers").glob("*.svg"))),
        ],
        lambda path, shop, out: ["separate", path, shop.folder / "palette.json", "-o", out / "layers"],
        share=2,
    ),
    Format("PNG", "artwork.png", "bytes", _png, _separate),
    Format("JPEG", "artwork.jpg", "bytes", _jpeg, _separate),
    Format("TIFF", "artwork.tif", "bytes", _tiff, _separate),
    Format("WebP", "artwork.webp", "bytes", _webp, _separate),
    Format(
        "photo of a plate",
        "photo.jpg",
        "bytes",
        lambda shop: [_saved(shop.photo, "JPEG", quality=80)],
        lambda path, shop, out: [
            "measure",
            shop.simulated / "plate-1",
            path,
            "--kind",
            "photo",
            "--chart",
            "before-nov-2014",
            "-o",
            out / "patches.csv",
        ],
        share=0.1,
    ),
    Format(
        "texts of the command line",
        "text.json",
        "json",
        lambda shop: [json.dumps(TEXTS).encode()],
        lambda path, shop, out: ["", "texts", path],
    ),
)

TEXTS = {
    "lab": "46,-10,-26",
    "srgb": "#c8a06a",
    "at": "15,20",
    "timed": "40:20",
    "range": "400:1600",
    "keep": "#27527f",
    "corners": "4,3 29,3 29,22 3,22",
    "cells": "2x3",
    "width": "24",
    "pitch": "0.5",
    "background": "#ffffff",
    "tolerance": "2.5",
    "name": "plate 1",
    "geometry": "45/0",
    "n": "3",
}
