"""One picture of what many stocks reach, side by side on one scale."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tint.batch.extent import SURE_DE00, Extent
from tint.lab import srgb1_from_lab

ACROSS = 4
MOST_DRAWN = 24  # stocks on one picture; those that reach least are left out
SURROUND = "#777777"  # neutral grey around colour, near L* 50, so that none looks lighter or stronger than it is


def reach_png(extents: Mapping[str, Extent], wishes: Sequence[np.ndarray] = (), remark: str = "") -> bytes:
    """PNG of the a*b* plane of every stock, the sure colours in their own colour, wished colours as crossed rings.

    Parameters
    ----------
    extents : by name of the stock; the one that reaches most comes first
    wishes : Lab (3,) each
    remark : stands below the title, such as "simulated"
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    order = sorted(extents, key=lambda name: -extents[name].facts["mixed_lab3"])[:MOST_DRAWN]
    columns = min(ACROSS, len(order))
    rows = math.ceil(len(order) / columns)
    figure = Figure(figsize=(max(3.2 * columns, 7), 3.3 * rows + 1.0), facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    widest = max(30.0, *(float(np.abs(extents[name].sure[:, 1:]).max(initial=0)) for name in order),
                 *(float(np.abs(wish[1:]).max()) for wish in wishes)) * 1.08  # fmt: skip
    for place, name in enumerate(order, 1):
        axes = figure.add_subplot(rows, columns, place)
        _draw(axes, extents[name], wishes, widest)
        facts = extents[name].facts
        axes.set_title(f"{_short(name)}\na*b* area {facts['area_ab']:.0f}, mixed {facts['mixed_lab3'] / 1000:.0f} thousand", fontsize=9)
    left = f"; the {len(extents) - len(order)} that reach least are left out" if len(extents) > len(order) else ""
    figure.suptitle(
        f"What each stock can show: predicted colours whose radius is at most {SURE_DE00:g} ΔE00, in the a*b* plane{left}"
        + (f"\n{remark}" if remark else ""),
        fontsize=10,
    )
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=110)
    return out.getvalue()


def _draw(axes: Any, extent: Extent, wishes: Sequence[np.ndarray], widest: float) -> None:
    axes.set_facecolor(SURROUND)
    axes.scatter(extent.sure[:, 1], extent.sure[:, 2], c=srgb1_from_lab(extent.sure), s=9, linewidths=0)
    for wish in wishes:
        for colour, width in (("black", 2.4), ("white", 1.2)):  # seen on pale and on dark colours
            axes.scatter(wish[1], wish[2], marker="o", facecolors="none", edgecolors=colour, s=80, linewidths=width)
            axes.scatter(wish[1], wish[2], marker="+", color=colour, s=40, linewidths=width)
    axes.set(xlim=(-widest, widest), ylim=(-widest, widest), aspect="equal", xlabel="a*", ylabel="b*")
    axes.grid(alpha=0.25, color="white")


def _short(name: str, most: int = 34) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"
