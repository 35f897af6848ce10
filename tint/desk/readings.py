"""Patches of a file on the desk: a table of patches, or an instrument's file with the grid that was marked."""

from __future__ import annotations

from tint.desk.desk import Desk
from tint.desk.session import Item
from tint.errors import DataError
from tint.measure.patches import Patches, read_patches
from tint.measure.placing import check_placing
from tint.measure.reading import patches_from_reading
from tint.plan.grid import Grid, read_grid

TABLES = ("patches", "reading")


def patches_of(desk: Desk, item: Item, grid: Grid | None) -> tuple[Patches, tuple[str, ...]]:
    """Patches of a file, and what is to be said about where its rows stand."""
    if item.kind == "patches":
        return read_patches(item.path), ()
    if grid is None:
        raise DataError(f"{item.name} is a table of readings: choose the grid that was marked, too.")
    patches = patches_from_reading(grid, item.path)
    placing = check_placing(grid, patches)
    if placing.likely:
        return patches, (f"Look: the colours fit better {placing.likely}. {placing.remedy}",)
    return patches, ()


def grid_of(desk: Desk, id: str | None) -> Grid | None:
    """Grid of a file on the desk, None for none."""
    return desk.session.read(desk.session.item(id, "grid"), read_grid) if id else None
