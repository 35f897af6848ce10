"""The same palette marked with less and with more heat: what a light and a heavy proof show."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError, LimitError
from tint.lab import delta_e00
from tint.model.model import ColourModel, mean_and_spread
from tint.palette.palette import Palette
from tint.setting import FIELDS, Setting

# Power between two days on one machine strays by a few per cent (common practice, no source); colours turn visibly by then.
USUAL_HEAT_PCT = 5.0
MOST_HEAT_PCT = 20.0  # beyond, a model is asked about heat no grid near this setting has taught


@dataclass(frozen=True, eq=False)
class Heated:
    """Colours of a palette under less and more heat.

    Attributes
    ----------
    light_lab, heavy_lab : (k + 1, 3) by number, the bare metal unchanged
    words : what was changed, and what told how the colours move
    """

    light_lab: np.ndarray
    heavy_lab: np.ndarray
    words: str


def heated(palette: Palette, heat_pct: float = USUAL_HEAT_PCT, model: ColourModel | None = None) -> Heated:
    """Colours when all marks get this much less and more power [%], by the model, the palette's own record or its doubt.

    Parameters
    ----------
    model : of the palette's stock and machine; None takes how the palette's file says its colours move, and where it does
        not say, lightens and darkens each by its radius

    Raises
    ------
    LimitError
        Heat outside 0–20 %.
    DataError
        A model of another stock or machine.

    Notes
    -----
    A model's change of colour is added to the palette's colour, so that a palette corrected since keeps its correction.
    """
    if not 0 < heat_pct <= MOST_HEAT_PCT:
        raise LimitError(f"heat {heat_pct:g} % cannot be; it lies above 0 and up to {MOST_HEAT_PCT:g} %.")
    step = math.log1p(heat_pct / 100)
    if model is not None:
        _refuse_other(palette, model)
        light, heavy = (_by_model(palette, model, factor) for factor in (math.exp(-step), math.exp(step)))
        return Heated(light, heavy, f"{heat_pct:g} % less and more power, by the colour model")
    if all(colour.along is not None for colour in palette.colours):
        light, heavy = (_by_record(palette, change) for change in (-step, step))
        return Heated(light, heavy, f"{heat_pct:g} % less and more power, as the palette's file says its colours move")
    light, heavy = (_by_radius(palette, sign) for sign in (1.0, -1.0))
    return Heated(
        light, heavy, "each colour lightened and darkened by its radius: neither model nor palette says how it moves"
    )


def _refuse_other(palette: Palette, model: ColourModel) -> None:
    for what, have, want in (
        ("stock", palette.stock.name, model.stock.name),
        ("machine", palette.machine.name, model.machine.name),
    ):
        if have != want:
            raise DataError(
                f"the layers' palette is of {what} {have!r}, the model of {want!r}; give the model of this {what}, or leave it out."
            )


def _by_model(palette: Palette, model: ColourModel, factor: float) -> np.ndarray:
    table = palette.setting.table()
    here = mean_and_spread(model, Setting.from_table(table))[0]
    table[:, FIELDS.index("power_pct")] *= (
        factor  # a dial at its stop strays too: the machine's limits do not count here
    )
    moved = mean_and_spread(model, Setting.from_table(table))[0] - here
    return np.vstack([palette.bare_lab, palette.lab[1:] + moved])


def _by_record(palette: Palette, change: float) -> np.ndarray:
    moved = [colour.along.offset("power_pct", change) for colour in palette.colours if colour.along is not None]
    return np.vstack([palette.bare_lab, palette.lab[1:] + np.array(moved)])


def _by_radius(palette: Palette, sign: float) -> np.ndarray:
    """Colours as far up or down in lightness as their radius, found by halving; black and white stop it."""
    lab = palette.lab[1:]
    radius = np.array([colour.de00_90 for colour in palette.colours])
    low, high = np.zeros(len(lab)), np.where(sign > 0, 100 - lab[:, 0], lab[:, 0]).clip(0)
    for _ in range(30):
        middle = (low + high) / 2
        near = delta_e00(lab, lab + np.column_stack([sign * middle, 0 * middle, 0 * middle])) < radius
        low, high = np.where(near, middle, low), np.where(near, high, middle)
    return np.vstack([palette.bare_lab, lab + np.column_stack([sign * high, 0 * high, 0 * high])])
