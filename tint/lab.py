"""Colour in and out of CIELAB (D50, 2° observer) and ΔE00: the only door to colour-science.

Every function takes arrays whose last axis is the colour. CIELAB here is always relative to D50 and the CIE 1931 2°
observer, as graphic-arts instruments report it (ISO 13655).

Screen colours are converted here in plain numpy: colour-science takes most of a second to load, and separating a drawing or
writing a job needs nothing else of it. The tests hold these conversions against it.
"""

from __future__ import annotations

import string
import warnings
from functools import cache
from types import ModuleType
from typing import Any

import numpy as np

from tint.errors import DataError

# Lab of real surfaces: ISO/CIE 11664-4 gives L* 0..100; metals measured specular-included may pass 100 a little.
L_RANGE, AB_LIMIT = (-1.0, 110.0), 130.0
# Editions of the 24-patch chart, by when they were made, and where colour-science keeps their reference values (xyY, D50)
CHART_EDITIONS = {
    "before-nov-2014": "ColorChecker24 - Before November 2014",
    "after-nov-2014": "ColorChecker24 - After November 2014",
}
E308_STEPS_NM = (1, 5, 10, 20)  # the steps ASTM E308 weights
# Linear sRGB → XYZ relative to D50, and back. The matrices of IEC 61966-2-1 (four digits each way) times the Bradford adaptation of
# ICC.1:2022 annex E between D65 (x 0.3127, y 0.3290) and D50 (x 0.3457, y 0.3585), computed with colour-science 0.4.7.
XYZ_OF_LINEAR = np.array(
    [
        [0.4360760403960773, 0.38516837752668887, 0.14310034250391862],
        [0.2224553431427219, 0.7169184095821872, 0.06062853908484565],
        [0.01390007737990569, 0.09708557596501245, 0.714075120486404],
    ]
)
_LINEAR_OF_XYZ = np.array(
    [
        [3.133777319050841, -1.6171926650971158, -0.49066745070876894],
        [-0.9784630672313814, 1.9160783932748635, 0.03338784058981373],
        [0.07202320399275142, -0.22900223045816834, 1.4054278698810454],
    ]
)
D50_XYZ = np.array([0.3457 / 0.3585, 1.0, (1 - 0.3457 - 0.3585) / 0.3585])
# Rows L*, a*, b* by the cube roots of X, Y, Z over those of white; L* is 16 less (ISO/CIE 11664-4)
LAB_OF_ROOTS = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
_CUBE_FROM = 24 / 116  # ISO/CIE 11664-4: below it (as a cube root) CIELAB is a straight line
_LINE_FROM = 0.0031308  # IEC 61966-2-1: linear light below it is encoded by a straight line


def lab_problem(lab: np.ndarray) -> str:
    """What is wrong with a Lab (3,) that no surface can have; "" where nothing is."""
    if lab.shape != (3,) or not np.isfinite(lab).all():
        return "L, a, b need three numbers."
    if not L_RANGE[0] <= lab[0] <= L_RANGE[1]:
        return f"L {lab[0]:g} cannot be; CIELAB L runs from 0 to 100 (not 0 to 1, not 0 to 255)."
    for name, value in zip("ab", lab[1:], strict=True):
        if abs(value) > AB_LIMIT:
            return f"{name} {value:g} cannot be; CIELAB {name} of a surface stays within ±{AB_LIMIT:g}."
    return ""


def delta_e00(lab1: Any, lab2: Any) -> np.ndarray:
    """Colour difference ΔE00 [1] between Lab arrays (..., 3), broadcast against each other; shape (...).

    References
    ----------
    ISO/CIE 11664-6; Sharma, Wu, Dalal (2005), doi 10.1002/col.20070. Computed by colour-science.

    Examples
    --------
    >>> round(float(delta_e00([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    return np.asarray(_colour().delta_E(np.asarray(lab1, float), np.asarray(lab2, float), method="CIE 2000"))


def nearest(lab: Any, candidates: Any, pairs_at_once: int = 1_000_000) -> tuple[np.ndarray, np.ndarray]:
    """Index of the candidate (k, 3) nearest by ΔE00 to each Lab (n, 3), and that ΔE00; two arrays (n,).

    Equal distances go to the lower index.
    """
    lab, candidates = np.asarray(lab, float), np.asarray(candidates, float)
    index, distance = np.empty(len(lab), dtype=np.intp), np.empty(len(lab))
    chunk = max(1, pairs_at_once // len(candidates))
    for start in range(0, len(lab), chunk):
        part = slice(start, start + chunk)
        differences = delta_e00(lab[part, None, :], candidates[None, :, :])
        index[part] = differences.argmin(axis=1)
        distance[part] = differences.min(axis=1)
    return index, distance


def lab_from_srgb1(srgb1: Any) -> np.ndarray:
    """Lab (..., 3) of sRGB values 0..1 (..., 3), adapted from D65 to D50 by Bradford.

    References
    ----------
    IEC 61966-2-1 for sRGB; ICC.1:2022 annex E for the Bradford adaptation; ISO/CIE 11664-4 for CIELAB.

    Examples
    --------
    >>> lab_from_srgb1([1, 1, 1]).round(1) + 0.0
    array([100.,   0.,   0.])
    """
    srgb1 = np.asarray(srgb1, float)
    bent = ((np.maximum(srgb1, 0.0) + 0.055) / 1.055) ** 2.4
    return lab_from_linear1(np.where(srgb1 <= 12.92 * _LINE_FROM, srgb1 / 12.92, bent))


def lab_from_linear1(linear1: Any) -> np.ndarray:
    """Lab (..., 3) of linear-light sRGB values 0..1 (..., 3)."""
    relative = np.asarray(linear1, float) @ XYZ_OF_LINEAR.T / D50_XYZ
    root = np.where(relative > _CUBE_FROM**3, np.cbrt(relative), relative * (841 / 108) + 16 / 116)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def srgb1_from_lab(lab: Any, *, clip: bool = True) -> np.ndarray:
    """sRGB values 0..1 (..., 3) of Lab (..., 3), for screens; clipped to 0..1 unless `clip` is False.

    Examples
    --------
    >>> srgb1_from_lab([100, 0, 0]).round(3)
    array([1., 1., 1.])
    """
    lightness, a, b = np.moveaxis(np.asarray(lab, float), -1, 0)
    y = (lightness + 16) / 116
    root = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    relative = np.where(root > _CUBE_FROM, root**3, (root - 16 / 116) * (108 / 841))
    linear1 = (relative * D50_XYZ) @ _LINEAR_OF_XYZ.T
    bent = 1.055 * np.maximum(linear1, 0.0) ** (1 / 2.4) - 0.055
    srgb1 = np.where(linear1 <= _LINE_FROM, linear1 * 12.92, bent)
    return np.clip(srgb1, 0, 1) if clip else srgb1


def srgb255_from_lab(lab: Any) -> np.ndarray:
    """sRGB bytes 0..255 (..., 3), uint8, of Lab (..., 3), clipped to the screen's gamut."""
    return np.round(srgb1_from_lab(lab) * 255).astype(np.uint8)


def hex_from_lab(lab: Any) -> str:
    """Screen colour of one Lab (3,), such as "#4466aa", clipped to the screen's gamut."""
    return hex_from_srgb255(srgb255_from_lab(lab))


def hex_from_srgb255(srgb255: Any) -> str:
    """Text such as "#4466aa" of the bytes (3,) of one screen colour."""
    return "#" + "".join(f"{value:02x}" for value in srgb255)


def lab_from_hex(text: str) -> np.ndarray:
    """Lab (3,) of a screen colour such as "#4466aa" or "#46a".

    Raises
    ------
    DataError
        Not six or three hexadecimal digits.
    """
    return lab_from_srgb1(srgb255_from_hex(text) / 255)


def srgb255_from_hex(text: str) -> np.ndarray:
    """sRGB bytes 0..255 (3,), uint8, of a screen colour such as "#4466aa" or "#46a".

    Raises
    ------
    DataError
        Not six or three hexadecimal digits.
    """
    digits = text.strip().removeprefix("#")
    if len(digits) == 3:
        digits = "".join(2 * digit for digit in digits)
    if len(digits) != 6 or not set(digits) <= set(string.hexdigits):  # bytes.fromhex() takes blanks, int() signs too
        raise DataError(f"{text!r} is not a screen colour; write it as '#4466aa'.")
    return np.frombuffer(bytes.fromhex(digits), dtype=np.uint8)


def lab_from_xyz100(xyz100: Any, white: str = "D50") -> np.ndarray:
    """Lab D50 (..., 3) of XYZ on the scale where white has Y = 100, under the `white` named: "D50", "D65", "A", "C".

    Another white than D50 is adapted to D50 by Bradford first.
    """
    colour = _colour()
    xyz = np.asarray(xyz100, float) / 100
    if white != "D50":
        xyz = adapt_xyz100(xyz * 100, white, "D50") / 100
    return colour.XYZ_to_Lab(xyz, _white_xy("D50"))


def lab_d50_from(lab: Any, white: str) -> np.ndarray:
    """Lab D50 (..., 3) of Lab values (..., 3) that are relative to another `white`, by Bradford adaptation."""
    xyz = _colour().Lab_to_XYZ(np.asarray(lab, float), _white_xy(white))
    return lab_from_xyz100(xyz * 100, white)


def adapt_xyz100(xyz100: Any, source: str, target: str) -> np.ndarray:
    """XYZ (..., 3) under the `target` white of XYZ seen under the `source` white, Bradford, von Kries style.

    References
    ----------
    ICC.1:2022 annex E (linear Bradford). Computed by colour-science.
    """
    colour = _colour()
    whites = [colour.xy_to_XYZ(_white_xy(name)) for name in (source, target)]
    return colour.chromatic_adaptation(np.asarray(xyz100, float), *whites, method="Von Kries", transform="Bradford")


def lab_from_reflectance(wavelength_nm: Any, reflectance: Any, illuminant: str = "D50") -> np.ndarray:
    """Lab (..., 3) of spectral reflectances 0..1 (..., w) at even wavelengths (w,) [nm], 2° observer.

    Parameters
    ----------
    illuminant : "D50", or another CIE illuminant; the Lab is then relative to the perfect white under that illuminant
        and not adapted

    Notes
    -----
    Integration with the CIE 1931 2° functions by colour-science (ASTM E308 for 1, 5, 10 and 20 nm steps).
    """
    weights = _weights(tuple(np.asarray(wavelength_nm, float).tolist()), illuminant)
    xyz = np.asarray(reflectance, float) @ weights
    return _lab_from_relative(xyz / weights.sum(axis=0))


def lab_from_spectra(wavelength_nm: Any, reflectance: Any) -> np.ndarray:
    """Lab D50/2° (..., 3) of reflectances 0..1 (..., w) an instrument gave at even wavelengths (w,) [nm].

    Parameters
    ----------
    wavelength_nm : rising from 360–400 to 700–780 nm in steps of 1, 5, 10 or 20 nm, each a multiple of the step

    Raises
    ------
    DataError
        Other steps, or a range that leaves out visible light.

    Notes
    -----
    Weighting factors of ASTM E308 for the step, made and applied by colour-science: a 10 nm reading stands for the light
    its bandpass let through, not for a point of a curve, which plain summing takes it for. What lies outside the range
    read counts as the last value read. On a published set of 144 printed colours the tables agree to 0.15 ΔE00 with
    the stated Lab, plain summing to 0.35.

    References
    ----------
    ASTM E308; ISO 13655 (D50, 2°, graphic arts). Computed by colour-science.

    Examples
    --------
    >>> lab_from_spectra(range(400, 701, 10), [1.0] * 31).round(6) + 0.0
    array([100.,   0.,   0.])
    """
    weights = _e308_weights(tuple(np.asarray(wavelength_nm, float).tolist()))
    xyz = np.asarray(reflectance, float) @ weights
    return _lab_from_relative(xyz / weights.sum(axis=0))


def chart_xyz100(edition: str) -> np.ndarray:
    """XYZ (24, 3) under D50, white at Y = 100, of the 24-patch chart's reference values, dark skin first, black last.

    Parameters
    ----------
    edition : of `CHART_EDITIONS`; the maker changed the colours in November 2014, and the chart says which it is

    Raises
    ------
    DataError
        Another word for the edition.

    References
    ----------
    The maker's reference data for 45/0 geometry, D50/2°, as colour-science carries them.
    """
    if edition not in CHART_EDITIONS:
        raise DataError(f"chart edition {edition!r} is not known; state {' or '.join(CHART_EDITIONS)}, as printed on the chart.")
    colour = _colour()
    chart = colour.CCS_COLOURCHECKERS[CHART_EDITIONS[edition]]
    return np.asarray(colour.xyY_to_XYZ(np.array(list(chart.data.values())))) * 100


def _lab_from_relative(relative: np.ndarray) -> np.ndarray:
    # XYZ divided by white: colour-science takes the white as a chromaticity, and equal energy has X = Y = Z = 1.
    return _colour().XYZ_to_Lab(relative, np.array([1 / 3, 1 / 3]))


@cache
def _weights(wavelength_nm: tuple[float, ...], illuminant: str) -> np.ndarray:
    """Array (w, 3) that turns reflectances into XYZ; colour-science integrates one wavelength at a time."""
    colour = _colour()
    steps = np.diff(wavelength_nm)
    if len(steps) < 2 or not np.allclose(steps, steps[0]) or steps[0] <= 0:
        raise DataError("wavelengths need to rise in even steps, such as 380, 390, … 730 nm.")
    if illuminant not in ("A", "C", "D50", "D55", "D65", "D75"):
        raise DataError(f"illuminant {illuminant} is not known here; use D50, D55, D65, D75, A or C.")
    shape = colour.SpectralShape(wavelength_nm[0], wavelength_nm[-1], float(steps[0]))
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS[illuminant]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it aligns the tables to each other: meant here
        spectra = np.eye(len(wavelength_nm))
        return np.asarray(colour.msds_to_XYZ(spectra, cmfs, light, method="Integration", shape=shape)) / 100


@cache
def _e308_weights(wavelength_nm: tuple[float, ...]) -> np.ndarray:
    """Array (w, 3) that turns reflectances into XYZ under D50: what colour-science answers to one wavelength at a time."""
    first, last, step = (
        wavelength_nm[0],
        wavelength_nm[-1],
        wavelength_nm[1] - wavelength_nm[0] if len(wavelength_nm) > 1 else 0,
    )
    whole = step in E308_STEPS_NM and np.allclose(np.diff(wavelength_nm), step) and first % step == 0
    if not whole or not 360 <= first <= 400 or not 700 <= last <= 780:
        raise DataError("spectra need wavelengths from 360–400 to 700–780 nm in steps of 1, 5, 10 or 20 nm.")
    colour = _colour()
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D50"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it aligns the tables to each other: meant here
        rows = [
            colour.sd_to_XYZ(colour.SpectralDistribution(one, wavelength_nm), cmfs, light, method="ASTM E308")
            for one in np.eye(len(wavelength_nm))
        ]
    return np.asarray(rows) / 100


@cache  # looking a white up takes colour-science longer than using it
def _white_xy(name: str) -> np.ndarray:
    whites = _colour().CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    if name not in whites:
        raise DataError(f"white {name} is not known; use D50, D65, A or C.")
    white = np.array(whites[name])
    white.flags.writeable = False  # it is handed out again
    return white


@cache
def _colour() -> ModuleType:
    """colour-science, loaded on first use (about one second); it changes numpy's print format, which is put back."""
    before = np.get_printoptions()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns about optional packages tint does not need
        import colour
    known: dict[str, Any] = {key: value for key, value in before.items() if key != "override_repr"}
    np.set_printoptions(**known)
    return colour
