"""Columns that hold a colour or a wavelength, and spectra to Lab under D50/2°."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from tint.errors import DataError, FileError
from tint.lab import delta_e00, lab_d50_from, lab_from_spectra, lab_problem
from tint.measure.conditions import Conditions, refuse_observer

WAVELENGTHS_NM = (300.0, 1100.0)  # a bare number outside is no wavelength of a colour instrument
USED_NM = (360.0, 780.0)  # ASTM E308; what is read beyond does not count
WHITE_AT_MOST = 1.6  # shiny metal against a white tile, specular included, may pass 1; a percentage passes this at once
DARK_AT_LEAST = 0.015  # the brightest value of a plate; below, percent were stated for factors
# a file's own Lab and its spectra, other tables and roundings allowed for (0.15 measured on E308 data)
AGREE_DE00 = 1.0
_NAMES = {
    "L": ("l", "l*", "lab_l", "l*_lab", "cie_l", "cie_l*", "ciel", "cielab_l"),
    "a": ("a", "a*", "lab_a", "a*_lab", "cie_a", "cie_a*", "ciea", "cielab_a"),
    "b": ("b", "b*", "lab_b", "b*_lab", "cie_b", "cie_b*", "cieb", "cielab_b"),
}


def lab_columns(header: Sequence[str]) -> tuple[str, str, str] | None:
    """The header's own names of L, a and b, or None where one is not there; "B" alone is no b (it may be blue)."""
    found = []
    for letter, names in _NAMES.items():
        hits = [name for name in header if _plain(name) in names and name != "B"]
        if letter in hits:
            hits = [letter]
        if len(hits) != 1:
            return None
        found.append(hits[0])
    return found[0], found[1], found[2]


def _plain(name: str) -> str:
    return re.sub(r"[\s\-]+", "_", name.strip().lower())


def wavelength_of(name: str) -> float | None:
    """Wavelength [nm] that a column's name states, such as "nm400", "400", "400 nm", "SPECTRAL_NM400" or "R_400"; or None.

    Examples
    --------
    >>> wavelength_of("SPECTRAL_NM_380"), wavelength_of("nm 730.0"), wavelength_of("12")
    (380.0, 730.0, None)
    """
    match = re.fullmatch(r"(?:spectral)?_?(?:nm|r)?_?(\d{3,4}(?:[.,]0+)?)_?(?:nm)?", _plain(name))
    value = float(match[1].replace(",", ".")) if match else 0.0
    return value if WAVELENGTHS_NM[0] <= value <= WAVELENGTHS_NM[1] else None


def colours(
    source: str,
    places: Sequence[str],
    lab: np.ndarray | None,
    wavelength_nm: np.ndarray | None,
    spectra: np.ndarray | None,
    conditions: Conditions,
) -> tuple[np.ndarray, dict[str, str]]:
    """Lab D50/2° (n, 3) of what was read, NaN where a row holds nothing, and facts on how it came about.

    Parameters
    ----------
    places : n, where each row stands, such as "line 12", for messages
    lab : (n, 3) Lab as the file gives it, or None
    wavelength_nm, spectra : (w,) [nm] and (n, w) on the scale of `conditions`, or None; where they are there they decide

    Raises
    ------
    FileError
        Lab of another observer, spectra on another scale than stated or with gaps, a colour no surface has, or spectra
        and Lab that contradict each other.
    """
    facts: dict[str, str] = {}
    given = None if lab is None else _under_d50(source, lab, conditions, needed=spectra is None, facts=facts)
    if spectra is None or wavelength_nm is None:
        out = np.asarray(given)
    else:
        facts.pop("adapted", None)
        out = _from_spectra(source, places, wavelength_nm, spectra, conditions)
        white = {"percent": 100, "one": 1}[conditions.scale]
        facts["spectra"] = f"{_span(wavelength_nm)}, white is {white}; weighted by ASTM E308 for D50/2°"
    for place, value in zip(places, out, strict=True):
        if np.isnan(value).any() and not np.isnan(value).all():
            raise FileError(f"{source} {place}: L, a and b are needed, one of them is empty.")
        if not np.isnan(value).all() and (problem := lab_problem(value)):
            raise FileError(f"{source} {place}: {problem}")
    if spectra is not None and given is not None and conditions.illuminant and conditions.observer == "2":
        _refuse_contradiction(source, out, given)
    return out, facts


def _under_d50(
    source: str, lab: np.ndarray, conditions: Conditions, *, needed: bool, facts: dict[str, str]
) -> np.ndarray | None:
    if needed:
        refuse_observer(conditions, source)
    white = conditions.illuminant or "D50"
    if white == "D50":
        return lab
    facts["adapted"] = f"from {white} to D50 (Bradford)"
    return lab_d50_from(lab, white)


def _from_spectra(
    source: str, places: Sequence[str], wavelength_nm: np.ndarray, spectra: np.ndarray, conditions: Conditions
) -> np.ndarray:
    order = np.argsort(wavelength_nm)
    nm, values = np.asarray(wavelength_nm)[order], np.asarray(spectra)[:, order]
    used = (nm >= USED_NM[0]) & (nm <= USED_NM[1])
    nm, values = nm[used], values[:, used]
    empty = np.isnan(values).all(axis=1)
    gaps = np.flatnonzero(np.isnan(values).any(axis=1) & ~empty)
    if gaps.size:
        missing = nm[np.isnan(values[gaps[0]])][0]
        raise FileError(
            f"{source} {places[gaps[0]]}: the spectrum has no value at {missing:g} nm. Read that patch again."
        )
    factor = values / (100.0 if conditions.scale == "percent" else 1.0)
    _refuse_scale(source, places, factor, empty, conditions.scale)
    try:
        return lab_from_spectra(nm, factor)
    except DataError:
        raise FileError(
            f"{source} has spectra {_span(nm)}; needed are 400–700 nm or more in steps of 1, 5, 10 or 20 nm."
        ) from None


def _refuse_scale(source: str, places: Sequence[str], factor: np.ndarray, empty: np.ndarray, scale: str) -> None:
    if empty.all():
        return
    top = np.nanmax(np.where(empty[:, None], -np.inf, factor), axis=1)
    row = int(np.argmax(top))
    shown = top[row] * (100 if scale == "percent" else 1)
    other = {"percent": "one", "one": "percent"}[scale]
    if top[row] > WHITE_AT_MOST:
        hint = f" Values of a white of 100? Then --scale {other}." if scale == "one" else " Read that patch again."
        raise FileError(f"{source} {places[row]}: reflectance {shown:g} cannot be on the scale {scale!r}.{hint}")
    if top[row] < DARK_AT_LEAST:
        hint = f" Values of a white of 1? Then --scale {other}." if scale == "percent" else ""
        raise FileError(
            f"{source}: no reflectance is above {shown:g}, too dark for any plate on the scale {scale!r}.{hint}"
        )
    low = np.where(empty[:, None], 0.0, factor).min(axis=1)
    row = int(np.argmin(low))
    if low[row] < -0.05:
        raise FileError(
            f"{source} {places[row]}: a reflectance is below 0. Calibrate the instrument and read that patch again."
        )


def _refuse_contradiction(source: str, lab: np.ndarray, given: np.ndarray) -> None:
    both = np.isfinite(lab).all(axis=1) & np.isfinite(given).all(axis=1)
    if not both.any():
        return
    away = float(np.median(delta_e00(lab[both], given[both])))
    if away > AGREE_DE00:
        raise FileError(
            f"{source}: its spectra and its Lab differ by {away:.1f} ΔE00 (median): scale, illuminant or observer is not what is stated. "
            "Mend that, or export spectra alone."
        )


def _span(nm: np.ndarray) -> str:
    if len(nm) < 2:
        return f"of {len(nm)} wavelengths"
    steps = np.unique(np.round(np.diff(np.sort(nm)), 6))
    step = f"in steps of {steps[0]:g} nm" if len(steps) == 1 else f"in uneven steps ({steps[0]:g} to {steps[-1]:g} nm)"
    return f"{np.min(nm):g}–{np.max(nm):g} nm {step}"
