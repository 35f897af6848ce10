"""The place "artwork": a picture or drawing into layers, tried on a preview, then in full."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path
from typing import Any

import numpy as np

from tint.artwork.artwork import Artwork, Drawing, Picture, read_artwork
from tint.artwork.preview import reduced
from tint.desk.desk import Desk, full_cautions
from tint.desk.labour import separate_in_full, write_job_and_zip
from tint.desk.plain import hexes, lab_plain, palette_plain, rounded, setting_plain, stock_words
from tint.desk.separation import separated
from tint.desk.session import Place
from tint.errors import DataError, LimitError
from tint.job.job import Job, plan_job
from tint.job.masks import pitch_remark
from tint.job.order import clock
from tint.job.thin import SEEN_MM2, thin_remark
from tint.lab import hex_from_lab
from tint.layers.folder import read_layers
from tint.layers.heated import heated
from tint.layers.layers import Layers
from tint.layers.lost import Lost, lost_map
from tint.layers.paper import WHITE
from tint.layers.proof import proof_image
from tint.layers.proof_pictures import BANDS, LEFT_BARE, lost_picture, piece_picture
from tint.layers.separate import FAR_DE00
from tint.layers.tonal import MAX_CELL_MM, cell_for
from tint.layers.wanted import wanted_image
from tint.model.find import find_setting
from tint.model.model import ColourModel
from tint.palette.along import along_of
from tint.palette.choose import choose_from
from tint.palette.curve import MOST, Curve, error_curve
from tint.palette.fewer import fewer_colours
from tint.palette.offer import Offer, offer_of
from tint.palette.palette import Palette, write_palette
from tint.palette.swap import swap_colour
from tint.process import spot_mm
from tint.setting import Machine, Setting

PREVIEW_PX = (
    1400  # longest side of what is tried on: a screen's worth, and a fresh separation stays well below a second
)
MAPPED_PX = 900  # longest side where colours are mapped before they are separated
PREVIEW_CELLS = 500  # of tones along the longer side: larger cells than the job's, but tried in half a second
CROP_PX = 1600  # longest side of a piece of the full size sent to the page
NEAREST_WISH = 6  # settings offered in exchange for a colour
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
    """What is known of the artwork, at a width; its preview is made."""
    item = desk.session.item(values["file"], "artwork")
    place = desk.place("artwork")
    width_mm = values.get("width_mm")
    vector = item.path.suffix == ".svg"
    kept = place.kept.get("artwork")
    if not vector and place.shown.get("file") == item.id and isinstance(kept, Picture):
        width_mm = width_mm or kept.width_mm  # another width: the pixels stay
        artwork: Artwork = dataclasses.replace(
            kept, width_mm=width_mm, height_mm=kept.height_mm * width_mm / kept.width_mm
        )
        size_px = place.shown["size_px"]
    else:
        whole = read_artwork(item.path, width_mm if vector else width_mm or FIRST_WIDTH_MM)
        size_px = None if isinstance(whole, Drawing) else [whole.srgb255.shape[1], whole.srgb255.shape[0]]
        artwork = reduced(whole, PREVIEW_PX) if isinstance(whole, Picture) else whole
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
    artwork = _artwork(place)
    options = {**place.shown["options"], **values}
    if (options["palette"], options["model"]) != (place.shown["options"]["palette"], place.shown["options"]["model"]):
        options |= {"join": values.get("join", []), "keep": values.get("keep", []), "colours": values.get("colours")}
        place.kept.pop("swaps", None)
    base, palette, options = _palette(desk, place, artwork, options)
    machine = desk.machine(options["machine"]) if options["machine"] else palette.machine
    cell_mm, true_cell_mm = _cells_mm(artwork, palette, options)
    layers = separated(_tried(place, artwork, options), palette, options, _preview_pitch_mm(artwork), cell_mm=cell_mm)
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
            "layers": _layer_rows(layers, job),
            "problem": problem,
            "warnings": _warnings(layers, job),
            "remarks": _remarks(palette, layers, job),
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


def _artwork(place: Place) -> Artwork:
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


def _preview_pitch_mm(artwork: Artwork) -> float | None:
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


def what_is_lost(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """How much of the artwork the preview loses, as ΔE00 seen over a quarter of a millimetre, and what the bands of its map mean."""
    de00 = _lost(desk.place("artwork")).de00
    named = [*((colour, words) for _, colour, words in BANDS), (LEFT_BARE, "left bare as asked")]
    bands = [{"hex": f"#{r:02x}{g:02x}{b:02x}", "words": words} for (r, g, b), words in named]
    return {
        "median_de00": rounded(np.nanmedian(de00), 1),
        "p90_de00": rounded(np.nanquantile(de00, 0.9), 1),
        "bands": bands,
    }


def _lost(place: Place) -> Lost:
    layers = _layers(place)
    if place.kept.get("lost") is None:
        place.kept["lost"] = lost_map(layers, _artwork(place), WHITE if place.shown["options"]["paper"] else None)
    return place.kept["lost"]


def _planned(desk: Desk, layers: Layers, machine: Machine, options: dict[str, Any]) -> tuple[Job | None, str]:
    """The job of the preview, or why there can be none: artwork larger than the blank, a setting beyond the machine."""
    stock = desk.stock(options["stock"]) if options["stock"] else None
    try:
        return plan_job(layers, machine, stock=stock), ""
    except (LimitError, DataError) as error:
        return None, str(error)


def _layer_rows(layers: Layers, job: Job | None) -> list[dict[str, Any]]:
    planned = {layer.number: layer for layer in job.layers} if job else {}
    marked = {
        number: planned[number].area_mm2 if number in planned else layers.area_mm2(number) for number in layers.used
    }
    whole = layers.width_mm * layers.height_mm
    screen = hexes(layers.palette.lab)
    rows = []
    for number in sorted(layers.used, key=lambda each: planned[each].order if each in planned else each):
        colour, layer = layers.palette.colours[number - 1], planned.get(number)
        known = bool(np.isfinite(layers.lost_de00[number]))
        rows.append(
            {
                "number": number,
                "name": colour.name,
                "hex": screen[number],
                "lab": lab_plain(colour.lab),
                "de00_90": rounded(colour.de00_90, 1),
                "sensitivity_de00": rounded(colour.sensitivity_de00, 1),
                "setting": setting_plain(colour.setting),
                "area_mm2": rounded(marked[number], 1),
                "share": rounded(marked[number] / whole, 4),
                "off_de00": rounded(layers.lost_de00[number], 1) if known else None,
                "wanted": hex_from_lab(layers.wanted_lab[number]) if known else None,
                "order": layer.order if layer else None,
                "time": clock(layer.time_s) if layer else "",
                "wait": clock(layer.wait_s) if layer and layer.wait_s else "",
                "remark": layer.remark if layer else "",
            }
        )
    return rows


def _warnings(layers: Layers, job: Job | None) -> list[dict[str, Any]]:
    """What needs a look, with the places where there are some [mm from the artwork's top left corner]."""
    found = []
    for thin in sorted(job.thin if job else (), key=lambda item: -item.area_mm2):
        if thin.area_mm2 < SEEN_MM2:
            continue
        said = f"{thin.name}: narrower than the spot in {thin.count} {'place' if thin.count == 1 else 'places'} ({thin.area_mm2:.2g} mm²)"
        found.append({"kind": "thin", "text": said, "at_mm": [list(at) for at in thin.at_mm]})
    for number in (0, *layers.used):
        if layers.lost_de00[number] > FAR_DE00:
            far = f"{layers.names[number]}: stands in for colours {layers.lost_de00[number]:.0f} ΔE00 away; this palette has nothing nearer"
            found.append({"kind": "far", "text": far, "number": number, "at_mm": []})
    return found


def _remarks(palette: Palette, layers: Layers, job: Job | None) -> list[str]:
    """What else there is to say: all but what the warnings say with their places, and what holds for the preview's pixels only."""
    height, width = layers.labels.shape
    said = {pitch_remark(width, height, layers.pitch_mm), thin_remark(job.thin, spot_mm(job.machine)) if job else ""}
    lines = (*palette.remarks, *(job.remarks if job else layers.remarks))
    far = tuple(f"{layers.names[number]} stands in" for number in range(len(layers.names)))
    return [
        line for line in dict.fromkeys(lines) if line not in said and not line.startswith((*far, "Far from the wished"))
    ]


def look_at_place(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """What lies at a place of the artwork [mm from its top left corner]: the layer's number, 0 for bare metal."""
    place = desk.place("artwork")
    _as_seen(place, values)
    layers = _layers(place)
    row, column = int(values["y_mm"] / layers.pitch_mm), int(values["x_mm"] / layers.pitch_mm)
    height, width = layers.labels.shape
    if not (0 <= row < height and 0 <= column < width):
        raise DataError(f"that place is not on the artwork ({layers.width_mm:g} × {layers.height_mm:g} mm).")
    number = int(layers.labels[row, column])
    return {"number": number, "name": layers.names[number]}


def _as_seen(place: Place, values: dict[str, Any]) -> None:
    """Nothing; raises where the piece is another than the window shows that asks."""
    if values.get("rev", place.shown.get("rev")) != place.shown.get("rev"):
        raise DataError("the piece was changed in another window. Reload this one to see it.")


def _layers(place: Place) -> Layers:
    layers = place.kept.get("layers")
    if layers is None:
        raise DataError("no layers yet. Choose a palette first.")
    return layers


def other_settings(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """Settings that could take a layer's place: those nearest to the colour the artwork wanted there."""
    place = desk.place("artwork")
    _as_seen(place, values)
    layers, number = _layers(place), values["number"]
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
    _as_seen(place, values)
    offered, palette = place.kept.get("offered"), place.kept.get("palette")
    if offered is None or palette is None or not 0 <= values["choice"] < len(offered["candidates"]):
        raise DataError("that setting is not on offer. Ask for other settings first.")
    if not 1 <= offered["number"] <= len(palette):
        raise DataError("the palette has changed since. Ask for other settings again.")
    swaps = place.kept.setdefault("swaps", {})
    swaps[palette.colours[offered["number"] - 1].name] = offered["candidates"][values["choice"]]
    place.kept["offered"] = None
    return try_out(desk, {})


def picture(desk: Desk, values: dict[str, Any]) -> bytes:
    """PNG of the preview: as wanted, as predicted, with less and more heat, what is lost where, or the layer numbers as grey levels."""
    place = desk.place("artwork")
    if values["which"] == "wanted":
        artwork = _artwork(place)
        return _png(wanted_image(artwork, _preview_pitch_mm(artwork) or 1.0))
    layers = _layers(place)
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


def start_full(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The work that separates the artwork at its full size."""
    place = desk.place("artwork")
    _as_seen(place, values)
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
    _as_seen(place, values)
    wish = {**_wish(desk, place), **{name: value for name, value in values.items() if name != "rev"}}
    folder = desk.session.room("job").parent

    def done(said: dict[str, Any]) -> dict[str, Any]:
        item = desk.made("download", Path(said.pop("zip")))
        return {**said, "file": item.as_dict()}

    return desk.workshop.start("job folder", "artwork", write_job_and_zip, (wish, str(folder)), done).as_dict()


def _wish(desk: Desk, place: Place) -> dict[str, Any]:
    """What long work needs to do the same in full: paths and plain values."""
    _layers(place)
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
    _as_seen(desk.place("artwork"), values)
    palette = desk.place("artwork").kept.get("palette")
    if palette is None:
        raise DataError("no palette is chosen.")
    path = desk.session.room("palette.json")
    write_palette(dataclasses.replace(palette, name=values.get("name") or palette.name), path)
    return desk.made("palette", path, f"{values.get('name') or palette.name}.json").as_dict()
