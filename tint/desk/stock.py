"""The place "stock": from a marked plate to a palette."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path
from typing import Any

import numpy as np

from tint.desk.desk import Desk, full_cautions
from tint.desk.labour import fit_patches, read_plate_photo, zipped
from tint.desk.plain import hexes, lab_plain, palette_plain, rounded, setting_plain, stock_words
from tint.desk.readings import TABLES, grid_of, patches_of
from tint.desk.session import Item, Place
from tint.errors import DataError, TintError
from tint.files.write import write_file
from tint.lab import lab_from_hex
from tint.measure.patches import Patches, read_patches, write_patches
from tint.measure.photo.picture import open_photo
from tint.measure.photo.vision import opencv
from tint.model.model import ColourModel, read_model
from tint.model.pool import candidate_pool
from tint.model.propose import propose
from tint.model.report import FitReport, report_text, worse_than
from tint.palette.choose import choose_palette
from tint.palette.palette import write_palette
from tint.plan.first import plan_grid
from tint.plan.grid import Grid
from tint.plan.layout import lay_out
from tint.plan.plate import write_plate
from tint.setting import WORDS, Machine, Stock, toml_text

DROPPED = "dropped on the desk"  # the flag of a patch the operator took out
SHOWN_COLOURS = 1500  # of the reach: more dots cover each other
OTHER = "Look, another"  # first words of the warning that patches were marked on something else than what is chosen
PHOTO_PX = 1600  # longest side of a photo shown
START_INSET = 0.1  # of a photo's sides: where the corners stand before they are dragged


def read_readings(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The patches of a table, or of an instrument's file with the grid that was marked."""
    item, grid = desk.session.item(values["file"], *TABLES), grid_of(desk, values.get("grid"))
    patches, said = patches_of(desk, item, grid)
    return _taken(desk, patches, grid if item.kind == "reading" else None, item, said=list(said))


def show_photo(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place with a photograph on it, not read yet: its size, and corners to start from [px]."""
    item = desk.session.item(values["file"], "photo")
    photo = open_photo(item.path)
    width, height = photo.size_px
    place = desk.place("stock")
    scale = min(1.0, PHOTO_PX / max(width, height))
    shown = opencv().resize(photo.pixels, None, fx=scale, fy=scale, interpolation=opencv().INTER_AREA)
    if photo.full > 255:
        shown = np.round(255 * photo.linear1(shown) ** (1 / 2.2)).astype(np.uint8)
    place.kept["photo"] = shown
    inset = START_INSET
    corners = [
        [width * x, height * y]
        for x, y in ((inset, inset), (1 - inset, inset), (1 - inset, 1 - inset), (inset, 1 - inset))
    ]
    place.shown = {
        **{name: value for name, value in place.shown.items() if name in ("model", "palette")},
        "photo": {
            "file": item.id,
            "name": item.name,
            "size_px": [width, height],
            "corners_px": corners,
            "read": False,
            "rev": place.kept.get("rev", 0),
        },
    }
    place.kept.pop("patches", None)
    return place.shown


def start_photo(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The work that reads the photograph on the desk as the grid that was marked."""
    place = desk.place("stock")
    if not place.shown.get("photo"):
        raise DataError("no photo is on the desk. Load one first.")
    item = desk.session.item(place.shown["photo"]["file"], "photo")
    grid_item = desk.session.item(values["grid"], "grid")
    folder = desk.session.room("photo").parent

    def done(said: dict[str, Any]) -> dict[str, Any]:
        with place.lock:
            place.kept["rev"] = place.kept.get("rev", 0) + 1
            place.kept["photo"] = (folder / "overlay.png").read_bytes()
            photo = {
                "file": item.id, "name": item.name, "size_px": said["size_px"], "corners_px": said["corners_px"], "read": True,
                "rev": place.kept["rev"],
            }  # fmt: skip
            _taken(
                desk,
                read_patches(folder / "patches.csv"),
                grid_of(desk, grid_item.id),
                item,
                photo=photo,
                said=said["said"],
            )
        return {"patches": said["patches"]}

    arguments = (str(item.path), str(grid_item.path), values["chart"], values.get("corners_px"), str(folder))
    return desk.workshop.start("reading the photo", "stock", read_plate_photo, arguments, done).as_dict()


def photo_picture(desk: Desk, values: dict[str, Any]) -> bytes:
    """PNG of the photograph on the desk, with what was read drawn over it once it was."""
    photo = desk.place("stock").kept.get("photo")
    if photo is None:
        raise DataError("no photo is on the desk. Load one first.")
    if isinstance(photo, bytes):
        return photo
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(photo).save(out, "PNG", compress_level=1)
    return out.getvalue()


def _taken(desk: Desk, patches: Patches, grid: Grid | None, item: Item, **more: Any) -> dict[str, Any]:
    """The place with new patches on it."""
    place = desk.place("stock")
    place.kept |= {"patches": patches, "grid": grid}
    place.shown = {
        "file": item.id,
        "name": item.name,
        "grid": grid.name if grid is not None else "",
        "machine": _same(desk, "machine", patches.facts.get("machine", ""), grid.machine if grid is not None else None),
        "stock": _same(desk, "stock", patches.facts.get("stock", ""), grid.stock if grid is not None else None),
        "facts": {
            key: value
            for key, value in patches.facts.items()
            if key in ("stock", "machine", "instrument", "geometry", "remark", "source")
        },
        "bare": lab_plain(patches.bare_lab) if patches.bare_lab is not None else None,
        "bare_hex": hexes(patches.bare_lab[None])[0] if patches.bare_lab is not None else None,
        "patch_mm": grid.patch_mm if grid is not None else None,
        "plate_mm": list(grid.plate_mm) if grid is not None else None,
        "patches": _patch_rows(patches),
        "model": None,
        "photo": None,
        "said": [],
        **more,
    }
    return place.shown


def _same(desk: Desk, kind: str, name: str, known: Machine | Stock | None) -> str | None:
    """Id of the machine or stock of this name on the desk; of the grid's own, written out, where there is none; else None."""
    reader = desk.machine if kind == "machine" else desk.stock
    for item in desk.session.items:
        try:
            if item.kind == kind and (reader(item.id) == known or (known is None and reader(item.id).name == name)):
                return item.id
        except TintError:
            continue  # a file that cannot be read is not it
    if known is None:
        return None
    path = desk.session.room(f"{kind}.toml")
    write_file(path, toml_text(known))
    return desk.made(kind, path, f"{known.name}.toml").id


def _patch_rows(patches: Patches) -> list[dict[str, Any]]:
    screen, placed = hexes(patches.lab), _on_the_map(patches)
    return [
        {
            "id": patches.ids[i],
            "x_mm": placed[i][0],
            "y_mm": placed[i][1],
            "lab": lab_plain(patches.lab[i]),
            "hex": screen[i],
            "sd": rounded(patches.sd[i], 2),
            "flag": patches.flags[i],
            "setting": str(patches.setting[i]),
        }
        for i in range(len(patches))
    ]


def _on_the_map(patches: Patches) -> list[list[float | None]]:
    """Places on the plate [mm], where they are known for all; else none."""
    known = np.isfinite(patches.xy_mm).all()
    return [[round(float(value), 3) for value in xy] if known else [None, None] for xy in patches.xy_mm]


def drop_patches(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place with patches taken out of the fit, or taken in again."""
    place = desk.place("stock")
    patches = _patches(place)
    if unknown := [name for name in values["patches"] if name not in patches.ids]:
        raise DataError(f"{unknown[0]!r} is not a patch of this plate.")
    chosen = set(values["patches"])
    flags = tuple(
        ((flag or DROPPED) if values["drop"] else "") if name in chosen else flag
        for name, flag in zip(patches.ids, patches.flags, strict=True)
    )
    place.kept["patches"] = dataclasses.replace(patches, flags=flags)
    place.shown["patches"] = _patch_rows(place.kept["patches"])
    return place.shown


def _patches(place: Place) -> Patches:
    if "patches" not in place.kept:
        raise DataError("no patches are on the desk. Load a table or a photo of a grid first.")
    return place.kept["patches"]


def save_patches(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The patches with what was dropped, as a file on the desk to download."""
    path = desk.session.room("patches.csv")
    write_patches(_patches(desk.place("stock")), path)
    return desk.made("patches", path).as_dict()


def start_fit(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The work that fits colour to the settings of the patches."""
    place = desk.place("stock")
    table = desk.session.room("patches.csv")
    patches = _patches(place)
    write_patches(patches, table)
    chosen = {"machine": desk.machine(values["machine"]).name, "stock": desk.stock(values["stock"]).name}
    place.shown["said"] = [line for line in place.shown["said"] if not line.startswith(OTHER)] + [
        f"{OTHER} {kind}: the patches say {patches.facts[kind]!r}, {name!r} is chosen. A model of the wrong {kind} is worthless."
        for kind, name in chosen.items() if patches.facts.get(kind, name) != name
    ]  # fmt: skip
    paths = [str(desk.session.item(values[kind], kind).path) for kind in ("machine", "stock")]
    base = str(desk.session.item(values["base"], "model").path) if values.get("base") else None
    model_path = desk.session.room("model.json")

    def done(said: dict[str, Any]) -> dict[str, Any]:
        item = desk.made("model", Path(said["path"]), f"model of {desk.stock(values['stock']).name}.json")
        with place.lock:
            answer = show_model(desk, {"model": item.id})
        return {"model": answer["model"], "file": item.as_dict()}

    return desk.workshop.start("fit", "stock", fit_patches, (str(table), *paths, base, str(model_path)), done).as_dict()


def show_model(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place with what a model found out about itself, and what it can reach."""
    place = desk.place("stock")
    model = desk.model(values["model"])
    place.shown["model"] = {
        "id": values["model"],
        "machine": model.machine.name,
        "stock": stock_words(model.stock),
        "kind": model.kind,
        "report": _report_plain(model.report),
        "text": report_text(model.report),
        "reach": _reach(model),
        "cautions": full_cautions(model.machine, model.stock),
    }
    return place.shown


def _report_plain(report: FitReport) -> dict[str, Any]:
    return {
        "median_de00": rounded(report.scores[0].median_de00, 1),
        "p90_de00": rounded(report.scores[0].p90_de00, 1),
        "worse_than": worse_than(report),
        "coverage": rounded(report.coverage, 2),
        "radius_de00": rounded(report.radius_de00, 1),
        "patches": report.patches,
        "flagged": report.flagged,
        "scores": [
            {
                "name": score.name,
                "median_de00": rounded(score.median_de00, 2),
                "p90_de00": rounded(score.p90_de00, 2),
                "share": rounded(score.weight, 2),
            }
            for score in report.scores
        ],
        "outliers": list(report.outliers),
        "missing": list(report.missing),
        "effects": [{"words": WORDS[name], "de00": rounded(shift, 1)} for name, shift in report.effects],
        "fixed": [WORDS[name] for name in report.fixed_fields],
        "drift_pct": rounded(report.drift_pct, 2) if report.drift_pct is not None else None,
        "drift_sd_pct": rounded(report.drift_sd_pct, 2) if report.drift_sd_pct is not None else None,
        "remarks": list(report.remarks),
    }


def _reach(model: ColourModel) -> dict[str, Any]:
    """Predicted colours of the pool and the measured ones, for a map of what the stock can show."""
    pool = candidate_pool(model)
    some = pool.lab[:: max(1, len(pool) // SHOWN_COLOURS)]
    return {
        "predicted": [[*lab_plain(lab), colour] for lab, colour in zip(some, hexes(some), strict=True)],
        "measured": [[*lab_plain(lab), name] for lab, name in zip(model.patches.lab, model.patches.ids, strict=True)],
    }


def make_palette(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """A palette of n colours of a model, as a file on the desk to download and to work with."""
    palette = choose_palette(desk.model(values["model"]), values["n"], name=values.get("name") or None)
    path = desk.session.room("palette.json")
    write_palette(palette, path)
    item = desk.made("palette", path, f"{palette.name}.json")
    desk.place("stock").shown["palette"] = {"file": item.as_dict(), **palette_plain(palette)}
    return desk.place("stock").shown


def next_plate(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The folder of the next grid of a model, packed for download; the grid itself is on the desk too."""
    model: ColourModel = desk.session.read(desk.session.item(values["model"], "model"), read_model)
    wanted = [lab_from_hex(text) for text in values.get("toward", ())]
    setting = propose(model, values["n"], toward=wanted or None)
    return packed(desk, lay_out(setting, model.machine, model.stock, name=values.get("name") or "next plate"))


def first_plate(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The folder of a first grid for a machine and a stock, packed for download; the grid itself is on the desk too."""
    machine, stock = desk.machine(values["machine"]), desk.stock(values["stock"])
    return packed(desk, plan_grid(machine, stock, values["n"], name=values.get("name") or "plate 1"))


def packed(desk: Desk, grid: Grid) -> dict[str, Any]:
    """The plate's folder as a download, the grid on the desk, and what the page says of them."""
    folder = desk.session.room("plate")
    write_plate(grid, folder)
    item = desk.made("download", zipped(folder))
    known = desk.made("grid", folder / "grid.json", f"{grid.name} ({grid.mark})")
    order = np.argsort(grid.order)[:6]
    return {
        "file": item.as_dict(),
        "grid": known.as_dict(),
        "patches": len(grid),
        "minutes": rounded((grid.time_s + grid.turn_s) / 60, 0),
        "first": [{"patch": grid.ids[i], **setting_plain(grid.setting[int(i)])} for i in order],
        "cautions": full_cautions(grid.machine, grid.stock),
    }
