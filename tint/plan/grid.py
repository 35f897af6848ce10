"""`Grid`: a plate of patches to mark, and `grid.json`."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.files.own import json_text, number_of, numbers_of, read_json, reading
from tint.files.write import write_file
from tint.plan.marks import Mark, Registration
from tint.setting import Machine, Setting, Stock, machine_from, stock_from

VERSION = 2  # 1: without registration marks
MOST_SIDE_MM = 1000.0  # of a registration mark; no plate is as wide
USUAL_TURN_MS = 0.6  # common practice, no source; as jobs count it until the machine was timed


@dataclass(frozen=True, eq=False)
class Grid:
    """A plate of patches to mark.

    Parameters
    ----------
    name : what the shop calls the plate
    machine, stock : what it is marked on
    ids : n patch names, letter for the row and number for the column, such as "B07"
    setting : settings (n,)
    order : (n,) marking order, 1 first
    xy_mm : (n, 2) centre of each patch [mm] from the plate's top left corner, x right, y down
    patch_mm : side of a patch [mm]
    plate_mm : width and height of the plate [mm]
    registration : marks a camera finds the plate by, and squares kept bare; None: the plate has none
    """

    name: str
    machine: Machine
    stock: Stock
    ids: tuple[str, ...]
    setting: Setting
    order: np.ndarray
    xy_mm: np.ndarray
    patch_mm: float
    plate_mm: tuple[float, float]
    registration: Registration | None = None

    def __post_init__(self) -> None:
        n = len(self.ids)
        if self.setting.shape != (n,) or self.order.shape != (n,) or self.xy_mm.shape != (n, 2) or n == 0:
            raise LimitError("a grid needs as many settings, order numbers and places as patches.")
        if len(set(self.ids)) != n or sorted(self.order.tolist()) != list(range(1, n + 1)):
            raise LimitError("patch ids and marking order numbers of a grid are each used once.")
        self.machine.check(self.setting)

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def mark(self) -> str:
        """Eight signs that tell this plate from every other: they stand in its table of readings and are checked there."""
        content = repr((self.ids, self.setting.table().round(9).tolist(), self.xy_mm.round(6).tolist()))
        return hashlib.sha256(content.encode()).hexdigest()[:8]

    @property
    def time_s(self) -> float:
        """Scan time of all patches [s], without turn-round and jumps."""
        area = self.patch_mm**2
        return float(np.sum(area * self.setting.passes / (self.setting.speed_mm_s * self.setting.spacing_mm)))

    @property
    def marks_time_s(self) -> float:
        """Scan time and turn-round of the registration marks [s]; 0 where there are none."""
        if self.registration is None:
            return 0.0
        dark, setting = self.registration, self.registration.setting
        lines = sum(mark.side_mm for mark in dark.marks) / float(setting.spacing_mm)
        return dark.dark_mm2 / float(setting.speed_mm_s * setting.spacing_mm) + lines * self._turn_ms / 1e3

    @property
    def turn_s(self) -> float:
        """Turn-round from line to line of all patches [s], at the machine's `turn_ms` or else 0.6 ms a line."""
        return float(np.sum(self.patch_mm / self.setting.spacing_mm * self.setting.passes) * self._turn_ms / 1e3)

    @property
    def _turn_ms(self) -> float:
        return USUAL_TURN_MS if self.machine.turn_ms is None else self.machine.turn_ms


def write_grid(grid: Grid, path: str | Path, *, force: bool = False) -> Path:
    """Path of the `grid.json` written; `read_grid` gives the same grid back.

    Raises
    ------
    FileError
        The file is there and `force` is not set, or the place cannot be written.
    """
    body = {
        "name": grid.name,
        "machine": grid.machine.as_dict(),
        "stock": grid.stock.as_dict(),
        "patch_mm": grid.patch_mm,
        "plate_mm": list(grid.plate_mm),
        **_registration_body(grid.registration),
        "patches": [
            {
                "patch": name,
                "order": int(grid.order[i]),
                "xy_mm": grid.xy_mm[i].tolist(),
                "setting": grid.setting[i].as_dict(),
            }
            for i, name in enumerate(grid.ids)
        ],
    }
    return write_file(path, json_text("grid", VERSION, body), force=force)


def _registration_body(registration: Registration | None) -> dict[str, object]:
    if registration is None:
        return {}
    marks = [{"number": mark.number, "xy_mm": list(mark.xy_mm), "side_mm": mark.side_mm} for mark in registration.marks]
    bare = registration.bare_xy_mm.tolist()
    return {"registration": {"marks": marks, "bare_xy_mm": bare, "setting": registration.setting.as_dict()}}


def _registration_from(body: dict[str, Any] | None) -> Registration | None:
    if body is None:
        return None
    marks = tuple(
        Mark(int(row["number"]), _pair(row["xy_mm"]), number_of(row["side_mm"]))
        for row in body["marks"]
    )
    if not all(0 < mark.side_mm < MOST_SIDE_MM for mark in marks):
        raise ValueError("a mark of no size")
    bare = np.array(numbers_of(body["bare_xy_mm"]), dtype=float).reshape(-1, 2)
    return Registration(marks, bare, Setting.from_dict(body["setting"]))


def _pair(values: Any) -> tuple[float, float]:
    x, y = numbers_of(values)
    return x, y


def read_grid(path: str | Path) -> Grid:
    """Grid of a `grid.json`, or of the folder that holds one.

    Raises
    ------
    FileError
        Not a grid, newer than this tint, or with a part missing or damaged.
    """
    path = Path(path)
    path = path / "grid.json" if path.is_dir() else path
    body = read_json(path, "grid", VERSION)
    with reading(path, "the grid.", f"{path} is damaged: a value is not of the kind a grid needs."):
        rows = body["patches"]
        return Grid(
            str(body["name"]), machine_from(body["machine"]), stock_from(body["stock"]),
            tuple(str(row["patch"]) for row in rows),
            Setting.from_table([Setting.from_dict(row["setting"]).table() for row in rows]),
            np.array([int(row["order"]) for row in rows]), np.array([numbers_of(row["xy_mm"]) for row in rows]),
            number_of(body["patch_mm"]), _pair(body["plate_mm"]),
            _registration_from(body.get("registration")),
        )  # fmt: skip
