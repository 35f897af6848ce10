"""Layers put together: what one colour was to mark is marked in another."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np

from tint.errors import DataError, LimitError
from tint.layers.layers import Layers, pixels_by_number


def join_layers(layers: Layers, into: Mapping[int, int]) -> Layers:
    """The same layers with every place of some numbers given to others; 0 stands for bare metal on either side.

    Parameters
    ----------
    into : from a number to the one that takes its places, such as {3: 2}; chains are not followed

    Raises
    ------
    LimitError
        A number the palette does not have.
    DataError
        Nothing would be left to mark.

    Notes
    -----
    The wanted colour and the ΔE00 lost of the number that took are the mean over both, weighted by area; the lost is that
    of each part as it was before, plus nothing for the change of colour: it is a choice, not an error.
    """
    count = len(layers.palette) + 1
    target = np.arange(count)
    for number, other in into.items():
        if not (0 <= number < count and 0 <= other < count):
            raise LimitError(
                f"layer {number if not 0 <= number < count else other} is not in the palette of {count - 1} colours."
            )
        target[number] = other
    if (target == np.arange(count)).all():
        return layers
    labels = target.astype(np.uint8)[layers.labels]
    if not labels.any():
        raise DataError("nothing is left to mark when these are joined. Keep one colour.")
    area = pixels_by_number(layers.labels, count).astype(float)
    wanted, lost = np.full_like(layers.wanted_lab, np.nan), np.full_like(layers.lost_de00, np.nan)
    for number in np.unique(target):
        known = [k for k in np.flatnonzero(target == number) if area[k] and np.isfinite(layers.lost_de00[k])]
        if known:
            wanted[number] = np.average(layers.wanted_lab[known], axis=0, weights=area[known])
            lost[number] = np.average(layers.lost_de00[known], weights=area[known])
    names = layers.names
    said = [f"{names[a]} joined {names[b]} on request" for a, b in sorted(into.items()) if a != b and area[a]]
    return dataclasses.replace(
        layers,
        labels=labels,
        wanted_lab=wanted,
        lost_de00=lost,
        remarks=(*layers.remarks, *said),
        drawn=_joined(layers, target),
    )


def _joined(layers: Layers, target: np.ndarray) -> tuple[Any, ...] | None:
    """Outlines of a drawing, put together; None for a picture, whose outlines follow from its labels."""
    if layers.drawn is None:
        return None
    import shapely

    out = []
    for number in range(1, len(target)):
        parts = [layers.drawn[k - 1] for k in np.flatnonzero(target == number) if k]
        whole = shapely.union_all(parts) if parts else shapely.MultiPolygon()
        polygons = [part for part in shapely.get_parts(whole) if part.geom_type == "Polygon" and not part.is_empty]
        out.append(shapely.MultiPolygon(polygons))
    return tuple(out)
