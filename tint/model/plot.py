"""Pictures of a colour model: what it can reach, colour along each setting, and where colours are loud."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import Any

import numpy as np

from tint.caution import SHORT
from tint.files.write import new_folder
from tint.lab import delta_e00, srgb1_from_lab
from tint.model.dials import middle_setting
from tint.model.insight import effects
from tint.model.jitter import sensitivity
from tint.model.model import ColourModel, predict
from tint.model.pool import candidate_pool
from tint.setting import UNITS, WORDS, Setting

STEPS = 120  # colours along a setting; the eye sees no steps
MAP_STEPS = 120  # colours along each side of the map of two settings
LOUD_STEPS = 40  # sensitivities along each side: each costs sixteen colours, and contours are smooth
NAMED_FAR = 3  # patches named in the picture of the fit beside the outliers: those to look at first
NAMED_OUTLIERS = 5  # more names than this fill the corners
NAME_STEP = 0.085  # between names, of the height of the picture
NAMED_CONTOUR = 0.2  # of the map's side: a shorter contour has no room for its number inside the map
UNSURE_DE00 = 5.0  # a predicted colour with a larger radius is drawn small: about what two hues side by side differ by
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

    drawn = {"reach": _reach, "along": _along, "loud": _loud}
    if model.held_out_lab is not None:
        drawn["fit"] = _fit
    with new_folder(folder, "plot", force=force) as place:
        for name, draw in drawn.items():
            figure = Figure(figsize=(11, 7), facecolor="white", layout="constrained")
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
    sure = pool.de00_90 <= UNSURE_DE00
    sides = figure.subplots(1, 2)
    for axes, (x, y), labels in zip(
        sides, ((_a, _b), (_chroma, _lightness)), (("a*", "b*"), ("C*", "L*")), strict=True
    ):
        axes.set_facecolor(SURROUND)
        for which, size in ((~sure, 3), (sure, 18)):
            axes.scatter(
                x(pool.lab[which]), y(pool.lab[which]), c=srgb1_from_lab(pool.lab[which]), s=size, linewidths=0
            )
        for colour, width in (("black", 2.0), ("white", 1.0)):  # a ring seen on pale and on dark colours
            axes.scatter(x(measured), y(measured), facecolors="none", edgecolors=colour, s=34, linewidths=width)
        axes.set(xlabel=labels[0], ylabel=labels[1])
        axes.grid(alpha=0.25, color="white")
    sides[0].set_aspect("equal", "datalim")
    figure.suptitle(
        _title(
            model,
            "What this stock can show: predicted colours, measured patches ringed\n"
            f"small dots: unsure, fewer than 9 of 10 marks within ΔE00 {UNSURE_DE00:g}",
        )
    )


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
    sweeps = [_sweep(model, field) for field in moved]
    guesses = [predict(model, setting) for _, setting in sweeps]
    highest = max(6.0, 1.2 * max(float(guess.de00_90.max()) for guess in guesses))
    figure.set_size_inches(11, 1.2 + 1.45 * len(moved))
    for row, (field, (values, _), guess) in enumerate(zip(moved, sweeps, guesses, strict=True)):
        strip = figure.add_subplot(len(moved), 1, row + 1)
        radius = strip.twinx()
        if _in_steps(model, field):  # nothing lies between two widths the source offers
            places = np.arange(len(values))
            strip.bar(places, 1, width=0.94, color=srgb1_from_lab(guess.lab))
            strip.set(xlim=(-0.5, len(values) - 0.5), xticks=places)
            strip.set_xticklabels([f"{value:g}" for value in values])
            radius.plot(places, guess.de00_90, "o", color="black", markeredgecolor="white", markersize=7)
        else:
            strip.pcolormesh(values, [0, 1], srgb1_from_lab(guess.lab)[None, : len(values) - 1], shading="flat")
            strip.set_xscale(_scale(values))
            _round_ticks(strip.xaxis, values)
            radius.plot(values, guess.de00_90, color="white", linewidth=2.6)
            radius.plot(values, guess.de00_90, color="black", linewidth=1.1)
        strip.set(ylim=(0, 1), yticks=[], xlabel=f"{WORDS[field]} [{UNITS[field]}]" if UNITS[field] else WORDS[field])
        radius.set_ylim(0, highest)
        radius.locator_params(axis="y", nbins=4, steps=[1, 2, 5, 10])
        radius.set_ylabel("± ΔE00")
    figure.suptitle(
        _title(
            model,
            "Colour along one setting, the others in the middle of the grid; black: radius within which 9 of 10 marks should land",
        )
    )


def _loud(model: ColourModel, figure: Any) -> None:
    fields = [field for field, _ in effects(model) if not _in_steps(model, field)][:2]
    axes = figure.add_subplot(1, 1, 1)
    figure.suptitle(_title(model, "Quiet and loud colours: contours are the mean ΔE00 shift under the usual jitter"))
    if len(fields) < 2:
        axes.text(0.5, 0.5, "no map: it needs two moved settings that may take any value", ha="center")
        axes.set_axis_off()
        return
    x, y, setting = _map(model, fields, MAP_STEPS)
    axes.pcolormesh(x, y, srgb1_from_lab(predict(model, setting).lab), shading="nearest")
    x, y, setting = _map(model, fields, LOUD_STEPS)
    lines = axes.contour(
        x, y, sensitivity(model, setting), levels=[0.5, 1, 1.5, 2, 3, 4, 6], colors="black", linewidths=1
    )
    axes.set(xscale=_scale(x), yscale=_scale(y), xlim=(x.min(), x.max()), ylim=(y.min(), y.max()))
    name_contours(axes, lines)
    _round_ticks(axes.xaxis, x[0])
    _round_ticks(axes.yaxis, y[:, 0])
    axes.set_xlabel(f"{WORDS[fields[0]]} [{UNITS[fields[0]]}]")
    axes.set_ylabel(f"{WORDS[fields[1]]} [{UNITS[fields[1]]}]")


def _fit(model: ColourModel, figure: Any) -> None:
    measured, predicted = model.patches.lab, model.held_out_lab
    assert predicted is not None  # plot_model made sure of it
    error = delta_e00(predicted, measured)
    aside = np.isin(model.patches.ids, model.report.outliers)
    far = np.flatnonzero(~aside)[np.argsort(-error[~aside], kind="stable")[:NAMED_FAR]]
    outliers = np.flatnonzero(aside)[np.argsort(-error[aside], kind="stable")[:NAMED_OUTLIERS]]
    named_rows = [*outliers, *far]
    # three squares under the lines of the title
    figure.set_size_inches(11, 4.05 + 0.25 * _title(model, "").count("\n"))
    for k, axes in enumerate(figure.subplots(1, 3)):
        x, y = measured[:, k], predicted[:, k]
        ends = [min(x.min(), y.min()) - 3, max(x.max(), y.max()) + 3]
        axes.set_facecolor(SURROUND)
        axes.plot(ends, ends, color="white", linewidth=1)
        axes.scatter(x, y, c=srgb1_from_lab(measured), s=34, edgecolors="white", linewidths=0.4)
        axes.scatter(x[aside], y[aside], facecolors="none", edgecolors="black", s=90, linewidths=1.4)
        axes.set(xlim=ends, ylim=ends, aspect="equal", xlabel=f"{'Lab'[k]}* measured", ylabel=f"{'Lab'[k]}* predicted")
        for axis in (axes.xaxis, axes.yaxis):
            _round_ticks(axis, np.array(ends))
        axes.grid(alpha=0.25, color="white")
        _name_points(axes, x[named_rows], y[named_rows], [model.patches.ids[i] for i in named_rows])
    named = "ringed: outliers, set aside; named: " if aside.any() else "named: "
    figure.suptitle(
        _title(
            model,
            f"Patches held out: half within ΔE00 {np.median(error):.1f}, 9 of 10 within {np.quantile(error, 0.9):.1f} "
            f"({named}the {len(far)} farthest)",
        )
    )


def _name_points(axes: Any, x: np.ndarray, y: np.ndarray, names: list[str]) -> None:
    """Writes names in the corners away from the diagonal, each on the side of its point and led to it by a line."""
    for rows, left, bottom, step in (
        (np.flatnonzero(y >= x), 0.13, 0.93, -NAME_STEP),
        (np.flatnonzero(y < x), 0.87, 0.07, NAME_STEP),
    ):
        for turn, i in enumerate(rows[np.argsort(np.sign(step) * (x[rows] + y[rows]), kind="stable")]):
            axes.annotate(
                names[i], (x[i], y[i]), xytext=(left, bottom + turn * step), textcoords="axes fraction", fontsize=8, ha="center", va="center",
                bbox={"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": "none"},
                arrowprops={"arrowstyle": "-", "color": "white", "linewidth": 0.8},
            )  # fmt: skip


def name_contours(axes: Any, lines: Any) -> None:
    """Writes each contour's level in its middle; a contour too short to carry it has none."""
    middles = []
    for line in (line for lines_of_level in lines.allsegs for line in lines_of_level):
        shares = axes.transAxes.inverted().transform(axes.transData.transform(line))
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(shares, axis=0).T))])
        if along[-1] >= NAMED_CONTOUR:
            middles.append(line[int(np.argmin(np.abs(along - along[-1] / 2)))])
    if middles:
        axes.clabel(lines, fmt="%g", manual=middles)


def _scale(values: np.ndarray) -> str:
    """Kind of axis for values of a field: even where they reach 0 or less (focus, hatch angle), else logarithmic."""
    return "log" if values.min() > 0 else "linear"


def _round_ticks(axis: Any, values: np.ndarray) -> None:
    """Ticks at round numbers within the values, on a logarithmic axis too."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

    low, high = float(np.min(values)), float(np.max(values))
    ticks = MaxNLocator(nbins=7, steps=[1, 2, 5, 10]).tick_values(low, high)
    axis.set_major_locator(FixedLocator([tick for tick in ticks if low <= tick <= high]))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.6g}".replace("-", "−")))
    axis.set_minor_locator(NullLocator())


def _in_steps(model: ColourModel, field: str) -> bool:
    """True for a field that can only be set to listed values."""
    return field == "passes" or (field == "pulse_ns" and not model.machine.pulse_is_range)


def _map(model: ColourModel, fields: list[str], steps: int) -> tuple[np.ndarray, np.ndarray, Setting]:
    """Values of two fields and settings (steps, steps) over both of their ranges, all others in the middle of the grid."""
    x, y = np.meshgrid(*(_values(model, field, steps) for field in fields))
    return x, y, middle_setting(model).replace(**{fields[0]: x, fields[1]: y})


def _values(model: ColourModel, field: str, steps: int) -> np.ndarray:
    column = getattr(model.patches.setting, field)
    low, high = float(column.min()), float(column.max())
    if field == "passes":
        return np.arange(low, high + 1)
    if _in_steps(model, field):
        return np.array([width for width in model.machine.pulse_ns if low <= width <= high])
    return np.geomspace(low, high, steps) if low > 0 else np.linspace(low, high, steps)


def _sweep(model: ColourModel, field: str) -> tuple[np.ndarray, Setting]:
    values = _values(model, field, STEPS)
    return values, middle_setting(model).replace(**{field: values})


def _readme(model: ColourModel) -> str:
    held_out = (
        "fit     measured against predicted L*, a*, b* of patches held out, in their measured colour; on the line is right.",
        "        Outliers are ringed, they and the farthest carry their patch id: look at those first",
    )
    lines = (
        f"Pictures of the colour model of {model.stock.name} on {model.machine.name}",
        "",
        "reach   what this stock can show: predicted colours in a*b* and in L*C*, small where they are unsure; patches ringed",
        "along   colour as one setting moves and the others stay in the middle of the grid; the line is the radius (ΔE00)",
        "        within which 9 of 10 fresh marks should land",
        "loud    predicted colour over the two settings that move it most; contours say how far it shifts (mean ΔE00) when",
        "        power and speed stray by 2 %, line spacing by 1 %, focus by 0.2 mm: choose palette colours where it is quiet",
        *(() if model.held_out_lab is None else held_out),
        "",
        *([model.patches.facts["remark"], ""] if model.patches.facts.get("remark") else []),
        "Screens differ, and metal shifts with the angle.",
        *textwrap.wrap(SHORT, 118),
        "",
    )
    return "\n".join(lines)
