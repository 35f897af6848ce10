"""What a fitted model says about its grid: which fields move the colour, and which hues it cannot reach."""

from __future__ import annotations

import numpy as np

from tint.lab import delta_e00
from tint.model.model import ColourModel, mean_and_spread, predict
from tint.model.pool import column, filled
from tint.model.quantities import varied
from tint.setting import FIELDS, Setting

CHROMA = 15.0  # from here on a mark is called coloured rather than greyish (common practice, no source)
LOOKED_AT = 1500  # settings of the box, for the hues it can reach
# Centres of hue words on the CIELAB circle [°]: common practice, no source
HUES = {
    "red": 25.0, "orange": 65.0, "yellow": 95.0, "green": 145.0, "blue-green": 200.0, "blue": 265.0, "violet": 310.0, "pink": 350.0,
}  # fmt: skip


def effects(model: ColourModel) -> tuple[tuple[str, float], ...]:
    """Fields that varied with the shift of colour [ΔE00] each makes from its lowest to its highest, largest first.

    The shift is the median over the patches, all other fields as each patch had them. Hatch angle is left out: it is not
    modelled.
    """
    table, found = model.patches.setting.table(), []
    for k in np.flatnonzero(varied(model.box)[:-1]):
        ends = []
        for share in (0.0, 1.0 - 1e-9):
            moved = table.copy()
            moved[:, k] = column(model.machine, FIELDS[k], table[:, k], np.full(len(table), share))
            ends.append(mean_and_spread(model, Setting.from_table(moved))[0])
        found.append((FIELDS[k], float(np.median(delta_e00(*ends)))))
    return tuple(sorted(found, key=lambda pair: -pair[1]))


def missing_hues(model: ColourModel) -> tuple[str, ...]:
    """Hue words of which no patch shows a coloured mark, outliers aside, and no setting in the box surely would.

    A setting counts where its colour, less the radius of nine in ten marks turned into chroma (S_C of CIEDE2000), is still
    a coloured one: a pale guess in a corner of the grid is no hue to promise.
    """
    table = np.concatenate([model.patches.setting.table(), filled(model, LOOKED_AT, 0, {})])
    guess = predict(model, Setting.from_table(table))
    chroma = np.hypot(guess.lab[:, 1], guess.lab[:, 2])
    sure = guess.lab[chroma - guess.de00_90 * (1 + 0.045 * chroma) >= CHROMA]
    trusted = model.patches.lab[~np.isin(model.patches.ids, model.report.outliers)]
    lab = np.concatenate([trusted[np.hypot(trusted[:, 1], trusted[:, 2]) >= CHROMA], sure])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    apart = np.abs((hue[:, None] - np.array(list(HUES.values())) + 180) % 360 - 180)
    seen = set(apart.argmin(axis=1).tolist())
    return tuple(word for i, word in enumerate(HUES) if i not in seen)
