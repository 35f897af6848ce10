"""Does a reading lie on the plate as it was said to, or shifted, mirrored, turned? Its colours tell.

Places on a plate are shuffled, so neighbours on it are strangers; neighbours in what was DONE to the metal are not.
A patch's colour is foretold from those of others with like settings; where that goes clearly better with the readings given
to other patches, they were read in another way than stated. A model's forecast, or an earlier measurement, is compared with directly.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.measure.patches import Patches
from tint.measure.scan import BY_ID, PATTERNS, STARTS, scan
from tint.plan.grid import Grid
from tint.threads import one_thread

FEWEST = 24  # patches; with fewer, colours of neighbours do not tell wrong places from right ones
FEWEST_PREDICTED = 8
UNREAD_SHARE = 0.25  # of the grid; holes are filled with the mean colour, which many would make a picture of
ALIKE = 1.0  # range of L, a or b below which a plate has one colour
# Colour follows film thickness, and that follows heat: some product of powers of the settings, which differs by machine
# and metal. Guesses at it are drawn at random, more power and less speed always hotter, and the best is taken, for the
# readings as stated and in each other way alike. With 60 guesses in place of 200 the verdict is right less often.
HEATING = ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm", "passes")
HEATING_SIGN = np.array([1.0, -1.0, 0.0, 0.0, -1.0, 1.0])  # 0: either
HEATING_LEAST = 0.3  # power and speed never count for nothing; without it too few guesses come near the truth
GUESSES, FEWEST_GUESSES = 200, 20
FULL_EFFORT = 120  # patches; with more, fewer guesses do, and would take long
HEAT_REACH = 0.3  # of likeness along the guessed heat, in standard deviations of the grid's
FIELD_REACH = 2.0  # and along all fields together
NOISE = 0.05  # share of a patch's variance that its neighbours cannot tell
# The verdict, set so that at most 1 of 100 simulated plates read rightly is doubted (tests/bench/placing_table.py).
MARGIN = 0.87  # another way must fit better by this factor,
FEW_PATCHES = 4.7  # or by 1 − FEW_PATCHES / patches where that is less: with few of them luck goes far
# and by so much more for a shift from some row on: many are tried, and each leaves many patches where they were
PART_MARGIN = 0.04
STANDS_OUT = 3.0  # and stand out from readings dealt out at random by this many of their standard deviations
MARGIN_PREDICTED = 0.8
DEALS = 200


@dataclass(frozen=True)
class Placing:
    """Verdict on the places of a reading.

    Parameters
    ----------
    checked : False where there was too little to tell by
    likely : the likelier way it was read, in words; "" where it fits as stated
    remedy : what to do about it
    factor : misfit of the likeliest other way over the misfit as stated [1]
    """

    checked: bool
    likely: str = ""
    remedy: str = ""
    factor: float = 1.0


@one_thread
def check_placing(
    grid: Grid, patches: Patches, rows: str = BY_ID, start: str = STARTS[0], predicted: np.ndarray | None = None
) -> Placing:
    """Verdict on whether the colours of patches of a grid stand where they belong.

    Parameters
    ----------
    rows, start : how they were matched, as `match` takes it
    predicted : (n, 3) Lab that a model foretells for every patch of the grid, or None

    Notes
    -----
    Without a forecast: kernel ridge regression along guesses at what heats (`HEATING`), each patch foretold from all others
    by the closed form of leaving one out; the mean distance in Lab is the misfit. Tried are all patterns and corners of
    `scan`, and shifts by one from the start of any row of the plate.
    """
    lab = as_forecast(grid, patches)
    known = ~np.isnan(lab[:, 0]) if predicted is None else ~np.isnan(lab[:, 0] + predicted[:, 0])
    here = int(known.sum())
    if here < (FEWEST if predicted is None else FEWEST_PREDICTED) or np.ptp(lab[known], axis=0).max() < ALIKE:
        return Placing(False)
    if (predicted is None or np.isnan(predicted).any()) and here < (1 - UNREAD_SHARE) * len(grid):
        return Placing(False)
    own = scan(grid, rows if rows != BY_ID else PATTERNS[1], start)
    ways = list(_other_ways(grid, own))
    rng = np.random.default_rng(0)  # the deals at random: the same verdict on the same reading
    deals = [rng.permutation(len(grid)) for _ in range(DEALS)]
    placed = np.full((1 + len(ways) + DEALS, len(grid), 3), np.nan)
    for layer, target in zip(placed, [own, *(way.target for way in ways), *deals], strict=True):
        layer[target] = lab[own]
    misfit = _misfit_of_neighbours(grid, placed) if predicted is None else _misfit_of_forecast(predicted, placed)
    return _verdict(misfit, ways, here, rows, predicted is not None)


def as_forecast(grid: Grid, patches: Patches) -> np.ndarray:
    """(n, 3) Lab of the patches of a grid by another measurement of it, NaN where it has no good one: what `predicted` takes."""
    index = {name: i for i, name in enumerate(grid.ids)}
    lab = np.full((len(grid), 3), np.nan)
    lab[[index[name] for name, good in zip(patches.ids, patches.good, strict=True) if good]] = patches.lab[patches.good]
    return lab


def refuse_misplaced(placing: Placing, source: str) -> None:
    """Nothing; raises `DataError` where a verdict speaks for another way of reading."""
    if placing.likely:
        raise DataError(
            f"{source}: the colours fit far better {placing.likely} (misfit × {placing.factor:.2f}). {placing.remedy} "
            "If the places are right as they are, add --sure."
        )


@dataclass(frozen=True, eq=False)
class _Way:
    """Another way a plate may have been read: the patch (n,) that each step's reading is given to."""

    target: np.ndarray
    pattern: str = ""
    start: str = ""
    shift: int = 0
    first: str = ""  # patch from which the shift holds; "" for all

    def words(self) -> str:
        if self.shift:
            side, cause = ("before", "one was read twice") if self.shift > 0 else ("behind", "one was left out")
            where = f"from {self.first} on " if self.first else ""
            return f"if {where}each reading belongs to the patch {side} it: {cause}?"
        if self.pattern == "order":
            return "if the rows are in the order of marking"
        turned = {
            "bottom-right": ", as a plate turned by 180° is",
            "top-right": ", mirrored",
            "bottom-left": ", upside down",
        }
        said = turned.get(self.start, "") if self.pattern == PATTERNS[1] else ""
        return f"if the plate was read {self.pattern} from {self.start}{said}"

    def remedy(self, rows: str) -> str:
        if self.shift:
            return "Mend the rows there and measure again."
        if self.pattern == "order":
            return "Then say --rows order."
        if rows == BY_ID and self.pattern == PATTERNS[1]:
            return f"Then say --start {self.start}."
        corner = f" --start {self.start}" if self.start != STARTS[0] else ""
        without = ", without names in the file" if rows == BY_ID else ""
        return f"Then say --rows {self.pattern}{corner}{without}."


def _other_ways(grid: Grid, own: np.ndarray) -> Iterator[_Way]:
    tried = {own.tobytes()}
    corners = [(pattern, start) for pattern in PATTERNS[1:] for start in STARTS]
    ways = [_Way(scan(grid, pattern, start), pattern, start) for pattern, start in [*corners, ("order", "")]]
    lines = np.round(grid.xy_mm[own, 1], 3)
    begins = [0, *(np.flatnonzero(np.diff(lines)) + 1)]
    for begin in begins if len(begins) <= 60 else [0]:
        for shift in (1, -1):
            target = own.copy()
            target[begin:] = np.roll(own[begin:], shift)
            ways.append(_Way(target, shift=shift, first=grid.ids[own[begin]] if begin else ""))
    for way in ways:
        if way.target.tobytes() not in tried:
            tried.add(way.target.tobytes())
            yield way


def _misfit_of_neighbours(grid: Grid, placed: np.ndarray) -> np.ndarray:
    """Misfit of each layout of colours (k, n, 3): mean distance of a patch from what the others foretell."""
    unread = np.isnan(placed[..., 0])
    centred = np.where(unread[..., None], 0.0, placed - np.nanmedian(placed[0], axis=0))
    flat = centred.transpose(1, 0, 2).reshape(len(grid), -1)
    best = np.full(len(placed), np.inf)
    for likeness in _likenesses(grid):
        inverse = np.linalg.inv(likeness + NOISE * np.eye(len(grid)))
        left_out = ((inverse @ flat) / np.diag(inverse)[:, None]).reshape(len(grid), len(placed), 3)
        away = np.sqrt((left_out**2).sum(axis=-1))
        best = np.minimum(
            best, np.nanmean(np.where(unread.T, np.nan, away), axis=0) if unread.any() else away.mean(axis=0)
        )
    return best


def _likenesses(grid: Grid) -> Iterator[np.ndarray]:
    """Arrays (n, n), 1 for equal settings: by all fields alike, then by ever other guesses at what heats."""
    logs = np.log(np.stack([getattr(grid.setting, name) for name in HEATING], axis=1))
    varied = logs.std(axis=0) > 1e-9
    if not varied.any():
        return
    x = (logs[:, varied] - logs[:, varied].mean(axis=0)) / logs[:, varied].std(axis=0)
    square = ((x[:, None] - x[None]) ** 2).mean(axis=-1)
    yield np.exp(-square / 2)
    ways = np.random.default_rng(0).normal(size=(GUESSES, len(HEATING)))  # the same guesses every time
    ways = np.where(HEATING_SIGN, (np.abs(ways) + HEATING_LEAST) * HEATING_SIGN, ways)[:, varied]
    fewer = min(1.0, (FULL_EFFORT / len(grid)) ** 2)
    for way in ways[: max(FEWEST_GUESSES, int(GUESSES * fewer))]:
        heat = x @ (way / np.linalg.norm(way))
        yield np.exp(-((heat[:, None] - heat) ** 2) / (2 * HEAT_REACH**2) - square / (2 * FIELD_REACH**2))


def _misfit_of_forecast(predicted: np.ndarray, placed: np.ndarray) -> np.ndarray:
    """Misfit of each layout of colours (k, n, 3): mean distance from the forecast, a common offset taken off."""
    left = placed - predicted
    left = left - np.nanmedian(left, axis=1, keepdims=True)
    return np.nanmean(np.sqrt((left**2).sum(axis=-1)), axis=1)


def _verdict(misfit: np.ndarray, ways: list[_Way], patches: int, rows: str, forecast: bool) -> Placing:
    as_stated, others, dealt = misfit[0], misfit[1 : 1 + len(ways)], misfit[1 + len(ways) :]
    needed = np.array([PART_MARGIN if way.first else 0.0 for way in ways])
    limit = (MARGIN_PREDICTED if forecast else min(MARGIN, 1 - FEW_PATCHES / patches)) - needed
    stands_out = others < dealt.mean() - STANDS_OUT * dealt.std()
    likelier = (others < limit * as_stated) & stands_out
    best = int(np.argmin(np.where(likelier, others, np.inf))) if likelier.any() else int(np.argmin(others))
    factor = float(others[best] / max(as_stated, 1e-9))
    if not likelier.any():
        return Placing(True, factor=factor)
    return Placing(True, ways[best].words(), ways[best].remedy(rows), factor)
