"""The next grid: settings whose marks should show colours not seen yet, and settle those that are wanted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00
from tint.model.model import ColourModel, predict
from tint.model.pool import check_locked, filled
from tint.model.quantities import log_fields, over_box
from tint.setting import Setting

CANDIDATES = 6000
# What a wanted colour's patch is ranked by: ΔE00 to the wish less this share of the radius, so that a setting that might
# hit is tried before one that surely misses a little.
HOPE = 0.3
SPLIT = 0.5  # share of the grid that goes to the wanted colours where some are named
CLEAR_LAB = 9.0  # two balls of 3 units do not touch, and 3 units are left: a prediction of a new colour errs by 1 to 4
# Share of the grid that is spread in settings alone, whatever colour is expected there. On simulated lasers a model whose
# every patch was chosen for its colour predicted worse than one of an even grid; a quarter costs colours, none costs error.
SPREAD = 1 / 6
APART_DE00 = 1.5  # patches for wanted colours differ at least by this, or the same colour is marked again and again


def propose(
    model: ColourModel, n: int = 24, *, toward: Any = None, seed: int = 0, locked: Mapping[str, float] | None = None
) -> Setting:
    """Settings (n,) to mark next, inside the box of the patches so far, its corners included.

    Parameters
    ----------
    n : how many patches
    toward : (k, 3) wanted Lab colours; half of the patches then go near them
    locked : fields held at a value, by name

    Raises
    ------
    DataError
        n below 1, a wanted colour without three numbers, an unknown locked field, or too few settings left in the box.
    LimitError
        A locked value the machine cannot do.

    Notes
    -----
    A share of the patches, `SPREAD`, fills the widest holes between the settings, so that the model also learns where it
    expects nothing new. The others show new colours: of the settings whose predicted colour stands clear, in CIELAB, of
    every colour measured or chosen so far, the one farthest in settings from them is next. On simulated lasers this shows
    more colours than filling the box evenly, at nearly its error of prediction; without the share it predicts worse,
    and so it does taking the farthest colour, which shows no more.
    """
    if n < 1:
        raise DataError(f"a grid of {n} patches cannot be marked; ask for 1 or more.")
    wanted = np.zeros((0, 3)) if toward is None else np.atleast_2d(np.asarray(toward, dtype=float))
    if wanted.shape[-1:] != (3,) or not np.isfinite(wanted).all():
        raise DataError("wanted colours need three numbers L, a, b each.")
    table = filled(model, CANDIDATES, seed, check_locked(model, locked), corners=True)
    known = {row.tobytes() for row in model.patches.setting.table()}
    table = np.unique(table, axis=0) if len(table) else table
    table = table[[row.tobytes() not in known for row in table]] if len(table) else table
    if len(table) < n:
        raise DataError(f"only {len(table)} settings are left in the box for {n} patches. Ask for fewer, or widen the box with a new grid.")
    guess = predict(model, Setting.from_table(table))
    chosen = _toward(guess.lab, guess.de00_90, wanted, round(SPLIT * n) if len(wanted) else 0)
    at, seen_at = (
        over_box(log_fields(part), model.box) for part in (Setting.from_table(table), model.patches.setting)
    )
    both = guess.lab, at, model.patches.lab, seen_at
    spread = _novel(*both, chosen, round(SPREAD * (n - len(chosen))), 0.0)
    novel = _novel(*both, chosen + spread, n - len(chosen) - len(spread), CLEAR_LAB)
    chosen += novel + spread
    return Setting.from_table(table[chosen])


def _toward(lab: np.ndarray, radius: np.ndarray, wanted: np.ndarray, count: int) -> list[int]:
    """Up to `count` settings, each wanted colour in turn taking its most hopeful one left."""
    if not count:
        return []
    away = delta_e00(lab[:, None, :], wanted[None, :, :]) - HOPE * radius[:, None]
    free = np.ones(len(lab), dtype=bool)
    chosen: list[int] = []
    while len(chosen) < count and free.any():
        k = len(chosen) % len(wanted)
        i = int(np.where(free, away[:, k], np.inf).argmin())
        chosen.append(i)
        free &= delta_e00(lab, lab[i]) >= APART_DE00
        free[i] = False
    return chosen


def _novel(
    lab: np.ndarray, at: np.ndarray, seen_lab: np.ndarray, seen_at: np.ndarray, chosen: list[int], count: int, clear_lab: float
) -> list[int]:  # fmt: skip
    """`count` settings of new colours, each the farthest in settings `at` (m, k) from all marked and chosen before it.

    A colour is new where its Lab stands `clear_lab` or more from all seen (0: every one does, so that settings alone count);
    when none is left, the one that stands clearest is taken.
    """
    colour_gap, setting_gap = np.full(len(lab), np.inf), np.full(len(lab), np.inf)

    def see(colour: np.ndarray, place: np.ndarray) -> None:
        np.minimum(colour_gap, np.sqrt(((lab - colour) ** 2).sum(axis=1)), out=colour_gap)
        np.minimum(setting_gap, ((at - place) ** 2).sum(axis=1), out=setting_gap)

    for colour, place in zip([*seen_lab, *lab[chosen]], [*seen_at, *at[chosen]], strict=True):
        see(colour, place)
    colour_gap[chosen] = -1.0
    out = []
    for _ in range(count):
        new = colour_gap >= clear_lab
        i = int(np.where(new, setting_gap, -1.0).argmax()) if new.any() else int(colour_gap.argmax())
        out.append(i)
        see(lab[i], at[i])
        colour_gap[i] = -1.0
    return out
