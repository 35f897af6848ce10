"""How much each further colour of a palette is worth, and how many are enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00
from tint.palette.locate import locate
from tint.palette.offer import Offer

MOST = 24  # colours looked at: more layers than one person keeps track of at the machine (common practice, no source)
# A further colour pays while it brings the artwork nearer by this share of what all 24 together would, on average over the
# next three: one more layer is one more line of the sheet to set and check. Smaller suggests more colours.
WORTH = 0.02
AHEAD = 3


@dataclass(frozen=True, eq=False)
class Curve:
    """Miss against the number of colours.

    Attributes
    ----------
    counts : (c,) numbers of colours, rising
    miss_de00 : (c,) mean expected miss over the wishes [ΔE00]: what the choice makes small
    away_de00 : (c,) mean distance from wish to nearest colour [ΔE00], fresh marks' straying left out
    far_de00 : (c,) distance that 95 % of the wished area stays within [ΔE00]
    suggested : the number from which further colours bring little
    """

    counts: np.ndarray
    miss_de00: np.ndarray
    away_de00: np.ndarray
    far_de00: np.ndarray
    suggested: int

    def words(self) -> str:
        """The suggestion in words."""
        i = int(np.flatnonzero(self.counts == self.suggested)[0])
        last = int(self.counts[-1])
        most = f"; {last} colours would come to {self.away_de00[-1]:.1f} and {self.far_de00[-1]:.1f}"
        return (
            f"{self.suggested} colour{'s' * (self.suggested != 1)} suggested: on average {self.away_de00[i]:.1f} ΔE00 from what is "
            f"wanted, 95 % of it within {self.far_de00[i]:.1f}{most * (self.suggested != last)}."
        )


def error_curve(offer: Offer, most: int = MOST) -> Curve:
    """Miss for 1 to `most` colours, or from as many as are kept, with a suggestion.

    Raises
    ------
    DataError
        More colours are to be kept than `most`.

    Notes
    -----
    Each number is chosen anew, as `choose_palette` does but with one fresh start only.
    Suggested is the smallest number after which the next three colours bring on average 2 % each, or less, of what lies
    between the first and the last number.
    """
    least, most = max(len(offer.kept), 1), min(most, len(offer))
    if least > most:
        raise DataError(
            f"{least} colours are to be kept; a suggestion looks at up to {most}. State the number with -n."
        )
    counts = np.arange(least, most + 1)
    free = offer.bare_miss * offer.weight
    away = np.array(
        [
            _row(offer, locate(offer.miss * offer.weight[:, None], n, free, range(len(offer.kept)), kicks=1))
            for n in counts.tolist()
        ]
    )
    return Curve(counts, away[:, 0], away[:, 1], away[:, 2], int(counts[enough(away[:, 0])]))


def enough(miss: np.ndarray) -> int:
    """Index of the first number after which the next three gain on average 2 % or less of the whole fall of `miss` (c,).

    Examples
    --------
    >>> enough(np.array([10.0, 5.0, 2.0, 1.9, 1.8, 1.8, 1.8]))
    2
    """
    miss = np.minimum.accumulate(miss)
    worth = WORTH * (miss[0] - miss[-1])
    for i in range(len(miss)):
        ahead = miss[i : i + AHEAD + 1]
        if len(ahead) < 2 or (ahead[0] - ahead[-1]) / (len(ahead) - 1) <= worth:
            return i
    return len(miss) - 1


def _row(offer: Offer, chosen: np.ndarray) -> tuple[float, float, float]:
    miss = np.minimum(offer.miss[:, chosen].min(axis=1), offer.bare_miss)
    away = delta_e00(offer.wishes[:, None], np.vstack([offer.bare_lab, offer.pool.lab[chosen]])[None]).min(axis=1)
    order = np.argsort(away)
    within = np.searchsorted(np.cumsum(offer.weight[order]), 0.95 * offer.weight.sum())
    return float(miss @ offer.weight), float(away @ offer.weight), float(away[order[min(within, len(order) - 1)]])
