"""Plates that tests of readings share: one of 12 patches, and SIMULATED readings of larger ones."""

from pathlib import Path

from tint.plan.first import plan_grid
from tint.setting import Machine, Stock

DATA = Path(__file__).parents[1] / "data"
LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate", "304", "2B", 1.5, [100, 100])
GRID = plan_grid(LASER, SHEET, 12)  # A01 to C04


def written(folder, text, name="reading.txt"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path
