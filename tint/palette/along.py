"""How a colour moves when the machine strays: offsets along power, line spacing and frequency, kept with a palette."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from tint.setting import FIELDS, Setting

if TYPE_CHECKING:
    from tint.model.model import ColourModel

# Steps of the natural logarithm. Power reaches as far as a tired source is still worth correcting; a colour turns too far in
# one step where they are wider apart. Focus is not among them: grids seldom vary it, and what it does is pulses that weaken
# while the average power stays, as a higher frequency makes them.
STEPS = {
    "power_pct": (-0.24, -0.16, -0.10, -0.06, -0.03, 0.0, 0.03, 0.06, 0.10, 0.16, 0.24),
    "spacing_mm": (-0.16, -0.08, -0.04, 0.0, 0.04, 0.08, 0.16),
    "freq_khz": (-0.16, -0.08, -0.04, 0.0, 0.04, 0.08, 0.16),
}


@dataclass(frozen=True, eq=False)
class Along:
    """Offsets of one colour's Lab along what can stray.

    Parameters
    ----------
    steps : (m,) per field of `STEPS`, rising, 0 among them; natural logarithm of the change
    offsets : (m, 3) Lab less that without the change
    """

    steps: dict[str, np.ndarray]
    offsets: dict[str, np.ndarray]

    def __post_init__(self) -> None:
        for name in STEPS:
            steps, offsets = self.steps[name], self.offsets[name]
            if (
                offsets.shape != (len(steps), 3)
                or len(steps) < 3
                or not (np.diff(steps) > 0).all()
                or not (steps == 0).any()
                or not np.isfinite([*steps, *offsets.ravel()]).all()
            ):
                raise ValueError(f"along {name}: three or more rising steps with 0 among them, each with three numbers")

    def offset(self, field: str, step: Any) -> np.ndarray:
        """Lab offsets (..., 3) after steps (...) of a field; beyond the outermost step the colour stays there."""
        steps = self.steps[field]
        return self._curves[field](np.clip(step, steps[0], steps[-1]))

    def slope(self, field: str, step: float = 0.0) -> np.ndarray:
        """(3,) change of Lab per unit step of a field."""
        steps = self.steps[field]
        return self._curves[field](np.clip(step, steps[0], steps[-1]), 1)

    def _rows(self, name: str) -> Any:
        return zip(self.steps[name], self.offsets[name], strict=True)

    @cached_property
    def _curves(self) -> dict[str, Any]:
        from scipy.interpolate import CubicSpline

        return {name: CubicSpline(steps, self.offsets[name]) for name, steps in self.steps.items()}

    def as_dict(self) -> dict[str, list[str]]:
        """Contents for JSON: per field, one line of step, L, a, b for each step."""
        return {
            name: [f"{step:+.3f}  {' '.join(f'{value:+.3f}' for value in row)}" for step, row in self._rows(name)]
            for name in STEPS
        }  # fmt: skip


def along_from(body: dict[str, list[str]]) -> Along:
    """Offsets from the mapping `Along.as_dict` gives."""
    tables = {name: np.array([[float(part) for part in line.split()] for line in body[name]]) for name in STEPS}
    return Along(
        {name: table[:, 0] for name, table in tables.items()}, {name: table[:, 1:] for name, table in tables.items()}
    )


def along_of(model: ColourModel, setting: Setting) -> tuple[Along, ...]:
    """Offsets (k) of settings (k,) as the model predicts them.

    Notes
    -----
    Steps that leave the machine's limits are predicted all the same: a source at its stop strays too. What a grid never
    varied, often the spacing, the model knows from the process quantities alone.
    """
    from tint.model.model import mean_and_spread  # here, so that reading a palette does not load the models

    table = setting.table()
    here = mean_and_spread(model, setting)[0]
    offsets = {}
    for name, steps in STEPS.items():
        column, strayed = FIELDS.index(name), np.repeat(table[None], len(steps), axis=0)
        change = np.array(steps)[:, None]
        strayed[..., column] *= np.exp(change)
        lab = mean_and_spread(model, Setting.from_table(strayed.reshape(-1, len(FIELDS))))[0]
        offsets[name] = (lab.reshape(len(steps), -1, 3) - here).round(3)
    at = {name: np.array(values) for name, values in STEPS.items()}
    return tuple(Along(at, {name: rows[:, k] for name, rows in offsets.items()}) for k in range(len(table)))
