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
from tint.check.judged import OUT, WATCH, WITHIN, Check

WIDTH = 110  # of text, in signs
SAID = {
    WITHIN: "WITHIN its limits",
    WATCH: "WATCH: beyond a warning limit, mark another strip soon",
    OUT: "OUT: beyond an action limit",
}


def check_text(check: Check) -> str:
    """Text of a check: verdict, a table of colours, the charts, the cause, and where the limits come from."""
    palette, heat = check.palette, check.heat
    title = f"{palette.name}, version {palette.lineage.version}, against {check.strip}: {SAID[check.verdict]}."
    lines = [title, "", f"{'':3s} {'colour':24s} {'marks':>5s} {'ΔE00':>6s} {'±':>5s} {'watch':>6s} {'out':>6s}"]
    for item in check.colours:
        mark = "" if item.verdict == WITHIN else f"  {item.verdict}"
        lines.append(
            f"{item.number:3d} {item.name:24s} {item.marks:5d} {item.de00:6.2f} {item.sd_de00:5.2f} {item.watch_de00:6.2f} {item.out_de00:6.2f}{mark}"
        )
    mean, most = float(check.de00.mean()), float(check.de00.max())
    kept = "kept" if mean <= ISO_MEAN_DE00 and most <= ISO_MOST_DE00 else "not kept"
    lines += [
        "",
        f"Mean ΔE00 {mean:.2f}, largest {most:.2f}. ISO 12647-7 asks of proofs {ISO_MEAN_DE00:g} and {ISO_MOST_DE00:g}: {kept}.",
    ]
    if heat is not None:
        lines.append(
            f"Heat shift {heat.pct:+.2f} % of power ± {heat.sd_pct:.2f} (watch ±{heat.watch_pct:.2f}, out ±{heat.out_pct:.2f})"
            + (
                f"; EWMA of {heat.strips} strips {heat.ewma_pct:+.2f} % (limit ±{heat.ewma_limit_pct:.2f})."
                if heat.strips > 1
                else "."
            )
        )
        if np.isfinite(heat.pulse_sd_pct):
            lines.append(
                f"Beside it, each pulse {heat.pulse_pct:+.1f} % ± {heat.pulse_sd_pct:.1f}; both together T² {heat.t2:.1f} "
                f"(watch {heat.watch_t2:.1f}, out {heat.out_t2:.1f})."
            )
    if check.scatter is not None:
        spread = check.scatter
        lines.append(
            f"Marks of one colour scatter {spread.ratio:.2f} times as much as known before (watch {spread.watch:.2f}, out {spread.out:.2f})."
        )
        if spread.verdict == OUT:
            lines.append(
                "UNEVEN: look for swapped rows, a bulging or dirty sheet, or a source that flickers, before anything else."
            )
    if check.verdict != WITHIN:
        lines += ["", *_cause(check)]
    lines += ["", *_limits(check)]
    lines += [f"Note: {remark}" for remark in check.remarks]
    return "\n".join(_wrapped(lines))


def _wrapped(lines: list[str]) -> list[str]:
    return [
        part
        for line in lines
        for part in (textwrap.wrap(line, WIDTH, subsequent_indent="  ") if len(line) > WIDTH else [line])
    ]


def _cause(check: Check) -> list[str]:
    cause = check.cause
    name = f" ({check.colours[cause.colour].name})" if cause.colour is not None else ""
    size = {"power": f" ({check.heat.pct if check.heat else 0.0:+.1f} % of power)", "spacing": f" ({100 * np.expm1(cause.size):+.1f} %)",
            "frequency": f" ({100 * np.expm1(cause.size):+.1f} %)"}.get(cause.name, "")  # fmt: skip
    part = "" if cause.name in ("none", "each") else f"; explains {cause.explained:.0%} of it"
    near = (
        f" Nearly as likely: {WORDS[cause.rival]}."
        if cause.rival not in ("", "none", "each") and cause.margin < 4
        else ""
    )
    return [f"Looks like: {WORDS[cause.name]}{name}{size}{part}.{near}", f"First: {ADVICE[cause.name]}"]


def _limits(check: Check) -> list[str]:
    repeats = check.repeatability
    if check.tolerance_de00 is not None:
        return [
            f"Limits: the tolerance of ΔE00 {check.tolerance_de00:g} you set; watch is where a colour's own uncertainty reaches it."
        ]
    promise = (
        "the mean of the accepted strip's marks" if check.measured
        else "what the model predicts, as unsure as its radius says: accept a good strip (--accept) to see smaller drifts"
    )  # fmt: skip
    lines = [
        f"Limits: crossed by chance by one strip in {1 / WARNING:.0f} (watch) and one in {1 / ACTION:.0f} (out) while nothing changes. "
        f"The promise is {promise}.",
        f"One mark scatters by ΔE00 {repeats.de00:.2f} in every direction and by {repeats.heat_pct:.1f} % of power along heat "
        f"({repeats.dof:.0f} degrees of freedom, pooled over replicates); half of fresh marks land within "
        f"{check.typical_de00:.2f} of their own mean.",
    ]  # fmt: skip
    if check.heat is not None:
        lines.append(
            f"Colours: Box's approximation with an F quantile. Scatter: F. Heat: Shewhart (Student's t) and Hotelling's T²; "
            f"EWMA with weight {EWMA_WEIGHT:g}, "
            f"three standard deviations. From strip to strip: {check.heat.between}."
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
        return "no history yet: tint check begins one."
    lines = ["version  made                       from          reason"]
    for row in history.versions:
        lines.append(
            f"{row.version:7d}  {row.date:25s}  {row.parent or '–':12s}  {row.reason}{f' · {row.strip}' if row.strip else ''}"
        )
    if history.checks:
        lines += [
            "",
            "check  version  when                       verdict    heat %   ± %   median ΔE00  largest  looks like",
        ]
    for row in history.checks:
        heat = f"{row.heat_pct:+7.2f} {row.heat_sd_pct:5.2f}" if np.isfinite(row.heat_pct) else f"{'–':>7s} {'–':>5s}"
        looks = "" if row.verdict == WITHIN else row.cause
        lines.append(
            f"{row.number:5d}  {row.version:7d}  {row.date:25s}  {row.verdict:8s}  {heat}   "
            f"{row.median_de00:11.2f}  {row.max_de00:7.2f}  {looks}".rstrip()
        )
    return "\n".join(lines)
