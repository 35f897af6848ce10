"""The order in which an instrument goes over a plate."""

from __future__ import annotations

import numpy as np

from tint.plan.grid import Grid

BY_ID = "id"
PATTERNS = ("order", "row-wise", "serpentine", "column-wise")  # the first is the order of marking
STARTS = ("top-left", "top-right", "bottom-left", "bottom-right")


def scan(grid: Grid, pattern: str, start: str = STARTS[0]) -> np.ndarray:
    """Index (n,) of the patch that is read at each step.

    Parameters
    ----------
    pattern : "order" as marked, "row-wise" every row the same way, "serpentine" every second row backwards, "column-wise"
        every column the same way
    start : corner of the plate as it was drawn where the reading starts; without meaning for "order"

    Examples
    --------
    A plate of two rows of three, A01 to A03 and B01 to B03, is read A01 A02 A03 B03 B02 B01 in "serpentine", and
    B03 B02 B01 A03 A02 A01 in "row-wise" from "bottom-right", which is how a plate turned by 180° is read.
    """
    if pattern == "order":
        return np.argsort(grid.order)
    x, y = np.round(grid.xy_mm, 3).T
    across, along = (x, y) if pattern == "column-wise" else (y, x)
    lines = [np.flatnonzero(across == at) for at in np.unique(across)]
    lines = [line[np.argsort(along[line])] for line in lines]
    backwards = {"bottom": start.startswith("bottom"), "right": start.endswith("right")}
    last_first, far_first = (
        (backwards["right"], backwards["bottom"])
        if pattern == "column-wise"
        else (backwards["bottom"], backwards["right"])
    )
    lines = lines[::-1] if last_first else lines
    turn = [far_first ^ (pattern == "serpentine" and number % 2 == 1) for number in range(len(lines))]
    return np.concatenate([line[::-1] if back else line for line, back in zip(lines, turn, strict=True)])
