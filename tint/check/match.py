"""Which patch of a strip shows which colour of a palette, and whether its rows were swapped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.quantities import HATCH_TURN_DEG
from tint.palette.palette import Palette
from tint.setting import FIELDS

SAME = 1e-6  # relative; a file keeps ten digits
FAR = 1.5  # times its limit: a reading that is out of place, not merely drifted
# shares of readings; neighbours of one hue fit each other's rows, and one patch may be scratched
HALF, NEARLY_ALL = 0.5, 0.9
MOVE_COST = 1.0  # of giving a reading to another row, in squared limits: equal rows stay where they are


@dataclass(frozen=True, eq=False)
class Marks:
    """Readings of a strip's good patches.

    Attributes
    ----------
    ids : n patch names
    number : (n,) index of each patch's colour in the palette, 0 for the first
    lab : (n, 3) measured
    missing : names of the palette's colours that no good patch shows
    foreign : patches whose setting is of no colour of the palette
    flagged : patches left out for their flag
    """

    ids: tuple[str, ...]
    number: np.ndarray
    lab: np.ndarray
    missing: tuple[str, ...]
    foreign: tuple[str, ...]
    flagged: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.ids)

    def without(self, index: int) -> Marks:
        """The readings but one."""
        keep = np.arange(len(self)) != index
        return Marks(
            tuple(name for name, kept in zip(self.ids, keep, strict=True) if kept), self.number[keep], self.lab[keep], self.missing,
            self.foreign, self.flagged,
        )  # fmt: skip


def match_marks(palette: Palette, patches: Patches, others: Sequence[Palette] = ()) -> Marks:
    """Readings of the patches by colour of the palette, found by their settings.

    Parameters
    ----------
    others : further versions of the palette, to say which one a strip was marked from

    Raises
    ------
    DataError
        No patch has a setting of the palette, or all that have are flagged.
    """
    number = _colour_of(palette, patches)
    if (number < 0).all():
        for other in others:
            if (_colour_of(other, patches) >= 0).any():
                raise DataError(
                    f"these are the settings of version {other.lineage.version} of {palette.name}, not of version {palette.lineage.version}: "
                    "check against that file, or mark a strip of this one (tint grid --strip)."
                )
        raise DataError(
            f"none of the {len(patches)} patches has a setting of {palette.name} (version {palette.lineage.version}): a strip of another palette? "
            "Mark one with: tint grid --strip."
        )
    good = patches.good & (number >= 0)
    if not good.any():
        raise DataError(
            f"all {int((number >= 0).sum())} patches of {palette.name} are flagged; nothing is left to judge. Mark the strip again."
        )
    shown = set(number[good].tolist())
    return Marks(
        tuple(name for name, use in zip(patches.ids, good, strict=True) if use), number[good], patches.lab[good],
        tuple(colour.name for k, colour in enumerate(palette.colours) if k not in shown),
        tuple(name for name, k in zip(patches.ids, number, strict=True) if k < 0),
        tuple(name for name, flag, k in zip(patches.ids, patches.flags, number, strict=True) if flag and k >= 0),
    )  # fmt: skip


def _colour_of(palette: Palette, patches: Patches) -> np.ndarray:
    """(n,) index of the colour whose setting each patch has, −1 for none; a hatch angle not noted fits any, 180° is 0°."""
    ours, theirs = palette.setting.table()[None], patches.setting.table()[:, None]
    same = np.isclose(ours, theirs, rtol=SAME, atol=1e-9)
    hatch = FIELDS.index("hatch_deg")
    apart_deg = ((ours - theirs)[..., hatch] + HATCH_TURN_DEG / 2) % HATCH_TURN_DEG - HATCH_TURN_DEG / 2
    same[..., hatch] |= np.isnan(apart_deg) | (np.abs(apart_deg) < SAME)
    same = same.all(axis=-1)
    return np.where(same.any(axis=1), same.argmax(axis=1), -1)


def swapped(marks: Marks, expected_lab: np.ndarray, limit_de00: np.ndarray) -> dict[str, str]:
    """Row each reading seems to belong to, for those in the wrong row; {} where nothing speaks for swapped rows.

    Parameters
    ----------
    expected_lab : (k, 3) of the palette's colours
    limit_de00 : (k,) what a single mark of each keeps to

    Notes
    -----
    The assignment of readings to rows with the least sum of squared ΔE00 over limit. It is believed where nearly every reading
    that it moves fits where it goes, half of them or more were far beyond their limit, and hardly any that stays is.
    """
    from scipy.optimize import linear_sum_assignment

    ratio = delta_e00(marks.lab[:, None], expected_lab[marks.number][None]) / limit_de00[marks.number][None]
    own = np.diag(ratio)
    if (own > FAR).sum() < 2:
        return {}
    rows, columns = linear_sum_assignment(np.minimum(ratio, 10.0) ** 2 + MOVE_COST * ~np.eye(len(marks), dtype=bool))
    moved = marks.number[columns] != marks.number[rows]
    fits, far = ratio[rows, columns] <= 1.0, own > FAR
    if (
        moved.sum() < 2
        or far[moved].mean() < HALF
        or fits[moved].mean() < NEARLY_ALL
        or far[~moved].sum() > (1 - NEARLY_ALL) * len(marks)
    ):
        return {}
    return {marks.ids[row]: marks.ids[column] for row, column in zip(rows[moved], columns[moved], strict=True)}


def misplaced(marks: Marks, expected_lab: np.ndarray, limit_de00: np.ndarray) -> int:
    """How many readings are far beyond the limit (k,) [ΔE00] of their own colour, whose Lab (k, 3) is expected."""
    return int((delta_e00(marks.lab, expected_lab[marks.number]) > FAR * limit_de00[marks.number]).sum())


def put_right(patches: Patches, mapping: dict[str, str]) -> Patches:
    """The patches with each reading moved to the row it belongs to."""
    import dataclasses

    lab, sd, place = patches.lab.copy(), patches.sd.copy(), {name: i for i, name in enumerate(patches.ids)}
    for source, target in mapping.items():
        lab[place[target]], sd[place[target]] = patches.lab[place[source]], patches.sd[place[source]]
    return dataclasses.replace(patches, lab=lab, sd=sd)
