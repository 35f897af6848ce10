"""How far each setting can be turned, where the grid has looked, and the colours along the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import LimitError
from tint.model.model import ColourModel, Prediction, predict
from tint.model.quantities import HATCH_TURN_DEG, log_fields, turned, varied
from tint.process import rayleigh_mm, spot_mm
from tint.setting import FIELDS, LEAST_POWER_PCT, Setting

# Where the machine states no limit, a dial goes this many times beyond what the grid has marked.
BEYOND = 4.0
MOST_PASSES = 10
PLACES = 7  # significant digits of ends the machine does not state: no rounding tail on screen


@dataclass(frozen=True)
class Dial:
    """How far one field of a setting can be turned.

    Parameters
    ----------
    field : its name
    low, high : what the machine can do; where it states no limit, four times beyond the grid
    seen_low, seen_high : what the grid marked; 0 for a hatch angle that is not known
    values : the single values there are, empty where any between can be dialled
    steady : True where the grid never varied it: its effect is not learned
    """

    field: str
    low: float
    high: float
    seen_low: float
    seen_high: float
    values: tuple[float, ...] = ()
    steady: bool = False


def dials(model: ColourModel) -> tuple[Dial, ...]:
    """Dials of the model's machine, one per field in the order of `FIELDS`."""
    machine, moved = model.machine, varied(model.box)
    reach = _rounded(rayleigh_mm(machine))
    found = []
    for k, name in enumerate(FIELDS):
        column = getattr(model.patches.setting, name)
        known = column[~np.isnan(column)]
        seen = (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
        values: tuple[float, ...] = ()
        if name == "power_pct":
            low, high = max(machine.power_range_pct[0], min(LEAST_POWER_PCT, seen[0])), machine.power_range_pct[1]
        elif name == "speed_mm_s":
            low, high = _rounded(seen[0] / BEYOND), machine.max_speed_mm_s
        elif name == "freq_khz":
            low, high = machine.freq_khz
        elif name == "pulse_ns":
            low, high = machine.pulse_ns[0], machine.pulse_ns[-1]
            values = () if machine.pulse_is_range else machine.pulse_ns
        elif name == "spacing_mm":
            low, high = _rounded(seen[0] / BEYOND), _rounded(spot_mm(machine))
        elif name == "passes":
            low, high = 1.0, max(float(MOST_PASSES), seen[1])
            values = tuple(float(count) for count in range(1, int(high) + 1))
        elif name == "focus_mm":
            low, high = -reach, reach
        else:
            low, high = 0.0, HATCH_TURN_DEG
        found.append(Dial(name, min(low, seen[0]), max(high, seen[1]), *seen, values, not bool(moved[k])))
    return tuple(found)


def _rounded(value: float) -> float:
    return float(f"{value:.{PLACES}g}")


def middle_setting(model: ColourModel) -> Setting:
    """Single setting of the patch nearest to the middle of the grid's box."""
    fields = np.nan_to_num(turned(log_fields(model.patches.setting), model.box))
    width = np.ptp(fields, axis=0)
    at = (fields - fields.min(axis=0)) / np.where(width > 0, width, 1.0)
    return model.patches.setting[int(((at - 0.5 * (width > 0)) ** 2).sum(axis=1).argmin())]


def colours_along(model: ColourModel, setting: Setting, dial: Dial, n: int = 48) -> tuple[np.ndarray, Prediction]:
    """Values (n,) of one field from its lowest to its highest, and the colours when all other fields stay as they are.

    Raises
    ------
    LimitError
        Fewer than 2 values, or a setting beyond the machine.

    Notes
    -----
    Even steps of the logarithm, as dials are felt; even steps of focus and angle. A field with single values shows those.
    """
    if n < 2:
        raise LimitError(f"{n} colours make no strip; ask for 2 or more.")
    if dial.values:
        values = np.array(dial.values)
    elif dial.field in ("focus_mm", "hatch_deg"):
        values = np.linspace(dial.low, dial.high, n)
    else:
        values = np.clip(np.geomspace(dial.low, dial.high, n), dial.low, dial.high)
    return values, predict(model, setting.replace(**{dial.field: values}))
