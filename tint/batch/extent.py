"""How much colour a stock shows: what its model reaches with some certainty, in numbers and as a table, and who serves a wish best."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from tint.lab import delta_e00
from tint.measure.patches import settings_of, settings_table
from tint.measure.table import read_table
from tint.model.find import expected_de00
from tint.model.model import ColourModel
from tint.model.pool import candidate_pool
from tint.setting import Setting

REACH_NAME = "reach.csv"
TRIED = 2000  # settings a reach is taken from; twice as many changed the areas of the demo's stocks by under 3 %
SURE_DE00 = 10.0  # a radius beyond this promises no colour: farther off people call it another (common practice, no source)
CELL_LAB = 5.0  # side of the cells that single marks are counted by: about two just noticeable differences


@dataclass(frozen=True, eq=False)
class Extent:
    """Settings (m,) of one stock with predicted Lab (m, 3) and radius `de00_90` (m,)."""

    setting: Setting
    lab: np.ndarray
    de00_90: np.ndarray

    @cached_property
    def sure(self) -> np.ndarray:
        """(s, 3) Lab of the colours whose radius is at most 10 ΔE00."""
        return self.lab[self.de00_90 <= SURE_DE00]

    @property
    def facts(self) -> dict[str, float]:
        """Numbers of what is sure.

        `sure_share` of the settings tried; `area_ab` of the convex hull in the a*b* plane [Lab units²]; `solid_lab3`, the room
        that single marks fill, by cells of side 5 [Lab units³]; `mixed_lab3`, that of the convex hull: what marks side by
        side reach at most [Lab units³].
        """
        cells = len(np.unique(np.floor(self.sure / CELL_LAB), axis=0))
        return {
            "sure_share": len(self.sure) / max(len(self.lab), 1), "area_ab": _hull(self.sure[:, 1:]),
            "solid_lab3": cells * CELL_LAB**3, "mixed_lab3": _hull(self.sure),
        }  # fmt: skip


@dataclass(frozen=True)
class Served:
    """How well a stock serves a wished colour: its nearest setting, the predicted Lab (3,), how far off, radius, mean ΔE00 to expect."""

    stock: str
    setting: Setting
    lab: np.ndarray
    away_de00: float
    de00_90: float
    expected_de00: float


def extent_of(model: ColourModel, *, tried: int = TRIED, seed: int = 0) -> Extent:
    """Extent of a model from so many settings inside its grid, the measured ones among them."""
    pool = candidate_pool(model, tried, seed)
    return Extent(pool.setting, pool.lab, pool.de00_90)


def reach_text(extent: Extent, model: ColourModel) -> str:
    """CSV text: each setting tried with predicted L, a, b and de00_90; the remark of the patches first."""
    columns = {name: [f"{value:.2f}" for value in extent.lab[:, i]] for i, name in enumerate("Lab")}
    radius = {"de00_90": [f"{value:.2f}" for value in extent.de00_90]}
    remark = model.patches.facts.get("remark", "")
    return (f"# remark: {remark}\n" if remark else "") + settings_table(extent.setting, after=columns | radius)


def read_extent(path: str | Path) -> tuple[Extent, str]:
    """Extent of a `reach.csv`, and its remark.

    Raises
    ------
    FileError
        Missing or damaged.
    """
    facts, rows = read_table(path, needed=("L", "a", "b", "de00_90"), numbers=())
    numbers = np.array([[row.number(name) for name in ("L", "a", "b", "de00_90")] for row in rows])
    return Extent(settings_of(rows), numbers[:, :3], numbers[:, 3]), facts.get("remark", "")


def ranked(extents: Mapping[str, Extent], wish: Sequence[float] | np.ndarray) -> list[Served]:
    """Stocks by how near a fresh mark should come to a wished Lab (3,), each with its best setting among those tried.

    Notes
    -----
    `tint match` seeks on around the best of them, and may come a little nearer.
    """
    served = []
    for stock, extent in extents.items():
        away = delta_e00(extent.lab, np.asarray(wish, float))
        hoped = expected_de00(away, extent.de00_90)
        at = int(hoped.argmin())
        served.append(
            Served(stock, extent.setting[at], extent.lab[at], float(away[at]), float(extent.de00_90[at]), float(hoped[at]))
        )
    return sorted(served, key=lambda one: one.expected_de00)


def _hull(points: np.ndarray) -> float:
    """Area or volume of the convex hull of points (n, 2) or (n, 3); 0 where they span none."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return float(ConvexHull(points).volume) if len(points) > points.shape[1] else 0.0
    except QhullError:
        return 0.0
