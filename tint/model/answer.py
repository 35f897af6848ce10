"""Answers of a model in words and plain values, for screens."""

from __future__ import annotations

from typing import Any

import numpy as np

from tint.lab import hex_from_lab
from tint.model.find import Found
from tint.model.jitter import assumed_words
from tint.model.model import ColourModel, Prediction
from tint.setting import WORDS

FAR_OUTSIDE = 0.2  # share of the box's width beyond which a prediction is a guess: held-out tests reach this far


def found_text(found: Found) -> str:
    """Table of the settings found for a wish, safest first, with what the columns mean."""
    wish = "L {:.1f}  a {:+.1f}  b {:+.1f}".format(*found.wish_lab)
    if found.reachable:
        head = f"wish {wish} ({hex_from_lab(found.wish_lab)}): within reach"
    else:
        head = f"wish {wish} ({hex_from_lab(found.wish_lab)}): out of reach; the nearest is {found.nearest_de00:.1f} ΔE00 away"
    lines = [
        head,
        f"{'':2s} {'L':>5s} {'a':>6s} {'b':>6s} {'off':>5s} {'±90 %':>6s} {'jitter':>6s} {'s/cm²':>6s}  setting",
    ]
    for i, candidate in enumerate(found.candidates, 1):
        mark = f"  (patch {candidate.patch})" if candidate.patch else ""
        lightness, a, b = candidate.lab
        lines.append(
            f"{i:2d} {lightness:5.1f} {a:+6.1f} {b:+6.1f} {candidate.de00:5.1f} {candidate.de00_90:6.1f} "
            f"{candidate.sensitivity_de00:6.1f} {candidate.time_s_cm2:6.1f}  {candidate.setting}{mark}"
        )
    lines.append("off: ΔE00 from the wish · ±90 %: 9 of 10 fresh marks land within this ΔE00 of L a b")
    lines.append(f"jitter: mean ΔE00 shift under {found.jitter.words()}")
    if found.assumed:
        lines.append(f"        {assumed_words(found.assumed)}")
    return "\n".join(lines)


def found_dict(found: Found) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "wish_lab": [float(value) for value in found.wish_lab],
        "reachable": bool(found.reachable),
        "nearest_de00": round(found.nearest_de00, 3),
        "jitter": found.jitter.words(),
        "jitter_assumed": list(found.assumed),
        "candidates": [
            {
                "setting": candidate.setting.as_dict(),
                "lab": candidate.lab.round(3).tolist(),
                "de00": round(candidate.de00, 3),
                "de00_90": round(candidate.de00_90, 3),
                "sensitivity_de00": round(candidate.sensitivity_de00, 3),
                "time_s_cm2": round(candidate.time_s_cm2, 3),
                "patch": candidate.patch,
            }
            for candidate in found.candidates
        ],
    }


def prediction_remarks(prediction: Prediction) -> list[str]:
    """What a reader of predictions must know: settings outside the grid, fields the grid never varied."""
    lines = []
    outside = np.atleast_1d(prediction.outside)
    rows = np.flatnonzero(outside > FAR_OUTSIDE)
    if rows.size:
        which = ", ".join(str(row + 1) for row in rows[:8]) + (" …" if rows.size > 8 else "")
        lines.append(
            f"FAR OUTSIDE the grid (row {which}): a guess, not a prediction. Mark patches there before you rely on it."
        )
    elif (outside > 0).any():
        near = int((outside > 0).sum())
        which = "The setting lies" if outside.size == 1 else f"{near} of {outside.size} settings lie"
        lines.append(f"{which} a little outside the grid: the radius is widened.")
    if prediction.unlearned:
        words = ", ".join(WORDS[field] for field in prediction.unlearned)
        effect, it = ("its effect is", "it") if len(prediction.unlearned) == 1 else ("their effects are", "them")
        lines.append(
            f"{words}: never varied in the grid, so {effect} NOT LEARNED; the colour shown is a guess. "
            f"Mark patches that vary {it}."
        )
    return lines


def is_guess(prediction: Prediction) -> bool:
    """True where some setting lies so far from the grid, or varies what it never did, that the answer cannot be used."""
    return bool(prediction.unlearned) or bool((np.asarray(prediction.outside) > FAR_OUTSIDE).any())


def model_remarks(model: ColourModel) -> list[str]:
    """What the patches behind a model say of themselves, such as "simulated" or "camera colours"."""
    return [model.patches.facts["remark"]] if model.patches.facts.get("remark") else []
