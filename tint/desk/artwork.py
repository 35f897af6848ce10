"""The place "artwork": a picture or drawing into layers, tried on a preview, then in full."""

from __future__ import annotations

import dataclasses
from typing import Any

from tint.artwork.artwork import Artwork, Drawing, Picture, Shape, read_artwork
from tint.artwork.preview import reduced
from tint.desk.artwork_said import layer_rows, remarks, warnings
from tint.desk.desk import Desk, full_cautions
from tint.desk.labour import read_drawing_aside
from tint.desk.plain import lab_plain, palette_plain, rounded, setting_plain, stock_words
from tint.desk.separation import separated
from tint.desk.session import Item, Place
from tint.errors import DataError, LimitError
from tint.job.job import Job, plan_job
from tint.job.order import clock
from tint.lab import hex_from_lab
from tint.layers.layers import Layers
from tint.layers.tonal import MAX_CELL_MM, cell_for
from tint.model.find import find_setting
from tint.model.model import ColourModel
from tint.palette.along import along_of
from tint.palette.choose import choose_from
from tint.palette.curve import MOST, Curve, error_curve
from tint.palette.fewer import fewer_colours
from tint.palette.offer import Offer, offer_of
from tint.palette.palette import Palette
from tint.palette.swap import swap_colour
from tint.process import spot_mm
from tint.setting import Machine, Setting

PREVIEW_PX = (
    1400  # longest side of what is tried on: a screen's worth, and a fresh separation stays well below a second
)
MAPPED_PX = 900  # longest side where colours are mapped before they are separated
PREVIEW_CELLS = 500  # of tones along the longer side: larger cells than the job's, but tried in half a second
NEAREST_WISH = 6  # settings offered in exchange for a colour
LARGE_DRAWING_BYTES = 300_000  # some 4,000 shapes: seconds to cut away what is hidden, too long for a page that cannot stop it
OPENING = "opening the drawing"  # as the page shows it
FIRST_WIDTH_MM = 60.0  # width of a picture until the page says another
SEPARATION = (
    "way",
    "map",
    "cell_mm",
    "paper",
    "ink",
    "smooth",
    "speck_mm2",
    "join",
)  # options that reach the separation
OPTIONS: dict[str, Any] = {
    "palette": None,
    "model": None,
    "colours": None,
    "way": "flat",
    "map": None,
    "cell_mm": None,
    "paper": True,
    "ink": True,
    "smooth": False,
    "speck_mm2": None,
    "join": [],
    "keep": [],
    "machine": None,
    "stock": None,
}


def open_artwork(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """What is known of the artwork, at a width; its preview is made. Of a large drawing: the work that reads it, which can be stopped."""
    item = desk.session.item(values["file"], "artwork")
    place = desk.place("artwork")
    width_mm = values.get("width_mm")
    vector = item.path.suffix == ".svg"
    kept = place.kept.get("artwork") if place.shown.get("file") == item.id else None
    large = vector and item.path.stat().st_size >= LARGE_DRAWING_BYTES
    if isinstance(kept, Picture) or (large and isinstance(kept, Drawing) and width_mm):
        return _laid_out(place, item, _at_width(kept, width_mm or kept.width_mm), place.shown["size_px"])
    if large:
        return {"work": _read_aside(desk, place, item, width_mm)}
    whole = read_artwork(item.path, width_mm if vector else width_mm or FIRST_WIDTH_MM)
    if isinstance(whole, Picture):
        return _laid_out(place, item, reduced(whole, PREVIEW_PX), [whole.srgb255.shape[1], whole.srgb255.shape[0]])
    return _laid_out(place, item, whole, None)


def _at_width(artwork: Picture | Drawing, width_mm: float) -> Artwork:
    """The same pixels or shapes at another width [mm]."""
    times = width_mm / artwork.width_mm
    size: dict[str, Any] = {"width_mm": width_mm, "height_mm": artwork.height_mm * times}
    if isinstance(artwork, Picture):
        return dataclasses.replace(artwork, **size)
    import shapely

    regions = shapely.transform([shape.region for shape in artwork.shapes], lambda points: points * times)
    shapes = tuple(dataclasses.replace(shape, region=region) for shape, region in zip(artwork.shapes, regions, strict=True))
    return dataclasses.replace(artwork, shapes=shapes, **size)


def _read_aside(desk: Desk, place: Place, item: Item, width_mm: float | None) -> dict[str, Any]:
    """The work that reads a large drawing in a process of its own and then lays it out."""

    def done(said: dict[str, Any]) -> dict[str, Any]:
        import shapely

        rows = zip(shapely.from_wkb(said.pop("regions")), said.pop("srgb255"), said.pop("sources"), strict=True)
        drawing = Drawing(**said, shapes=tuple(Shape(region, colour, source) for region, colour, source in rows))
        with place.lock:
            _laid_out(place, item, drawing, None)
        return {"file": item.id}

    return desk.workshop.start(OPENING, "artwork", read_drawing_aside, (str(item.path), width_mm), done).as_dict()


def _laid_out(place: Place, item: Item, artwork: Artwork, size_px: list[int] | None) -> dict[str, Any]:
    """What is known of the artwork, now on the desk."""
    same = place.shown.get("file") == item.id
    options = place.shown["options"] if place.shown else dict(OPTIONS)
    if not same:
        options = {**options, "join": []}
        place.kept.pop("swaps", None)
    place.kept |= {"artwork": artwork, "layers": None, "full": None}
    place.shown = {
        "file": item.id,
        "name": item.name,
        "kind": "drawing" if isinstance(artwork, Drawing) else "picture",
        "size_px": size_px,
        "width_mm": round(artwork.width_mm, 4),
        "height_mm": round(artwork.height_mm, 4),
        "options": options,
        "result": None,
        "full": None,
        "rev": place.shown.get("rev", 0) + 1,
    }
    return place.shown


def try_out(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place after a change of options: layers of the preview with times, what they lose, and warnings."""
    place = desk.place("artwork")
    artwork = artwork_of(place)
    options = {**place.shown["options"], **values}
    if (options["palette"], options["model"]) != (place.shown["options"]["palette"], place.shown["options"]["model"]):
        options |= {"join": values.get("join", []), "keep": values.get("keep", []), "colours": values.get("colours")}
        place.kept.pop("swaps", None)
    base, palette, options = _palette(desk, place, artwork, options)
    machine = desk.machine(options["machine"]) if options["machine"] else palette.machine
    cell_mm, true_cell_mm = _cells_mm(artwork, palette, options)
    layers = separated(_tried(place, artwork, options), palette, options, preview_pitch_mm(artwork), cell_mm=cell_mm)
    job, problem = _planned(desk, layers, machine, options)
    place.kept |= {"layers": layers, "palette": palette, "job": job, "full": None, "lost": None}
    place.shown |= {
        "options": options,
        "rev": place.shown["rev"] + 1,
        "full": None,
        "result": {
            "palette": palette_plain(palette),
            "most_colours": len(base) if base is not None else min(MOST, len(place.kept["offer"][1])),
            "suggested": None if base is not None else place.kept["offer"][2].suggested,
            "suggestion": "" if base is not None else place.kept["offer"][2].words(),
            "pitch_mm": rounded(layers.pitch_mm, 5),
            "true_cell_mm": rounded(true_cell_mm, 4) if true_cell_mm else None,
            "spot_mm": rounded(spot_mm(machine), 4),
            "layers": layer_rows(layers, job),
            "problem": problem,
            "warnings": warnings(layers, job),
            "remarks": remarks(palette, layers, job),
            "marking": clock(job.marking_s) if job else "",
            "waits": clock(job.wait_s) if job else "",
            "total": clock(job.total_s) if job else "",
            "stock": stock_words(palette.stock),
            "machine": machine.name,
            "jitter": palette.jitter,
            "cautions": full_cautions(machine, palette.stock),
        },
    }
    return place.shown


def artwork_of(place: Place) -> Artwork:
    """The artwork on the desk; raises `DataError` where there is none."""
    if "artwork" not in place.kept:
        raise DataError("no artwork is on the desk. Drop a picture or drawing first.")
    return place.kept["artwork"]


def _palette(
    desk: Desk, place: Place, artwork: Artwork, options: dict[str, Any]
) -> tuple[Palette | None, Palette, dict[str, Any]]:
    """The palette chosen from (None: a model), what is left of it, and the options that hold for it."""
    if options["model"]:
        base = None
        offer, curve = _offered(desk, place, artwork, options)
        n = min(max(options["colours"] or curve.suggested, len(offer.kept), 1), len(offer))
        palette = choose_from(offer, n, f"{offer.model.stock.name} for {artwork.name}")
        place.kept["chosen"] = palette
    elif options["palette"]:
        base = desk.palette(options["palette"])
        n = min(options["colours"] or len(base), len(base))
        keep = [name for name in options["keep"] if name in {colour.name for colour in base.colours}]
        n = max(n, len(keep))
        palette = fewer_colours(base, n, artwork, keep=keep) if n < len(base) else base
        options = {**options, "keep": keep}
    else:
        raise DataError("no palette is chosen. Choose one, or a colour model to choose colours from.")
    for name, (candidate, along) in place.kept.get("swaps", {}).items():
        number = next((i for i, colour in enumerate(palette.colours, 1) if colour.name == name), None)
        palette = swap_colour(palette, number, candidate, along=along) if number else palette
    return base, palette, {**options, "colours": n}


def _offered(desk: Desk, place: Place, artwork: Artwork, options: dict[str, Any]) -> tuple[Offer, Curve]:
    """What a model offers this artwork, and how much each further colour is worth; kept until something of it changes."""
    chosen = place.kept.get("chosen")
    known = (
        {colour.name for colour in chosen.colours}
        if chosen is not None and place.kept.get("model") == options["model"]
        else set()
    )
    keep = [name for name in options["keep"] if name in known]
    key = (options["model"], place.shown["file"], tuple(options["keep"]))
    if place.kept.get("offer", (None,))[0] != key:
        offer = offer_of(desk.model(options["model"]), artwork, keep=keep, old=chosen if keep else None)
        place.kept["offer"] = key, offer, error_curve(offer)
    place.kept["model"] = options["model"]
    return place.kept["offer"][1:]


def preview_pitch_mm(artwork: Artwork) -> float | None:
    """Pixel of a drawing's preview [mm], None for a picture, which keeps its own."""
    return max(artwork.width_mm, artwork.height_mm, 3.0) / PREVIEW_PX if isinstance(artwork, Drawing) else None


def _tried(place: Place, artwork: Artwork, options: dict[str, Any]) -> Artwork:
    """What the separation is tried on: a smaller picture still where colours are mapped, which takes longest."""
    if options["map"] is None or not isinstance(artwork, Picture):
        return artwork
    if place.kept.get("small", (None,))[0] is not artwork:
        place.kept["small"] = artwork, reduced(artwork, MAPPED_PX)
    return place.kept["small"][1]


def _cells_mm(artwork: Artwork, palette: Palette, options: dict[str, Any]) -> tuple[float | None, float | None]:
    """Side of the preview's cells and of the job's [mm]; None twice for flat layers."""
    if options["way"] == "flat":
        return None, None
    true_mm = cell_for(palette, options["cell_mm"])[0]
    return min(max(true_mm, max(artwork.width_mm, artwork.height_mm) / PREVIEW_CELLS), MAX_CELL_MM), true_mm


def _planned(desk: Desk, layers: Layers, machine: Machine, options: dict[str, Any]) -> tuple[Job | None, str]:
    """The job of the preview, or why there can be none: artwork larger than the blank, a setting beyond the machine."""
    stock = desk.stock(options["stock"]) if options["stock"] else None
    try:
        return plan_job(layers, machine, stock=stock), ""
    except (LimitError, DataError) as error:
        return None, str(error)


def as_seen(place: Place, values: dict[str, Any]) -> None:
    """Nothing; raises where the piece is another than the window shows that asks."""
    if values.get("rev", place.shown.get("rev")) != place.shown.get("rev"):
        raise DataError("the piece was changed in another window. Reload this one to see it.")


def layers_of(place: Place) -> Layers:
    """Layers of the preview; raises `DataError` where there are none yet."""
    layers = place.kept.get("layers")
    if layers is None:
        raise DataError("no layers yet. Choose a palette first.")
    return layers


def other_settings(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """Settings that could take a layer's place: those nearest to the colour the artwork wanted there."""
    place = desk.place("artwork")
    as_seen(place, values)
    layers, number = layers_of(place), values["number"]
    if number not in layers.used:
        raise DataError("that colour is not used by this artwork.")
    model = _model_of(desk, place, layers.palette)
    found = find_setting(model, layers.wanted_lab[number], n=NEAREST_WISH)
    settings = Setting.from_table([each.setting.table() for each in found.candidates])
    place.kept["offered"] = {
        "number": number,
        "candidates": list(zip(found.candidates, along_of(model, settings), strict=True)),
    }
    return {
        "number": number,
        "wanted": hex_from_lab(found.wish_lab),
        "reachable": bool(found.reachable),
        "candidates": [
            {
                "hex": hex_from_lab(each.lab),
                "lab": lab_plain(each.lab),
                "de00": rounded(each.de00, 1),
                "de00_90": rounded(each.de00_90, 1),
                "sensitivity_de00": rounded(each.sensitivity_de00, 1),
                "setting": setting_plain(each.setting),
            }
            for each in found.candidates
        ],
    }


def _model_of(desk: Desk, place: Place, palette: Palette) -> ColourModel:
    model = desk.model_of(palette, place.shown["options"]["model"])
    if model is None:
        raise DataError(
            f"no colour model of {palette.stock.name} on {palette.machine.name} is on the desk. Load it, or fit one under Stock."
        )
    return model


def swap(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place after a colour was exchanged for one of the settings offered, or given back its own."""
    place = desk.place("artwork")
    as_seen(place, values)
    offered, palette = place.kept.get("offered"), place.kept.get("palette")
    if offered is None or palette is None or not 0 <= values["choice"] < len(offered["candidates"]):
        raise DataError("that setting is not on offer. Ask for other settings first.")
    if not 1 <= offered["number"] <= len(palette):
        raise DataError("the palette has changed since. Ask for other settings again.")
    swaps = place.kept.setdefault("swaps", {})
    swaps[palette.colours[offered["number"] - 1].name] = offered["candidates"][values["choice"]]
    place.kept["offered"] = None
    return try_out(desk, {})
