"""A strip of a palette measured again, judged against the promise with limits from the palette's own repeatability."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tint.check.cause import Departure, Heat, find_cause, heat_shift, pair_shift
from tint.check.charts import ACTION, EWMA_WIDTH, WARNING, ewma, ewma_sd, sigma_from_moving_range
from tint.check.judged import UNJUDGED, WATCH, WITHIN, Check, ColourCheck, HeatCheck, ScatterCheck, verdict_of, worst
from tint.check.match import Marks, match_marks, misplaced, put_right, swapped
from tint.check.noise import (
    PRIOR,
    limit_de00,
    mark_covariance,
    own_covariance,
    own_dof,
    repeatability,
    turns,
    typical_de00,
)
from tint.errors import DataError, LimitError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.likely import RADIUS_OVER_SIGMA
from tint.model.model import ColourModel
from tint.palette.along import Along, along_of
from tint.palette.lineage import Repeatability
from tint.palette.palette import Palette
from tint.process import spot_out_of_focus_mm

# What a good source and a careful hand on the focus change the heat by from one strip to the next, as a change of power [%]
# (common practice, no source); the promise's own strip had its day too. Larger hides a 3 % drop, smaller
# cries wolf; the palette's own strips take its place, from the
# first moving range on, until after `BETWEEN_COUNTS` of them they weigh as much.
BETWEEN_PCT, BETWEEN_COUNTS = 0.3, 4
# Each chart's part of a limit's chance. Heat has half of it: it is what strays, and all colours measure it together.
COLOUR_SHARE, SCATTER_SHARE, HEAT_SHARE, PAIR_SHARE = 1 / 6, 1 / 6, 1 / 2, 1 / 6
# largest focus error worth thinking of: a sheet that bulges, a jig put back askew (common practice, no source)
FOCUS_MM = 0.5
# for the limits of readings in a wrong row: far beyond is meant, not how well the scatter is known
MISPLACED_DOF = 30.0
SCRATCH = 0.001  # chance, for a whole strip, that a sound patch is taken for a scratched one
GUARD = 1.645  # standard errors from a tolerance within which a colour cannot be called kept (one-sided 95 %)
MOST_NAMED = 8  # patches named in one sentence
SAME_DE00 = 0.005  # the promise is kept in three digits; readings that repeat it so closely are those it was made of
# ISO 12647-7, proofs: mean and largest ΔE00 of the control strip's patches; from memory
ISO_MEAN_DE00, ISO_MOST_DE00 = 2.5, 5.0


def check_strip(
    palette: Palette,
    patches: Patches,
    *,
    model: ColourModel | None = None,
    tolerance_de00: float | None = None,
    earlier_heat_pct: Sequence[float] = (),
    others: Sequence[Palette] = (),
    remap: bool = False,
) -> Check:
    """Check of a strip's patches against a palette's promise.

    Parameters
    ----------
    palette : the version the strip was marked from
    patches : the strip, measured: its settings are the palette's own
    model : tells how colours move when the machine strays; None takes what the palette holds
    tolerance_de00 : judge every colour by this ΔE00 instead of by the palette's repeatability
    earlier_heat_pct : heat shifts of earlier strips of this version [% of power], the oldest first
    others : further versions of the palette, to say which one a strip was marked from
    remap : take swapped rows as they seem to belong

    Raises
    ------
    DataError
        A strip of another palette, all patches flagged, or rows that seem swapped.
    LimitError
        A tolerance that is not above 0.

    Notes
    -----
    Four charts judge a strip: ΔE00 of each colour, the scatter of their marks, the heat shift of all together (Shewhart), and
    that shift with what each pulse carries (Hotelling's T²). Limits are those a strip crosses by chance once in 22 (warning)
    and once in 370 (action): half of that falls to the heat shift, a sixth to each other chart, shared evenly among the
    colours. The EWMA of the heat shift over the strips of a version warns of a slow creep.
    Scatter is pooled over all replicates; see `tint.check.noise`. A promise that the model made is as unsure as `de00_90`
    says; one that was measured as sure as the mean of its marks.
    """
    if tolerance_de00 is not None and not 0 < tolerance_de00 < np.inf:
        raise LimitError(f"tolerance {tolerance_de00:g} cannot be; it is a ΔE00 above 0, such as 2.5.")
    marks = match_marks(palette, patches, others)
    along = _along(palette, model)
    mapping = _swapped(palette, marks, along)
    if mapping and not remap:
        said = _few([f"row {source} belongs to {target}" for source, target in mapping.items()])
        many = f"{len(mapping)} rows" if len(mapping) > MOST_NAMED else "rows"
        raise DataError(
            f"{many} of this strip look swapped: {said}. Mend the table of readings, or add --remap to take it so."
        )
    if mapping:
        patches = put_right(patches, mapping)
        marks = match_marks(palette, patches, others)
    marks, scratched, repeats = _without_scratches(palette, marks, along)
    return _judged(palette, patches, marks, along, scratched, repeats, tolerance_de00, earlier_heat_pct, mapping)


def departure_of(
    palette: Palette, marks: Marks, along: tuple[Along, ...], repeats: Repeatability
) -> tuple[Departure, np.ndarray, np.ndarray, np.ndarray]:
    """Departure of the colours that marks show, the promise's part (k, 3, 3) of its covariance, a mark's (k, 3, 3), their index (k,)."""
    index = np.unique(marks.number)
    promise = np.stack([palette.colours[k].lab for k in index])
    turn = turns(promise)
    mean = np.stack([marks.lab[marks.number == k].mean(axis=0) for k in index])
    shown = tuple(along[k] for k in index) if along else ()
    first = Departure(
        promise, np.einsum("kij,kj->ki", turn, mean - promise), turn, np.tile(np.eye(3), (len(index), 1, 1)), shown
    )
    one = mark_covariance(repeats, first.by_heat)
    for i, k in enumerate(index):
        apart = (marks.lab[marks.number == k] - mean[i]) @ turn[i].T
        squares, dof, colour = apart.T @ apart, len(apart) - 1, palette.colours[k]
        if colour.scatter is not None:
            squares, dof = squares + (colour.marks - 1) * turn[i] @ colour.scatter @ turn[i].T, dof + colour.marks - 1
        one[i] = own_covariance(one[i], squares, dof)
    count = np.array([(marks.number == k).sum() for k in index])[:, None, None]
    by_promise = np.stack(
        [one[i] / palette.colours[k].marks if palette.colours[k].marks else (palette.colours[k].de00_90 / RADIUS_OVER_SIGMA) ** 2 * np.eye(3)
         for i, k in enumerate(index)]
    )  # fmt: skip
    return Departure(promise, first.error, turn, one / count + by_promise, shown), by_promise, one, index


def _along(palette: Palette, model: ColourModel | None) -> tuple[Along, ...]:
    """Offsets of all colours of a palette; () where neither it nor a model knows them."""
    if model is not None:
        return along_of(model, palette.setting)
    known = tuple(colour.along for colour in palette.colours if colour.along is not None)
    return known if len(known) == len(palette) else ()


def _judged(
    palette: Palette, patches: Patches, marks: Marks, along: tuple[Along, ...], scratched: tuple[str, ...], repeats: Repeatability,
    tolerance: float | None, earlier: Sequence[float], mapping: dict[str, str],
) -> Check:  # fmt: skip
    departure, by_promise, one, index = departure_of(palette, marks, along, repeats)
    steady = np.array([f"setting of {palette.colours[k].name!r}" not in palette.edited for k in index])
    found = heat_shift(departure, by_promise, steady)
    if found is not None and all(palette.colours[k].marks for k in index):
        found = replace(found, promise_sd_pct=float(np.hypot(found.promise_sd_pct, BETWEEN_PCT)))
    heat = None if found is None else _heat_check(departure, found, steady, repeats.dof, earlier)
    days = 1 + (
        np.array([palette.colours[k].marks for k in index]) > 0
    )  # the strip's own, and that of a promise that was measured
    between = (
        days[:, None, None] * (BETWEEN_PCT / 100) ** 2 * departure.by_heat[:, :, None] * departure.by_heat[:, None, :]
    )
    covariance = departure.covariance + between
    scatter = _scatter_check(palette, marks, departure, index)
    dof = np.minimum(repeats.dof, [own_dof(palette.colours[k].marks, int((marks.number == k).sum())) for k in index])
    if not steady.any():
        raise DataError(
            f"every setting of {palette.name} was changed by hand; nothing is left to judge. "
            "Restore a version (tint history --restore), or choose the palette anew."
        )
    watch, out = (
        limit_de00(covariance, -np.expm1(np.log1p(-chance * COLOUR_SHARE) / len(index)), dof)
        for chance in (WARNING, ACTION)
    )
    mean = np.stack([marks.lab[marks.number == k].mean(axis=0) for k in index])
    de00 = delta_e00(mean, departure.lab)
    sd = np.array([_sd_along(*pair) for pair in zip(departure.error, covariance, strict=True)])
    if tolerance is not None:
        watch, out = np.maximum(tolerance - GUARD * sd, 0.0), np.full(len(index), tolerance)
    colours = tuple(
        ColourCheck(
            int(k) + 1, palette.colours[k].name, int((marks.number == k).sum()), mean[i], departure.lab[i], float(de00[i]), float(sd[i]),
            float(watch[i]), float(out[i]), verdict_of(de00[i], watch[i], out[i]) if steady[i] else UNJUDGED,
        )
        for i, k in enumerate(index)
    )  # fmt: skip
    bare = patches.bare_lab
    bare_de00 = None if bare is None else float(delta_e00(bare, palette.bare_lab))
    charts = [chart.verdict for chart in (heat, scatter) if chart is not None and tolerance is None]
    verdict = worst(*(item.verdict for item in colours), *charts)
    remarks = _remarks(palette, marks, along, scratched, bare_de00, mapping)
    if len(index) > 1 and (de00 < SAME_DE00).all():
        remarks = ("this is the strip the promise was made of, so it proves nothing: mark a new one.", *remarks)
    strip = patches.facts.get("grid", "strip") + (f" ({patches.facts['plate']})" if patches.facts.get("plate") else "")
    return Check(
        palette, colours, heat, scatter, find_cause(departure, _focus_reach(palette)), verdict, repeats, typical_de00(one), marks,
        tuple(along[k] for k in index) if along else (), tolerance, scratched, bare_de00, remarks, strip,
    )  # fmt: skip


def _sd_along(error: np.ndarray, covariance: np.ndarray) -> float:
    """Standard uncertainty of the length of an error (3,): the covariance's part along it, the mean of all ways for none."""
    length = np.linalg.norm(error)
    if length < 1e-9:
        return float(np.sqrt(np.trace(covariance) / 3))
    return float(np.sqrt(error @ covariance @ error) / length)


def _heat_check(
    departure: Departure, heat: Heat, steady: np.ndarray, dof: float, earlier: Sequence[float]
) -> HeatCheck:
    """Shewhart, T² and EWMA charts of the heat shift."""
    from scipy.stats import f, t

    values = [*earlier, heat.pct]
    expected = np.hypot(heat.strip_sd_pct, BETWEEN_PCT)
    ranges = len(earlier) - 1
    between = f"{BETWEEN_PCT:g} % assumed"
    if ranges > 0:
        seen = sigma_from_moving_range(earlier)
        expected = np.sqrt((BETWEEN_COUNTS * expected**2 + ranges * seen**2) / (BETWEEN_COUNTS + ranges))
        between = f"{BETWEEN_PCT:g} % assumed, pooled with {ranges} moving range{'s' * (ranges > 1)} of earlier strips"
    sd = float(np.hypot(expected, heat.promise_sd_pct))
    days = np.hypot(np.sqrt(max(expected**2 - heat.strip_sd_pct**2, 0.0)), BETWEEN_PCT)
    pulse, pulse_sd, t2, count = pair_shift(departure, steady, float(days))
    watch, out = (float(sd * t.isf(chance * HEAT_SHARE / 2, dof)) for chance in (WARNING, ACTION))
    watch_t2, out_t2 = (float(count * f.isf(chance * PAIR_SHARE, count, dof)) for chance in (WARNING, ACTION))
    level = float(ewma(values, 0.0)[-1])
    limit = float(EWMA_WIDTH * np.hypot(ewma_sd(len(values), expected), heat.promise_sd_pct))
    creeps = len(values) > 1 and abs(level) > limit
    return HeatCheck(
        heat.pct, sd, pulse, pulse_sd, t2, watch_t2, out_t2, watch, out, level, limit, len(values), between,
        verdict_of(abs(heat.pct), watch, out), verdict_of(t2, watch_t2, out_t2), WATCH if creeps else WITHIN,
    )  # fmt: skip


def _scatter_check(palette: Palette, marks: Marks, departure: Departure, index: np.ndarray) -> ScatterCheck | None:
    """Chart of the scatter from mark to mark, against what the palette, or common practice, knew before this strip."""
    from scipy.stats import f

    known = palette.repeatability or PRIOR
    one, total, dof = mark_covariance(known, departure.by_heat), 0.0, 0
    for i, k in enumerate(index):
        readings, colour, turn = marks.lab[marks.number == k], palette.colours[k], departure.turn[i]
        if colour.scatter is not None:
            one[i] = own_covariance(one[i], (colour.marks - 1) * turn @ colour.scatter @ turn.T, colour.marks - 1)
        apart = (readings - readings.mean(axis=0)) @ turn.T
        total += float(np.einsum("ri,ij,rj->", apart, np.linalg.inv(one[i]), apart))
        dof += len(readings) - 1
    if not dof:
        return None
    ratio = np.sqrt(total / 3 / dof)
    watch, out = (float(np.sqrt(f.isf(chance * SCATTER_SHARE, 3 * dof, 3 * known.dof))) for chance in (WARNING, ACTION))
    return ScatterCheck(float(ratio), watch, out, verdict_of(ratio, watch, out))


def _focus_reach(palette: Palette) -> float:
    """Natural logarithm of the fluence lost by the largest focus error worth thinking of, at the deepest focus."""
    spot = spot_out_of_focus_mm(palette.machine, np.abs(palette.setting.focus_mm) + FOCUS_MM)
    return float(2 * np.log(spot / spot_out_of_focus_mm(palette.machine, palette.setting.focus_mm)).max())


def _without_scratches(
    palette: Palette, marks: Marks, along: tuple[Along, ...]
) -> tuple[Marks, tuple[str, ...], Repeatability]:
    """Marks without those their siblings contradict, those, and the repeatability of the rest."""
    from scipy.stats import f

    scratched: list[str] = []
    while True:
        departure, _, _, index = departure_of(
            palette, marks, along, palette.repeatability or repeatability([], np.zeros((0, 3)))
        )
        g = departure.by_heat
        readings = [
            (marks.lab[marks.number == k] - departure.lab[i]) @ departure.turn[i].T for i, k in enumerate(index)
        ]
        worst, place = 0.0, -1
        for i, k in enumerate(index):
            count = len(readings[i])
            if count < 2:
                continue
            others = [j for j in range(len(index)) if j != i]
            repeats = repeatability([readings[j] for j in others], g[others], palette.repeatability)
            one = mark_covariance(repeats, g[i : i + 1])[0]
            if (known := palette.colours[k].scatter) is not None:
                dof = palette.colours[k].marks - 1
                one = own_covariance(one, dof * departure.turn[i] @ known @ departure.turn[i].T, dof)
            inverse = np.linalg.inv(one * count / (count - 1))
            apart = readings[i] - (readings[i].sum(axis=0) - readings[i]) / (count - 1)
            ratio = np.einsum("ri,ij,rj->r", apart, inverse, apart) / (3 * f.isf(SCRATCH / len(marks), 3, repeats.dof))
            own = int(np.argmax(np.linalg.norm(readings[i], axis=1) if count == 2 else ratio))
            if ratio[own] > max(worst, 1.0):
                worst, place = ratio[own], int(np.flatnonzero(marks.number == k)[own])
        if place < 0 or len(scratched) >= max(1, len(marks) // 4):
            return marks, tuple(scratched), repeatability(readings, g, palette.repeatability)
        scratched.append(marks.ids[place])
        marks = marks.without(place)


def _swapped(palette: Palette, marks: Marks, along: tuple[Along, ...]) -> dict[str, str]:
    """Rows that seem swapped, whether the palette stayed or drifted along heat; {} where nothing speaks for it."""
    repeats = palette.repeatability or repeatability([], np.zeros((0, 3)))
    departure, by_promise, _, index = departure_of(palette, marks, along, repeats)
    # not with the colours' own scatter on this strip: a swapped reading would widen its own limit
    measured = np.array([palette.colours[k].marks > 0 for k in index])[:, None, None]
    alone = mark_covariance(repeats, departure.by_heat)
    alone = alone + np.where(measured, alone / 2, by_promise)
    limit = np.full(len(palette), np.inf)
    limit[index] = limit_de00(alone, ACTION / len(marks), MISPLACED_DOF)
    stayed = palette.lab[1:]
    found = swapped(marks, stayed, limit)
    if not found or not along:
        return found
    heat = heat_shift(departure, by_promise, np.ones(len(index), dtype=bool))
    moved = stayed + [item.offset("power_pct", np.log1p(heat.pct / 100)) for item in along] if heat else stayed
    return found if misplaced(marks, moved, limit) > 1 else {}


def _remarks(
    palette: Palette, marks: Marks, along: tuple[Along, ...], scratched: tuple[str, ...], bare_de00: float | None, mapping: dict[str, str]
) -> tuple[str, ...]:  # fmt: skip
    out = []
    if mapping:
        out.append(
            "rows taken as they seem to belong: "
            + _few([f"{source} as {target}" for source, target in mapping.items()])
            + "."
        )
    if palette.edited:
        out.append(
            f"edited by hand since tint wrote it: {', '.join(palette.edited)}. A colour whose setting was changed has no promise at that "
            "setting and is not judged; accept a strip (--accept) to make the file whole again."
        )
    if not along:
        out.append(
            "this palette does not hold how its colours move with heat: give --model to have the heat shift and the cause told apart."
        )
    if marks.missing:
        out.append(f"not on this strip, so not judged: {', '.join(marks.missing)}.")
    if marks.foreign:
        out.append(f"patches with settings of no colour of this palette, left out: {_few(marks.foreign)}.")
    if marks.flagged:
        out.append(f"flagged, left out: {_few(marks.flagged)}.")
    if scratched:
        out.append(f"contradicted by their replicates and left out, scratched or misread: {_few(scratched)}.")
    if bare_de00 is not None and bare_de00 > ISO_MEAN_DE00:
        out.append(
            f"the bare metal reads ΔE00 {bare_de00:.1f} away from the palette's: calibrate the instrument, clean the sheet, or it is another sheet."
        )
    return tuple(out)


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:MOST_NAMED]) + (" …" if len(names) > MOST_NAMED else "")
