"""Colour to setting: which settings should give a wished colour, the safest first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import DataError
from tint.lab import AB_LIMIT, L_RANGE, delta_e00
from tint.model.jitter import USUAL_JITTER, Jitter, assumed_fields, sensitivity
from tint.model.model import ColourModel, predict
from tint.model.pool import Pool, candidate_pool, check_locked, column, pool_settings, taught, time_s_cm2
from tint.model.quantities import log_fields, over_box, varied
from tint.setting import FIELDS, Setting

__all__ = ["Candidate", "Found", "Jitter", "Pool", "candidate_pool", "expected_de00", "find_setting", "sensitivity"]

REACH_DE00 = 2.3  # nearer than a just noticeable difference counts as reached (Mahy 1994: about 2.3 ΔE*ab)
# Three equal normal errors σ per axis: 9 of 10 within 2.50 σ, mean distance 1.60 σ (chi distribution, 3 degrees)
MEAN_OVER_RADIUS = 1.596 / 2.500
POOL = 4000  # settings a search starts from
REFINE_ROUNDS, REFINE_BEST, REFINE_TRIES = 3, 16, 48  # a finer search around the best; more changed nothing
APART = 0.05  # candidates returned differ by at least this share of the box in some field
MOST_TIED = 100  # candidates looked at for ties, however few are asked for: the first answer does not hang on how many
TIE_DE00 = 0.1  # settings this close in expectation are ranked by sensitivity


@dataclass(frozen=True, eq=False)
class Candidate:
    """A setting that should give a wished colour.

    Attributes
    ----------
    setting : the single setting
    lab : (3,) predicted CIELAB D50/2°
    de00 : from the wish to the prediction [ΔE00]
    expected_de00 : from the wish to a fresh mark, the model's uncertainty counted in [ΔE00]
    de00_90 : radius [ΔE00] around the prediction within which 9 of 10 fresh marks should land
    sensitivity_de00 : mean shift [ΔE00] under jitter
    time_s_cm2 : scan time [s/cm²]
    patch : id of the measured patch it repeats, "" for none
    """

    setting: Setting
    lab: np.ndarray
    de00: float
    expected_de00: float
    de00_90: float
    sensitivity_de00: float
    time_s_cm2: float
    patch: str = ""


@dataclass(frozen=True, eq=False)
class Found:
    """Answer to a wish: candidates, safest first.

    Attributes
    ----------
    wish_lab : (3,) the colour wished for
    candidates : by expected ΔE00 of a fresh mark; near ties by sensitivity
    reachable : True where some setting should come within 2.3 ΔE00 of the wish
    nearest_de00 : from the wish to the nearest predicted colour [ΔE00]
    jitter : the jitter behind the sensitivities
    assumed : fields of the jitter that the grid never varied: there the sensitivity is assumed, not learned
    """

    wish_lab: np.ndarray
    candidates: tuple[Candidate, ...]
    reachable: bool
    nearest_de00: float
    jitter: Jitter
    assumed: tuple[str, ...] = ()


def find_setting(
    model: ColourModel,
    lab: Any,
    *,
    n: int = 5,
    jitter: Jitter = USUAL_JITTER,
    seed: int = 0,
    locked: Mapping[str, float] | None = None,
) -> Found:
    """Settings for a wished Lab (3,), measured patches among them, ranked by how near a fresh mark should come.

    Parameters
    ----------
    model : of the stock and machine
    lab : (3,) the wish, CIELAB D50/2°
    n : how many, 1 or more
    jitter : how far the machine strays; shown with every setting, decides only between near ties
    seed : picks the settings that are looked at
    locked : fields held at a value, by name, such as {"pulse_ns": 60}

    Raises
    ------
    DataError
        The wish is not a colour, n is below 1, a locked field is unknown, or nothing is left to choose from.
    LimitError
        A locked value the machine cannot do.

    Notes
    -----
    Expected ΔE00 of a fresh mark = √(ΔE00² + (0.64 de00_90)²): distance of the predicted colour and the model's own
    uncertainty. On simulated lasers this chose better than the nearest predicted colour, and ranking by jitter worse.
    """
    wish = np.asarray(lab, dtype=float)
    if wish.shape != (3,) or not np.isfinite(wish).all():
        raise DataError("a wished colour needs three numbers L, a, b.")
    if not L_RANGE[0] <= wish[0] <= L_RANGE[1] or (np.abs(wish[1:]) > AB_LIMIT).any():
        raise DataError(
            f"L {wish[0]:g}, a {wish[1]:g}, b {wish[2]:g} is no surface colour; L is 0 to 100, a and b within ±{AB_LIMIT:g}."
        )
    if n < 1:
        raise DataError(f"{n} settings cannot be given; ask for 1 or more.")
    locked = check_locked(model, locked)
    table, ids, guessed, radius = _refined(model, *pool_settings(model, POOL, seed, locked), wish, locked, seed)
    setting = Setting.from_table(table)
    away = delta_e00(guessed, wish)
    hoped = expected_de00(away, radius)
    picked = _apart(model, table, np.argsort(hoped, kind="stable"), max(2 * n, MOST_TIED))
    loud = np.zeros(len(table))
    loud[picked] = sensitivity(model, setting[picked], jitter)
    tie = np.floor((hoped[picked] - hoped[picked[0]]) / TIE_DE00)
    chosen = picked[np.lexsort([loud[picked], tie])][:n]
    times = time_s_cm2(setting)
    candidates = tuple(
        Candidate(
            setting[i],
            guessed[i],
            float(away[i]),
            float(hoped[i]),
            float(radius[i]),
            float(loud[i]),
            float(times[i]),
            ids[i],
        )
        for i in chosen
    )
    return Found(
        wish, candidates, bool(away.min() <= REACH_DE00), float(away.min()), jitter, assumed_fields(model, jitter)
    )


def expected_de00(away_de00: np.ndarray, de00_90: np.ndarray) -> np.ndarray:
    """Expected distance [ΔE00] of a fresh mark from a wish, from that of its prediction and the radius; same shape.

    Examples
    --------
    >>> round(float(expected_de00(3.0, 6.25)), 2)
    4.99
    """
    return np.hypot(away_de00, MEAN_OVER_RADIUS * np.asarray(de00_90))


def _refined(
    model: ColourModel, pool: Setting, patch: tuple[str, ...], wish: np.ndarray, locked: dict[str, float], seed: int
) -> tuple[np.ndarray, list[str], np.ndarray, np.ndarray]:
    """Table, patch ids, Lab and radius of a pool and of settings sought around its best, closer each round."""
    rng = np.random.default_rng(seed)
    patches = model.patches.setting.table()
    moved = [k for k in np.flatnonzero(varied(model.box)) if FIELDS[k] not in locked]
    table, ids, guess = pool.table(), list(patch), predict(model, pool)
    guessed, radius = guess.lab, guess.de00_90
    for turn in range(REFINE_ROUNDS if moved else 0):
        hoped = expected_de00(delta_e00(guessed, wish), radius)
        best = table[np.argsort(hoped, kind="stable")[:REFINE_BEST]]
        tries = np.repeat(best, REFINE_TRIES, axis=0)
        for k in moved:
            low, high = np.nanmin(patches[:, k]), np.nanmax(patches[:, k])
            share = _share(FIELDS[k], tries[:, k], low, high) + rng.normal(0, 0.06 / 3**turn, len(tries))
            tries[:, k] = column(model.machine, FIELDS[k], patches[:, k], np.clip(share, 0, 1))
        tries = tries[taught(model, Setting.from_table(tries), bool(locked))]
        if not len(tries):
            break
        guess = predict(model, Setting.from_table(tries))
        table = np.concatenate([table, tries])
        ids += [""] * len(tries)
        guessed, radius = np.concatenate([guessed, guess.lab]), np.concatenate([radius, guess.de00_90])
    return table, ids, guessed, radius


def _share(field: str, values: np.ndarray, low: float, high: float) -> np.ndarray:
    if field in ("focus_mm", "hatch_deg"):
        return (np.nan_to_num(values) - low) / (high - low)
    return np.log(values / low) / np.log(high / low)


def _apart(model: ColourModel, table: np.ndarray, ranked: np.ndarray, n: int) -> np.ndarray:
    """The first n of the ranking that are not next to one already taken."""
    logs = over_box(log_fields(Setting.from_table(table[ranked])), model.box)
    left = np.ones(len(ranked), dtype=bool)
    chosen: list[int] = []
    while left.any() and len(chosen) < n:
        first = int(left.argmax())
        chosen.append(ranked[first])
        left &= np.abs(logs - logs[first]).max(axis=1) >= APART
        left[first] = False
    return np.array(chosen)
