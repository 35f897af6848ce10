"""The place "check": has a palette drifted, and what brings it back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tint.check.check import Check, check_strip
from tint.check.correct import Correction, accepted, corrected, find_correction, worth_correcting
from tint.check.history import History, add_version, history_path, now, read_history, record_check, recorded_palettes
from tint.check.strip import REPLICATES, plan_strip
from tint.check.text import check_text, correction_text, next_lines
from tint.desk.desk import Desk, full_cautions
from tint.desk.plain import hexes, lab_plain, rounded, setting_plain, stock_words
from tint.desk.readings import TABLES, grid_of, patches_of
from tint.desk.session import Item
from tint.desk.stock import packed
from tint.errors import DataError
from tint.files.text import read_text
from tint.lab import hex_from_lab
from tint.measure.patches import Patches, write_patches
from tint.model.model import ColourModel
from tint.palette.palette import Palette, write_palette

SAID = {
    "within": "Within its limits.",
    "watch": "Watch: beyond a warning limit.",
    "out": "Out: beyond an action limit.",
}


def judge(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place with a strip judged against a palette's promise, the correction offered, and the history."""
    item = desk.session.item(values["palette"], "palette")
    palette = desk.palette(item.id)
    strip = desk.session.item(values["strip"], *TABLES)
    patches, said = patches_of(desk, strip, grid_of(desk, values.get("grid")))
    place, record = desk.place("check"), _history_path(desk, item)
    model = desk.model_of(palette)
    found = check_strip(
        palette, patches, model=model, tolerance_de00=values.get("tolerance_de00"), remap=values.get("remap", False),
        earlier_heat_pct=read_history(record, palette).heat_pct(palette), others=recorded_palettes(record, palette),
    )  # fmt: skip
    offered, refused = _offered(found, patches, model)
    place.kept |= {"check": found, "offered": offered, "item": item, "patches": patches}
    place.shown = {
        "palette": item.id,
        "palette_name": item.name,
        "strip": strip.id,
        "strip_name": strip.name,
        "recorded": False,
        "stays": item.source == "found",
        "check": _check_plain(found),
        "offer": _offer_plain(found, offered),
        "refused": refused,
        "said": list(said),
        "text": check_text(found),
        "history": _history_plain(read_history(record, palette)),
        "version": None,
        "cautions": full_cautions(palette.machine, palette.stock),
        "stock": stock_words(palette.stock),
        "machine": palette.machine.name,
    }
    return place.shown


def _history_path(desk: Desk, item: Item) -> Path:
    """Where a palette's history is: beside its file, or where the version it was made from has its own."""
    return desk.place("check").kept.get("histories", {}).get(item.id) or history_path(item.path)


def _offered(found: Check, patches: Patches, model: ColourModel | None) -> tuple[Correction | None, str]:
    """A correction where one is called for, or why there is none."""
    if not worth_correcting(found):
        return None, ""
    try:
        return find_correction(found, patches, model), ""
    except DataError as error:
        return None, str(error)


def _check_plain(found: Check) -> dict[str, Any]:
    heat = found.heat
    return {
        "verdict": found.verdict,
        "said": SAID[found.verdict],
        "version": found.palette.lineage.version,
        "measured": found.measured,
        "next": next_lines(found),
        "mean_de00": rounded(found.de00.mean(), 2),
        "most_de00": rounded(found.de00.max(), 2),
        "heat": None if heat is None else {
            name: rounded(getattr(heat, name), 2) for name in ("pct", "sd_pct", "watch_pct", "out_pct", "ewma_pct", "ewma_limit_pct", "strips")
        },
        "colours": [
            {
                "number": item.number, "name": item.name, "marks": item.marks, "verdict": item.verdict, "hex": hex_from_lab(item.lab),
                "promise_hex": hex_from_lab(item.promise_lab), "lab": lab_plain(item.lab), "de00": rounded(item.de00, 2),
                "sd_de00": rounded(item.sd_de00, 2), "watch_de00": rounded(item.watch_de00, 2), "out_de00": rounded(item.out_de00, 2),
            }
            for item in found.colours
        ],
        "scratched": list(found.scratched),
        "remarks": [*found.palette.remarks, *found.remarks],
    }  # fmt: skip


def _offer_plain(found: Check, offered: Correction | None) -> dict[str, Any] | None:
    if offered is None:
        return None
    colours = found.palette.colours
    rows = [
        {
            "name": colours[k].name,
            "before_de00": rounded(offered.before_de00[i], 2),
            "after_de00": rounded(offered.after_de00[i], 2),
            "setting": setting_plain(offered.setting[int(k)]),
            "same": offered.setting[int(k)] == colours[k].setting,
        }
        for i, k in enumerate(offered.index)
    ]
    text = correction_text(found, offered)
    return {
        "way": offered.way,
        "power_pct": rounded(offered.power_pct, 2),
        "rows": rows,
        "remarks": list(offered.remarks),
        "text": text,
    }


def _history_plain(history: History) -> dict[str, Any]:
    """Every strip with the ΔE00 of each colour, for a chart of drift over time; the versions with their reasons."""
    names = list(dict.fromkeys(colour["name"] for row in history.checks for colour in row.colours))
    return {
        "strips": [
            {
                "number": row.number, "version": row.version, "date": row.date, "strip": row.strip, "verdict": row.verdict,
                "heat_pct": rounded(row.heat_pct, 2), "watch_pct": rounded(row.watch_pct, 2), "out_pct": rounded(row.out_pct, 2),
                "de00": {colour["name"]: colour["de00"] for colour in row.colours},
            }
            for row in history.checks
        ],
        "colours": [{"name": name, "hex": _last_hex(history, name)} for name in names],
        "versions": [{"version": row.version, "date": row.date, "reason": row.reason, "strip": row.strip} for row in history.versions],
    }  # fmt: skip


def _last_hex(history: History, name: str) -> str:
    import numpy as np

    lab = next(
        colour["promise_lab"] for row in reversed(history.checks) for colour in row.colours if colour["name"] == name
    )
    return hexes(np.array([lab]))[0]


def record_strip(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place with the strip added to the palette's history."""
    place = desk.place("check")
    found = _found(desk)
    if not place.shown["recorded"]:
        item, path = place.kept["item"], _history_path(desk, place.kept["item"])
        table = desk.session.room("strip.csv")
        write_patches(place.kept["patches"], table)
        record_check(path, found, read_text(table), now())
        place.shown |= {"recorded": True, "history": _history_plain(read_history(path, desk.palette(item.id)))}
    return place.shown


def _found(desk: Desk) -> Check:
    found = desk.place("check").kept.get("check")
    if found is None:
        raise DataError("no strip was judged yet. Choose a palette and a strip first.")
    return found


def new_version(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The place with a new version of the palette, recorded, as a file on the desk to download and to work with."""
    place = desk.place("check")
    found = _found(desk)
    offered: Correction | None = place.kept["offered"]
    if values["way"] == "correct" and offered is None:
        raise DataError("no correction is offered for this strip.")
    record_strip(desk, {})
    date, item = now(), place.kept["item"]
    path = _history_path(desk, item)

    def make(version: int) -> Palette:
        if values["way"] == "correct" and offered is not None:
            return corrected(found, offered, version, date)
        return accepted(found, version, date)

    palette = add_version(path, found.palette, make, date)
    name = f"{Path(item.name).stem}-v{palette.lineage.version}.json"
    written = desk.session.room("palette.json")
    write_palette(palette, written)
    made = desk.made("palette", written, name)
    place.kept.setdefault("histories", {})[made.id] = path
    place.shown |= {
        "version": {"file": made.as_dict(), "number": palette.lineage.version, "reason": palette.lineage.reason},
        "history": _history_plain(read_history(path, palette)),
    }
    return place.shown


def strip_plate(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The folder of a strip of a palette's own settings, packed for download; its grid is on the desk too."""
    palette = desk.palette(values["palette"])
    grid = plan_strip(palette, palette.machine, palette.stock, replicates=values.get("replicates", REPLICATES))
    return packed(desk, grid)
