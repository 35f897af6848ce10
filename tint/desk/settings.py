"""The place "setting": the colour of a setting, the settings of a colour."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

from tint.caution import SHORT
from tint.desk.desk import Desk, full_cautions
from tint.desk.plain import hexes, lab_plain, rounded, setting_plain, stock_words
from tint.desk.shape import NAME, maybe, number, record, whole
from tint.errors import DataError
from tint.files.write import write_file
from tint.lab import hex_from_lab, lab_from_hex
from tint.measure.patches import settings_table
from tint.model.answer import found_dict, is_guess, model_remarks, prediction_remarks
from tint.model.dials import colours_along, dials, middle_setting
from tint.model.find import find_setting
from tint.model.jitter import USUAL_JITTER, sensitivity
from tint.model.likely import likely_lab
from tint.model.model import predict
from tint.model.pool import time_s_cm2
from tint.process import process
from tint.setting import FIELDS, UNITS, WORDS, Setting

MARKS = 24  # fresh marks shown beside a predicted colour
STRIP = 40  # colours along a dial

# Process quantities in words and units, in the order a reader wants them.
QUANTITIES = {
    "average_power_w": ("average power", "W"),
    "pulse_energy_uj": ("pulse energy", "µJ"),
    "peak_power_kw": ("peak power", "kW"),
    "spot_mm": ("spot at the surface", "mm"),
    "fluence_j_cm2": ("peak fluence", "J/cm²"),
    "pulse_pitch_mm": ("pulse pitch", "mm"),
    "pulse_overlap": ("pulse overlap", ""),
    "line_overlap": ("line overlap", ""),
    "pulses_per_spot": ("pulses per spot", ""),
    "linear_energy_j_mm": ("linear energy", "J/mm"),
    "areal_energy_j_mm2": ("areal energy", "J/mm²"),
}

SETTING = record({name: number(1e-6, 1e6) for name in FIELDS[:6]} | {name: number(-1e4, 1e4) for name in FIELDS[6:]})
LAB = record({"L": number(0, 100), "a": number(-160, 160), "b": number(-160, 160)})
HEX = {"type": "string", "maxLength": 9}


def choose_model(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """The model the place works with, and its dials."""
    model = desk.model(values["model"])
    place = desk.place("setting")
    middle = {name: value if value is not None else 0.0 for name, value in middle_setting(model).as_dict().items()}
    place.shown = {
        "model": values["model"],
        "machine": model.machine.name,
        "stock": stock_words(model.stock),
        "remarks": model_remarks(model),
        "cautions": full_cautions(model.machine, model.stock),
        "jitter": USUAL_JITTER.words(),
        "dials": [
            {
                **dataclasses.asdict(dial),
                "values": list(dial.values),
                "words": WORDS[dial.field],
                "unit": UNITS[dial.field],
            }
            for dial in dials(model)
        ],
        "setting": middle,
        "wish": None,
    }
    return place.shown


def colour_of_setting(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """Predicted colour of a setting, its spread, its process quantities, and the colours along every dial."""
    model, setting = desk.model(values["model"]), Setting(**values["setting"])
    guess = predict(model, setting)
    place = desk.place("setting")
    if place.shown.get("model") == values["model"]:
        place.shown["setting"] = values["setting"]
    quantities = process(setting, model.machine)
    strips = {}
    for dial in dials(model):
        at, along = colours_along(model, setting, dial, STRIP)
        strips[dial.field] = {
            "at": [float(value) for value in at],
            "hex": hexes(along.lab),
            "de00_90": np.round(along.de00_90, 1).tolist(),
        }
    return {
        "lab": lab_plain(guess.lab),
        "hex": hex_from_lab(guess.lab),
        "de00_90": rounded(guess.de00_90, 2),
        "sensitivity_de00": rounded(sensitivity(model, setting), 2),
        "marks": hexes(likely_lab(guess.lab, float(guess.de00_90), MARKS)),
        "guess": is_guess(guess),
        "remarks": prediction_remarks(guess),
        "setting": setting_plain(setting),
        "time_s_cm2": rounded(time_s_cm2(setting), 2),
        "quantities": [
            {"name": name, "words": words, "unit": unit, "value": float(f"{float(getattr(quantities, name)):.4g}")}
            for name, (words, unit) in QUANTITIES.items()
        ],
        "strips": strips,
    }


def settings_of_colour(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """Settings that should give a wished colour, safest first; the nearest where it is out of reach."""
    model = desk.model(values["model"])
    lab = (
        lab_from_hex(values["hex"])
        if values.get("hex")
        else np.array([values["lab"][name] for name in "Lab"])
        if values.get("lab")
        else None
    )
    if lab is None:
        raise DataError("a wished colour is needed: hex or lab.")
    found = find_setting(model, lab, n=values.get("n", 5))
    answer = found_dict(found)
    for plain, candidate in zip(answer["candidates"], found.candidates, strict=True):
        plain |= {"hex": hex_from_lab(candidate.lab), "words": str(candidate.setting)}
        plain["setting"] = {name: 0.0 if value is None else value for name, value in plain["setting"].items()}
        plain["marks"] = hexes(likely_lab(candidate.lab, min(candidate.de00_90, 100.0), MARKS))
        plain["time_s_cm2"] = None if not math.isfinite(candidate.time_s_cm2) else plain["time_s_cm2"]
    answer |= {"wish_hex": hex_from_lab(lab), "jitter": found.jitter.words(), "remarks": model_remarks(model)}
    place = desk.place("setting")
    if place.shown.get("model") == values["model"]:
        place.shown["wish"] = answer
    return answer


def save_setting(desk: Desk, values: dict[str, Any]) -> dict[str, Any]:
    """A setting with its predicted colour as a table on the desk to download."""
    model, setting = (
        desk.model(values["model"]),
        Setting(**{name: [value] for name, value in values["setting"].items()}),
    )
    guess = predict(model, setting)
    after = {
        "L": guess.lab[:, 0].round(2),
        "a": guess.lab[:, 1].round(2),
        "b": guess.lab[:, 2].round(2),
        "de00_90": guess.de00_90.round(2),
    }
    path = desk.session.room("settings.csv")
    write_file(path, f"# caution: {SHORT}\n" + settings_table(setting, after=after))
    return desk.made("download", path).as_dict()


FIND = record(
    {"model": NAME},
    {"lab": maybe(LAB), "hex": maybe(HEX), "n": whole(1, 20)},
)
