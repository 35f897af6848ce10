"""Settings as the model sees them: logarithms of watts and of process quantities."""

from __future__ import annotations

import numpy as np

from tint.process import process
from tint.setting import FIELDS, Machine, Setting

# What the process regression looks at, each in natural-log units. They overlap on purpose: which of them matters is
# for the data to say.
QUANTITIES = (
    "average_power_w", "pulse_energy_uj", "peak_power_kw", "fluence_j_cm2", "pulse_pitch_mm", "linear_energy_j_mm",
    "areal_energy_j_mm2",
)  # fmt: skip
HATCH = FIELDS.index("hatch_deg")
UNVARIED_WIDTH = np.log(2.0)  # a field that never varied counts as left by one box width when it doubles or halves
FOCUS_WIDTH_MM = 1.0  # the same for focus: about a Rayleigh range of usual lenses
HATCH_WIDTH_DEG = 90.0
HATCH_TURN_DEG = 180.0  # lines turned by this are the same lines


def log_quantities(setting: Setting, machine: Machine) -> np.ndarray:
    """Array (..., q) of the natural logarithms of `QUANTITIES`, then of pulse width [ns]."""
    values = process(setting, machine)
    columns = [np.log(getattr(values, name)) for name in QUANTITIES]
    return np.stack([*columns, np.log(setting.pulse_ns)], axis=-1)


def log_fields(setting: Setting) -> np.ndarray:
    """Array (..., 8) in the order of `FIELDS`: the first six as logarithms, focus [mm] and hatch [°] as they are."""
    table = setting.table()
    return np.concatenate([np.log(table[..., :6]), table[..., 6:]], axis=-1)


def box(fields: np.ndarray) -> np.ndarray:
    """Array (2, 8), lowest and highest of fields (n, 8) as `log_fields` gives them; NaN where unknown.

    Hatch angles are taken as the same lines dialled within the narrowest range: 0° and 180° never varied.
    """
    known = ~np.isnan(fields).all(axis=0)
    edges = np.full((2, fields.shape[1]), np.nan)
    edges[:, known] = np.nanmin(fields[:, known], axis=0), np.nanmax(fields[:, known], axis=0)
    if known[HATCH]:
        angles = np.unique(fields[~np.isnan(fields[:, HATCH]), HATCH] % HATCH_TURN_DEG)
        gaps = np.diff(angles, append=angles[0] + HATCH_TURN_DEG)
        after = int(gaps.argmax())  # the range begins behind the widest gap
        narrow = HATCH_TURN_DEG - gaps[after]
        if narrow < edges[1, HATCH] - edges[0, HATCH] - 1e-9:
            low = angles[(after + 1) % len(angles)]
            edges[:, HATCH] = low, low + narrow
    return edges


def turned(fields: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Fields (..., 8) with hatch angles [°] as the same lines are dialled nearest to the middle of the box."""
    middle = edges[:, HATCH].mean()
    if np.isnan(middle):
        return fields
    out = fields.copy()
    out[..., HATCH] -= HATCH_TURN_DEG * np.nan_to_num(np.round((fields[..., HATCH] - middle) / HATCH_TURN_DEG))
    return out


def varied(edges: np.ndarray) -> np.ndarray:
    """(8,) True for fields of a box that varied."""
    return np.nan_to_num(edges[1] - edges[0]) > 1e-6


def over_box(fields: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Fields (n, 8) that varied, over the width of the box (n, k): what counts as near; 0 where unknown."""
    moved = varied(edges)
    return np.nan_to_num(turned(fields, edges)[:, moved] / (edges[1] - edges[0])[moved])


def outside(fields: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """(...) largest excursion from the box over its width, 0 inside; fields that never varied have a nominal width."""
    nominal = np.array([UNVARIED_WIDTH] * 6 + [FOCUS_WIDTH_MM, HATCH_WIDTH_DEG])
    width = np.where(varied(edges), edges[1] - edges[0], nominal)
    fields = turned(fields, edges)
    beyond = np.maximum(edges[0] - fields, fields - edges[1]) / width
    return np.where(beyond > 1e-9, np.nan_to_num(beyond), 0.0).max(axis=-1)


def unlearned(fields: np.ndarray, edges: np.ndarray) -> tuple[str, ...]:
    """Names of fields that never varied in the box but differ from it in `fields` (..., 8)."""
    fields = turned(fields.reshape(-1, fields.shape[-1]), edges)
    names = []
    for k, name in enumerate(FIELDS):
        fixed = not varied(edges)[k] and not np.isnan(edges[0, k])
        if fixed and (np.abs(fields[:, k] - edges[0, k]) > 1e-6).any():
            names.append(name)
    return tuple(names)
