"""A mark's numbers and their limits: `Setting`, `Machine`, `Stock`.

A `Setting` holds one mark or many: every field is an array of one common shape. A `Machine` knows what it can do and
how many watts a percentage is; a `Stock` is the metal on the bench.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import FileError, LimitError
from tint.files.own import number_of
from tint.files.text import read_text
from tint.words import FIELDS, UNITS, WORDS

__all__ = [
    "FIELDS", "UNITS", "WORDS", "Machine", "Setting", "Stock", "machine_from", "read_machine", "read_stock", "stock_from", "toml_text",
]  # fmt: skip

MOST = 1e9  # of any number of a setting, machine or stock: beyond is a slip, and what is computed from it may run over
LEAST_POWER_PCT = 1.0  # below it sources do not fire evenly (common practice, no source)
MOST_FOCUS_MM = 1000.0  # farther than any lens of such a machine focuses
MOST_TOML, MOST_LINE = 200_000, 4000  # of a file and of a line; the longest power curve anybody measures has some 2,000
MOST_SIGNS = 200  # of a name, grade or finish: it stands on sheets and in tables
_POSITIVE = FIELDS[:6]
_TIMES = ("turn_ms", "jump_ms", "jump_speed_mm_s")


@dataclass(frozen=True, eq=False)
class Setting:
    """Settings of one mark, or of many: each field is a float array of one shape, () for a single mark.

    Parameters
    ----------
    power_pct : power as the machine's dial shows it [% of its maximum]
    speed_mm_s : scan speed [mm/s]
    freq_khz : pulse frequency [kHz]
    pulse_ns : pulse width [ns]
    spacing_mm : distance between scan lines [mm]
    passes : number of passes, a whole number
    focus_mm : offset of the surface from focus [mm], 0 in focus
    hatch_deg : scan-line angle [°]; NaN where it was not noted

    Raises
    ------
    LimitError
        A value is missing, not finite, not positive, or the arrays do not fit each other.

    Examples
    --------
    >>> blue = Setting(power_pct=18, speed_mm_s=800, freq_khz=500, pulse_ns=6, spacing_mm=0.002)
    >>> print(blue)
    18 % · 800 mm/s · 500 kHz · 6 ns · 0.002 mm · 1 pass
    """

    power_pct: Any
    speed_mm_s: Any
    freq_khz: Any
    pulse_ns: Any
    spacing_mm: Any
    passes: Any = 1.0
    focus_mm: Any = 0.0
    hatch_deg: Any = 0.0

    def __post_init__(self) -> None:
        try:
            arrays = [np.asarray(getattr(self, name), dtype=float) for name in FIELDS]
            arrays = [array.copy() for array in np.broadcast_arrays(*arrays)]
        except (TypeError, ValueError):
            raise LimitError("a setting needs numbers in every column, and as many in each column.") from None
        for name, array in zip(FIELDS, arrays, strict=True):
            array.flags.writeable = False
            object.__setattr__(self, name, array)
            bad = np.isinf(array) if name == "hatch_deg" else ~np.isfinite(array)
            if name in _POSITIVE:
                bad |= array <= 0
            bad |= np.abs(array) > (MOST_FOCUS_MM if name == "focus_mm" else MOST)
            if name == "passes":
                bad |= array != np.round(array)
            if bad.any():
                row = np.flatnonzero(bad.ravel())[0]
                value, need = array.ravel()[row], "a whole number above 0" if name == "passes" else "a number above 0"
                need = need if name in _POSITIVE else "a finite number"
                if abs(value) > (MOST_FOCUS_MM if name == "focus_mm" else MOST):
                    need = f"within ±{MOST_FOCUS_MM:g} mm" if name == "focus_mm" else f"{need}, up to {MOST:g}"
                where = "" if array.ndim == 0 else f"row {row + 1}: "
                raise LimitError(
                    f"{where}{WORDS[name]} {value:g} {UNITS[name]} cannot be; {name} is {need}.".replace("  ", " ")
                )

    @property
    def shape(self) -> tuple[int, ...]:
        """Common shape of the fields; () for a single mark."""
        return self.power_pct.shape

    def __len__(self) -> int:
        return len(self.power_pct)

    def __getitem__(self, index: Any) -> Setting:
        return Setting(*(getattr(self, name)[index] for name in FIELDS))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Setting) and all(
            np.array_equal(getattr(self, name), getattr(other, name), equal_nan=True) for name in FIELDS
        )

    def __str__(self) -> str:
        if self.shape != ():
            return f"{self.power_pct.size} settings"
        passes = int(self.passes)
        parts = [f"{float(getattr(self, name)):g} {UNITS[name]}" for name in FIELDS[:5]]
        parts.append(f"{passes} pass" if passes == 1 else f"{passes} passes")
        if self.focus_mm != 0:
            parts.append(f"focus {float(self.focus_mm):+g} mm")
        return " · ".join(parts)

    def table(self) -> np.ndarray:
        """Array (..., 8) of the fields in the order of `FIELDS`."""
        return np.stack([getattr(self, name) for name in FIELDS], axis=-1)

    def replace(self, **changes: Any) -> Setting:
        """The same settings with some fields changed."""
        return dataclasses.replace(self, **changes)

    def as_dict(self) -> dict[str, float | None]:
        """Fields of a single mark as plain numbers for JSON; an unknown hatch angle is None."""
        values = {name: float(getattr(self, name)) for name in FIELDS}
        return {
            name: None if math.isnan(value) else (int(value) if name == "passes" else value)
            for name, value in values.items()
        }

    @classmethod
    def from_table(cls, table: Any) -> Setting:
        """Settings from an array (..., 8) in the order of `FIELDS`."""
        return cls(*np.moveaxis(np.asarray(table, dtype=float), -1, 0))

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Setting:
        """A single setting from a mapping of field names, as `as_dict` writes it; passes, focus and angle may be left out.

        Raises
        ------
        LimitError
            A field is unknown, or a value is not a single number.
        """
        if unknown := sorted(set(values) - set(FIELDS)):
            raise LimitError(f"{unknown[0]} is not a field of a setting; known are {', '.join(FIELDS)}.")
        try:
            given = {name: math.nan if values[name] is None else number_of(values[name]) for name in FIELDS if name in values}
        except TypeError:
            raise LimitError("a setting needs numbers in every column, each a single one.") from None
        return cls(**given)


@dataclass(frozen=True)
class Machine:
    """What a laser can do, as `machine.toml` states it.

    Parameters
    ----------
    name : what the shop calls it
    max_power_w : average power at 100 % [W]
    pulse_ns : pulse widths it offers [ns]; exactly two numbers are a range, any other count a list of single widths
    freq_khz : lowest and highest pulse frequency [kHz]
    max_speed_mm_s : highest scan speed [mm/s]
    field_mm : width and height it can reach [mm]
    wavelength_nm : [nm]
    lens_focal_mm : focal length of the lens [mm]
    spot_um : spot (1/e²) at focus [µm]; or give `beam_mm` and `m2` and the lens computes it
    beam_mm, m2 : diameter of the beam at the lens (1/e²) [mm] and its quality factor
    full_energy_khz : per pulse width, the frequency [kHz] below which that width cannot carry the full average power
        (the pulse energy has reached its limit); one number per entry of `pulse_ns`; empty: no such limit known
    power_curve : pairs (percent, watts) from a power meter; empty: watts follow the percentage in a straight line
    turn_ms, jump_ms : what the machine spends from one scan line to the next, and on settling after a jump to another
        region [ms]; None: not known, jobs take common practice. `tint job --timed` finds them
    jump_speed_mm_s : speed of such a jump [mm/s]; None: the highest scan speed

    Raises
    ------
    LimitError
        A number is missing, negative, or does not fit the others.

    Notes
    -----
    Machines that differ only in those last three are equal: time does not change a colour.
    """

    name: str
    max_power_w: float
    pulse_ns: tuple[float, ...]
    freq_khz: tuple[float, float]
    max_speed_mm_s: float
    field_mm: tuple[float, float]
    wavelength_nm: float = 1064.0
    lens_focal_mm: float | None = None
    spot_um: float | None = None
    beam_mm: float | None = None
    m2: float = 1.3  # common practice, no source: a single-mode fibre source is stated at 1.1 to 1.6
    full_energy_khz: tuple[float, ...] = ()
    power_curve: tuple[tuple[float, float], ...] = ()
    turn_ms: float | None = field(default=None, compare=False)
    jump_ms: float | None = field(default=None, compare=False)
    jump_speed_mm_s: float | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        for name, size in (("pulse_ns", None), ("freq_khz", 2), ("field_mm", 2), ("full_energy_khz", None)):
            values = _numbers(name, getattr(self, name))
            object.__setattr__(self, name, values)
            if size and len(values) != size:
                raise LimitError(f"{name} of the machine needs {size} numbers, found {len(values)}.")
        for name in (
            "max_power_w",
            "max_speed_mm_s",
            "wavelength_nm",
            "lens_focal_mm",
            "spot_um",
            "beam_mm",
            "m2",
            *_TIMES,
        ):
            value = getattr(self, name)
            if value is None and name in ("lens_focal_mm", "spot_um", "beam_mm", *_TIMES):
                continue
            zero = name in ("turn_ms", "jump_ms") and value == 0 and not isinstance(value, bool)
            object.__setattr__(self, name, 0.0 if zero else _numbers(name, [value])[0])
        if not isinstance(self.name, str) or not self.name:
            raise LimitError("name of the machine is missing.")
        if not self.pulse_ns or list(self.pulse_ns) != sorted(set(self.pulse_ns)):
            raise LimitError("pulse_ns of the machine needs pulse widths [ns] in rising order.")
        if self.freq_khz[0] >= self.freq_khz[1]:
            raise LimitError("freq_khz of the machine needs [lowest, highest] in kHz.")
        if self.spot_um is None and (self.beam_mm is None or self.lens_focal_mm is None):
            raise LimitError("the machine needs spot_um, or beam_mm with lens_focal_mm, to know its spot.")
        if self.full_energy_khz and len(self.full_energy_khz) != len(self.pulse_ns):
            raise LimitError(
                f"full_energy_khz has {len(self.full_energy_khz)} numbers for {len(self.pulse_ns)} pulse widths; give one for each."
            )
        if self.power_curve:
            pairs = (
                [_numbers("power_curve", pair) for pair in self.power_curve]
                if isinstance(self.power_curve, (list, tuple))
                else []
            )
            rising = all(
                low[0] < high[0] and low[1] < high[1]
                for low, high in itertools.pairwise(pairs)
                if len(low) == len(high) == 2
            )
            if len(pairs) < 2 or any(len(pair) != 2 for pair in pairs) or not rising:
                raise LimitError("power_curve needs two or more [percent, watts] pairs, both rising.")
            object.__setattr__(self, "power_curve", tuple(pairs))

    @property
    def pulse_is_range(self) -> bool:
        """True where any pulse width between the two stated can be dialled."""
        return len(self.pulse_ns) == 2

    @property
    def power_range_pct(self) -> tuple[float, float]:
        """Lowest and highest power that can be dialled [%]: 0 to 100, or where the power curve was measured."""
        return (self.power_curve[0][0], self.power_curve[-1][0]) if self.power_curve else (0.0, 100.0)

    def average_power_w(self, setting: Setting) -> np.ndarray:
        """Average power [W] that reaches the lens, shape of the setting.

        Notes
        -----
        P = P(percent) · min(1, f / f_full(τ)): below f_full a pulse already has all the energy its width can carry, so
        the average falls with the frequency. Between stated widths f_full is interpolated along log τ.
        """
        if self.power_curve:
            percent, watts = np.asarray(self.power_curve).T
            power = np.interp(setting.power_pct, percent, watts)
        else:
            power = setting.power_pct / 100.0 * self.max_power_w
        if self.full_energy_khz:
            full = np.interp(np.log(setting.pulse_ns), np.log(self.pulse_ns), self.full_energy_khz)
            power = power * np.minimum(1.0, setting.freq_khz / full)
        return power

    def check(self, setting: Setting, source: str = "") -> None:
        """Nothing; raises where a setting is beyond the machine.

        Parameters
        ----------
        setting : settings of any shape
        source : name of the file the settings came from, for the message

        Raises
        ------
        LimitError
            Names the first setting outside and what is allowed.
        """
        for name, low, high in (
            ("power_pct", *self.power_range_pct),
            ("speed_mm_s", 0.0, self.max_speed_mm_s),
            ("freq_khz", *self.freq_khz),
            ("pulse_ns", self.pulse_ns[0], self.pulse_ns[-1]),
        ):
            values = getattr(setting, name)
            outside = (values < low * (1 - 1e-9)) | (values > high * (1 + 1e-9))
            if outside.any():
                self._refuse(setting, name, outside, f"{low:g}–{high:g} {UNITS[name]}", source)
        if not self.pulse_is_range:
            off = ~np.isclose(setting.pulse_ns[..., None], self.pulse_ns, rtol=1e-6).any(axis=-1)
            if off.any():
                widths = ", ".join(f"{width:g}" for width in self.pulse_ns)
                self._refuse(setting, "pulse_ns", off, f"{widths} ns", source)

    def _refuse(self, setting: Setting, name: str, outside: np.ndarray, allowed: str, source: str) -> None:
        row = int(np.flatnonzero(outside.ravel())[0])
        value = getattr(setting, name).ravel()[row]
        many = setting.shape and setting.power_pct.size > 1
        drop = f" Drop row {row + 1}{f' of {source}' if source else ''}, or check machine.toml." if many else ""
        raise LimitError(f"{WORDS[name]} {value:g} {UNITS[name]} is outside this machine ({allowed}).{drop}")

    def as_dict(self) -> dict[str, Any]:
        """Fields as plain values for JSON or TOML, unset ones left out."""
        values = dataclasses.asdict(self)
        return {name: value for name, value in values.items() if value not in (None, (), [])}


@dataclass(frozen=True)
class Stock:
    """The metal on the bench, as `stock.toml` states it: grade + finish + thickness + batch.

    Parameters
    ----------
    name : what the shop calls it
    grade : such as "304", "430", "titanium grade 2", "brass CuZn37"
    finish : such as "2B", "BA", "brushed", "polished"
    thickness_mm : [mm]
    size_mm : width and height of the blank [mm]
    batch : mill or delivery batch, to tell sheets apart
    """

    name: str
    grade: str
    finish: str
    thickness_mm: float
    size_mm: tuple[float, float]
    batch: str = ""

    def __post_init__(self) -> None:
        for name in ("name", "grade", "finish"):
            if not isinstance(getattr(self, name), str) or not getattr(self, name):
                raise LimitError(f"{name} of the stock is missing (a word in quotes).")
        if not isinstance(self.batch, str):
            raise LimitError('batch of the stock needs quotes, such as batch = "2026-03".')
        object.__setattr__(self, "thickness_mm", _numbers("thickness_mm", [self.thickness_mm])[0])
        object.__setattr__(self, "size_mm", _numbers("size_mm", self.size_mm))
        if len(self.size_mm) != 2:
            raise LimitError("size_mm of the stock needs [width, height] in mm.")

    def as_dict(self) -> dict[str, Any]:
        """Fields as plain values for JSON or TOML."""
        return {**dataclasses.asdict(self), "size_mm": list(self.size_mm)}


def read_machine(path: str | Path) -> Machine:
    """Machine of a `machine.toml`.

    Parameters
    ----------
    path : the file

    Raises
    ------
    FileError, LimitError
        Not TOML, a field unknown or missing, a number that cannot be; the file is named.
    """
    return _read_toml(path, Machine)


def read_stock(path: str | Path) -> Stock:
    """Stock of a `stock.toml`.

    Parameters
    ----------
    path : the file

    Raises
    ------
    FileError, LimitError
        Not TOML, a field unknown or missing, a number that cannot be; the file is named.
    """
    return _read_toml(path, Stock)


def toml_text(thing: Machine | Stock, remarks: tuple[str, ...] = ()) -> str:
    """TOML text of a machine or stock, with remark lines on top; `read_machine` or `read_stock` reads it back."""
    lines = [f"# {remark}" for remark in remarks]
    for name, value in thing.as_dict().items():
        lines.append(f"{name} = {_toml_value(value)}")
    return "\n".join(lines) + "\n"


def machine_from(values: dict[str, Any], where: str = "the machine") -> Machine:
    """Machine from a mapping, as JSON files carry it."""
    return _build(Machine, values, where)


def stock_from(values: dict[str, Any], where: str = "the stock") -> Stock:
    """Stock from a mapping, as JSON files carry it."""
    return _build(Stock, values, where)


def _toml_value(value: Any) -> str:
    if isinstance(value, str):
        quoted = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in quoted) + '"'
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml_value(item) for item in value) + "]"
    return repr(value)


def _read_toml(path: str | Path, kind: type) -> Any:
    text = read_text(path)
    longest = max(map(len, text.splitlines()), default=0)
    if len(text) > MOST_TOML or longest > MOST_LINE:  # a key of thousands of parts takes gigabytes
        raise FileError(
            f"{path} has {len(text):,} signs, {longest:,} in one line; a machine or stock has up to {MOST_TOML:,}, and "
            f"{MOST_LINE:,} in one line. Is it the right file?"
        )
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is no error of TOML's own
        hint = " Numbers use a point, not a comma." if re.search(r"^\w+\s*=\s*\d+,\d", text, re.MULTILINE) else ""
        raise FileError(f"{path} is not valid TOML: {str(error)[:200]}.{hint}") from None
    return _build(kind, values, str(path))


def _build(kind: type, values: dict[str, Any], where: str) -> Any:
    known = {item.name: item for item in dataclasses.fields(kind)}
    unknown = sorted(set(values) - set(known))
    if unknown:
        word = kind.__name__.lower()
        other = Stock if kind is Machine else Machine
        if len(values) > 1 and set(values) <= {item.name for item in dataclasses.fields(other)}:
            asked = f"a {word}'s file is needed here. Did the two change places?"
            raise FileError(f"{where}: {unknown[0]} is not a field of a {word}; this is a {other.__name__.lower()}'s file, {asked}")
        raise FileError(f"{where}: {unknown[0]} is not a field of a {word}; known are {', '.join(known)}.")
    missing = [
        name for name, item in known.items() if item.default is dataclasses.MISSING and name not in values
    ]  # fmt: skip
    if missing:
        raise FileError(f"{where}: {missing[0]} is missing.")
    if long := [name for name, value in values.items() if isinstance(value, str) and len(value) > MOST_SIGNS]:
        raise FileError(f"{where}: {long[0]} has {len(values[long[0]]):,} signs; up to {MOST_SIGNS} can be printed.")
    try:
        return kind(**values)
    except LimitError as error:
        raise LimitError(f"{where}: {error}") from None


def _numbers(name: str, values: Any) -> tuple[float, ...]:
    if not isinstance(values, (list, tuple, np.ndarray)):
        raise LimitError(f"{name} needs a list of numbers, found {str(values)[:60]!r}.")
    out = []
    for value in values:
        if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)):
            raise LimitError(f"{name} needs numbers, found {str(value)[:60]!r}.")
        try:
            wide = float(value)
        except OverflowError:  # a whole number of hundreds of digits
            wide = math.inf
        if not 0 < wide <= MOST:
            raise LimitError(f"{name} {wide:g} cannot be; it is a number above 0{f', up to {MOST:g}' if wide > MOST else ''}.")
        out.append(wide)
    return tuple(out)
