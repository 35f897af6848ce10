"""Near twins: colours of a palette that nobody will tell apart on the piece."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from tint.lab import delta_e00
from tint.palette.palette import Palette

FAR_DE00 = 10.0  # farther than this and people call it another colour (ISO 12647-7 proofs, from memory: at most 5)
TWIN_DE00 = 2.3  # a just noticeable difference (Mahy 1994: about 2.3 ΔE*ab)
_TWINS = "near twins"  # how the remark begins


def near_twins(lab: np.ndarray, sensitivity_de00: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index pairs (t, 2) of colours that look alike, the closest first, and how far apart they are [ΔE00] (t,).

    Parameters
    ----------
    lab : (k, 3)
    sensitivity_de00 : (k,) mean shift under jitter

    Notes
    -----
    Alike are colours nearer than a just noticeable difference, or nearer than the machine's own jitter moves the two,
    √(s₁² + s₂²).

    Examples
    --------
    >>> near_twins(np.array([[40, 0, -30], [41, 0, -30], [80, 0, 0]]), np.ones(3))[0].tolist()
    [[0, 1]]
    """
    lab, loud = np.asarray(lab, float), np.asarray(sensitivity_de00, float)
    first, second = np.triu_indices(len(lab), 1)
    apart = delta_e00(lab[first], lab[second])
    alike = apart < np.maximum(TWIN_DE00, np.hypot(loud[first], loud[second]))
    order = np.argsort(apart[alike], kind="stable")
    return np.column_stack([first[alike], second[alike]])[order], apart[alike][order]


def told_apart(k: int, pairs: np.ndarray) -> int:
    """How many of k colours are left when of each pair of twins (t, 2) the later one is left out, in palette order."""
    left: list[int] = []
    twins = {tuple(pair) for pair in np.sort(pairs, axis=1).tolist()}
    for i in range(k):
        if not any((j, i) in twins for j in left):
            left.append(i)
    return len(left)


def twin_remark(names: Sequence[str], lab: np.ndarray, sensitivity_de00: np.ndarray) -> str:
    """One line that says which colours (k, 3) look alike and how many can be told apart; "" where none do."""
    pairs, apart = near_twins(lab, sensitivity_de00)
    if not len(pairs):
        return ""
    one, other = (names[int(i)] for i in pairs[0])
    count = "1 pair of colours looks" if len(pairs) == 1 else f"{len(pairs)} pairs of colours look"
    return (
        f"{_TWINS}: {count} alike on the piece ('{one}' and '{other}' are {apart[0]:.1f} ΔE00 apart); "
        f"about {told_apart(len(names), pairs)} of {len(names)} can be told apart."
    )


def twins_told(palette: Palette) -> Palette:
    """The palette with the remark on twins that its colours ask for, instead of one it had with other colours."""
    names = [colour.name for colour in palette.colours]
    said = twin_remark(names, palette.lab[1:], np.array([colour.sensitivity_de00 for colour in palette.colours]))
    others = [line for line in palette.remarks if not line.startswith(f"{_TWINS}:")]
    return dataclasses.replace(palette, remarks=(*others, *([said] if said else [])))
