"""`Job`: what a job folder holds, and `job.json`."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tint.files.own import json_text, number_of, numbers_of, read_json, reading
from tint.job.heat import HeatInputs
from tint.job.inset import Vanished
from tint.job.masks import mask_name
from tint.job.order import RULE, JobLayer, Timing
from tint.job.thin import Thin
from tint.job.trial import Trial
from tint.setting import Machine, Setting, Stock, machine_from, stock_from

VERSION = 1
FILE_NAME = "job.json"
MOST = 1e12  # lines, jumps, mm or seconds of a layer: beyond any job, and far below where sums lose whole numbers


@dataclass(frozen=True)
class Job:
    """One piece to be marked: artwork, plate, machine, and its layers in marking order.

    Parameters
    ----------
    name : name of the artwork
    date : ISO date, such as "2026-03-14"
    width_mm, height_mm : size of the artwork on the metal [mm]
    at_mm : place of the artwork's top left corner from the blank's top left corner [mm]
    pitch_mm : size of a mask's pixel on the metal [mm]
    machine, stock : what it is marked on
    palette : name of the palette
    layers : one or more, in marking order
    remarks : what a reader must know, most important first, such as "simulated" or "camera colours"
    in_full : number of remarks, from the first on, that no print may shorten: of the palette, other machine, other
        stock, an inset
    notes : what only README.txt says
    palette_version, palette_digest : which version of the palette, and the signs that tell it from every other; 0 and "" not known
    cautions : safety, in full
    timing : what the times are computed with
    heat : what the plate temperatures are computed with
    jitter : the jitter behind `sensitivity_de00`, in words
    thin : strokes and gaps narrower than the spot, by layer
    inset_spot : share of the spot by which the drawings are inset, 0 for none
    vanished : what the inset left nothing of, largest first
    hatched : True where the folder holds scan lines drawn one by one
    trial : the trial at the plate's edge, None where there is none
    """

    name: str
    date: str
    width_mm: float
    height_mm: float
    at_mm: tuple[float, float]
    pitch_mm: float
    machine: Machine
    stock: Stock
    palette: str
    layers: tuple[JobLayer, ...]
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]
    timing: Timing = field(default_factory=Timing)
    heat: HeatInputs = field(default_factory=HeatInputs)
    jitter: str = ""
    thin: tuple[Thin, ...] = ()
    inset_spot: float = 0.0
    vanished: tuple[Vanished, ...] = ()
    hatched: bool = False
    trial: Trial | None = None
    in_full: int = 0
    notes: tuple[str, ...] = ()
    palette_version: int = 0
    palette_digest: str = ""

    @property
    def marking_s(self) -> float:
        """Time of all layers without waits [s]."""
        return round(sum(layer.time_s for layer in self.layers), 2)

    @property
    def wait_s(self) -> float:
        """Suggested cooling waits together [s]."""
        return sum(layer.wait_s for layer in self.layers)

    @property
    def total_s(self) -> float:
        """Marking and waits [s]; handling and focusing not included."""
        return round(self.marking_s + self.wait_s, 2)

    def as_dict(self) -> dict[str, Any]:
        """Contents as plain values for JSON."""
        return {
            "name": self.name,
            "date": self.date,
            "width_mm": self.width_mm,
            "height_mm": self.height_mm,
            "at_mm": list(self.at_mm),
            "pitch_mm": self.pitch_mm,
            "palette": self.palette,
            "palette_version": self.palette_version,
            "palette_digest": self.palette_digest,
            "remarks": list(self.remarks),
            "in_full": self.in_full,
            "notes": list(self.notes),
            "order_rule": RULE,
            "marking_s": self.marking_s,
            "wait_s": self.wait_s,
            "total_s": self.total_s,
            "layers": [_layer_dict(layer) for layer in self.layers],
            "timing": _fields(self.timing),
            "heat": _fields(self.heat),
            "jitter": self.jitter,
            "machine": self.machine.as_dict(),
            "stock": self.stock.as_dict(),
            "cautions": list(self.cautions),
            "thin": [{**_fields(item), "at_mm": [list(at) for at in item.at_mm]} for item in self.thin],
            "inset_spot": self.inset_spot,
            "vanished": [_fields(item) for item in self.vanished],
            "hatched": self.hatched,
            "trial": None if self.trial is None else _trial_dict(self.trial),
        }


def job_text(job: Job) -> str:
    """JSON text of a job, as `job.json` holds it."""
    return json_text("job", VERSION, job.as_dict())


def read_job(folder: str | Path) -> Job:
    """Job of a job folder, or of its `job.json`.

    Raises
    ------
    FileError
        Not a job, newer than this tint, or with a part missing or damaged.
    """
    path = Path(folder) / FILE_NAME if Path(folder).is_dir() else Path(folder)
    body = read_json(path, "job", VERSION)
    again = "Write the job again."
    with reading(path, f"the job. {again}", f"{path} is damaged: a value is not of the kind a job needs. {again}"):
        return Job(
            str(body["name"]), str(body["date"]), float(body["width_mm"]), float(body["height_mm"]),
            (float(body["at_mm"][0]), float(body["at_mm"][1])), float(body["pitch_mm"]),
            machine_from(body["machine"]), stock_from(body["stock"]), str(body["palette"]),
            tuple(_layer_from(item) for item in body["layers"]),
            tuple(str(line) for line in body["remarks"]), tuple(str(line) for line in body["cautions"]),
            _made(Timing, body["timing"]), _made(HeatInputs, body["heat"]), str(body["jitter"]), *_extras_from(body),
        )  # fmt: skip


def _extras_from(body: dict[str, Any]) -> tuple[Any, ...]:
    """What jobs of the first tint lack: thin, inset_spot, vanished, hatched, trial, in_full, notes, palette_version and _digest."""
    thin = tuple(_made(Thin, item, at_mm=tuple(_pair(at) for at in item["at_mm"])) for item in body.get("thin", ()))
    vanished = tuple(_made(Vanished, item) for item in body.get("vanished", ()))
    trial = body.get("trial")
    if trial is not None:
        trial = _made(Trial, trial, at_mm=_pair(trial["at_mm"]), field_mm=_pair(trial["field_mm"]))
    told = int(body.get("in_full", len(body["remarks"]))), tuple(str(line) for line in body.get("notes", ()))
    version = int(body.get("palette_version", 0)), str(body.get("palette_digest", ""))
    return thin, float(body.get("inset_spot", 0.0)), vanished, bool(body.get("hatched", False)), trial, *told, *version


def _made(kind: type, values: dict[str, Any], **other: Any) -> Any:
    """A dataclass from its mapping, numbers as numbers and texts as texts; `other` are fields already made."""
    casts: dict[str, Any] = {"float": number_of, "int": int, "str": str}
    types = {item.name: str(item.type) for item in dataclasses.fields(kind)}
    if not set(values) <= set(types):
        raise TypeError("a field that is not known")
    made = {
        name: None if value is None and "None" in types[name] else casts[types[name].partition(" |")[0]](value)
        for name, value in values.items()
        if name not in other
    }
    return kind(**made, **other)


def _pair(values: Any) -> tuple[float, float]:
    x, y = values
    return float(x), float(y)


def _trial_dict(trial: Trial) -> dict[str, Any]:
    return {**_fields(trial), "at_mm": list(trial.at_mm), "field_mm": list(trial.field_mm)}


def _fields(thing: Timing | HeatInputs | Thin | Vanished | Trial) -> dict[str, Any]:
    return {name: getattr(thing, name) for name in thing.__dataclass_fields__}


def _layer_dict(layer: JobLayer) -> dict[str, Any]:
    values = {name: getattr(layer, name) for name in layer.__dataclass_fields__}
    values["setting"] = layer.setting.as_dict()
    values["lab"] = list(layer.lab)
    return {**values, "mask": f"masks/{mask_name(layer)}"}


def _layer_from(item: dict[str, Any]) -> JobLayer:
    stated = ("de00_90", "sensitivity_de00", "area_mm2", "time_s", "wait_s", "start_k", "end_k")
    lightness, a, b = numbers_of(item["lab"])
    told: dict[str, Any] = {name: number_of(item[name]) for name in stated}
    told |= {name: number_of(item.get(name, 0.0)) for name in ("scan_s", "lines", "jumps", "jump_mm")}
    if not all(0 <= value < MOST for value in told.values()):
        raise ValueError("numbers no layer has")
    return JobLayer(
        int(item["order"]), int(item["number"]), str(item["name"]), Setting.from_dict(item["setting"]),
        (lightness, a, b), remark=str(item["remark"]), **told,
    )  # fmt: skip
