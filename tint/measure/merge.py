"""Several measurements of one plate made into one, their spread into `sd`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tint.errors import FileError
from tint.lab import delta_e00
from tint.measure.conditions import PHOTO, geometry_of, same_geometry
from tint.measure.patches import Patches
from tint.measure.spread import sd_of_mean
from tint.setting import Setting

# The spread of one patch read twice says little: that of the whole plate counts like so many readings beside it. On
# simulated readings the stated sd is then nearest to the true error; 0 leaves single patches wildly sure of themselves.
PLATE_WEIGHT = 3.0
# median between two measurements of one plate above which they are remarked; instruments repeat within 1
APART_DE00 = 4.0


def merge_patches(several: Sequence[Patches], names: Sequence[str] = ()) -> Patches:
    """One table of several measurements of one plate: mean colours, good ones where some are flagged, and their uncertainty.

    Parameters
    ----------
    several : tables of the same plate; a patch may be missing from some
    names : what to call each in messages, such as its file

    Raises
    ------
    FileError
        Tables of different plates, machines or stocks, or measured in different geometries.

    Notes
    -----
    `sd` of a patch measured m times is √(s²/m), s² the variance of ΔE00 about the mean, drawn towards that of the whole
    plate where m is small, or what the measurements state of themselves, whichever is larger. What is stated is divided
    by √m except for photos, which share the errors of one camera and chart. Marking order and places are kept.
    """
    names = list(names) or [f"table {number}" for number in range(1, len(several) + 1)]
    if not several:
        raise FileError("nothing to merge: give two or more files of one plate.")
    first = several[0]
    for other, name in zip(several[1:], names[1:], strict=True):
        _refuse_strangers(first, other, names[0], name)
    facts = _facts(several, names)
    rows: dict[str, list[tuple[int, int]]] = {}
    for number, patches in enumerate(several):
        for row, name in enumerate(patches.ids):
            rows.setdefault(name, []).append((number, row))
    ids = list(rows)
    used = {name: [at for at in rows[name] if not several[at[0]].flags[at[1]]] or rows[name] for name in ids}
    lab = [np.array([several[t].lab[i] for t, i in used[name]]) for name in ids]
    stated = [np.array([several[t].sd[i] for t, i in used[name]]) for name in ids]
    photo = facts.get("geometry", "").startswith(PHOTO)
    heads = [rows[name][0] for name in ids]
    return Patches(
        tuple(ids), _settings(several, heads), np.array([values.mean(axis=0) for values in lab]),
        _sd(lab, stated, photo), np.array([several[t].order[i] for t, i in heads]),
        np.array([several[t].xy_mm[i] for t, i in heads]),
        tuple(_flag([several[t].flags[i] for t, i in used[name]]) for name in ids), facts,
        tuple(several[t].plates[i] for t, i in heads),
    )  # fmt: skip


def apart_de00(one: Patches, other: Patches) -> float:
    """Median ΔE00 between good patches that two tables have in common; NaN where there is none."""
    where = {name: row for row, name in enumerate(other.ids) if other.good[row]}
    pairs = [(row, where[name]) for row, name in enumerate(one.ids) if name in where and one.good[row]]
    if not pairs:
        return float("nan")
    left, right = np.array(pairs).T
    return float(np.median(delta_e00(one.lab[left], other.lab[right])))


def _settings(several: Sequence[Patches], heads: list[tuple[int, int]]) -> Setting:
    tables = [patches.setting.table() for patches in several]
    return Setting.from_table(np.array([tables[t][i] for t, i in heads]))


def _flag(flags: list[str]) -> str:
    return " | ".join(dict.fromkeys(flag for flag in flags if flag))


def _sd(lab: list[np.ndarray], stated: list[np.ndarray], photo: bool) -> np.ndarray:
    count = np.array([len(values) for values in lab])
    variance = np.array([np.sum(delta_e00(v, v.mean(axis=0)) ** 2) / max(len(v) - 1, 1) for v in lab])
    degrees = count - 1
    plate = float(np.sum(degrees * variance) / degrees.sum()) if degrees.sum() else np.nan
    with np.errstate(invalid="ignore"):
        drawn = (PLATE_WEIGHT * plate + degrees * variance) / (PLATE_WEIGHT + degrees)
    spread = np.sqrt(drawn / count) if plate else np.full(len(lab), np.nan)
    said = np.array(
        [sd_of_mean(v[:1], s) if len(v) == 1 else _stated(s, photo) for v, s in zip(lab, stated, strict=True)]
    )
    return np.fmax(spread, said)


def _stated(sd: np.ndarray, photo: bool) -> float:
    known = sd[~np.isnan(sd)]
    if not known.size:
        return np.nan
    return float(np.sqrt(np.mean(known**2) / (1 if photo else len(sd))))


def _refuse_strangers(first: Patches, other: Patches, name1: str, name2: str) -> None:
    for key in ("plate", "machine", "stock"):
        said1, said2 = first.facts.get(key), other.facts.get(key)
        if said1 and said2 and said1 != said2:
            raise FileError(
                f"{name1} and {name2} are of different {key}s ({said1!r} and {said2!r}); only one plate's measurements merge."
            )
    where = {name: row for row, name in enumerate(first.ids)}
    for row, name in enumerate(other.ids):
        if name in where and other.setting[row] != first.setting[where[name]]:
            raise FileError(
                f"patch {name} has other settings in {name2} than in {name1}; only one plate's measurements merge."
            )
    geometry1, geometry2 = (
        geometry_of(patches.facts.get("geometry", ""), name) for patches, name in ((first, name1), (other, name2))
    )
    if geometry1 and geometry2 and not same_geometry(geometry1, geometry2):
        raise FileError(
            f"{name1} was measured {geometry1} and {name2} {geometry2}: on metal they see different colours. Merge measurements of one geometry."
        )
    polarised = {patches.facts.get("mode") == "M3" for patches in (first, other) if patches.facts.get("mode")}
    if len(polarised) > 1:
        raise FileError(
            f"only one of {name1} and {name2} was measured through polarisers (M3): on metal that changes colours. Merge alike ones."
        )


def _facts(several: Sequence[Patches], names: Sequence[str]) -> dict[str, str]:
    joined: dict[str, str] = {}
    for patches in several:
        for key, value in patches.facts.items():
            said = joined.get(key)
            if said is None:
                joined[key] = value
            elif key == "geometry":
                joined[key] = max(said, value, key=len)  # they are alike: the one that tells more
            elif value not in said.split(" | ") and key != "bare_lab":
                joined[key] = f"{said} | {value}"
    bare = [lab for patches in several if (lab := patches.bare_lab) is not None]
    if bare:
        joined["bare_lab"] = " ".join(f"{value:.3f}" for value in np.mean(bare, axis=0))
    return {**joined, "merged": f"{len(several)} measurements: {', '.join(names)}"}
