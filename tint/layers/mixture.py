"""Mixtures: the colour of a field of small cells, from the share of its area that each palette colour covers.

Seen from where single cells no longer show, light adds up. Cells lie side by side and never on top of each other, so
the area shares are known as they are, and no probability of overprints (Demichel) enters: Neugebauer's sum runs over
the palette's colours themselves. Two things bend it on real pieces: marks grow beyond their cells (dot gain), and light
that enters the oxide beside where it leaves (Yule–Nielsen). Both are fitted from a measured strip of mixtures.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from tint.errors import DataError, FileError, LimitError
from tint.lab import delta_e00, lab_problem
from tint.measure.table import read_table
from tint.palette.palette import Palette
from tint.palette.reach import lab_from_light, light_from_lab

MAX_N, MAX_GAIN = 10.0, 0.25  # Yule–Nielsen n beyond 10 changes nothing more; gain at half coverage, common practice
SHARE = "area: "  # before a colour's name in the header of mixtures.csv
COLOUR = ("L", "a", "b")
MOST_STEPS = 60  # of the fit: sound strips settle within 20; a strip of nonsense would go on for a minute
GROWTH_ROUNDS = 6  # of undoing growth: two leave 0.005 at a gain of 0.2
MIN_STRIP = 6  # mixtures below which two kinds of numbers cannot be told apart


@dataclass(frozen=True, eq=False)
class Mixing:
    """How area shares turn into colour on a piece.

    Parameters
    ----------
    n : Yule–Nielsen number [1], 1 where light adds up exactly
    gain : (k + 1,) growth of each number's area at half coverage [share], bare metal first; None is no growth

    Raises
    ------
    LimitError
        n outside 1..10, or a gain outside ±0.25.
    """

    n: float = 1.0
    gain: np.ndarray | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.n <= MAX_N:
            raise LimitError(f"Yule–Nielsen number {self.n:g} cannot be; it lies between 1 and {MAX_N:g}.")
        if self.gain is not None:
            gain = np.array(self.gain, dtype=float)
            if gain.ndim != 1 or not (np.abs(gain) <= MAX_GAIN).all():
                raise LimitError(f"dot gain is one number within ±{MAX_GAIN:g} per palette number, bare metal first.")
            gain.flags.writeable = False
            object.__setattr__(self, "gain", gain)

    @cached_property
    def ideal(self) -> bool:
        """True where light simply adds up by area."""
        return self.n == 1 and (self.gain is None or not self.gain.any())

    def covered(self, area: np.ndarray) -> np.ndarray:
        """Area shares (..., k + 1) that marks really cover, of the shares their cells were given; each sums to 1."""
        if self.gain is None:
            return area
        grown = area + 4 * self.gain * area * (1 - area)
        return grown / grown.sum(axis=-1, keepdims=True)

    def asked(self, covered: np.ndarray) -> np.ndarray:
        """Area shares (..., k + 1) to give, so that marks cover `covered` once they have grown.

        Notes
        -----
        Of the sum of all grown areas each share follows by a quadratic, and the sum by going round. Found to 2e-5 where no gain
        is beyond ±0.2, to some 0.002 at ±0.25.
        """
        if self.gain is None:
            return covered
        steep = 1 + 4 * self.gain  # how fast a share grows from nothing
        area, whole = covered, np.ones((*covered.shape[:-1], 1))
        for _ in range(GROWTH_ROUNDS):
            grown = whole * covered
            root = np.sqrt(np.maximum(steep * steep - 4 * (steep - 1) * grown, 0))
            area = 2 * grown / np.maximum(steep + root, 1e-12)
            area = area / area.sum(axis=-1, keepdims=True)
            whole = (area * (steep - (steep - 1) * area)).sum(axis=-1, keepdims=True)
        return area


IDEAL = Mixing()


def mixture_lab(area: Any, lab: Any, mixing: Mixing = IDEAL) -> np.ndarray:
    """Lab (..., 3) of mixtures with area shares (..., k + 1) of the colours (k + 1, 3), bare metal first.

    Raises
    ------
    LimitError
        Shares below 0, or that do not sum to 1.

    References
    ----------
    Neugebauer, "Die theoretischen Grundlagen des Mehrfarbenbuchdrucks", Z. wiss. Photogr. 36:73 (1937), the sum over
    areas; Yule and Nielsen, TAGA Proc. 3:65 (1951), the number n; Yule, "Principles of Color Reproduction" (1967), growth
    of dots. Wyble and Berns, Color Res. Appl. 25(1):4 (2000) compare them (references from memory).

    Examples
    --------
    >>> mixture_lab([0.5, 0.5], [[100, 0, 0], [0, 0, 0]]).round(1)
    array([76.1,  0. ,  0. ])
    """
    area = np.asarray(area, float)
    if (area < -1e-9).any() or not np.allclose(area.sum(axis=-1), 1, atol=1e-6):
        raise LimitError("area shares of a mixture are numbers from 0 up that sum to 1, the bare metal included.")
    light = light_from_lab(lab)
    root = light if mixing.n == 1 else np.maximum(light, 0) ** (1 / mixing.n)
    mixed = mixing.covered(area) @ root
    return lab_from_light(mixed if mixing.n == 1 else mixed**mixing.n)


@dataclass(frozen=True, eq=False)
class MixtureStrip:
    """Measured mixtures of one palette.

    Parameters
    ----------
    area : (m, k + 1) area shares that the cells of each field were given, bare metal first
    lab : (m, 3) measured colour
    names : palette colours, number 1 first
    """

    area: np.ndarray
    lab: np.ndarray
    names: tuple[str, ...]

    def __post_init__(self) -> None:
        if self.area.ndim != 2 or self.area.shape[1] != len(self.names) + 1 or self.lab.shape != (len(self.area), 3):
            raise LimitError("a strip of mixtures needs one share per palette number and one L, a, b per field.")
        if (self.area < 0).any() or not np.allclose(self.area.sum(axis=1), 1, atol=1e-3):
            raise LimitError("area shares of a mixture are numbers from 0 up that sum to 1, the bare metal included.")


def read_mixtures(path: str | Path, names: Sequence[str]) -> MixtureStrip:
    """Measured mixtures of a `mixtures.csv`.

    Lines starting `#` at the top hold `key: value` facts; then a header row and one row per field: `L,a,b` (CIELAB D50/2°)
    and one column per palette colour, named `area: ` and its name, with its share of the cells 0..1. What the shares
    leave to 1 is bare metal; an empty share is 0.

    Parameters
    ----------
    names : palette colours, number 1 first; the file's columns are these or some of them

    Raises
    ------
    FileError
        Names the line, the column, what was found and what to do.
    """
    columns = [f"{SHARE}{name}" for name in names]
    _, rows = read_table(path, needed=COLOUR, numbers=(*COLOUR, *columns))
    lab = np.array([[row.number(name) for name in COLOUR] for row in rows])
    area = np.zeros((len(rows), len(names) + 1))
    for place, (row, value) in enumerate(zip(rows, lab, strict=True)):
        if problem := lab_problem(value):
            raise FileError(f"{path} line {row.line}: {problem}")
        unknown = [key for key in row.cells if key.startswith(SHARE) and key not in columns]
        if unknown:
            raise FileError(
                f"{path}: {unknown[0]!r} is not a colour of this palette; its colours are {', '.join(names)}."
            )
        area[place, 1:] = [row.number(key, 0.0) if key in row.cells else 0.0 for key in columns]
        area[place, 0] = 1 - area[place, 1:].sum()
        if (area[place, 1:] < 0).any() or area[place, 0] < -1e-3:
            raise FileError(f"{path} line {row.line}: shares are numbers from 0 up that sum to 1 at most.")
    area[:, 0] = np.maximum(area[:, 0], 0)
    return MixtureStrip(area / area.sum(axis=1, keepdims=True), lab, tuple(names))


def mixtures_text(area: np.ndarray, names: Sequence[str], lab: np.ndarray | None = None, facts: str = "") -> str:
    """CSV text of mixtures, (m, k + 1) area shares; colours are left empty to be filled in where `lab` is None."""
    header = ",".join(["L", "a", "b", *(f'"{SHARE}{name}"' if "," in name else f"{SHARE}{name}" for name in names)])
    lines = [f"# {facts}"] if facts else []
    for place, shares in enumerate(area):
        colour = ["", "", ""] if lab is None else [f"{value:.3f}" for value in lab[place]]
        lines.append(",".join([*colour, *(f"{share:g}" for share in shares[1:])]))
    return "\n".join([*lines[: bool(facts)], header, *lines[bool(facts) :]]) + "\n"


def strip_areas(colours: int, steps: Sequence[float] = (0.25, 0.5, 0.75)) -> np.ndarray:
    """Area shares (m, k + 1) of a strip worth marking: each colour with bare metal in `steps`, then each pair by halves.

    Examples
    --------
    >>> strip_areas(2, (0.5,)).tolist()
    [[0.5, 0.5, 0.0], [0.5, 0.0, 0.5], [0.0, 0.5, 0.5]]
    """
    rows = []
    for number, share in itertools.product(range(1, colours + 1), steps):
        row = np.zeros(colours + 1)
        row[0], row[number] = 1 - share, share
        rows.append(row)
    for one, other in itertools.combinations(range(1, colours + 1), 2):
        row = np.zeros(colours + 1)
        row[one] = row[other] = 0.5
        rows.append(row)
    return np.array(rows)


def fit_mixing(strip: MixtureStrip, lab: Any) -> Mixing:
    """`Mixing` that predicts a measured strip best, from the palette's colours (k + 1, 3), bare metal first.

    Raises
    ------
    DataError
        Fewer than 6 mixtures of two colours or more.

    Notes
    -----
    Least squares over ΔE00 of all fields. A gain is pulled to 0 as strongly as one field that is 1 ΔE00 off for a gain of
    0.1, so a colour the strip hardly holds keeps none. The bare metal has no growth of its own: shares sum to 1.
    """
    from scipy.optimize import least_squares

    lab = np.asarray(lab, float)
    mixed = (strip.area > 0).sum(axis=1) > 1
    if mixed.sum() < MIN_STRIP:
        raise DataError(
            f"only {mixed.sum()} mixtures in the strip; fitting dot gain needs {MIN_STRIP}. Mark and measure more."
        )
    area, measured = strip.area[mixed], strip.lab[mixed]
    area = area / area.sum(axis=1, keepdims=True)

    def built(numbers: np.ndarray) -> Mixing:
        return Mixing(float(numbers[0]), np.concatenate([[0.0], numbers[1:]]))

    def off(numbers: np.ndarray) -> np.ndarray:
        return np.concatenate([delta_e00(mixture_lab(area, lab, built(numbers)), measured), 10 * numbers[1:]])

    start = np.concatenate([[1.05], np.full(len(lab) - 1, 0.01)])
    bounds = (
        np.concatenate([[1.0], np.full(len(lab) - 1, -MAX_GAIN)]),
        np.concatenate([[MAX_N], np.full(len(lab) - 1, MAX_GAIN)]),
    )
    found = min(
        (least_squares(off, np.concatenate([[n], start[1:]]), bounds=bounds, max_nfev=MOST_STEPS) for n in (1.05, 2.0)),
        key=lambda each: each.cost,
    )
    return built(found.x)


def read_mixing(path: str | Path, palette: Palette) -> Mixing:
    """`Mixing` fitted to the measured mixtures of a palette in a file, as `read_mixtures` and `fit_mixing` have it."""
    return fit_mixing(read_mixtures(path, [colour.name for colour in palette.colours]), palette.lab)
