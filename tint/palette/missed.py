"""Colours of an artwork that a palette chosen for it has nothing near, and what would help."""

from __future__ import annotations

import numpy as np

from tint.artwork.alike import WHITE, alike
from tint.artwork.artwork import Artwork
from tint.artwork.even import even_colours
from tint.lab import delta_e00, hex_from_srgb255, lab_from_srgb1
from tint.palette.palette import Palette
from tint.palette.twins import FAR_DE00, TWIN_DE00

MOST_NAMED = 4  # colours; a remark is one line, and a traced photograph has thousands


def missed_remark(
    artwork: Artwork, palette: Palette, reach_lab: np.ndarray, background: tuple[int, int, int] | None = WHITE
) -> str:
    """One line on the colours of flat artwork more than 10 ΔE00 from all of a palette, the largest first; "" for none.

    Parameters
    ----------
    artwork : photographs and shading, which have no colours of their own, say nothing
    palette : chosen for the artwork
    reach_lab : (m, 3) what else the stock can show
    background : sRGB bytes of the artwork's colour that stays bare as asked; None: no colour does
    """
    srgb255, area_mm2, _ = even_colours(artwork)
    wanted = ~alike(srgb255, background)
    srgb255, area_mm2 = srgb255[wanted], area_mm2[wanted]
    if not len(srgb255):
        return ""
    lab = lab_from_srgb1(srgb255 / 255)
    away = delta_e00(lab[:, None], palette.lab[None])
    nearest, far = away.argmin(axis=1), away.min(axis=1)
    missed = np.flatnonzero(far > FAR_DE00)
    missed = missed[np.argsort(-area_mm2[missed], kind="stable")]
    if not len(missed):
        return ""
    names = ["bare metal", *(colour.name for colour in palette.colours)]
    told, helped = [], []
    for i in missed[:MOST_NAMED].tolist():
        hexed = hex_from_srgb255(srgb255[i])
        best, off = float(delta_e00(lab[i], reach_lab).min()), float(far[i])
        nearer = best < off - TWIN_DE00
        helped += [hexed] if nearer else []
        can = f"this stock can come to {best:.0f}" if nearer else "this stock shows nothing noticeably nearer"
        share = f"{100 * area_mm2[i] / area_mm2.sum():.2g} % of the area"
        told.append(f"{hexed} ({share}; {names[nearest[i]]} stands in, {off:.0f} away; {can})")
    if len(missed) > MOST_NAMED:
        rest = 100 * area_mm2[missed[MOST_NAMED:]].sum() / area_mm2.sum()
        told.append(f"and {len(missed) - MOST_NAMED} more ({rest:.2g} %)")
    keep = " ".join(f"--keep '{each}'" for each in helped)
    advice = f" A larger -n may serve {'it' if len(helped) == 1 else 'them'}, {keep} does." if helped else ""
    return f"colours of {artwork.name} with nothing near, over {FAR_DE00:.0f} ΔE00: {', '.join(told)}.{advice}"
