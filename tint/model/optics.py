"""Colour of a mark from what is latent in it: film thickness, share of the outer oxide, haze, and gain, with slopes.

Two absorbing films lie on the metal; part of the light is lost to a dull, grey surface; all is scaled by a gain. The
optical constants of `tint.film` are where a fit starts: each oxide's index may be scaled, tilted along the spectrum and
made more or less absorbing, since marked oxide is neither pure nor dense.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from tint.film import material_index
from tint.lab import lab_from_reflectance
from tint.metal import metal_of

# Every 20 nm is enough for films up to a micrometre (within 0.3 ΔE00 of every 5 nm), and four times faster
WAVELENGTH_NM = np.arange(400.0, 721.0, 20.0)
BLUENESS = (720 - WAVELENGTH_NM) / 320 - 0.5  # +½ at the blue end, −½ at the red
WEAK_K = 0.02  # added to the tables' absorption, so that a clear oxide can be made to absorb

# Of the outer oxide, then of the inner: index scale, its tilt, log absorption, its tilt; then of the dull surface: log
# brightness, and how much redder and bluer than grey. Mean and sd of what to expect; the widths let an oxide of the
# tables become its usual neighbours (± 12 % in n − 1, a factor of two in k).
OPTICS_MEAN = np.array([0.95, 0, 0, 0, 0.95, 0, 0, 0, -1.9, 0, 0])
OPTICS_SD = np.array([0.12, 0.12, 0.7, 0.7, 0.12, 0.12, 0.7, 0.7, 0.5, 0.15, 0.2])
TINY = 1e-7

# stock family -> metal, inner oxide, outer oxide (names of tint.film). Titanium gets an absorbing inner oxide below.
FAMILIES = {
    "austenitic steel": ("austenitic steel", "magnetite", "hematite"),
    "ferritic steel": ("ferritic steel", "magnetite", "hematite"),
    "titanium": ("titanium", "titanium dioxide", "titanium dioxide"),
    "brass": ("brass", "hematite", "titanium dioxide"),
}
SUBOXIDE_K = 0.35  # absorption given to titanium's inner, oxygen-poor oxide; a starting point, fitted from there


def family_of(grade: str) -> str:
    """Name in `FAMILIES` of a stock's grade, in words or numbers; austenitic steel where nothing else is said.

    Examples
    --------
    >>> family_of("430"), family_of("1.4016"), family_of("titanium grade 2"), family_of("CuZn37")
    ('ferritic steel', 'ferritic steel', 'titanium', 'brass')
    """
    metal, word = metal_of(grade), grade.lower()
    if metal is not None and metal.index in FAMILIES:
        return metal.index
    if word.startswith("ti"):
        return "titanium"
    if "bronze" in word or (metal is not None and metal.name == "copper"):  # no tables: brass is nearest
        return "brass"
    return "ferritic steel" if word.startswith("4") else "austenitic steel"


@dataclass(frozen=True, eq=False)
class Optics:
    """Tables of one family at `WAVELENGTH_NM`: complex indices (w,) and weights (w, 3) to XYZ relative to white."""

    metal: np.ndarray
    inner: np.ndarray
    outer: np.ndarray
    weights: np.ndarray


@cache
def optics_of(family: str) -> Optics:
    """Tables of a family."""
    metal, inner, outer = (material_index(name, WAVELENGTH_NM) for name in FAMILIES[family])
    if FAMILIES[family][1] == FAMILIES[family][2]:
        inner = inner + 1j * SUBOXIDE_K
    weights = relative_from_lab(lab_from_reflectance(WAVELENGTH_NM, np.eye(len(WAVELENGTH_NM))))
    return Optics(metal, inner, outer, weights)


def colour(optics: Optics, latent: np.ndarray, constants: np.ndarray) -> np.ndarray:
    """Lab (s, q, 3) of latents (s, q, 4) with optical constants (s, 11), s fits at once."""
    mix = _Mix(optics, latent, constants)
    return lab_from_relative(mix.relative)


def colour_and_slopes(optics: Optics, latent: np.ndarray, constants: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lab (s, q, 3), its slopes by the latents (s, q, 3, 4) and by the constants (s, q, 3, 11)."""
    mix = _Mix(optics, latent, constants, slopes=True)
    by_latent, by_constant = mix.latent_slopes(), mix.constant_slopes()
    return (
        lab_from_relative(mix.relative),
        np.stack([_lab_slope(mix.relative, part) for part in by_latent], axis=-1),
        np.stack([_lab_slope(mix.relative, part) for part in by_constant], axis=-1),
    )


def colour_and_latent_slopes(optics: Optics, latent: np.ndarray, constants: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lab (s, q, 3) and its slopes by the latents (s, q, 3, 4)."""
    mix = _Mix(optics, latent, constants, slopes=True)
    return lab_from_relative(mix.relative), np.stack([_lab_slope(mix.relative, part) for part in mix.latent_slopes()], axis=-1)


class _Mix:
    """Light of film, haze and gain put together: `relative` is XYZ over white, (s, q, 3)."""

    def __init__(self, optics: Optics, latent: np.ndarray, constants: np.ndarray, slopes: bool = False) -> None:
        self.optics = optics
        self.nm = np.exp(np.clip(latent[..., 0], 0, 7))
        self.share = _logistic(latent[..., 1])
        self.haze = _logistic(latent[..., 2])[..., None]
        self.gain = np.exp(np.clip(latent[..., 3], -3, 3))[..., None]
        per_fit = constants[:, None, :]
        self.outer, self.outer_slopes = _index(optics.outer, per_fit[..., 0:4])
        self.inner, self.inner_slopes = _index(optics.inner, per_fit[..., 4:8])
        self.over, self.under = (self.share * self.nm)[..., None], ((1 - self.share) * self.nm)[..., None]
        turns = (4j * np.pi / WAVELENGTH_NM * self.outer, 4j * np.pi / WAVELENGTH_NM * self.inner)
        self.through = (np.exp(turns[0] * self.over), np.exp(turns[1] * self.under))
        self.amplitude, self.by_over, self.by_under = _stack(self.outer, self.inner, optics.metal, self.through, slopes)
        self.film = (self.amplitude.real**2 + self.amplitude.imag**2) @ optics.weights
        red, blue = per_fit[..., 9], per_fit[..., 10]
        self.dull = np.exp(per_fit[..., 8:9] + np.stack([red, np.zeros_like(red), blue], axis=-1))
        self.relative = np.maximum(self.gain * ((1 - self.haze) * self.film + self.haze * self.dull), TINY)

    def latent_slopes(self) -> list[np.ndarray]:
        """d relative by each latent."""
        back = 2 * np.conj(self.amplitude)
        over, under = ((back * part).real @ self.optics.weights for part in (self.by_over, self.by_under))
        nm, share, lit = self.nm[..., None], self.share[..., None], self.gain * (1 - self.haze)
        return [
            lit * nm * (share * over + (1 - share) * under),
            lit * nm * share * (1 - share) * (over - under),
            self.gain * self.haze * (1 - self.haze) * (self.dull - self.film),
            self.relative,
        ]

    def constant_slopes(self) -> list[np.ndarray]:
        """d relative by each optical constant; the amplitude is analytic in both indices, so one step tells its slope."""
        step, back, lit = 1e-6, 2 * np.conj(self.amplitude), self.gain * (1 - self.haze)
        turn = 4j * np.pi / WAVELENGTH_NM * step
        outer_moved = _stack(
            self.outer + step, self.inner, self.optics.metal, (self.through[0] * (1 + turn * self.over), self.through[1]), False
        )[0]
        inner_moved = _stack(
            self.outer, self.inner + step, self.optics.metal, (self.through[0], self.through[1] * (1 + turn * self.under)), False
        )[0]
        slopes = []
        for moved, by_constant in ((outer_moved, self.outer_slopes), (inner_moved, self.inner_slopes)):
            by_index = back * (moved - self.amplitude) / step
            slopes += [lit * ((by_index * by_constant[..., k]).real @ self.optics.weights) for k in range(4)]
        dull = self.gain * self.haze * self.dull
        return [*slopes, dull, dull * [1.0, 0.0, 0.0], dull * [0.0, 0.0, 1.0]]


def _index(table: np.ndarray, constants: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index (..., w) of an oxide with its four constants (..., 4), and its slopes (..., w, 4)."""
    scale, tilt, log_k, k_tilt = (constants[..., k : k + 1] for k in range(4))
    absorbing = 1j * (table.imag + WEAK_K) * np.exp(log_k + k_tilt * BLUENESS)
    dense = (table.real - 1) * np.ones_like(scale)
    index = 1 + dense * (scale + tilt * BLUENESS) + absorbing
    return index, np.stack([dense + 0j, dense * BLUENESS + 0j, absorbing, absorbing * BLUENESS], axis=-1)


def _stack(
    outer: np.ndarray, inner: np.ndarray, metal: np.ndarray, through: tuple[np.ndarray, np.ndarray], slopes: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Amplitude reflected by outer film on inner film on metal, straight on, and its slopes by the two thicknesses.

    `through` are the waves that went through each film and back. Airy's formula from the metal up, as in
    `tint.film.reflectance`, kept as an amplitude because fits need slopes.
    """
    top, middle, bottom = (1 - outer) / (1 + outer), (outer - inner) / (outer + inner), (inner - metal) / (inner + metal)
    through_outer, through_inner = through
    below_part = 1 / (1 + middle * bottom * through_inner)
    below = (middle + bottom * through_inner) * below_part
    part = 1 / (1 + top * below * through_outer)
    amplitude = (top + below * through_outer) * part
    if not slopes:
        return amplitude, amplitude, amplitude
    turn_outer, turn_inner = 4j * np.pi / WAVELENGTH_NM * outer, 4j * np.pi / WAVELENGTH_NM * inner
    lever = (1 - top**2) * part**2 * through_outer
    by_over = lever * below * turn_outer
    by_under = lever * bottom * (1 - middle**2) * below_part**2 * through_inner * turn_inner
    return amplitude, by_over, by_under


def _logistic(x: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(x, -30, 30)))


# CIELAB of XYZ relative to white and back (ISO/CIE 11664-4), written out because a fit needs its slopes.
_KNEE = 6 / 29


def lab_from_relative(relative: np.ndarray) -> np.ndarray:
    """Lab (..., 3) of XYZ over that of white (..., 3)."""
    f = np.where(relative > _KNEE**3, np.cbrt(relative), relative / (3 * _KNEE**2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def relative_from_lab(lab: np.ndarray) -> np.ndarray:
    """XYZ over that of white (..., 3) of Lab (..., 3)."""
    middle = (lab[..., 0] + 16) / 116
    f = np.stack([middle + lab[..., 1] / 500, middle, middle - lab[..., 2] / 200], axis=-1)
    return np.where(f > _KNEE, f**3, 3 * _KNEE**2 * (f - 4 / 29))


def _lab_slope(relative: np.ndarray, slope: np.ndarray) -> np.ndarray:
    steep = np.where(relative > _KNEE**3, 1 / (3 * np.cbrt(relative) ** 2), 1 / (3 * _KNEE**2))
    f = steep * slope
    return np.stack([116 * f[..., 1], 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)
