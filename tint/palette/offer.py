"""What a palette is chosen from: the settings of a stock, what is wished for, and what serving each wish would cost."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.artwork.alike import WHITE
from tint.artwork.artwork import Artwork
from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import delta_e00, lab_from_reflectance
from tint.metal import AUSTENITIC, metal_of
from tint.model.jitter import USUAL_JITTER, Jitter, sensitivity
from tint.model.model import ColourModel, predict
from tint.model.pool import Pool, candidate_pool, time_s_cm2
from tint.palette.keep import Kept, kept_colours
from tint.palette.palette import Palette
from tint.palette.penalty import USUAL_PENALTY, Penalty, expected_miss, slow_de00, spread_de00
from tint.palette.wishes import artwork_wishes
from tint.setting import Setting

THIN_LAB = 3.0  # side of the Lab cells that keep one candidate each: just noticeable is 2.3 ΔE*ab (Mahy 1994)


@dataclass(frozen=True, eq=False)
class Offer:
    """Candidates and wishes, ready to choose from.

    Attributes
    ----------
    model : whose stock it is
    pool : (m,) candidates, one a cell of Lab; the first are those to be kept
    kept : what is to be kept, as many as stand first in the pool
    wishes : (w, 3) Lab wanted
    weight : (w,) share of each wish, adding up to 1
    miss : (w, m) expected miss [ΔE00] of each wish by each candidate, penalties counted in
    bare_lab : (3,) the bare metal, always at hand
    bare_miss : (w,) its distance from each wish [ΔE00]
    remarks : what a reader of the palette must know
    jitter, penalty : behind sensitivities and misses
    artwork : its name, "" for the whole reach of the stock
    """

    model: ColourModel
    pool: Pool
    kept: tuple[Kept, ...]
    wishes: np.ndarray
    weight: np.ndarray
    miss: np.ndarray
    bare_lab: np.ndarray
    bare_miss: np.ndarray
    remarks: tuple[str, ...]
    jitter: Jitter
    penalty: Penalty
    artwork: str = ""

    def __len__(self) -> int:
        return len(self.pool)


def offer_of(
    model: ColourModel,
    artwork: Artwork | None = None,
    *,
    background: tuple[int, int, int] | None = WHITE,
    keep: Sequence[str] = (),
    old: Palette | None = None,
    jitter: Jitter = USUAL_JITTER,
    penalty: Penalty = USUAL_PENALTY,
    seed: int = 0,
) -> Offer:
    """What a palette of the model's stock can be chosen from, for an artwork or for everything the stock can show.

    Parameters
    ----------
    artwork : serve its colours, weighted by their area; None serves the whole reach of the stock evenly
    background : sRGB bytes of the artwork's colour that stays bare, which is no wish; None: no colour does
    keep, old : colours that must stay, as `tint.palette.keep.kept_colours` reads them
    jitter : what the machine is expected to wander by
    penalty : how heavily loud and slow settings are held against a colour

    Raises
    ------
    DataError
        A colour to keep that is not known, an earlier palette of another stock or machine, or an artwork with nothing to mark.
    """
    kept, said = kept_colours(model, keep, old, jitter=jitter, seed=seed)
    bare, remarks = bare_metal(model)
    if remark := model.patches.facts.get("remark"):
        remarks = (remark, *remarks)
    whole = candidate_pool(model, seed=seed, jitter=jitter)
    stray, late = _held_against(whole, penalty)
    keep_rows = thin(whole.lab, stray + late, THIN_LAB)
    if artwork is not None:
        wishes, weight = artwork_wishes(artwork, background)
    else:  # a colour the model itself doubts is no wish: it may be an artefact at the edge of the grid
        wishes = whole.lab[keep_rows]
        weight = 1 / (1 + (whole.de00_90[keep_rows] / np.median(whole.de00_90)) ** 2)
        weight = weight / weight.sum()
    pool = _joined(model, kept, whole, keep_rows, jitter)
    stray, late = _held_against(pool, penalty, float(np.median(whole.time_s_cm2)))
    miss = expected_miss(delta_e00(wishes[:, None], pool.lab[None]), stray, late)
    return Offer(
        model, pool, kept, wishes, weight, miss, bare, delta_e00(wishes, bare), (*remarks, *said), jitter, penalty,
        "" if artwork is None else artwork.name,
    )  # fmt: skip


def thin(lab: np.ndarray, cost: np.ndarray, cell: float) -> np.ndarray:
    """Indices of the candidates (m, 3) left when each Lab cell of side `cell` keeps only the one of least cost (m,)."""
    order = np.argsort(cost, kind="stable")
    _, first = np.unique(np.floor(lab[order] / cell).astype(int), axis=0, return_index=True)
    return np.sort(order[first])


def bare_metal(model: ColourModel) -> tuple[np.ndarray, tuple[str, ...]]:
    """Lab (3,) of the bare metal, measured or else computed for polished metal, and a remark where it was computed."""
    bare = model.patches.bare_lab
    if bare is not None:
        return bare, ()
    metal = metal_of(model.stock.grade)
    index = metal.index if metal and metal.index else AUSTENITIC.index
    shine = reflectance(WAVELENGTH_NM, [], material_index(index), angle_deg=8)
    return lab_from_reflectance(WAVELENGTH_NM, shine), (
        f"bare metal was not measured: the computed colour of polished {index} stands in for it. Measure it and add "
        "'bare_lab: L a b' to patches.csv.",
    )


def _held_against(pool: Pool, penalty: Penalty, median_s_cm2: float | None = None) -> tuple[np.ndarray, np.ndarray]:
    median = float(np.median(pool.time_s_cm2)) if median_s_cm2 is None else median_s_cm2
    stray = spread_de00(pool.sensitivity_de00, pool.de00_90, penalty)
    return stray, slow_de00(pool.time_s_cm2, median, penalty)


def _joined(model: ColourModel, kept: Sequence[Kept], whole: Pool, rows: np.ndarray, jitter: Jitter) -> Pool:
    """Pool of the kept, then the rows of the whole pool that are not the same setting."""
    rest = dataclasses.replace(
        whole,
        setting=whole.setting[rows],
        lab=whole.lab[rows],
        de00_90=whole.de00_90[rows],
        sensitivity_de00=whole.sensitivity_de00[rows],
        time_s_cm2=whole.time_s_cm2[rows],
        patch=tuple(whole.patch[i] for i in rows),
    )
    if not kept:
        return rest
    table = np.stack([one.setting.table() for one in kept])
    setting = Setting.from_table(table)
    guess = predict(model, setting)
    same = (rest.setting.table()[:, None, :7] == table[None, :, :7]).all(axis=2).any(axis=1)
    new = np.flatnonzero(~same)
    return Pool(
        Setting.from_table(np.concatenate([table, rest.setting.table()[new]])),
        np.concatenate([guess.lab, rest.lab[new]]),
        np.concatenate([guess.de00_90, rest.de00_90[new]]),
        np.concatenate([sensitivity(model, setting, jitter), rest.sensitivity_de00[new]]),
        np.concatenate([time_s_cm2(setting), rest.time_s_cm2[new]]),
        (*(one.patch for one in kept), *(rest.patch[i] for i in new)),
    )
