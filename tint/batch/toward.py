"""Which stock serves a wished colour best, as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tint.batch.extent import Served
from tint.caution import SHORT
from tint.measure.patches import settings_table
from tint.setting import Setting


def toward_text(best: Mapping[str, Sequence[Served]], remarks: Sequence[str] = ()) -> str:
    """CSV text: per wish and stock, the nearest first, how far off it is and with which setting; cautions and remarks first."""
    rows = [(wish, rank, one) for wish, served in best.items() for rank, one in enumerate(served, 1)]
    extra: dict[str, list[Any]] = {
        "stock": [one.stock for _, _, one in rows], "wish": [wish for wish, _, _ in rows], "rank": [rank for _, rank, _ in rows],
        "away_de00": [f"{one.away_de00:.2f}" for _, _, one in rows], "de00_90": [f"{one.de00_90:.2f}" for _, _, one in rows],
    }  # fmt: skip
    after = {name: [f"{one.lab[i]:.2f}" for _, _, one in rows] for i, name in enumerate("Lab")}
    table = settings_table(Setting.from_table([one.setting.table() for _, _, one in rows]), extra, after)
    return "".join([f"# caution: {SHORT}\n", *(f"# remark: {line}\n" for line in remarks), table])
