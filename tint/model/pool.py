"""`Pool`: settings worth choosing from, with their colour, uncertainty, sensitivity and time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.model.jitter import USUAL_JITTER, Jitter, sensitivity
from tint.model.model import ColourModel, predict
from tint.model.quantities import log_quantities, varied
from tint.setting import FIELDS, Machine, Setting

# A setting may be in the box of dials yet in a corner no patch is near; process quantities may exceed the patches' by this share
QUANTITY_SLACK = 0.02


@dataclass(frozen=True, eq=False)
class Pool:
    """Settings (m,) and what is to be expected of them.

    Attributes
    ----------
    setting : (m,)
    lab : (m, 3) predicted CIELAB D50/2°
    de00_90 : (m,) radius [ΔE00] within which 9 of 10 fresh marks should land
    sensitivity_de00 : (m,) mean shift [ΔE00] under jitter
    time_s_cm2 : (m,) scan time [s/cm²]
    patch : m ids of the measured patch with that setting, "" for none
    """

    setting: Setting
    lab: np.ndarray
    de00_90: np.ndarray
    sensitivity_de00: np.ndarray
    time_s_cm2: np.ndarray
    patch: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.patch)


def candidate_pool(
    model: ColourModel,
    n: int = 4000,
    seed: int = 0,
    *,
    jitter: Jitter = USUAL_JITTER,
    locked: Mapping[str, float] | None = None,
) -> Pool:
    """Pool of up to n settings inside the grid's box and the measured patches, all possible on the machine.

    Parameters
    ----------
    n : at most this many beside the measured patches, 1 or more
    seed : picks them
    jitter : how far the machine strays, for the sensitivities
    locked : fields held at a value, by name, such as {"pulse_ns": 60}

    Raises
    ------
    DataError
        n below 1, a locked field that is unknown, or no setting left.
    LimitError
        A locked value the machine cannot do.

    Notes
    -----
    The box is filled evenly along the logarithm of each field that varied (Sobol points, rounded to three digits as a
    person types them, so that some may be equal: over a grid of a single field most are). Corners of the box where a process
    quantity leaves the range of the patches are dropped.
    """
    if n < 1:
        raise DataError(f"{n} settings make no pool; ask for 1 or more.")
    setting, ids = pool_settings(model, n, seed, check_locked(model, locked))
    guess = predict(model, setting)
    return Pool(setting, guess.lab, guess.de00_90, sensitivity(model, setting, jitter), time_s_cm2(setting), ids)


def pool_settings(model: ColourModel, n: int, seed: int, locked: dict[str, float]) -> tuple[Setting, tuple[str, ...]]:
    """Settings (m,) of a pool and the ids of the patches they repeat; the measured patches come first.

    Raises
    ------
    DataError
        No setting left.
    """
    measured, ids = _measured(model, locked)
    setting = Setting.from_table(np.concatenate([measured, filled(model, n, seed, locked)]))
    if not len(setting):
        raise DataError("no setting is left with these fields locked. Unlock one.")
    return setting, ids + ("",) * (len(setting) - len(ids))


def time_s_cm2(setting: Setting) -> np.ndarray:
    """Scan time [s] of one square centimetre, same shape; without jumps and turn-round.

    Examples
    --------
    >>> float(time_s_cm2(Setting(18, 800, 500, 6, 0.002)))
    62.5
    """
    return 100 * setting.passes / (setting.speed_mm_s * setting.spacing_mm)


def check_locked(model: ColourModel, locked: Mapping[str, float] | None) -> dict[str, float]:
    """Locked fields as plain numbers.

    Raises
    ------
    DataError
        An unknown field.
    LimitError
        A value the machine cannot do.
    """
    locked = {name: float(value) for name, value in (locked or {}).items()}
    for name in locked:
        if name not in FIELDS:
            raise DataError(f"{name} is not a field of a setting; known are {', '.join(FIELDS)}.")
    model.machine.check(model.patches.setting[0].replace(**locked))
    return locked


def _measured(model: ColourModel, locked: dict[str, float]) -> tuple[np.ndarray, tuple[str, ...]]:
    """Table and ids of the measured patches that agree with what is locked; of equal settings the first."""
    aside = set(model.report.outliers)
    table, kept, seen = model.patches.setting.table(), [], set()
    for i, name in enumerate(model.patches.ids):
        agrees = all(np.isclose(table[i, FIELDS.index(field)], value) for field, value in locked.items())
        key = table[i].tobytes()
        if agrees and name not in aside and key not in seen:
            seen.add(key)
            kept.append(i)
    return table[kept], tuple(model.patches.ids[i] for i in kept)


def filled(model: ColourModel, n: int, seed: int, locked: dict[str, float], *, corners: bool = False) -> np.ndarray:
    """Table (n, 8) of settings that fill the box evenly, where patches taught something.

    `corners` keeps those no patch is near too, unless a field is locked: to mark them is how they are learned.
    """
    from scipy.stats import qmc

    patches = model.patches.setting.table()
    moved = [k for k in np.flatnonzero(varied(model.box)) if FIELDS[k] not in locked]
    if not moved:
        rows = patches[:1].copy()
    else:
        # twice as many points as asked for: corners without patches are dropped below
        unit = qmc.Sobol(len(moved), seed=seed).random(2 ** int(np.ceil(np.log2(2 * n))))
        rows = np.repeat(patches[:1], len(unit), axis=0)
        for k, share in zip(moved, unit.T, strict=True):
            rows[:, k] = column(model.machine, FIELDS[k], patches[:, k], share)
    for name, value in locked.items():
        rows[:, FIELDS.index(name)] = value
    if corners and not locked:
        return rows[:n]
    return rows[taught(model, Setting.from_table(rows), bool(locked))][:n]


def column(machine: Machine, field: str, values: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Values (n,) of a field at shares (n,) 0..1 of the range of the patches' values (m,), as the machine can be set."""
    low, high = np.nanmin(values), np.nanmax(values)
    if field == "hatch_deg":
        offered = np.unique(values[~np.isnan(values)])
    elif field == "passes":
        offered = np.arange(low, high + 1)
    elif field == "pulse_ns" and not machine.pulse_is_range:
        offered = np.array([w for w in machine.pulse_ns if low * (1 - 1e-9) <= w <= high * (1 + 1e-9)])
    elif field == "focus_mm":
        return np.clip(np.round(low + share * (high - low), 2), low, high)
    else:
        spread = low * (high / low) ** share
        digits = 10.0 ** (np.floor(np.log10(spread)) - 2)
        return np.clip(np.round(np.round(spread / digits) * digits, 6), low, high)
    return offered[np.minimum((share * len(offered)).astype(int), len(offered) - 1)]


def taught(model: ColourModel, setting: Setting, loose: bool = False) -> np.ndarray:
    """(m,) True where every process quantity lies in the range of the patches; `loose` where a locked field may leave it."""
    at, seen = log_quantities(setting, model.machine), log_quantities(model.patches.setting, model.machine)
    low, high = seen.min(axis=0), seen.max(axis=0)
    slack = (0.5 if loose else QUANTITY_SLACK) * np.maximum(high - low, np.log(2) if loose else 1e-6)
    return ((at >= low - slack) & (at <= high + slack)).all(axis=1)
