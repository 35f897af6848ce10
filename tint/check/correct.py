"""A new version of a palette from a strip: its colours accepted as the promise, or its settings corrected."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from tint.check.cause import DOUBT, HEAT
from tint.check.judged import OUT, WITHIN, Check
from tint.check.noise import limit_de00, mark_covariance, own_covariance, own_dof, turns
from tint.errors import DataError, TintError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.likely import RADIUS_OVER_SIGMA
from tint.model.model import ColourModel, mean_and_spread
from tint.palette.lineage import Lineage
from tint.palette.palette import Palette
from tint.setting import FIELDS, Machine, Setting

# Natural logarithms of the changes of power, speed and frequency tried around a setting; pulse width and spacing stay
AROUND = {
    "power_pct": np.linspace(-0.24, 0.24, 17),
    "speed_mm_s": np.linspace(-0.24, 0.24, 9),
    "freq_khz": np.linspace(-0.2, 0.2, 9),
}
WORTH_EACH = 1.5  # how much worse one change of power may be before settings are changed colour by colour
STOPPED = 0.01  # relative; rounding to three digits makes up to half of that
WORTH_DE00 = 0.2  # a setting is changed only where that brings the colour nearer by this much


@dataclass(frozen=True, eq=False)
class Correction:
    """Settings that should bring a palette's colours back.

    Attributes
    ----------
    way : "heat" for one change of power, "each" for settings colour by colour
    setting : (n,) of all colours of the palette
    index : (k,) index of the colours the strip showed
    before_de00, after_de00 : (k,) of the mean of many marks to the promise, as measured and as expected
    fresh_de00 : (k,) expected of a single fresh mark, scatter counted
    power_pct : change of power of the heat correction [%]; 0 otherwise
    stopped : (k,) True for colours that the machine's power cannot bring back in full
    remarks : sentences for the operator
    """

    way: str
    setting: Setting
    index: np.ndarray
    before_de00: np.ndarray
    after_de00: np.ndarray
    fresh_de00: np.ndarray
    power_pct: float
    stopped: np.ndarray
    remarks: tuple[str, ...]


def accepted(check: Check, version: int, date: str, reason: str = "") -> Palette:
    """The palette with the strip's colours as its promise: version, parent and repeatability set.

    Notes
    -----
    Colours that the strip does not show keep what they had. `de00_90` becomes the radius that nine of ten fresh marks keep by
    the strip's own scatter, the mean's uncertainty counted.
    """
    palette, colours = check.palette, list(check.palette.colours)
    for item, along in zip(check.colours, check.along or [None] * len(check.colours), strict=True):
        old = colours[item.number - 1]
        marks = check.marks.lab[check.marks.number == item.number - 1]
        turn = turns(item.lab[None])
        by_heat = np.zeros((1, 3)) if along is None else np.einsum("kij,j->ki", turn, along.slope("power_pct"))
        apart = (marks - item.lab) @ turn[0].T
        one = own_covariance(mark_covariance(check.repeatability, by_heat)[0], apart.T @ apart, len(marks) - 1)
        dof = min(check.repeatability.dof, own_dof(len(marks)))
        radius = float(limit_de00(one * (1 + 1 / len(marks)), 0.1, dof))
        scatter = np.cov(marks.T) if len(marks) > 1 else None
        colours[item.number - 1] = dataclasses.replace(
            old,
            lab=item.lab.round(3),
            marks=len(marks),
            scatter=scatter,
            de00_90=round(radius, 2),
            along=old.along or along,
        )
    known = check.repeatability if check.heat is not None else palette.repeatability
    reason = reason or "the strip's colours accepted as the promise" + (
        f" although {check.verdict}" if check.verdict != WITHIN else ""
    )
    left = tuple(what for what in palette.edited if any(what.endswith(f" of {name!r}") for name in check.marks.missing))
    return dataclasses.replace(
        palette, colours=tuple(colours), repeatability=known, lineage=_next(check, version, date, reason), edited=left
    )


def corrected(check: Check, correction: Correction, version: int, date: str) -> Palette:
    """The palette with corrected settings and the same promise; what was edited by hand stays told."""
    colours = tuple(
        dataclasses.replace(
            colour, setting=correction.setting[k], patch=colour.patch if colour.setting == correction.setting[k] else ""
        )
        for k, colour in enumerate(check.palette.colours)
    )
    how = (
        f"power {correction.power_pct:+.1f} % for all colours"
        if correction.way == "heat"
        else "new settings colour by colour"
    )
    reason = f"corrected, {how}: strip was {check.verdict}, {check.cause.name}"
    return dataclasses.replace(check.palette, colours=colours, lineage=_next(check, version, date, reason))


def find_correction(check: Check, patches: Patches, model: ColourModel | None = None) -> Correction:
    """Settings that should bring the colours back: one change of power where that explains them, else colour by colour.

    Parameters
    ----------
    model : of this stock; needed where one change of power is not enough

    Raises
    ------
    DataError
        One change of power does not explain the strip, and no model was given.
    """
    heat = check.heat if check.along and check.cause.name in (*HEAT, "none") else None
    trial = _by_heat(check, heat.pct) if heat is not None else None
    limit = np.array([item.out_de00 for item in check.colours])
    if trial is not None and (trial.after_de00 <= limit)[~trial.stopped].all():
        if model is None or np.median(trial.after_de00) <= check.typical_de00:
            return trial
    elif model is None:
        raise DataError(
            "one change of power does not bring these colours back. Mend the cause first; or give --model MODEL for new settings "
            "colour by colour."
        )
    each = _each(check, patches, model)
    if trial is not None and np.median(trial.after_de00) <= WORTH_EACH * np.median(each.after_de00):
        return trial
    return each


def _by_heat(check: Check, heat_pct: float) -> Correction:
    palette, step = check.palette, float(np.log1p(heat_pct / 100))
    table = palette.setting.table()
    wanted = table[:, 0] * np.exp(-step)
    table[:, 0] = _dialled(wanted, palette.machine, table[:, 0])
    changed = np.log(table[:, 0] / palette.setting.power_pct)
    index = check.index
    moved = np.stack(
        [
            along.offset("power_pct", step + changed[k]) - along.offset("power_pct", step)
            for along, k in zip(check.along, index, strict=True)
        ]
    )
    stopped = ~np.isclose(table[:, 0], wanted, rtol=STOPPED)
    names = ", ".join(colour.name for colour, end in zip(palette.colours, stopped, strict=True) if end)
    remarks = (f"at the end of the machine's power, so not brought back in full: {names}.",) if names else ()
    return _correction(
        check, "heat", Setting.from_table(table), moved, 100 * float(np.expm1(-step)), stopped[index], remarks
    )


def _each(check: Check, patches: Patches, model: ColourModel) -> Correction:
    """Settings colour by colour: the measured colour moved by what the updated model says a change of setting does."""
    model, remarks = _updated(model, patches, check)
    palette, table = check.palette, check.palette.setting.table()
    moved = np.zeros((len(check.colours), 3))
    for i, item in enumerate(check.colours):
        if item.verdict == WITHIN:
            continue
        tries = _around(palette.colours[item.number - 1].setting, palette.machine)
        lab = mean_and_spread(model, Setting.from_table(tries))[0]
        shift = lab - lab[0]
        doubt = DOUBT * delta_e00(lab, lab[0]) / np.sqrt(3)
        hoped = np.hypot(delta_e00(item.lab + shift, item.promise_lab), doubt)
        best = int(np.argmin(hoped))
        if hoped[0] - hoped[best] > WORTH_DE00:
            table[item.number - 1], moved[i] = tries[best], shift[best]
    if check.marks.missing:
        remarks = (*remarks, f"not on the strip, so left as they are: {', '.join(check.marks.missing)}.")
    return _correction(check, "each", Setting.from_table(table), moved, 0.0, np.zeros(len(moved), dtype=bool), remarks)


def _updated(model: ColourModel, patches: Patches, check: Check) -> tuple[ColourModel, tuple[str, ...]]:
    from tint.model.adapt import adapt

    used = patches.take(np.array([name in check.marks.ids for name in patches.ids]))
    try:
        return adapt(model, used, check.palette.machine, check.palette.stock), ()
    except TintError as error:
        return model, (f"the model was not updated by this strip: {error}",)


def _correction(
    check: Check,
    way: str,
    setting: Setting,
    moved: np.ndarray,
    power_pct: float,
    stopped: np.ndarray,
    remarks: tuple[str, ...],
) -> Correction:
    lab = np.stack([item.lab for item in check.colours])
    promise = np.stack([item.promise_lab for item in check.colours])
    after = delta_e00(lab + moved, promise)
    turn = turns(promise)
    by_heat = (
        np.einsum("kij,kj->ki", turn, [along.slope("power_pct") for along in check.along])
        if check.along
        else np.zeros_like(lab)
    )
    scatter = limit_de00(mark_covariance(check.repeatability, by_heat), 0.1, 1e6) / RADIUS_OVER_SIGMA * np.sqrt(3)
    return Correction(
        way, setting, check.index, check.de00, after, np.hypot(after, scatter), power_pct, stopped, remarks
    )


def _around(setting: Setting, machine: Machine) -> np.ndarray:
    """Table (m, 8) of settings around one that the machine can do, that one first."""
    steps = np.stack(np.meshgrid(*AROUND.values(), indexing="ij"), axis=-1).reshape(-1, len(AROUND))
    table = np.repeat(setting.table()[None], len(steps) + 1, axis=0)
    for name, change in zip(AROUND, steps.T, strict=True):
        column = FIELDS.index(name)
        table[1:, column] = [float(f"{value:.3g}") for value in table[1:, column] * np.exp(change)]
    ends = {
        "power_pct": machine.power_range_pct,
        "speed_mm_s": (0.0, machine.max_speed_mm_s),
        "freq_khz": machine.freq_khz,
    }
    possible = np.ones(len(table), dtype=bool)
    for name, (low, high) in ends.items():
        values = table[:, FIELDS.index(name)]
        possible &= (values >= low) & (values <= high)
    possible[0] = True
    return table[possible]


def _dialled(wanted: np.ndarray, machine: Machine, old: np.ndarray) -> np.ndarray:
    """Power [%] in three digits, as a person types it, within the machine's range; the old where that is as good."""
    typed = np.array([float(f"{value:.3g}") for value in wanted])
    typed = np.where(np.abs(typed - wanted) <= np.abs(old - wanted), typed, old)
    return np.clip(typed, *machine.power_range_pct)


def _next(check: Check, version: int, date: str, reason: str) -> Lineage:
    palette = check.palette
    return Lineage(version, palette.line, palette.digest, reason, date, check.strip)


def refuse_correction(check: Check) -> None:
    """Nothing; raises where turning the dial would make a palette worse, or cannot help.

    Raises
    ------
    DataError
        The strip is within its limits, or uneven: its marks differ too much to say by how much to turn.
    """
    if check.verdict == WITHIN:
        raise DataError(
            f"{check.palette.name} is within its limits: there is nothing to correct, and following scatter makes it worse. Work on, "
            "or accept a strip (--accept)."
        )
    if check.uneven:
        raise DataError(
            "marks of one colour differ too much to say by how much to turn the dial. Look for swapped rows, an uneven sheet or a "
            "flickering source, and mark another strip."
        )


def worth_correcting(check: Check) -> bool:
    """True where a correction is called for: turning the dial after scatter makes a palette worse (Deming's funnel)."""
    return check.verdict == OUT and not check.uneven and check.cause.name not in ("none", "surface")
