"""What a check says, in words and as JSON."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from tint.check.cause import ADVICE, WORDS
from tint.check.charts import ACTION, EWMA_WEIGHT, WARNING
from tint.check.check import ISO_MEAN_DE00, ISO_MOST_DE00
from tint.check.correct import Correction
from tint.check.history import History
from tint.check.judged import OUT, WITHIN, Check

WIDTH = 110  # of text, in signs
ROW = "{:3} {:24} {:>5} {:>6} {:>5} {:>6} {:>6}"  # number, colour, marks, ΔE00, ±, watch, out
LIKELY = 4.0  # a rival this little worse [χ²] is worth naming: e^2 times less likely


def check_text(check: Check) -> str:
    """Text of a check: verdict and what made it, a table, the likely cause, what to do next, and what the limits mean."""
    palette = check.palette
    lines = [f"{palette.name}, version {palette.lineage.version}, by {check.strip}", _verdict(check), ""]
    lines.append(ROW.format("", "colour", "marks", "ΔE00", "±", "watch", "out"))
    for item in check.colours:
        numbers = (f"{value:.2f}" for value in (item.de00, item.sd_de00, item.watch_de00, item.out_de00))
        lines.append(ROW.format(item.number, item.name, item.marks, *numbers) + _mark(item.verdict))
    mean, most = float(check.de00.mean()), float(check.de00.max())
    kept = "kept" if mean <= ISO_MEAN_DE00 and most <= ISO_MOST_DE00 else "not kept"
    lines += [
        "",
        f"mean ΔE00 {mean:.2f}, largest {most:.2f} (ISO 12647-7 asks of proofs {ISO_MEAN_DE00:g} and {ISO_MOST_DE00:g}: {kept})",
    ]
    lines += [*_charts(check), "", *next_lines(check), "", *_limits(check)]
    lines += [f"Note: {remark}" for remark in check.remarks]
    return "\n".join(_wrapped(lines))


def _verdict(check: Check) -> str:
    """Verdict and which charts made it."""
    if check.verdict == WITHIN:
        return "WITHIN its limits."
    made = [item.name for item in check.colours if item.verdict == check.verdict]
    if check.tolerance_de00 is None:
        heat, scatter = check.heat, check.scatter
        if heat is not None and check.verdict in (heat.shift_verdict, heat.creep_verdict):
            made.insert(0, "heat of all colours")
        if heat is not None and heat.pair_verdict == check.verdict:
            made.append("heat and pulse together")
        if scatter is not None and scatter.verdict == check.verdict:
            made.append("scatter between marks of one colour")
    limit = "an action limit" if check.verdict == OUT else "a warning limit"
    return f"{check.verdict.upper()}, beyond {limit}: {', '.join(made)}."


def _mark(verdict: str) -> str:
    return "" if verdict == WITHIN else f"  → {verdict}"


def _charts(check: Check) -> list[str]:
    """A line each for heat, its average over strips, pulse and scatter; not where a tolerance judges."""
    heat, spread = check.heat, check.scatter
    judged = check.tolerance_de00 is None
    lines = []
    if heat is not None:
        lines.append(
            f"heat {heat.pct:+.2f} % of power ± {heat.sd_pct:.2f}"
            + _between(heat.watch_pct, heat.out_pct, heat.shift_verdict, judged)
        )
    if heat is not None and heat.strips > 1:
        limit = f"   watch {heat.ewma_limit_pct:.2f}{_mark(heat.creep_verdict)}" if judged else ""
        lines.append(f"heat, running average of {heat.strips} strips {heat.ewma_pct:+.2f} %{limit}")
    if heat is not None and np.isfinite(heat.pulse_sd_pct):
        said = f"pulse energy {heat.pulse_pct:+.1f} % ± {heat.pulse_sd_pct:.1f} beside the heat"
        together = f"; the two together {heat.t2:.1f}" + _between(
            heat.watch_t2, heat.out_t2, heat.pair_verdict, True, ".1f"
        )
        lines.append(said + together * judged)
    if spread is not None and judged:
        lines.append(
            f"scatter between marks {spread.ratio:.2f} times the usual"
            + _between(spread.watch, spread.out, spread.verdict, True)
        )
    return lines


def _between(watch: float, out: float, verdict: str, judged: bool, digits: str = ".2f") -> str:
    return f"   watch {watch:{digits}} out {out:{digits}}{_mark(verdict)}" if judged else ""


def _wrapped(lines: list[str]) -> list[str]:
    return [
        part
        for line in lines
        for part in (textwrap.wrap(line, WIDTH, subsequent_indent="  ") if len(line) > WIDTH else [line])
    ]


def next_lines(check: Check) -> list[str]:
    """What it looks like, and what to do next."""
    if check.verdict == WITHIN:
        if check.measured:
            return ["Next: work on."]
        return [
            "Next: if these colours are right, --accept makes them the promise; later strips then show smaller drifts."
        ]
    cause = check.cause
    if check.uneven:
        return ["UNEVEN: marks of one colour differ too much for anything else to be told. Next: look for swapped rows, a bulging or dirty sheet, "
                "or a source that flickers, then mark another strip."]  # fmt: skip
    size = {"power": f", {check.heat.pct if check.heat else 0.0:+.1f} % of power", "spacing": f", {100 * np.expm1(cause.size):+.1f} %",
            "frequency": f", {100 * np.expm1(cause.size):+.1f} %"}.get(cause.name, "")  # fmt: skip
    size = f": {check.colours[cause.colour].name}" if cause.colour is not None else size
    part = "" if cause.name in ("none", "each") else f" (explains {100 * cause.explained:.0f} % of it)"
    near = (
        f" Nearly as likely: {WORDS[cause.rival]}."
        if cause.rival not in ("", "none", "each") and cause.margin < LIKELY
        else ""
    )
    again = " Then mark another strip." if check.verdict == OUT else " Mark another strip soon."
    return [f"Looks like: {WORDS[cause.name]}{size}{part}.{near}", f"Next: {ADVICE[cause.name]}{again}"]


def _limits(check: Check) -> list[str]:
    """What the limits mean, and in one line the statistics behind them."""
    repeats = check.repeatability
    if check.tolerance_de00 is not None:
        return [
            f"Limits: the tolerance of ΔE00 {check.tolerance_de00:g} you set; watch is where a colour's own uncertainty reaches it."
        ]
    promise = "the accepted strip" if check.measured else "what the model predicts"
    lines = [
        f"Limits: a palette that did not change comes to watch about once in {1 / WARNING:.0f} strips, to out once in {1 / ACTION:.0f}. "
        f"The promise is {promise}; half of fresh marks land within ΔE00 {check.typical_de00:.2f} of their own mean."
    ]
    heat = "" if check.heat is None else (
        f"; heat by Student's t and Hotelling's T², average EWMA {EWMA_WEIGHT:g}, day to day {check.heat.between}"
    )  # fmt: skip
    lines.append(
        f"Statistics: {repeats.dof:.0f} degrees of freedom from replicates; colours and scatter by F{heat}; "
        f"one mark scatters ΔE00 {repeats.de00:.2f} and {repeats.heat_pct:.1f} % of power."
    )
    return lines


def correction_text(check: Check, correction: Correction) -> str:
    """Text of a correction: what changes, and the ΔE00 expected after it."""
    palette = check.palette
    if correction.way == "heat":
        head = f"Correction: power {correction.power_pct:+.1f} % for every colour."
    else:
        head = "Correction: new settings colour by colour."
    lines = [head, f"{'':3s} {'colour':24s} {'ΔE00 now':>9s} {'after':>6s}   setting"]
    for i, k in enumerate(correction.index):
        same = correction.setting[k] == palette.colours[k].setting
        lines.append(
            f"{k + 1:3d} {palette.colours[k].name:24s} {correction.before_de00[i]:9.2f} {correction.after_de00[i]:6.2f}   "
            f"{'as it was' if same else correction.setting[k]}"
        )
    lines.append(
        f"Expected after it: median ΔE00 {np.median(correction.after_de00):.2f} for the mean of many marks, "
        f"{np.median(correction.fresh_de00):.2f} for a single one."
    )
    return "\n".join(_wrapped([*lines, *(f"Note: {remark}" for remark in correction.remarks)]))


def check_dict(check: Check, correction: Correction | None) -> dict[str, Any]:
    """Contents of a check as plain values for JSON."""
    heat = check.heat
    body: dict[str, Any] = {
        "palette": check.palette.name, "version": check.palette.lineage.version, "digest": check.palette.digest, "strip": check.strip,
        "verdict": check.verdict, "cause": check.cause.name, "explained": round(check.cause.explained, 3),
        "heat": None if heat is None else {
            name: round(getattr(heat, name), 3) if np.isfinite(getattr(heat, name)) else None
            for name in (
                "pct", "sd_pct", "watch_pct", "out_pct", "pulse_pct", "pulse_sd_pct", "t2", "watch_t2", "out_t2", "ewma_pct", "ewma_limit_pct",
            )
        },
        "scatter": None if check.scatter is None else {
            name: round(getattr(check.scatter, name), 3) for name in ("ratio", "watch", "out")
        },
        "repeatability": {name: round(value, 3) for name, value in check.repeatability.as_dict().items()},
        "colours": [
            {"number": item.number, "name": item.name, "marks": item.marks, "lab": item.lab.round(3).tolist(), "de00": round(item.de00, 3),
             "sd_de00": round(item.sd_de00, 3), "watch_de00": round(item.watch_de00, 3), "out_de00": round(item.out_de00, 3), "verdict": item.verdict}
            for item in check.colours
        ],
        "remarks": list(check.remarks),
    }  # fmt: skip
    if correction is not None:
        body["correction"] = {
            "way": correction.way,
            "power_pct": round(correction.power_pct, 2),
            "after_de00": {
                check.palette.colours[k].name: round(float(correction.after_de00[i]), 2)
                for i, k in enumerate(correction.index)
            },
        }
    return body


def history_text(history: History) -> str:
    """Table of a palette's history: its versions, then every strip."""
    if not history.versions:
        return "no history beside this palette: tint check begins one; that of an earlier version lies beside that version's file."
    number = {row.digest: row.version for row in history.versions}
    lines = ["version  made              from  reason"]
    for row in history.versions:
        parent = str(number.get(row.parent, "?" if row.parent else "–"))
        lines.append(
            f"{row.version:7d}  {_when(row.date)}  {parent:>4s}  {row.reason}{f' · {row.strip}' if row.strip else ''}"
        )
    if history.checks:
        lines += [
            "",
            "check  version  when              verdict    heat %   ± %   median ΔE00  largest  looks like",
        ]
    for strip in history.checks:
        heat = f"{strip.heat_pct:+7.2f} {strip.heat_sd_pct:5.2f}" if np.isfinite(strip.heat_pct) else f"{'–':>7s} {'–':>5s}"
        looks = "" if strip.verdict == WITHIN else strip.cause
        lines.append(
            f"{strip.number:5d}  {strip.version:7d}  {_when(strip.date)}  {strip.verdict:8s}  {heat}   "
            f"{strip.median_de00:11.2f}  {strip.max_de00:7.2f}  {looks}".rstrip()
        )
    return "\n".join(lines)


def _when(date: str) -> str:
    """Date and minute, as written on the spot."""
    return date[:16].replace("T", " ")
