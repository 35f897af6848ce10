"""The chart of a palette's history: heat shift and ΔE00 of every strip, with the limits each was judged by."""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tint.check.history import History
from tint.check.judged import OUT, WATCH, WITHIN
from tint.errors import DataError, FileError
from tint.files.write import write_file
from tint.lab import hex_from_lab
from tint.palette.palette import Palette

_MARKER = {WITHIN: ("o", "#2f6b3a"), WATCH: ("^", "#b87400"), OUT: ("s", "#b3261e")}
SURROUND = "#777777"  # neutral grey around colour, near L* 50, so that none looks lighter or stronger than it is
MOST_TICKS = 9  # dates that stand side by side without touching
# points of all colours; with more there is no room for numbers inside them, and only the last strip has them
MOST_NUMBERED = 60
DISC_PT = 11.0  # a disc that holds a number
PANEL_PT = (610.0, 210.0)  # width and height of the lower panel, about
AVERAGE = "#1f4e9c"  # of the running average


def write_chart(history: History, palette: Palette, path: str | Path, *, force: bool = False) -> Path:
    """Path of the chart written, PNG or SVG by its ending.

    Raises
    ------
    DataError
        No strip was checked yet.
    FileError
        Another ending, the file is there and `force` is not set, or the place cannot be written.
    """
    path = Path(path)
    if path.suffix.lower() not in (".png", ".svg"):
        raise FileError(
            f"{path}: a chart is written as .png or .svg; choose a name such as {path.stem or 'drift'}.png."
        )
    if not history.checks:
        raise DataError(f"no strip of {palette.name} was checked yet; tint check begins its history.")
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 7.4), facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(1, 1.1))
    remark = next((text for text in palette.remarks if "simulated" in text.lower()), "")
    figure.suptitle(
        f"{palette.name} · {len(history.checks)} strip{'s' * (len(history.checks) > 1)}"
        + (f"\n{remark}" if remark else "")
    )
    _heat(history, upper)
    beside = _colours(history, lower)
    _dates(history, lower, beside)
    out = io.BytesIO()
    figure.savefig(out, format=path.suffix.lower()[1:], dpi=110)
    return write_file(path, out.getvalue(), force=force)


def _heat(history: History, axes: Any) -> None:
    rows = history.checks
    x = np.arange(1, len(rows) + 1)
    for name, style, word in (("out_pct", "-", "action limit (out)"), ("watch_pct", "--", "warning limit (watch)")):
        limit = np.array([getattr(row, name) for row in rows])
        for sign, label in ((1, word), (-1, None)):
            axes.step(x, sign * limit, where="mid", color="#555555", linestyle=style, linewidth=1, label=label)
    axes.axhline(0, color="#aaaaaa", linewidth=0.8)
    heat, sd = (np.array([getattr(row, name) for row in rows]) for name in ("heat_pct", "heat_sd_pct"))
    axes.errorbar(x, heat, sd, fmt="none", ecolor="#888888", capsize=2, linewidth=1)
    level, limit = (np.array([getattr(row, name) for row in rows]) for name in ("ewma_pct", "ewma_limit_pct"))
    labels = {"average": "running average (EWMA)", "limit": "its limit"}
    for own in _runs(history):
        if len(own) > 1:
            axes.plot(x[own], level[own], color=AVERAGE, linewidth=1.6, label=labels.pop("average", None))
            for sign in (1, -1):
                axes.plot(
                    x[own],
                    sign * limit[own],
                    color=AVERAGE,
                    linewidth=1,
                    linestyle=":",
                    label=labels.pop("limit", None),
                )
    for verdict, (marker, colour) in _MARKER.items():
        own = np.array([row.verdict == verdict for row in rows])
        if own.any():
            axes.scatter(x[own], heat[own], marker=marker, color=colour, s=44, zorder=3, label=f"strip {verdict}")
    axes.set_ylabel("heat shift [% of power]")
    _versions(history, axes, name=True)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=7, fontsize=8, frameon=False, borderaxespad=0.2)
    axes.margins(y=0.12)


def _colours(history: History, axes: Any) -> float:
    """Draws ΔE00 of every colour; how far beside the last strip its discs reach, in strips."""
    axes.set_facecolor(SURROUND)
    names = list(dict.fromkeys(item["name"] for row in history.checks for item in row.colours))
    crowded = len(names) * len(history.checks) > MOST_NUMBERED
    beside = _discs_beside(history, len(history.checks) if crowded else 0)
    for name in names:
        found = {x: item for x, row in enumerate(history.checks, 1) for item in row.colours if item["name"] == name}
        at = {x: x + beside.get((x, name), 0.0) for x in found}
        last = max(found)
        lab, number = found[last]["promise_lab"], found[last]["number"]
        look = {
            "color": hex_from_lab(lab),
            "linewidth": 1.4,
            "marker": "o",
            "markeredgecolor": "white",
            "markeredgewidth": 0.6,
        }
        for own in _runs(history):
            shown = [x + 1 for x in own if x + 1 in found]
            axes.plot(
                [at[x] for x in shown], [found[x]["de00"] for x in shown], markersize=5 if crowded else DISC_PT, **look
            )
        axes.plot([at[last]], [found[last]["de00"]], markersize=DISC_PT, label=f"{number}  {name}", **look)
        for x, item in found.items():
            if crowded and x != last:
                continue
            axes.annotate(
                str(number),
                (at[x], item["de00"]),
                ha="center",
                va="center_baseline",
                fontsize=7,
                color="black" if lab[0] > 55 else "white",
            )
        beyond = [(at[x], item["de00"]) for x, item in found.items() if item["verdict"] == OUT]
        if beyond:
            axes.scatter(*zip(*beyond, strict=True), s=260, facecolors="none", edgecolors="white", linewidths=1.4)
    axes.set_ylim(bottom=min(0.0, -0.03 * axes.get_ylim()[1]))
    axes.set_ylabel("ΔE00 to the promise (ringed: out)")
    _versions(history, axes, name=False)
    axes.legend(loc="center left", bbox_to_anchor=(1.005, 0.5), fontsize=8, labelcolor="black", framealpha=0.0)
    return max((far for (x, _), far in beside.items() if x == len(history.checks)), default=0.0)


def _discs_beside(history: History, only: int) -> dict[tuple[int, str], float]:
    """How far beside its strip a colour's disc stands, by strip and name; of strip number `only`, or of every one for 0."""
    highest = max(item["de00"] for row in history.checks for item in row.colours)
    apart, wide = 1.1 * max(highest, 0.1) * DISC_PT / PANEL_PT[1], len(history.checks) * DISC_PT / PANEL_PT[0]
    out = {}
    for x, row in enumerate(history.checks, 1):
        if only in (0, x):
            steps = side_steps([item["de00"] for item in row.colours], apart)
            out.update({(x, item["name"]): wide * step for item, step in zip(row.colours, steps, strict=True)})
    return out


def side_steps(values: Sequence[float], apart: float) -> list[int]:
    """Steps to the side for each value, as few as can be, so that values nearer than `apart` stand on different ones."""
    taken: dict[int, float] = {}  # highest value on each step so far
    out = [0] * len(values)
    for i in np.argsort(values, kind="stable"):
        step = next(s for s in _outwards(len(values)) if values[i] - taken.get(s, -np.inf) >= apart)
        taken[step], out[i] = values[i], step
    return out


def _outwards(count: int) -> Iterator[int]:
    """0, 1, −1, 2, −2, …"""
    yield 0
    for step in range(1, count + 1):
        yield from (step, -step)


def _runs(history: History) -> list[np.ndarray]:
    """Index of the strips of each stretch of one version: no line joins what two versions showed."""
    digests = [row.digest for row in history.checks]
    starts = [0, *(x for x in range(1, len(digests)) if digests[x] != digests[x - 1]), len(digests)]
    return [np.arange(first, end) for first, end in itertools.pairwise(starts)]


def _versions(history: History, axes: Any, *, name: bool) -> None:
    """A line where the next strip is of another version."""
    rows = history.checks
    for x, (before, row) in enumerate(itertools.pairwise(rows), 1):
        if row.digest != before.digest:
            axes.axvline(x + 0.5, color="black" if name else "white", linewidth=1.2, linestyle=":")
            if name:
                axes.annotate(
                    f"version {row.version}",
                    (x + 0.5, 0),
                    xycoords=("data", "axes fraction"),
                    xytext=(4, 5),
                    textcoords="offset points",
                    fontsize=8,
                )


def _dates(history: History, axes: Any, beside: float) -> None:
    rows = history.checks
    every = -(-len(rows) // MOST_TICKS)
    places = list(range(1, len(rows) + 1, every))
    axes.set_xticks(places, [rows[x - 1].date[:16].replace("T", "\n") for x in places], fontsize=8)
    axes.set_xlim(0.5, len(rows) + max(0.5, 1.2 * beside))  # discs beside the last strip stand whole
    axes.set_xlabel("strips in the order they were checked")
