"""`ColourModel`: predicts the colour of a setting on one stock and machine, and how sure it is; its file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import DataError, FileError
from tint.files.own import json_text, read_json, reading
from tint.files.write import write_file
from tint.measure.patches import Patches
from tint.model.contest import blend
from tint.model.drift import shifted
from tint.model.members import Ready, ready
from tint.model.quantities import box, log_fields, outside, unlearned
from tint.model.radius import Calibration
from tint.model.report import FitReport, report_from
from tint.model.training import Training
from tint.setting import FIELDS, Machine, Setting, Stock, machine_from, stock_from

VERSION = 2  # 1 held a film whose heat was bent, not balanced; its numbers mean nothing here
WIDEST_DE00 = 100.0  # black to white: a wider radius says no more
CHUNK = 1_000  # settings predicted at a time: arrays that stay in the processor's cache are twice as fast


@dataclass(frozen=True, eq=False)
class Member:
    """One regression of a model: which kind, its share of the mean, and its fitted numbers as plain values."""

    kind: str
    weight: float
    numbers: dict[str, Any]


@dataclass(frozen=True, eq=False)
class ColourModel:
    """Settings to colour for one stock on one machine.

    Attributes
    ----------
    machine, stock : what it was fitted on
    patches : the good patches it was fitted on
    kind : name of what was chosen, in words
    members : the regressions it averages, weights adding up to 1
    noise : (n,) relative noise variance of each patch
    calibration : turns the spread of the members into `de00_90`
    report : what the fit found out about itself
    log_power : (n,) change of log power, by drift and between plates, that each patch was found to have had
    held_out_lab : (n, 3) what was predicted for each patch while it was held out; None where the file does not say
    """

    machine: Machine
    stock: Stock
    patches: Patches
    kind: str
    members: tuple[Member, ...]
    noise: np.ndarray
    calibration: Calibration
    report: FitReport
    log_power: np.ndarray
    held_out_lab: np.ndarray | None = None

    def __post_init__(self) -> None:
        shape = (len(self.patches),)
        if self.noise.shape != shape or self.log_power.shape != shape or not self.members:
            raise ValueError("a model needs members, and one noise and change of power per patch")
        weights = np.array([member.weight for member in self.members])
        if not ((weights >= 0).all() and abs(weights.sum() - 1) <= 1e-6):
            raise ValueError("the weights of a model's members need to add up to 1")
        if self.held_out_lab is not None and self.held_out_lab.shape != (*shape, 3):
            raise ValueError("a model needs one held-out colour per patch, or none")

    @cached_property
    def _ready(self) -> tuple[Ready, ...]:
        training = Training(shifted(self.patches.setting, self.log_power), self.patches.lab, self.noise)
        return tuple(ready(member.kind, member.numbers, training, self.machine) for member in self.members)

    @cached_property
    def box(self) -> np.ndarray:
        """(2, 8) lowest and highest of the grid's fields, in the order of `FIELDS`; the first six as logarithms."""
        return box(log_fields(self.patches.setting))


@dataclass(frozen=True, eq=False)
class Prediction:
    """Predicted colours.

    Attributes
    ----------
    lab : (..., 3) CIELAB D50/2°
    de00_90 : (...) radius [ΔE00] within which 9 of 10 fresh marks should land
    outside : (...) 0 inside the grid's box, else the largest excursion over the box's width, in log units
    unlearned : fields that never varied in the grid but differ in the settings asked for
    """

    lab: np.ndarray
    de00_90: np.ndarray
    outside: np.ndarray
    unlearned: tuple[str, ...]


def predict(model: ColourModel, setting: Setting) -> Prediction:
    """Colours of settings of any shape, with their uncertainty.

    Parameters
    ----------
    model : of the stock and machine
    setting : what would be dialled; any shape

    Raises
    ------
    LimitError
        A setting beyond the machine.
    DataError
        The model gives no number there: its file is damaged.
    """
    model.machine.check(setting)
    flat = Setting.from_table(setting.table().reshape(-1, len(FIELDS)))
    lab, spread = mean_and_spread(model, flat)
    fields = log_fields(flat)
    beyond = outside(fields, model.box)
    radius = model.calibration.radius_de00(spread, beyond)
    shape = setting.shape
    radius = np.minimum(radius, WIDEST_DE00)
    if not (np.isfinite(lab).all() and np.isfinite(radius).all()):
        raise DataError("the model gives no number for this setting: its file is damaged. Fit the patches again.")
    return Prediction(
        lab.reshape(*shape, 3), radius.reshape(shape), beyond.reshape(shape), unlearned(fields, model.box)
    )


def mean_and_spread(model: ColourModel, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
    """Lab (q, 3) and uncalibrated spread [ΔE00] (q,) of settings (q,): the members' own and their disagreement."""
    lab, spread = np.empty((len(setting), 3)), np.empty(len(setting))
    weights = np.array([member.weight for member in model.members])
    for start in range(0, len(setting), CHUNK):
        part = slice(start, start + CHUNK)
        answers = [member.predict(setting[part]) for member in model._ready]
        lab[part], spread[part] = blend(np.stack([a[0] for a in answers]), np.stack([a[1] for a in answers]), weights)
    return lab, spread


def write_model(model: ColourModel, path: str | Path, *, force: bool = False) -> Path:
    """Path of the model file written; `read_model` gives a model back that predicts exactly the same.

    Raises
    ------
    FileError
        The file is there and `force` is not set, or the place cannot be written.
    """
    patches = model.patches
    body = {
        "kind": model.kind,
        "machine": model.machine.as_dict(),
        "stock": model.stock.as_dict(),
        "calibration": {"scale": model.calibration.scale, "floor_de00": model.calibration.floor_de00},
        "report": model.report.as_dict(),
        "members": [{"kind": m.kind, "weight": m.weight, "numbers": m.numbers} for m in model.members],
        "facts": patches.facts,
        "patches": {
            "patch": list(patches.ids),
            **{name: _plain(getattr(patches.setting, name)) for name in FIELDS},
            "lab": patches.lab.tolist(),
            "sd": _plain(patches.sd),
            "order": _plain(patches.order),
            "x_mm": _plain(patches.xy_mm[:, 0]),
            "y_mm": _plain(patches.xy_mm[:, 1]),
            **({"plate": list(patches.plates)} if any(patches.plates) else {}),
            "noise": model.noise.tolist(),
            "log_power": model.log_power.tolist(),
            **({} if model.held_out_lab is None else {"held_out_lab": model.held_out_lab.tolist()}),
        },
    }
    return write_file(path, json_text("model", VERSION, body), force=force)


def read_model(path: str | Path) -> ColourModel:
    """Model of a `model.json`; it predicts exactly as the one that was written.

    Raises
    ------
    FileError
        Not a model file, newer or older than this tint reads, or with a part missing or damaged.
    """
    body = read_json(path, "model", VERSION)
    if body["format"] != f"tint-model/{VERSION}":
        raise FileError(f"{path} is {body['format']}, of a colour model that has changed since. Fit its patches again.")
    damage = f"{path} is damaged: a value is not of the kind a model needs. Fit the patches again."
    with reading(path, "the model, or not known to this tint.", damage):
        machine, stock = machine_from(body["machine"]), stock_from(body["stock"])
        rows = body["patches"]
        ids = tuple(str(name) for name in rows["patch"])
        patches = Patches(
            ids, Setting(*(_array(rows[name]) for name in FIELDS)), np.array(rows["lab"], float), _array(rows["sd"]),
            _array(rows["order"]), np.stack([_array(rows["x_mm"]), _array(rows["y_mm"])], axis=1), ("",) * len(ids),
            {str(key): str(value) for key, value in body["facts"].items()}, tuple(str(name) for name in rows.get("plate", ())),
        )  # fmt: skip
        members = tuple(Member(str(m["kind"]), float(m["weight"]), m["numbers"]) for m in body["members"])
        calibration = Calibration(float(body["calibration"]["scale"]), float(body["calibration"]["floor_de00"]))
        model = ColourModel(
            machine, stock, patches, str(body["kind"]), members, np.array(rows["noise"], float), calibration,
            report_from(body["report"]), np.array(rows["log_power"], float),
            np.array(rows["held_out_lab"], float) if "held_out_lab" in rows else None,
        )  # fmt: skip
        predict(model, patches.setting[:1])  # numbers that give no colour are found here
    return model


def _plain(values: np.ndarray) -> list[float | None]:
    return [None if np.isnan(value) else float(value) for value in values]


def _array(values: list[float | None]) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in values], dtype=float)
