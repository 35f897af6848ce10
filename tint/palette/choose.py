"""Choosing the handful: the n settings whose colours serve a stock's whole reach, or one artwork, best."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tint.artwork.alike import WHITE
from tint.artwork.artwork import Artwork
from tint.errors import DataError
from tint.model.jitter import USUAL_JITTER, Jitter, jitter_words
from tint.model.model import ColourModel
from tint.model.pool import Pool
from tint.palette.along import Along, along_of
from tint.palette.curve import error_curve
from tint.palette.locate import locate
from tint.palette.names import colour_names, unused_name
from tint.palette.offer import Offer, offer_of
from tint.palette.palette import MAX_COLOURS, Palette, PaletteColour
from tint.palette.penalty import USUAL_PENALTY, Penalty
from tint.palette.twins import twins_told
from tint.palette.wishes import artwork_wishes, read_wishes

__all__ = ["artwork_wishes", "choose_from", "choose_palette", "locate", "read_wishes"]


def choose_palette(
    model: ColourModel,
    n: int | None = 8,
    *,
    artwork: Artwork | None = None,
    background: tuple[int, int, int] | None = WHITE,
    name: str | None = None,
    keep: Sequence[str] = (),
    old: Palette | None = None,
    jitter: Jitter = USUAL_JITTER,
    penalty: Penalty = USUAL_PENALTY,
    seed: int = 0,
) -> Palette:
    """Palette of n colours of the model's stock, for everything it can show or for one artwork.

    Parameters
    ----------
    model : of the stock and machine
    n : colours wanted; the bare metal comes on top and is always at hand. None takes the number `error_curve` suggests
    artwork : serve its colours, weighted by their area; None serves the whole reach of the stock evenly
    background : sRGB bytes of the artwork's colour that stays bare and so asks for none; None: no colour does
    keep : colours that must stay: each the name of a colour of `old`, the id of a patch, or a screen colour "#4466aa"
    old : an earlier palette of the same stock and machine, for names in `keep`
    jitter : what the machine is expected to wander by, for the sensitivity of each colour
    penalty : how heavily loud and slow settings are held against a colour
    name : what to call the palette; None takes the stock's name, and the artwork's
    seed : picks the candidates that are looked at, and the fresh starts

    Raises
    ------
    DataError
        More colours wanted than the model offers on this stock or fewer than are to be kept, n outside 1–255, a colour to keep that
        is not known, or an earlier palette of another stock or machine.

    Notes
    -----
    Facility location: the chosen n minimise the sum over wishes of weight × the expected miss, √(ΔE00² + s² + u²) + t,
    where s is the candidate's sensitivity to jitter, u the root mean square of the model's own uncertainty and t what a
    slow setting is charged (`Penalty`). Greedy choice first, then swaps of one chosen for one unchosen as long as that
    helps, then a few fresh starts.
    """
    if n is not None:
        check_count(n)
    offer = offer_of(model, artwork, background=background, keep=keep, old=old, jitter=jitter, penalty=penalty, seed=seed)
    n = error_curve(offer).suggested if n is None else n
    title = name or (f"{model.stock.name} for {artwork.name}" if artwork is not None else model.stock.name)
    return choose_from(offer, n, title, seed=seed)


def check_count(n: int) -> None:
    """Nothing; raises `DataError` where a palette cannot hold n colours."""
    if not 1 <= n <= MAX_COLOURS:
        raise DataError(f"{n} colours cannot be; a palette holds 1 to {MAX_COLOURS}.")


def choose_from(offer: Offer, n: int, name: str, *, seed: int = 0) -> Palette:
    """Palette of n colours of an offer, those to be kept among them, in the order of the eye.

    Raises
    ------
    DataError
        More colours wanted than the offer has, fewer than are to be kept, or n outside 1–255.
    """
    check_count(n)
    if n > len(offer):
        raise DataError(
            f"the model offers only {len(offer)} different colours of {offer.model.stock.name}; ask for {len(offer)} or fewer."
        )
    fixed = len(offer.kept)
    if n < fixed:
        raise DataError(f"{fixed} colours are to be kept, but only {n} wanted; ask for {fixed} or more with -n.")
    weight = offer.weight
    chosen = locate(offer.miss * weight[:, None], n, offer.bare_miss * weight, range(fixed), seed=seed)
    chosen = chosen[shop_order(offer.pool.lab[chosen])]
    names = _names(offer, chosen)
    along = along_of(offer.model, offer.pool.setting[chosen])
    colours = tuple(_colour(offer.pool, int(i), names[k], along[k]) for k, i in enumerate(chosen))
    words = jitter_words(offer.model, offer.jitter)
    machine, stock = offer.model.machine, offer.model.stock
    return twins_told(Palette(name, machine, stock, colours, offer.bare_lab, offer.remarks, words, penalty=offer.penalty, artwork=offer.artwork))


def shop_order(lab: np.ndarray) -> np.ndarray:
    """Order (k,) for the eye: greys first from light to dark, then around the hues from straw through blue to red."""
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = (np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) - 45) % 360
    return np.lexsort((-lab[:, 0], np.where(chroma < 9, -1, hue)))


def _names(offer: Offer, chosen: np.ndarray) -> list[str]:
    """Names (k,) of the chosen: kept colours keep theirs, the others get a plain one that is not taken."""
    own = [offer.kept[int(i)].name if i < len(offer.kept) else "" for i in chosen]
    taken = {name for name in own if name}
    names = []
    for mine, plain in zip(own, colour_names(offer.pool.lab[chosen]), strict=True):
        names.append(mine or unused_name(plain, taken))
        taken.add(names[-1])
    return names


def _colour(pool: Pool, i: int, name: str, along: Along) -> PaletteColour:
    return PaletteColour(
        name, pool.setting[i], pool.lab[i].round(3), round(float(pool.de00_90[i]), 2), round(float(pool.sensitivity_de00[i]), 2),
        pool.patch[i], along=along,
    )  # fmt: skip
