"""Picture of the error curve: how much each further colour of a palette is worth."""

from __future__ import annotations

import io

from tint.palette.curve import Curve


def curve_picture(curve: Curve, title: str) -> bytes:
    """PNG of the miss against the number of colours, the suggested number marked."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    figure = Figure(figsize=(8.5, 5.2), facecolor="white", layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(1, 1, 1)
    axes.axvline(curve.suggested, color="#b04a12", linewidth=1.2)
    for values, style, words in (
        (curve.far_de00, ":", "95 % of what is wanted lies nearer than this"),
        (curve.miss_de00, "-", "expected miss of fresh marks, on average (chosen by this)"),
        (curve.away_de00, "--", "distance from wanted to palette colour, on average"),
    ):
        axes.plot(curve.counts, values, style, color="black", marker="o", markersize=3, linewidth=1.4, label=words)
    top = 1.08 * max(curve.far_de00.max(), curve.miss_de00.max())
    right = curve.suggested > 0.6 * curve.counts[-1]
    axes.annotate(
        f"{curve.suggested} suggested", (curve.suggested, 0.93 * top), xytext=(-6 if right else 6, 0), textcoords="offset points",
        ha="right" if right else "left", color="#b04a12", weight="bold",
    )  # fmt: skip
    axes.set(ylim=(0, top), xlabel="colours of the palette, bare metal not counted", ylabel="ΔE00")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.grid(alpha=0.3)
    # below the axes: inside them it could cover the suggestion
    figure.legend(loc="outside lower center", ncols=2, fontsize=9, frameon=False)
    axes.set_title(title)
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=110)
    return out.getvalue()
