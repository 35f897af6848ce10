"""Pictures of a colour model: what it can reach, colour along each setting, and where colours are loud."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tint.caution import SHORT
from tint.files import new_folder
from tint.lab import delta_e00, srgb1_from_lab
from tint.model.insight import effects
from tint.model.jitter import sensitivity
from tint.model.model import ColourModel, predict
from tint.model.pool import candidate_pool
from tint.setting import FIELDS, UNITS, WORDS, Setting

STEPS = 120  # colours along a setting; the eye sees no steps
MAP_STEPS = 44  # colours along each side of the map of two settings
NAMED_FAR = 3  # patches named in the picture of the fit beside the outliers: those to look at first
SURROUND = "#777777"  # neutral grey around colour, near L* 50, so that none looks lighter or stronger than it is


def plot_model(model: ColourModel, folder: str | Path, *, force: bool = False) -> tuple[str, ...]:
    """Names of the pictures written into a new folder, as PNG and SVG: `reach`, `along`, `loud`, `fit`.

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.

    Notes
    -----
    `reach`: predicted colours of the pool in a*b* and in L*C*, measured patches ringed. `along`: colour and radius as one
    setting moves while the others stay in the middle of the grid. `loud`: predicted colour over the two settings that
    move it most, with contours of the mean ΔE00 shift under the usual jitter. `fit`: measured against predicted L*, a*, b*
    of patches held out; left away for a model whose file does not hold them.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    drawn = {"reach": (_reach, 7), "along": (_along, 7), "loud": (_loud, 7)}
    if model.held_out_lab is not None:
        drawn["fit"] = (_fit, 4.8)
    with new_folder(folder, "plot", force=force) as place:
        for name, (draw, height) in drawn.items():
            figure = Figure(figsize=(11, height), facecolor="white", layout="constrained")
            FigureCanvasAgg(figure)
            draw(model, figure)
            for ending in ("png", "svg"):
                figure.savefig(place / f"{name}.{ending}", dpi=110)
        (place / "README.txt").write_text(_readme(model), encoding="utf-8")
    return tuple(drawn)


def _title(model: ColourModel, text: str) -> str:
    remark = model.patches.facts.get("remark", "")
    return f"{text}\n{model.stock.name} · {model.machine.name}" + (f"\n{remark}" if remark else "")


def _reach(model: ColourModel, figure: Any) -> None:
    pool, measured = candidate_pool(model), model.patches.lab
    sides = figure.subplots(1, 2)
    for axes, (x, y), labels in zip(
        sides, ((_a, _b), (_chroma, _lightness)), (("a*", "b*"), ("C*", "L*")), strict=True
    ):
        axes.set_facecolor(SURROUND)
        axes.scatter(x(pool.lab), y(pool.lab), c=srgb1_from_lab(pool.lab), s=16, linewidths=0)
        axes.scatter(
            x(measured),
            y(measured),
            facecolors="none",
            edgecolors="white",
            s=34,
            linewidths=0.8,
            label="measured patch",
        )
        axes.set_xlabel(labels[0])
        axes.set_ylabel(labels[1])
        axes.grid(alpha=0.25, color="white")
    sides[0].set_aspect("equal", "datalim")
    sides[1].legend(loc="lower right")
    figure.suptitle(_title(model, "What this stock can show"))


def _a(lab: np.ndarray) -> np.ndarray:
    return lab[:, 1]


def _b(lab: np.ndarray) -> np.ndarray:
    return lab[:, 2]


def _chroma(lab: np.ndarray) -> np.ndarray:
    return np.hypot(lab[:, 1], lab[:, 2])


def _lightness(lab: np.ndarray) -> np.ndarray:
    return lab[:, 0]


def _along(model: ColourModel, figure: Any) -> None:
    moved = [field for field, _ in effects(model)]
    for row, field in enumerate(moved):
        values, setting = _sweep(model, field)
        guess = predict(model, setting)
        strip = figure.add_subplot(len(moved), 1, row + 1)
        strip.pcolormesh(values, [0, 1], srgb1_from_lab(guess.lab)[None, : len(values) - 1], shading="flat")
        strip.set_yticks([])
        strip.set_xscale("log")
        strip.set_xlabel(f"{WORDS[field]} [{UNITS[field]}]" if UNITS[field] else WORDS[field])
        _plain_ticks(strip, values)
        radius = strip.twinx()
        radius.plot(values, guess.de00_90, color="white", linewidth=2.6)
        radius.plot(values, guess.de00_90, color="black", linewidth=1.1)
        radius.set_ylim(0, max(6.0, float(guess.de00_90.max()) * 1.3))
        radius.set_ylabel("± ΔE00")
    figure.suptitle(
        _title(model, "Colour along one setting, the others in the middle of the grid; line: radius of 9 in 10 marks")
    )


def _loud(model: ColourModel, figure: Any) -> None:
    fields = [field for field, _ in effects(model)][:2]
    axes = figure.add_subplot(1, 1, 1)
    if len(fields) < 2:
        axes.text(0.5, 0.5, "only one setting moved in this grid", ha="center")
        return
    grids = [_values(model, field, MAP_STEPS) for field in fields]
    x, y = np.meshgrid(*grids)
    columns = {name: np.full(x.shape, middle) for name, middle in _middle(model).items()}
    columns |= {fields[0]: x, fields[1]: y}
    setting = Setting(**columns)
    flat = Setting.from_table(setting.table().reshape(-1, len(FIELDS)))
    axes.pcolormesh(x, y, srgb1_from_lab(predict(model, setting).lab), shading="nearest")
    loud = sensitivity(model, flat).reshape(x.shape)
    lines = axes.contour(x, y, loud, levels=[0.5, 1, 1.5, 2, 3, 4, 6], colors="black", linewidths=1)
    axes.clabel(lines, fmt="%g")
    axes.set_xscale("log")
    axes.set_yscale("log")
    _plain_ticks(axes, grids[0])
    _plain_ticks(axes, grids[1], vertical=True)
    axes.set_xlabel(f"{WORDS[fields[0]]} [{UNITS[fields[0]]}]")
    axes.set_ylabel(f"{WORDS[fields[1]]} [{UNITS[fields[1]]}]")
    figure.suptitle(_title(model, "Quiet and loud colours: contours are the mean ΔE00 shift under the usual jitter"))


def _fit(model: ColourModel, figure: Any) -> None:
    measured, predicted = model.patches.lab, model.held_out_lab
    assert predicted is not None  # plot_model made sure of it
    error = delta_e00(predicted, measured)
    aside = np.isin(model.patches.ids, model.report.outliers)
    far = np.flatnonzero(~aside)[np.argsort(-error[~aside], kind="stable")[:NAMED_FAR]]
    for k, axes in enumerate(figure.subplots(1, 3)):
        x, y = measured[:, k], predicted[:, k]
        ends = [min(x.min(), y.min()) - 3, max(x.max(), y.max()) + 3]
        axes.set_facecolor(SURROUND)
        axes.plot(ends, ends, color="white", linewidth=1)
        axes.scatter(x, y, c=srgb1_from_lab(measured), s=34, edgecolors="white", linewidths=0.4)
        axes.scatter(x[aside], y[aside], facecolors="none", edgecolors="black", s=90, linewidths=1.4)
        for i in [*np.flatnonzero(aside), *far]:
            right = x[i] > sum(ends) / 2  # a name grows away from the nearer edge
            axes.annotate(
                model.patches.ids[i], (x[i], y[i]), xytext=(-7 if right else 7, 4), textcoords="offset points", fontsize=9,
                ha="right" if right else "left", color="white", weight="bold" if aside[i] else "normal",
            )  # fmt: skip
        axes.set(xlim=ends, ylim=ends, aspect="equal", xlabel=f"{'Lab'[k]}* measured", ylabel=f"{'Lab'[k]}* predicted")
        axes.grid(alpha=0.25, color="white")
    named = "ringed: outliers, set aside; named: " if aside.any() else "named: "
    figure.suptitle(
        _title(
            model,
            f"Patches held out: half within ΔE00 {np.median(error):.1f}, 9 of 10 within {np.quantile(error, 0.9):.1f} "
            f"({named}the {len(far)} farthest)",
        )
    )


def _plain_ticks(axes: Any, values: np.ndarray, vertical: bool = False) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    axis = axes.yaxis if vertical else axes.xaxis
    axis.set_major_locator(FixedLocator(np.geomspace(values[0], values[-1], 6)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.4g}" if value >= 1000 else f"{value:.3g}"))
    axis.set_minor_locator(NullLocator())


def _middle(model: ColourModel) -> dict[str, float]:
    """Fields of the patch nearest the middle of the grid, so that it is a setting the machine can do."""
    table = model.patches.setting.table()
    logs = np.log(table[:, :6])
    width = np.ptp(logs, axis=0)
    unit = (logs - logs.min(axis=0)) / np.where(width > 0, width, 1) - np.where(width > 0, 0.5, 0)
    nearest = table[int(np.argmin((unit**2).sum(axis=1)))]
    return {field: float(value) for field, value in zip(FIELDS, nearest, strict=True)}


def _values(model: ColourModel, field: str, steps: int) -> np.ndarray:
    column = getattr(model.patches.setting, field)
    values = np.geomspace(column.min(), column.max(), steps)
    if field == "pulse_ns" and not model.machine.pulse_is_range:
        known = np.array([width for width in model.machine.pulse_ns if column.min() <= width <= column.max()])
        return known[np.abs(np.log(values[:, None] / known)).argmin(axis=1)]
    if field == "passes":
        return np.round(values)
    return values


def _sweep(model: ColourModel, field: str) -> tuple[np.ndarray, Setting]:
    column = getattr(model.patches.setting, field)
    place = np.geomspace(column.min(), column.max(), STEPS)
    columns = {name: np.full(STEPS, middle) for name, middle in _middle(model).items()}
    return place, Setting(**{**columns, field: _values(model, field, STEPS)})


def _readme(model: ColourModel) -> str:
    held_out = (
        "fit     measured against predicted L*, a*, b* of patches held out, in their measured colour; on the line is right.",
        "        Outliers are ringed, they and the farthest carry their patch id: look at those first",
    )
    lines = (
        f"Pictures of the colour model of {model.stock.name} on {model.machine.name}",
        "",
        "reach   what this stock can show: predicted colours in a*b* and in L*C*, measured patches ringed",
        "along   colour as one setting moves and the others stay in the middle of the grid; the line is the radius (ΔE00)",
        "        within which 9 of 10 fresh marks should land",
        "loud    predicted colour over the two settings that move it most; contours say how far it shifts (mean ΔE00) when",
        "        power and speed stray by 2 %, line spacing by 1 %, focus by 0.2 mm: choose palette colours where it is quiet",
        *(() if model.held_out_lab is None else held_out),
        "",
        *([model.patches.facts["remark"], ""] if model.patches.facts.get("remark") else []),
        "Screens differ, and metal shifts with the angle.",
        SHORT,
        "",
    )
    return "\n".join(lines)
