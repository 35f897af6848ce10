"""Choosing the handful: the n settings whose colours serve a stock's whole reach, or one artwork, best."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tint.artwork.artwork import PICTURES, Artwork, Drawing, Picture, read_artwork
from tint.errors import DataError
from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import delta_e00, lab_from_reflectance, lab_from_srgb1
from tint.metal import AUSTENITIC, metal_of
from tint.model.jitter import USUAL_JITTER, Jitter
from tint.model.model import ColourModel
from tint.model.pool import Pool, candidate_pool
from tint.palette.names import colour_names
from tint.palette.palette import MAX_COLOURS, Palette, PaletteColour

THIN_LAB = 3.0  # candidates and wishes closer than this in Lab count as one: just noticeable is 2.3 ΔE*ab (Mahy 1994)
MOST_WISHES = 800  # colours of an artwork kept, the most frequent first; the rest cover a few ppm
# 9 of 10 draws of an even three-axis normal lie within 2.50 σ; its root mean square is √3 σ.
RMS_OF_R90 = 3**0.5 / 2.5003
MAX_ROUNDS = 200  # swaps end long before; a stop against going round in circles


def choose_palette(
    model: ColourModel,
    n: int = 8,
    *,
    artwork: Artwork | None = None,
    name: str | None = None,
    jitter: Jitter = USUAL_JITTER,
    seed: int = 0,
) -> Palette:
    """Palette of n colours of the model's stock, for everything it can show or for one artwork.

    Parameters
    ----------
    n : colours wanted; the bare metal comes on top and is always at hand
    artwork : serve its colours, weighted by their area; None serves the whole reach of the stock evenly
    jitter : what the machine is expected to wander by, for the sensitivity of each colour

    Raises
    ------
    DataError
        More colours wanted than differ on this stock, or n outside 1–255.

    Notes
    -----
    Facility location: the chosen n minimise the sum over wishes of weight × the expected miss, √(ΔE00² + s² + u²),
    where s is the candidate's sensitivity to jitter and u the root mean square of the model's own uncertainty. Greedy
    choice first, then swaps of one chosen for one unchosen as long as that helps.
    """
    if not 1 <= n <= MAX_COLOURS:
        raise DataError(f"{n} colours cannot be; a palette holds 1 to {MAX_COLOURS}.")
    pool = candidate_pool(model, seed=seed, jitter=jitter)
    bare, remarks = _bare(model)
    if remark := model.patches.facts.get("remark"):
        remarks = (remark, *remarks)
    spread = np.sqrt(pool.sensitivity_de00**2 + (RMS_OF_R90 * pool.de00_90) ** 2)
    keep = thin(pool.lab, spread, THIN_LAB)
    if artwork is not None:
        wishes, weight = artwork_wishes(artwork)
    else:  # a colour the model itself doubts is no wish: it may be an artefact at the edge of the grid
        wishes, weight = pool.lab[keep], 1 / (1 + (pool.de00_90[keep] / np.median(pool.de00_90)) ** 2)
    if n > len(keep):
        raise DataError(
            f"only {len(keep)} colours of {model.stock.name} can be told apart; ask for {len(keep)} or fewer."
        )
    miss = np.sqrt(delta_e00(wishes[:, None], pool.lab[keep][None]) ** 2 + spread[keep] ** 2)
    chosen = keep[locate(miss * weight[:, None], n, free=delta_e00(wishes, bare) * weight)]
    chosen = chosen[_shop_order(pool.lab[chosen])]
    names = colour_names(pool.lab[chosen])
    colours = tuple(_colour(pool, int(i), names[k]) for k, i in enumerate(chosen))
    title = name or (f"{model.stock.name} for {artwork.name}" if artwork is not None else model.stock.name)
    return Palette(title, model.machine, model.stock, colours, bare, remarks, jitter.words())


def locate(cost: np.ndarray, n: int, free: np.ndarray | None = None) -> np.ndarray:
    """Columns (n,) of a cost matrix (wishes, candidates) whose row-wise minimum sums to little: greedy, then swaps.

    Parameters
    ----------
    free : (wishes,) cost of a candidate that is always open; None for none

    Notes
    -----
    A local optimum of single swaps; for metric costs the sum is proved to be at most five times the best and in
    practice is within a few per cent of it (Arya et al., SIAM J. Comput. 33(3):544–562, 2004).

    Examples
    --------
    >>> locate(np.array([[0.0, 5.0, 9.0], [5.0, 0.0, 4.0], [9.0, 4.0, 0.0]]), 2).tolist()
    [0, 1]
    """
    best = np.full(len(cost), np.inf) if free is None else np.asarray(free, float)
    chosen: list[int] = []
    for _ in range(n):
        gain = np.minimum(best[:, None], cost).sum(axis=0)
        gain[chosen] = np.inf
        chosen.append(int(np.argmin(gain)))
        best = np.minimum(best, cost[:, chosen[-1]])
    for _ in range(MAX_ROUNDS):
        total, swap = best.sum(), None
        for place in range(n):
            others = cost[:, [c for k, c in enumerate(chosen) if k != place]]
            without = np.min(
                np.column_stack([others, free if free is not None else np.full(len(cost), np.inf)]), axis=1
            )
            gain = np.minimum(without[:, None], cost).sum(axis=0)
            candidate = int(np.argmin(gain))
            if gain[candidate] < total * (1 - 1e-12):
                total, swap = gain[candidate], (place, candidate)
        if swap is None:
            break
        chosen[swap[0]] = swap[1]
        best = cost[:, chosen].min(axis=1)
        if free is not None:
            best = np.minimum(best, free)
    return np.array(sorted(chosen))


def thin(lab: np.ndarray, spread: np.ndarray, cell: float) -> np.ndarray:
    """Indices of the candidates (m, 3) left when each Lab cell of side `cell` keeps only the one of least spread (m,)."""
    order = np.argsort(spread, kind="stable")
    _, first = np.unique(np.floor(lab[order] / cell).astype(int), axis=0, return_index=True)
    return np.sort(order[first])


def artwork_wishes(artwork: Artwork) -> tuple[np.ndarray, np.ndarray]:
    """Colours (w, 3) Lab of an artwork and the share (w,) of its area each covers, the most frequent 800.

    Raises
    ------
    DataError
        The artwork is wholly transparent.
    """
    if isinstance(artwork, Drawing):
        srgb255 = np.array([shape.srgb255 for shape in artwork.shapes])
        area = np.array([shape.region.area for shape in artwork.shapes])
        srgb255, index = np.unique(srgb255, axis=0, return_inverse=True)
        weight = np.bincount(index.ravel(), area)
    else:
        assert isinstance(artwork, Picture)
        srgb255, weight = _frequent(artwork.srgb255[~artwork.bare])
    if not weight.sum() > 0:
        raise DataError(f"{artwork.name} has nothing to mark: it is wholly transparent.")
    top = np.argsort(-weight, kind="stable")[:MOST_WISHES]
    return lab_from_srgb1(srgb255[top] / 255), weight[top] / weight[top].sum()


def read_wishes(path: str | Path) -> Artwork:
    """Artwork of a file for its colours only; a picture needs no size for that.

    Raises
    ------
    FileError
        Not artwork, damaged, or too large.
    """
    size_mm = 100.0 if Path(path).suffix.lower() in PICTURES else None
    return read_artwork(path, size_mm)


def _frequent(pixels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean colour and count of each of 32³ cells that hold pixels (n, 3)."""
    code = (pixels >> 3).astype(np.int32)
    code = code[:, 0] << 10 | code[:, 1] << 5 | code[:, 2]
    count = np.bincount(code, minlength=1 << 15)
    used = np.flatnonzero(count)
    sums = [np.bincount(code, pixels[:, i], minlength=1 << 15)[used] for i in range(3)]
    return np.stack(sums, axis=-1) / count[used, None], count[used].astype(float)


def _bare(model: ColourModel) -> tuple[np.ndarray, tuple[str, ...]]:
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


def _shop_order(lab: np.ndarray) -> np.ndarray:
    """Order for the eye: greys first from light to dark, then around the hues from straw through blue to red."""
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = (np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) - 45) % 360
    return np.lexsort((-lab[:, 0], np.where(chroma < 9, -1, hue)))


def _colour(pool: Pool, i: int, name: str) -> PaletteColour:
    return PaletteColour(
        name, pool.setting[i], pool.lab[i].round(3), round(float(pool.de00_90[i]), 2), round(float(pool.sensitivity_de00[i]), 2),
        pool.patch[i],
    )  # fmt: skip
