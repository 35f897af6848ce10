"""Settings from somebody else's machine, without measurements: rescaled to this one, with what could not be kept.

Two machines agree on what the metal feels, not on dials: the heat of one pulse, how pulses and lines overlap in spots,
the energy per area and the heat that builds up. Where the new machine cannot do all at once, the least mismatch is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.process import process, rayleigh_mm, spot_out_of_focus_mm
from tint.setting import LEAST_POWER_PCT, Machine, Setting

# How dear a mismatch of each quantity is, per unit of its natural logarithm. With spot and dial curve known, keeping the
# heat that builds up halved the error on simulated lasers against keeping the frequency; halving or doubling the others
# changed it by about a tenth.
DEAR = {"pulse heat": 3.0, "areal energy": 2.0, "pulse pitch": 1.0, "line pitch": 1.0, "built-up heat": 3.0}
# The same quantities as sums of log power, frequency, speed and line spacing; heat builds up as P / √(v h)
SUMS = np.array([[1, -1, 0, 0], [1, 0, -1, -1], [0, -1, 1, 0], [0, 0, 0, 1], [1, 0, -0.5, -0.5]], dtype=float)
DEAR_PULSE_WIDTH = 2.0
NEAR_WIDTHS = 3  # pulse widths of a list that are tried, nearest first
RINGS = 3
SAME = 1e-3  # relative change below which a dial is left as it was
KEPT_WITHIN = 0.05  # a quantity is called kept within 5 %; typing three digits makes up to 1 %
# Radius without any measurement [ΔE00]: nine of ten marks of six stocks on six simulated machines, whose true spots are off
# what they state, landed within it. It grows with how far the new spot is from the old, per unit of its natural logarithm,
# and with what could not be kept (a guess). First where a dial curve is not known, then where both were measured.
RADIUS_DE00, RADIUS_PER_SPOT, RADIUS_PER_MISMATCH = (40.0, 24.0), (10.0, 22.0), 12.0
WIDEST_DE00 = 60.0  # wider says no more: any colour of the stock lies within
STRONG_STEP, SPEED_STEP = 0.30, 0.30  # outermost steps of a tuning grid, as shares of power and speed

# What is compared, with the words for it; overlaps as pulses and lines per spot
COMPARED = {
    "pulse_ns": "pulse width", "pulse_energy_uj": "pulse energy", "fluence_j_cm2": "fluence", "areal_energy_j_mm2": "areal energy",
    "pulses_per_spot": "pulses per spot", "lines_per_spot": "lines per spot", "average_power_w": "average power",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Borrowed:
    """Settings for a new machine that should mark nearly what they mark on the old one.

    Attributes
    ----------
    setting : (n,) for the new machine
    source : (n,) as they were on the old machine
    machine : the new machine
    ratio : (n, q) new over old of each quantity, columns in the order of `COMPARED`
    de00_90 : (n,) radius [ΔE00] within which 9 of 10 marks should land of the colour the old machine made
    remarks : sentences for the operator
    """

    setting: Setting
    source: Setting
    machine: Machine
    ratio: np.ndarray
    de00_90: np.ndarray
    remarks: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.setting)

    def kept(self, row: int) -> tuple[str, ...]:
        """Words of the quantities that stay within 5 % in a row."""
        return tuple(word for word, moves in zip(COMPARED.values(), self._moved(row), strict=True) if not moves)

    def lost(self, row: int) -> tuple[str, ...]:
        """Words of the quantities that do not, with new over old, such as "pulse energy × 1.56"."""
        rows = zip(COMPARED.values(), self.ratio[row], self._moved(row), strict=True)
        return tuple(f"{word} × {value:.2f}" for word, value, moves in rows if moves)

    def _moved(self, row: int) -> np.ndarray:
        return np.abs(np.log(self.ratio[row])) > np.log1p(KEPT_WITHIN)


def borrow(setting: Setting, from_machine: Machine, to_machine: Machine) -> Borrowed:
    """Settings (n,) of one machine rescaled to another by what both can state; a place to start, not a recipe.

    Raises
    ------
    LimitError
        A setting the old machine cannot do.

    Notes
    -----
    Kept as near as the new machine's limits allow, by weighted least squares of logarithms: the surface heat of a pulse
    (fluence over the root of the pulse width), areal energy, pulse and line pitch over the spot, and the heat that builds up
    (power over the root of area per second). With a wider spot and no limit in the way, average power and
    area per second stay, frequency falls with the spot's area, and lines lie as much wider apart as the spot is wider.
    Focus is scaled by the Rayleigh range, so that the spot widens alike; passes and hatch angle stay.

    Dial curves and true spots are as stated: they rarely are, so the radius is wide until patches are marked.

    References
    ----------
    Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), §2.9: surface heat of a constant flux rises with the
    root of time.

    Examples
    --------
    >>> mine = Machine("mine", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    >>> theirs = Machine("theirs", 100, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    >>> found = borrow(Setting([18], 800, 500, 6, 0.002), theirs, mine)
    >>> print(found.setting[0])
    30 % · 800 mm/s · 500 kHz · 6 ns · 0.002 mm · 1 pass
    >>> found.lost(0)
    ()
    """
    source = Setting.from_table(np.atleast_2d(setting.table()))
    from_machine.check(source, "the settings")
    table = np.array([_rescaled(source[i], from_machine, to_machine) for i in range(len(source))])
    new = Setting.from_table(table)
    to_machine.check(new)
    ratio = _compared(new, to_machine) / _compared(source, from_machine)
    return Borrowed(new, source, to_machine, ratio, _radius_de00(new, source, from_machine, to_machine), _remarks(ratio, from_machine, to_machine))


def tuning_settings(borrowed: Borrowed, n: int) -> Setting:
    """Settings (n,) to mark and look at: each borrowed one, then steps of power and speed around it, the nearest first.

    Raises
    ------
    DataError
        Fewer patches than settings, or more than the machine's limits leave room for.

    Examples
    --------
    >>> laser = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    >>> found = borrow(Setting([18], 800, 500, 6, 0.002), laser, laser)
    >>> tuning_settings(found, 9).power_pct.round(1).tolist()
    [18.0, 13.8, 13.8, 13.8, 18.0, 18.0, 23.4, 23.4, 23.4]
    """
    count = len(borrowed)
    if n < count:
        raise DataError(f"{n} patches are too few to try {count} borrowed settings; ask for {count} or more, best {9 * count}.")
    rows = []
    for i in range(count):
        wanted = n // count + (i < n % count)
        around = _around(borrowed.setting[i], borrowed.machine, wanted)
        if len(around) < wanted:
            raise DataError(
                f"only {len(around)} different settings are possible around {borrowed.setting[i]}; ask for fewer than {n} patches."
            )
        rows += around
    return Setting.from_table(rows)


def borrowed_text(borrowed: Borrowed) -> str:
    """Text of borrowed settings: each old and new one, what is kept, what is not, and how far off it may be."""
    kept = [borrowed.kept(i) for i in range(len(borrowed))]
    near = bool((borrowed.ratio.max(axis=0) <= borrowed.ratio.min(axis=0) * (1 + KEPT_WITHIN)).all())
    alike = len(kept) > 1 and len(set(kept)) == 1 and near  # then said once, for all of them
    lines = []
    for i in range(len(borrowed)):
        lines += [f"{i + 1:3d}  {borrowed.source[i]}", f"  →  {borrowed.setting[i]}   9 of 10 within ΔE00 {borrowed.de00_90[i]:.0f}"]
        lines += [] if alike else [f"     {_kept_text(kept[i], borrowed.lost(i))}"]
    lines += [f"all  {_kept_text(kept[0], _lost_of_any(borrowed.ratio))}"] if alike else []
    return "\n".join([*lines, *(f"Note: {remark}" for remark in borrowed.remarks)])


def _kept_text(kept: Sequence[str], lost: Sequence[str]) -> str:
    return f"kept: {', '.join(kept) or 'nothing'}" + (f" · not kept: {', '.join(lost)}" if lost else "")


def _lost_of_any(ratio: np.ndarray) -> list[str]:
    """Words of the quantities that some row does not keep, with the lowest and highest new over old."""
    far = np.abs(np.log(ratio)).max(axis=0) > np.log1p(KEPT_WITHIN)
    return [
        f"{word} × " + (f"{low:.2f}–{high:.2f}" if high > 1.005 * low else f"{np.sqrt(low * high):.2f}")
        for word, low, high, moves in zip(COMPARED.values(), ratio.min(axis=0), ratio.max(axis=0), far, strict=True) if moves
    ]  # fmt: skip


def _rescaled(one: Setting, old: Machine, new: Machine) -> list[float]:
    """Row of a table: the setting of least mismatch on the new machine, in digits a person types."""
    focus = float(one.focus_mm) * rayleigh_mm(new) / rayleigh_mm(old)
    wider = float(np.log(spot_out_of_focus_mm(new, np.array(focus)) / spot_out_of_focus_mm(old, one.focus_mm)))
    tries = [_nearest(one, old, new, width_ns, wider) for width_ns in _widths_ns(new, float(one.pulse_ns))]
    width_ns, (watts, freq, speed, spacing), _ = min(tries, key=lambda found: found[2])
    freq, speed = _typed(freq, one.freq_khz, *new.freq_khz), _typed(speed, one.speed_mm_s, 0.0, new.max_speed_mm_s)
    percent = _typed(_percent(new, watts, freq, width_ns), one.power_pct, *new.power_range_pct)
    return [percent, speed, freq, width_ns, _typed(spacing, one.spacing_mm), float(one.passes), round(focus, 3), float(one.hatch_deg)]


def _nearest(one: Setting, old: Machine, new: Machine, width_ns: float, wider: float) -> tuple[float, np.ndarray, float]:
    """Pulse width [ns], then power [W], frequency [kHz], speed [mm/s] and spacing [mm] of least mismatch, and that mismatch.

    `wider` is the natural logarithm of new over old spot.
    """
    from scipy.optimize import minimize

    longer = np.log(width_ns / float(one.pulse_ns))
    was = np.log([float(value) for value in (old.average_power_w(one), one.freq_khz, one.speed_mm_s, one.spacing_mm)])
    wanted = SUMS @ was + [2 * wider + longer / 2, 0, wider, wider, 0]
    dear = np.array(list(DEAR.values()))
    low_w, high_w, full_khz = _watts(new, width_ns)
    bounds = [np.log([low_w, high_w]), np.log(new.freq_khz), (None, np.log(new.max_speed_mm_s)), (None, None)]
    # below the frequency of full energy a pulse cannot carry more: energy ≤ highest power / that frequency
    full = {"type": "ineq", "fun": lambda x: np.log(high_w / full_khz) - x[0] + x[1]}
    found = minimize(
        lambda x: (((SUMS @ x - wanted) * dear) ** 2).sum(), was, jac=lambda x: 2 * SUMS.T @ ((SUMS @ x - wanted) * dear**2),
        bounds=bounds, constraints=[full] if full_khz else [], method="SLSQP", options={"ftol": 1e-10, "maxiter": 200},
    )  # fmt: skip
    return width_ns, np.exp(found.x), float(found.fun) + (DEAR_PULSE_WIDTH * longer) ** 2


def _widths_ns(machine: Machine, wanted_ns: float) -> list[float]:
    if machine.pulse_is_range:
        return [float(np.clip(wanted_ns, machine.pulse_ns[0], machine.pulse_ns[1]))]
    return sorted(machine.pulse_ns, key=lambda width: abs(np.log(width / wanted_ns)))[:NEAR_WIDTHS]


def _watts(machine: Machine, width_ns: float) -> tuple[float, float, float]:
    """Lowest and highest power [W] at high frequency, and the frequency [kHz] below which pulses cannot carry it; 0 none."""
    low, high = machine.power_range_pct
    ends = Setting([max(low, LEAST_POWER_PCT), high], 1.0, 1e9, width_ns, 1.0)
    full = np.interp(np.log(width_ns), np.log(machine.pulse_ns), machine.full_energy_khz) if machine.full_energy_khz else 0.0
    return (*machine.average_power_w(ends).tolist(), float(full))


def _percent(machine: Machine, watts: float, freq_khz: float, width_ns: float) -> float:
    """Dial [%] that gives average watts at a frequency and pulse width."""
    full_khz = _watts(machine, width_ns)[2]
    watts = watts * max(1.0, full_khz / freq_khz)
    if machine.power_curve:
        percent, curve_w = np.asarray(machine.power_curve).T
        return float(np.interp(watts, curve_w, percent))
    return 100 * watts / machine.max_power_w


def _typed(value: float, old: np.ndarray, low: float = 0.0, high: float = np.inf) -> float:
    """The value in three digits, as a person types it, within limits; the old value where it is as good as the same."""
    same = abs(value / float(old) - 1) < SAME and low <= float(old) <= high
    return float(old) if same else float(np.clip(float(f"{value:.3g}"), low, high))


def _compared(setting: Setting, machine: Machine) -> np.ndarray:
    values = process(setting, machine)
    own = {"pulse_ns": setting.pulse_ns, "lines_per_spot": values.spot_mm / setting.spacing_mm}
    return np.stack([own[name] if name in own else getattr(values, name) for name in COMPARED], axis=-1)


def _radius_de00(new: Setting, old: Setting, from_machine: Machine, to_machine: Machine) -> np.ndarray:
    """Radius (n,) [ΔE00]: that of dials and spots as far as they are known, wider for another spot and what was not kept."""
    measured = int(bool(from_machine.power_curve) and bool(to_machine.power_curve))
    spots = (spot_out_of_focus_mm(machine, s.focus_mm) for machine, s in ((to_machine, new), (from_machine, old)))
    wider = np.log(next(spots) / next(spots))
    ratio = np.log(_compared(new, to_machine) / _compared(old, from_machine))
    names = list(COMPARED)
    worst = np.abs(ratio[:, [names.index(name) for name in ("pulse_ns", "fluence_j_cm2", "areal_energy_j_mm2")]]).max(axis=1)
    wide = RADIUS_DE00[measured] + RADIUS_PER_SPOT[measured] * np.abs(wider) + RADIUS_PER_MISMATCH * worst
    return np.minimum(wide, WIDEST_DE00)


def _around(one: Setting, machine: Machine, count: int) -> list[np.ndarray]:
    """Up to `count` different rows: the setting, then power and speed steps in rings, as far as the machine goes."""
    reach = max(1, int(np.ceil((np.sqrt(count) - 1) / 2)))
    farther = range(-RINGS * reach, RINGS * reach + 1)  # where the machine's limits cut a ring short, the next fill up
    steps = [(i, j) for i in farther for j in farther]
    steps.sort(key=lambda step: max(abs(step[0]), abs(step[1])))
    low, high = machine.power_range_pct
    rows: list[np.ndarray] = []
    for i, j in steps:
        row = one.table().copy()
        if (i, j) != (0, 0):
            row[0] = _typed(row[0] * (1 + STRONG_STEP) ** (i / reach), row[0])
            row[1] = _typed(row[1] * (1 + SPEED_STEP) ** (j / reach), row[1])
        possible = low <= row[0] <= high and row[1] <= machine.max_speed_mm_s
        if possible and not any(np.array_equal(row, other, equal_nan=True) for other in rows):
            rows.append(row)
    return rows[:count]


def _remarks(ratio: np.ndarray, old: Machine, new: Machine) -> tuple[str, ...]:
    remarks = ["NOT MEASURED: borrowed from another machine. Mark a tuning grid on your stock and fit it before any work."]
    unmeasured = [machine.name for machine in (old, new) if not machine.power_curve]
    if unmeasured:
        remarks.append(
            f"no power curve of {' and '.join(unmeasured)}: watts are taken to follow the dial, which few sources do; "
            "a power meter's table (power_curve in machine.toml) narrows this."
        )
    if lost := _lost_of_any(ratio):
        remarks.append(f"could not all be kept on {new.name}: {', '.join(lost)}.")
    return tuple(remarks)
