"""The chosen few: `Palette`, its colours, and `palette.json`."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tint.caution import SHORT
from tint.errors import FileError, LimitError
from tint.files.own import json_text, number_of, numbers_of, read_json, reading
from tint.files.write import write_file
from tint.lab import lab_problem
from tint.palette.along import Along, along_from
from tint.palette.lineage import Lineage, Repeatability, edited, lineage_from, parts, whole_of
from tint.setting import Machine, Setting, Stock, machine_from, stock_from

if TYPE_CHECKING:
    from tint.palette.penalty import Penalty

VERSION = 2  # 1 had no lineage, no digests and no offsets along what strays
MAX_COLOURS = 255  # a label map has 8 bits, and 0 is bare metal


@dataclass(frozen=True, eq=False)
class PaletteColour:
    """One colour of a palette.

    Parameters
    ----------
    name : plain name, unique in its palette, such as "dark blue"
    setting : the single setting that makes it
    lab : (3,) predicted colour, CIELAB D50/2°
    de00_90 : radius [ΔE00] within which 9 of 10 fresh marks should land
    sensitivity_de00 : expected shift [ΔE00] under the stated jitter of the machine
    patch : id of the measured patch it repeats, "" where the model chose a setting between patches
    marks : how many marks of an accepted strip `lab` is the mean of; 0 where the model predicted it
    along : how the colour moves when the machine strays; None not known
    scatter : (3, 3) covariance of those marks in Lab; None for fewer than two
    """

    name: str
    setting: Setting
    lab: np.ndarray
    de00_90: float
    sensitivity_de00: float
    patch: str = ""
    marks: int = 0
    along: Along | None = None
    scatter: np.ndarray | None = None

    def __post_init__(self) -> None:
        lab = np.array(self.lab, dtype=float)
        lab.flags.writeable = False
        object.__setattr__(self, "lab", lab)
        if lab.shape != (3,) or not np.isfinite(lab).all() or self.setting.shape != ():
            raise LimitError(f"colour {self.name!r} needs one setting and one L, a, b.")
        for name in ("de00_90", "sensitivity_de00"):
            if not getattr(self, name) >= 0:
                raise LimitError(f"colour {self.name!r}: {name} is a number from 0 up.")


@dataclass(frozen=True, eq=False)
class Palette:
    """Colours of one stock on one machine, in the order of their numbers: 1, 2, …; number 0 is the bare metal.

    Parameters
    ----------
    name : what the shop calls it
    machine, stock : what it was made on
    colours : one or more
    bare_lab : (3,) colour of the unmarked metal
    remarks : what a reader must know, such as "simulated" or "camera colours"
    jitter : the jitter behind `sensitivity_de00`, in words
    lineage : version, parent, reason, date and strip
    repeatability : what the replicates of an accepted strip showed; None where none was accepted yet
    edited : what of the file was changed by hand since tint wrote it, in words
    penalty : how loud and slow settings were weighed when the colours were chosen; None not known
    artwork : name of the artwork the colours were chosen for; "" where for none, or not known
    """

    name: str
    machine: Machine
    stock: Stock
    colours: tuple[PaletteColour, ...]
    bare_lab: np.ndarray
    remarks: tuple[str, ...] = ()
    jitter: str = ""
    lineage: Lineage = field(default_factory=Lineage)
    repeatability: Repeatability | None = None
    edited: tuple[str, ...] = ()
    penalty: Penalty | None = None
    artwork: str = ""

    def __post_init__(self) -> None:
        bare = np.array(self.bare_lab, dtype=float)
        bare.flags.writeable = False
        object.__setattr__(self, "bare_lab", bare)
        if bare.shape != (3,) or not np.isfinite(bare).all():
            raise LimitError("a palette needs the L, a, b of the bare metal.")
        if not 1 <= len(self.colours) <= MAX_COLOURS:
            raise LimitError(f"a palette holds 1 to {MAX_COLOURS} colours, found {len(self.colours)}.")
        names = [colour.name for colour in self.colours]
        if len(set(names)) != len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise LimitError(f"colour {twice!r} is in the palette twice; names are unique.")

    def __len__(self) -> int:
        return len(self.colours)

    @property
    def lab(self) -> np.ndarray:
        """(k + 1, 3) Lab by number: the bare metal first, then the colours."""
        return np.stack([self.bare_lab, *(colour.lab for colour in self.colours)])

    @property
    def setting(self) -> Setting:
        """Settings (k,) of the colours, number 1 first."""
        return Setting.from_table([colour.setting.table() for colour in self.colours])

    @property
    def digest(self) -> str:
        """Twelve signs that tell this version from every other, whatever its file is called."""
        return parts(self._body())["whole"]

    @property
    def line(self) -> str:
        """Twelve signs shared by all versions that descend from one palette."""
        return self.lineage.line or self.digest

    @property
    def edited_remark(self) -> str:
        """Sentence on what was changed by hand; "" where nothing was."""
        if not self.edited:
            return ""
        return (
            f"palette edited by hand since tint wrote it: {', '.join(self.edited)}. What it promises there is not proven: "
            "mark a strip of it and accept it (tint grid --strip, tint check --accept)."
        )

    def as_dict(self) -> dict[str, Any]:
        """Contents as plain values for JSON; what was edited by hand stays told, in layers and jobs too."""
        body = self._body()
        told = {"edited": list(self.edited)} if self.edited else {}
        return {**body, "lineage": {**body["lineage"], "line": self.line}, **told, "digests": parts(body)}

    def _body(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "lineage": self.lineage.as_dict(),
            "remarks": list(self.remarks),
            "machine": self.machine.as_dict(),
            "stock": self.stock.as_dict(),
            "bare_lab": self.bare_lab.tolist(),
            "caution": SHORT,
            "jitter": self.jitter,
            "colours": [
                {
                    "number": number,
                    "name": colour.name,
                    "setting": colour.setting.as_dict(),
                    "lab": colour.lab.tolist(),
                    "de00_90": colour.de00_90,
                    "sensitivity_de00": colour.sensitivity_de00,
                    "patch": colour.patch,
                    "marks": colour.marks,
                    **({} if colour.scatter is None else {"scatter": np.round(colour.scatter, 5).tolist()}),
                    **({} if colour.along is None else {"along": colour.along.as_dict()}),
                }
                for number, colour in enumerate(self.colours, 1)
            ],
            "repeatability": None if self.repeatability is None else self.repeatability.as_dict(),
            **({} if self.penalty is None else {"penalty": asdict(self.penalty)}),
            **({"artwork": self.artwork} if self.artwork else {}),
        }


def write_palette(palette: Palette, path: str | Path, *, force: bool = False) -> Path:
    """Path of the palette file written; `read_palette` gives the same palette back.

    Raises
    ------
    FileError
        The file is there and `force` is not set, or the place cannot be written.
    """
    return write_file(path, palette_text(palette), force=force)


def palette_text(palette: Palette) -> str:
    """JSON text of a palette, as `palette.json` holds it."""
    return json_text("palette", VERSION, palette.as_dict())


def read_palette(path: str | Path) -> Palette:
    """Palette of a `palette.json`.

    Parameters
    ----------
    path : the file

    Raises
    ------
    FileError
        Not a palette file, newer than this tint, or with a part missing or damaged.
    """
    return palette_from(read_json(path, "palette", VERSION), str(path))


def palette_from(body: dict[str, Any], where: str) -> Palette:
    """Palette from the mapping `Palette.as_dict` gives; `where` names the file in messages."""
    with reading(where, "the palette.", f"{where} is damaged: a value is not of the kind a palette needs."):
        machine, stock = machine_from(body["machine"]), stock_from(body["stock"])
        if [item["number"] for item in body["colours"]] != list(range(1, len(body["colours"]) + 1)):
            raise FileError("colours are numbered 1, 2, 3, … in their order.")
        for lab in (body["bare_lab"], *(item["lab"] for item in body["colours"])):
            if problem := lab_problem(np.array(numbers_of(lab), float)):
                raise FileError(problem)
        colours = tuple(
            PaletteColour(
                str(item["name"]), Setting.from_dict(item["setting"]), np.array(item["lab"], float),
                number_of(item["de00_90"]), number_of(item["sensitivity_de00"]), str(item.get("patch", "")),
                whole_of(item.get("marks", 0)), along_from(item["along"]) if item.get("along") else None,
                np.array(numbers_of(item["scatter"]), float).reshape(3, 3) if item.get("scatter") else None,
            )
            for item in body["colours"]
        )  # fmt: skip
        palette = Palette(
            str(body["name"]), machine, stock, colours, np.array(body["bare_lab"], float),
            _texts(body.get("remarks", [])), str(body.get("jitter", "")), *_origin(body),
            penalty=_penalty(body.get("penalty")), artwork=str(body.get("artwork", "")),
        )  # fmt: skip
        machine.check(palette.setting)
        told = _texts(body.get("edited", []))
        if "digests" in body:
            told = tuple(dict.fromkeys([*told, *edited(dict(body["digests"]), palette._body())]))
        palette = replace(palette, edited=told)
    return palette


def _penalty(known: dict[str, Any] | None) -> Penalty | None:
    """How colours were weighed, which files of earlier versions lack."""
    if known is None:
        return None
    from tint.palette.penalty import Penalty  # here, because it loads the models

    return Penalty(number_of(known["sensitive"]), number_of(known["slow_de00"]))


def _texts(lines: Any) -> tuple[str, ...]:
    """Lines of a JSON file; raises `TypeError` for a single text, which Python would take for a list of signs."""
    if not isinstance(lines, list):
        raise TypeError("a list of texts is needed")
    return tuple(str(line) for line in lines)


def _origin(body: dict[str, Any]) -> tuple[Lineage, Repeatability | None]:
    """Lineage and repeatability, which files of format 1 lack."""
    known = body.get("repeatability")
    repeats = None if known is None else Repeatability(*(number_of(known[name]) for name in ("de00", "heat_pct", "dof")))
    return lineage_from(body["lineage"]) if "lineage" in body else Lineage(), repeats
