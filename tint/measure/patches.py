"""Patches: measured colours and the settings that made them; `patches.csv` read and written."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import FileError, LimitError
from tint.files.write import write_file
from tint.lab import lab_d50_from, lab_problem
from tint.measure.conditions import white_of
from tint.measure.table import Row, read_table
from tint.setting import FIELDS, Setting

OPTIONAL_SETTINGS = {"passes": 1.0, "focus_mm": 0.0, "hatch_deg": math.nan}
COLOUR = ("L", "a", "b")
OPTIONAL = ("sd", "order", "x_mm", "y_mm", "flag")
PLATE = "plate"  # written only where it is known


@dataclass(frozen=True, eq=False)
class Patches:
    """Marked and measured squares.

    Parameters
    ----------
    ids : n names, each once
    setting : settings of shape (n,)
    lab : (n, 3) CIELAB D50/2°
    sd : (n,) standard uncertainty as ΔE00; NaN unknown
    order : (n,) marking order, 1 first; NaN unknown
    xy_mm : (n, 2) place on the plate [mm]; NaN unknown
    flags : n texts, why a patch is not to be used; "" means good
    facts : what the file says about itself, such as stock, machine, instrument, geometry, `bare_lab`
    plates : n names of the plate each was marked on; "" unknown, () none known

    Raises
    ------
    LimitError
        Lengths that differ, ids used twice, or a Lab that no surface has.
    """

    ids: tuple[str, ...]
    setting: Setting
    lab: np.ndarray
    sd: np.ndarray
    order: np.ndarray
    xy_mm: np.ndarray
    flags: tuple[str, ...]
    facts: dict[str, str] = field(default_factory=dict)
    plates: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.ids)
        for name, shape in (("lab", (n, 3)), ("sd", (n,)), ("order", (n,)), ("xy_mm", (n, 2))):
            array = np.array(getattr(self, name), dtype=float)
            if array.shape != shape:
                raise LimitError(f"{name} of patches has shape {array.shape}; {n} patches need {shape}.")
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        object.__setattr__(self, "plates", self.plates or ("",) * n)
        if self.setting.shape != (n,) or len(self.flags) != n or len(self.plates) != n:
            raise LimitError(f"{n} patches need {n} settings, flags and plates.")
        if len(set(self.ids)) != n:
            twice = Counter(self.ids).most_common(1)[0][0]
            raise LimitError(f"patch {twice!r} is there twice; each patch needs its own id.")
        for i, lab in enumerate(self.lab):
            if problem := lab_problem(lab):
                raise LimitError(f"patch {self.ids[i]!r}: {problem}")
        if (self.sd < 0).any():
            raise LimitError("sd of a patch cannot be negative.")

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def good(self) -> np.ndarray:
        """(n,) True where a patch carries no flag."""
        return np.array([not flag for flag in self.flags], dtype=bool)

    @property
    def bare_lab(self) -> np.ndarray | None:
        """(3,) Lab of the bare metal as the file states it (`bare_lab: L a b`), or None; `FileError` where it is not a colour."""
        text = self.facts.get("bare_lab")
        if not text:
            return None
        try:
            values = np.array([float(part) for part in text.replace(",", " ").split()])
            if values.shape != (3,) or lab_problem(values):
                raise ValueError
        except ValueError:
            raise FileError(
                f"bare_lab {text!r} is not three numbers L a b, such as 'bare_lab: 78.1 0.4 3.2'."
            ) from None
        return values

    def take(self, index: Any) -> Patches:
        """The patches at an index or mask, in that order."""
        rows = np.arange(len(self))[index]
        return Patches(
            tuple(self.ids[i] for i in rows), self.setting[rows], self.lab[rows], self.sd[rows], self.order[rows],
            self.xy_mm[rows], tuple(self.flags[i] for i in rows), self.facts, tuple(self.plates[i] for i in rows),
        )  # fmt: skip


def join_patches(several: Sequence[Patches]) -> Patches:
    """One table of several; an id used in more than one gets the table's number in front, and facts are joined.

    Raises
    ------
    FileError
        The tables name different machines or stocks.

    Notes
    -----
    Each table is a plate of its own, unless it goes on with one before it: both state the same plate, or neither states
    one, and no order number is in both.
    """
    if len(several) == 1:
        return several[0]
    counted = Counter(name for patches in several for name in patches.ids)
    taken, ids = set(counted), []  # no patch is given a name that another had before
    for number, patches in enumerate(several, 1):
        for name in patches.ids:
            new = name
            while counted[name] > 1 and new in taken:
                new = f"{number}-{new}"
            taken.add(new)
            ids.append(new)
    return Patches(
        tuple(ids),
        Setting.from_table(np.concatenate([patches.setting.table() for patches in several])),
        np.concatenate([patches.lab for patches in several]),
        np.concatenate([patches.sd for patches in several]),
        np.concatenate([patches.order for patches in several]),
        np.concatenate([patches.xy_mm for patches in several]),
        tuple(flag for patches in several for flag in patches.flags),
        _joined_facts([patches.facts for patches in several]),
        _joined_plates(several),
    )


def _joined_plates(several: Sequence[Patches]) -> tuple[str, ...]:
    """Plate of each row, the first one "1"."""
    names: list[str] = []
    so_far: list[tuple[tuple[str | None, str], set[float]]] = []  # of each plate, what it is called and its order numbers
    for patches in several:
        number: dict[str, int] = {}
        for plate in dict.fromkeys(patches.plates):
            called = patches.facts.get("plate"), plate
            orders = set(patches.order[[name == plate for name in patches.plates] & np.isfinite(patches.order)].tolist())
            goes_on = [k for k, (other, taken) in enumerate(so_far) if other == called and not taken & orders]
            number[plate] = goes_on[-1] if goes_on else len(so_far)
            if goes_on:
                so_far[number[plate]][1].update(orders)
            else:
                so_far.append((called, orders))
        names += [str(number[plate] + 1) for plate in patches.plates]
    return tuple(names)


def _joined_facts(several: Sequence[dict[str, str]]) -> dict[str, str]:
    """Every fact of every table; where they differ, all that was said, once each. Machine and bare metal cannot differ."""
    joined: dict[str, str] = {}
    for facts in several:
        for key, value in facts.items():
            said = joined.get(key)
            if said is None or said == value:
                joined[key] = value
            elif key in ("machine", "stock"):
                raise FileError(f"the tables are of different {key}s ({said!r} and {value!r}); fit each by itself.")
            elif key != "bare_lab" and value not in said.split(
                " | "
            ):  # of two measurements of bare metal the first is kept
                joined[key] = f"{said} | {value}"
    return joined


def read_patches(path: str | Path) -> Patches:
    """Patches of a `patches.csv`.

    Lines starting `#` at the top hold `key: value` facts; then a header row and one row per patch. `L,a,b` are CIELAB
    D50/2°; where the facts say `illuminant: D65` (or A, C) they are adapted to D50 by Bradford. A column `plate` names the
    plate of each row, where the file holds several.

    Parameters
    ----------
    path : the file, UTF-8 text

    Raises
    ------
    FileError
        Names the line, the column, what was found and what to do.
    """
    facts, rows = read_table(
        path, needed=("patch", *FIELDS[:5], *COLOUR), numbers=(*FIELDS, *COLOUR, "sd", "order", "x_mm", "y_mm")
    )
    ids = tuple(row.text("patch") for row in rows)
    first_line: dict[str, int] = {}
    for row, name in zip(rows, ids, strict=True):
        if not name:
            raise row.wrong("patch", "is empty; each patch needs an id")
        if name in first_line:
            raise row.wrong("patch", f"{name!r} is also on line {first_line[name]}; each patch needs its own id")
        first_line[name] = row.line
    lab = np.array([[row.number(name) for name in COLOUR] for row in rows])
    for row, value in zip(rows, lab, strict=True):
        if problem := lab_problem(value):
            raise FileError(f"{path} line {row.line}: {problem}")
    white = white_of(facts, str(path))
    if white != "D50":
        lab = lab_d50_from(lab, white)
        facts = {**facts, "illuminant": "D50", "adapted": f"from {white} to D50 (Bradford)"}
    sd = np.array([row.number("sd", math.nan) for row in rows])
    for row, value in zip(rows, sd, strict=True):
        if value < 0:
            raise row.wrong("sd", "is negative; it is a standard uncertainty as ΔE00, or empty")
    patches = Patches(
        ids, settings_of(rows), lab, sd,
        np.array([row.number("order", math.nan) for row in rows]),
        np.array([[row.number("x_mm", math.nan), row.number("y_mm", math.nan)] for row in rows]),
        tuple(row.text("flag") for row in rows), facts, tuple(row.text(PLATE) for row in rows),
    )  # fmt: skip
    try:
        _ = patches.bare_lab
    except FileError as error:
        raise FileError(f"{path}: {error}") from None
    return patches


def read_settings(path: str | Path) -> Setting:
    """Settings (n,) of a `settings.csv`: a header row with the names of `FIELDS` and one row per setting.

    Raises
    ------
    FileError
        Names the line, the column, what was found and what to do.
    """
    _, rows = read_table(path, needed=FIELDS[:5], numbers=FIELDS)
    return settings_of(rows)


def write_patches(patches: Patches, path: str | Path, *, force: bool = False) -> Path:
    """Path of the `patches.csv` written; `read_patches` gives the same patches back.

    Parameters
    ----------
    patches : what to write
    path : where
    force : replace a file that is there

    Raises
    ------
    FileError
        The file is there and `force` is not set, or the place cannot be written.
    """
    columns = ["patch", *FIELDS, *COLOUR, *OPTIONAL, *[PLATE] * any(patches.plates)]
    out = io.StringIO()
    for key, value in patches.facts.items():
        out.write(f"# {key}: {' '.join(str(value).split())}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    settings = patches.setting.table()
    for i, name in enumerate(patches.ids):
        numbers = [*settings[i], *patches.lab[i], patches.sd[i], patches.order[i], *patches.xy_mm[i]]
        texts = [patches.flags[i], patches.plates[i]] if PLATE in columns else [patches.flags[i]]
        writer.writerow([name, *(_number_text(value) for value in numbers), *texts])
    return write_file(path, out.getvalue(), force=force)


def reading_table(patches: Patches) -> str:
    """CSV text of what an instrument gives: patch, L, a, b, sd, flag, the bare metal first; `patches_from_reading` reads it."""
    out = io.StringIO()
    for key, value in patches.facts.items():
        if key != "bare_lab":
            out.write(f"# {key}: {' '.join(str(value).split())}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["patch", *COLOUR, "sd", "flag"])
    if patches.bare_lab is not None:
        writer.writerow(["bare", *(_number_text(value) for value in patches.bare_lab), "", ""])
    for i, name in enumerate(patches.ids):
        writer.writerow(
            [name, *(_number_text(value) for value in patches.lab[i]), _number_text(patches.sd[i]), patches.flags[i]]
        )
    return out.getvalue()


def settings_table(
    setting: Setting, extra: Mapping[str, Sequence[Any] | np.ndarray] | None = None,
    after: Mapping[str, Sequence[Any] | np.ndarray] | None = None,
) -> str:
    """CSV text of settings (n,), columns of `extra` before and of `after` behind; `read_settings` reads it back."""
    extra, after = extra or {}, after or {}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*extra, *FIELDS, *after])
    for i, row in enumerate(setting.table()):
        numbers = [_number_text(value) for value in row]
        writer.writerow(
            [*(values[i] for values in extra.values()), *numbers, *(values[i] for values in after.values())]
        )
    return out.getvalue()


def _number_text(value: float) -> str:
    return "" if math.isnan(value) else repr(round(float(value), 10)).removesuffix(".0")


def settings_of(rows: Sequence[Row]) -> Setting:
    """Settings (n,) of table rows.

    Raises
    ------
    FileError
        A cell is empty, not a number, or a value no setting can have.
    """
    table = np.array([[row.number(name, OPTIONAL_SETTINGS.get(name)) for name in FIELDS] for row in rows])
    try:
        return Setting.from_table(table)
    except LimitError:
        for row, values in zip(rows, table, strict=True):
            try:
                Setting.from_table(values)
            except LimitError as error:
                raise FileError(f"{row.path} line {row.line}: {error}") from None
        raise
