"""How far a colour moves when the machine is not quite where its dials say: `Jitter` and `sensitivity`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import LimitError
from tint.lab import delta_e00
from tint.model.model import ColourModel, mean_and_spread
from tint.model.quantities import varied
from tint.setting import FIELDS, WORDS, Setting

MOST_FOCUS_MM = 100.0  # no table of such a machine strays farther
DRAWS = 8  # pairs of opposite draws; 16 colours per setting give the mean shift within about a tenth


@dataclass(frozen=True)
class Jitter:
    """By how much a machine strays, each evenly spread within ± the number.

    Parameters
    ----------
    power_rel_pct, speed_rel_pct, spacing_rel_pct : [% of the value]
    focus_mm : [mm]

    Raises
    ------
    LimitError
        A share that is not 0 up to, not including, 100 %, or a focus that is not 0 to 100 mm.
    """

    power_rel_pct: float = 2.0
    speed_rel_pct: float = 2.0
    spacing_rel_pct: float = 1.0
    focus_mm: float = 0.2

    def __post_init__(self) -> None:
        for name in ("power_rel_pct", "speed_rel_pct", "spacing_rel_pct"):
            if not 0 <= getattr(self, name) < 100:
                raise LimitError(f"jitter {name} {getattr(self, name):g} % cannot be; it is 0 or more, below 100.")
        if not 0 <= self.focus_mm <= MOST_FOCUS_MM:
            raise LimitError(f"jitter focus_mm {self.focus_mm:g} mm cannot be; it is 0 to {MOST_FOCUS_MM:g}.")

    def words(self) -> str:
        """The jitter in words, for a sheet or a palette.

        Examples
        --------
        >>> Jitter().words()
        'power ±2 %, speed ±2 %, line spacing ±1 %, focus ±0.2 mm'
        """
        return (
            f"power ±{self.power_rel_pct:g} %, speed ±{self.speed_rel_pct:g} %, "
            f"line spacing ±{self.spacing_rel_pct:g} %, focus ±{self.focus_mm:g} mm"
        )


USUAL_JITTER = Jitter()


def assumed_fields(model: ColourModel, jitter: Jitter = USUAL_JITTER) -> tuple[str, ...]:
    """Fields that stray in the jitter though the grid never varied them: their part of a sensitivity is not learned."""
    sizes = {
        "power_pct": jitter.power_rel_pct, "speed_mm_s": jitter.speed_rel_pct, "spacing_mm": jitter.spacing_rel_pct,
        "focus_mm": jitter.focus_mm,
    }  # fmt: skip
    learned = {name for name, moved in zip(FIELDS, varied(model.box), strict=True) if moved}
    return tuple(name for name, size in sizes.items() if size and name not in learned)


def assumed_words(fields: tuple[str, ...]) -> str:
    """What to say of a sensitivity in which some fields are assumed; "" for none.

    Examples
    --------
    >>> assumed_words(("spacing_mm", "focus_mm"))
    'line spacing, focus never varied in the grid: their part of the jitter is assumed from process formulas, not learned'
    """
    if not fields:
        return ""
    words = ", ".join(WORDS[field] for field in fields)
    return f"{words} never varied in the grid: their part of the jitter is assumed from process formulas, not learned"


def jitter_words(model: ColourModel, jitter: Jitter = USUAL_JITTER) -> str:
    """The jitter in words for what is kept or printed, with the fields whose part in a sensitivity is assumed."""
    fields = assumed_fields(model, jitter)
    if not fields:
        return jitter.words()
    return f"{jitter.words()} ({', '.join(WORDS[field] for field in fields)} assumed: never varied in the grid)"


def sensitivity(model: ColourModel, setting: Setting, jitter: Jitter = USUAL_JITTER) -> np.ndarray:
    """Mean shift of colour [ΔE00] of settings of any shape under jitter, same shape.

    Notes
    -----
    The mean over a fixed set of draws from a Sobol sequence and their opposites, the same for every setting, so that
    settings can be compared. Draws that would leave the machine's limits are still drawn: a dial at its stop jitters too.
    """
    from scipy.stats import qmc

    table = setting.table().reshape(-1, len(FIELDS))
    draws = 2 * qmc.Sobol(4, scramble=False).random(2 * DRAWS)[DRAWS:] - 1
    draws = np.concatenate([draws, -draws])
    sizes = np.array([jitter.power_rel_pct / 100, jitter.speed_rel_pct / 100, jitter.spacing_rel_pct / 100])
    here = mean_and_spread(model, Setting.from_table(table))[0]
    strayed = np.repeat(table[None], len(draws), axis=0)
    for share, draw in zip(strayed, draws, strict=True):
        share[:, [0, 1, 4]] *= 1 + draw[:3] * sizes
        share[:, 6] += draw[3] * jitter.focus_mm
    lab = mean_and_spread(model, Setting.from_table(strayed.reshape(-1, len(FIELDS))))[0]
    shift = delta_e00(lab.reshape(len(draws), -1, 3), here)
    return shift.mean(axis=0).reshape(setting.shape)
