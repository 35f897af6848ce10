"""What a check found: colours, heat shift and scatter against their limits, and `Check` that holds them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.check.cause import Cause
from tint.check.match import Marks
from tint.palette.along import Along
from tint.palette.lineage import Repeatability
from tint.palette.palette import Palette

WITHIN, WATCH, OUT = "within", "watch", "out"
UNJUDGED = "not judged"  # a colour whose setting was changed by hand: its promise belongs to another setting


def verdict_of(value: float, watch: float, out: float) -> str:
    """Word for a value against its warning and action limit."""
    return OUT if value > out else WATCH if value > watch else WITHIN


def worst(*verdicts: str) -> str:
    """The worst of verdicts; within where there is none."""
    return next((word for word in (OUT, WATCH) if word in verdicts), WITHIN)


@dataclass(frozen=True, eq=False)
class ColourCheck:
    """One colour of a strip against its promise.

    Attributes
    ----------
    number, name : in the palette
    marks : how many marks `lab` is the mean of
    lab : (3,) measured
    promise_lab : (3,)
    de00 : between the two [ΔE00]
    sd_de00 : standard uncertainty of that, both means counted [ΔE00]
    watch_de00, out_de00 : warning and action limit [ΔE00]
    verdict : "within", "watch", "out" or "not judged"
    """

    number: int
    name: str
    marks: int
    lab: np.ndarray
    promise_lab: np.ndarray
    de00: float
    sd_de00: float
    watch_de00: float
    out_de00: float
    verdict: str


@dataclass(frozen=True)
class HeatCheck:
    """Heat shift of a strip against its limits, all as a change of power [%].

    Attributes
    ----------
    pct : the shift
    sd_pct : its standard error, what changes from strip to strip counted
    pulse_pct, pulse_sd_pct : further change of what each pulse carries at the same average power, and its standard error
    t2, watch_t2, out_t2 : both together, squared in units of their own scatter, and its limits
    watch_pct, out_pct : warning and action limit, either way
    ewma_pct, ewma_limit_pct : average over the strips of this version, the newest weighing most, and its limit
    strips : how many strips of this version that is
    between : where the change from strip to strip was taken from, in words
    shift_verdict, pair_verdict, creep_verdict : of the shift, of both together, and of the average; "within", "watch" or "out"
    """

    pct: float
    sd_pct: float
    pulse_pct: float
    pulse_sd_pct: float
    t2: float
    watch_t2: float
    out_t2: float
    watch_pct: float
    out_pct: float
    ewma_pct: float
    ewma_limit_pct: float
    strips: int
    between: str
    shift_verdict: str
    pair_verdict: str
    creep_verdict: str

    @property
    def verdict(self) -> str:
        """The worst of the three."""
        return worst(self.shift_verdict, self.pair_verdict, self.creep_verdict)


@dataclass(frozen=True)
class ScatterCheck:
    """How far marks of one colour differ from each other, over what was known: ratio of standard deviations and its limits."""

    ratio: float
    watch: float
    out: float
    verdict: str


@dataclass(frozen=True, eq=False)
class Check:
    """What a strip says about a palette.

    Attributes
    ----------
    palette : judged
    colours : those the strip shows, in the palette's order
    heat : None where the palette has no offsets and no model was given
    scatter : None where no colour has two marks
    cause : what the departures look like
    verdict : "within", "watch" or "out"
    repeatability : of the strip's marks, pooled with what the palette knew
    typical_de00 : median ΔE00 of a fresh mark to its own mean
    marks : the readings used
    along : offsets of the colours shown; empty where not known
    tolerance_de00 : set by the user; None where the limits follow from repeatability
    scratched : patches that their siblings contradict, left out
    bare_de00 : between the bare metal as measured and as the palette holds it; None not measured
    remarks : sentences for the operator
    strip : what the patches call themselves
    """

    palette: Palette
    colours: tuple[ColourCheck, ...]
    heat: HeatCheck | None
    scatter: ScatterCheck | None
    cause: Cause
    verdict: str
    repeatability: Repeatability
    typical_de00: float
    marks: Marks
    along: tuple[Along, ...]
    tolerance_de00: float | None
    scratched: tuple[str, ...]
    bare_de00: float | None
    remarks: tuple[str, ...]
    strip: str

    @property
    def measured(self) -> bool:
        """True where every colour shown has a promise that was measured."""
        return all(self.palette.colours[item.number - 1].marks > 0 for item in self.colours)

    @property
    def uneven(self) -> bool:
        """True where marks of one colour differ too much for anything else to be told; never where a tolerance judges."""
        return self.tolerance_de00 is None and self.scatter is not None and self.scatter.verdict == OUT

    @property
    def de00(self) -> np.ndarray:
        """(k,) ΔE00 of the colours shown."""
        return np.array([item.de00 for item in self.colours])

    @property
    def index(self) -> np.ndarray:
        """(k,) index in the palette of the colours shown."""
        return np.array([item.number - 1 for item in self.colours])
