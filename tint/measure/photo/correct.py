"""From a camera's values to colours: the chart correction, picked by chart patches held out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.measure.photo.chart import quick_lab
from tint.measure.photo.light import Evidence, Light, fit_light

# root-polynomial of the second degree; a third is never tried: it strays between patches
KINDS = ("linear", "root-polynomial")
# A bend must beat a straight line by this factor on chart patches held out before it is used: it has twice the numbers.
BETTER = 0.85
# Hold of the bent terms toward none, as a share of the terms' size: 0.01 follows every chart patch, 0.1 is a straight line
RIDGE = 0.03


@dataclass(frozen=True, eq=False)
class Scene:
    """What a photograph's chart and bare metal say about light and camera.

    Parameters
    ----------
    light : tone curve and light across the photograph
    kind : of `KINDS`
    matrix : (3 or 6, 3) from camera values to XYZ, white at Y = 100
    held_out : root mean square [ΔE, weighted as ΔE*94 has it] of chart patches held out
    chart_rgb : (24, 3) evened values of the chart
    """

    light: Light
    kind: str
    matrix: np.ndarray
    held_out: float
    chart_rgb: np.ndarray

    def xyz100(self, rgb: np.ndarray) -> np.ndarray:
        """XYZ (..., 3) of evened camera values."""
        return np.maximum(features(rgb, self.kind) @ self.matrix, 1e-4)


def fit_scene(evidence: Evidence) -> Scene:
    """Light, tone curve and chart correction of a photograph.

    Raises
    ------
    DataError
        Too few patches of the chart are usable, or look as they should.
    """
    light = fit_light(evidence)
    even = light.evened(evidence.chart1, evidence.chart_px)
    rgb, xyz100 = even[light.used], evidence.xyz100[light.used]
    held = {kind: held_out(rgb, xyz100, kind) for kind in KINDS}
    kind = KINDS[1] if held[KINDS[1]] < BETTER * held[KINDS[0]] else KINDS[0]
    return Scene(light, kind, fit_matrix(rgb, xyz100, kind), held[kind], even)


def features(rgb: np.ndarray, kind: str) -> np.ndarray:
    """Terms (..., 3 or 6) of a correction: r, g, b, and for the root-polynomial √rg, √gb, √rb.

    References
    ----------
    Finlayson, Mackiewicz, Hurlbert, "Color correction using root-polynomial regression", IEEE Trans. Image Process.
    24(5):1460 (2015), doi 10.1109/TIP.2015.2405336: exposure leaves its hues alone.
    """
    rgb = np.maximum(rgb, 0)
    if kind == "linear":
        return rgb
    r, g, b = np.moveaxis(rgb, -1, 0)
    return np.stack([r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], axis=-1)


def fit_matrix(rgb: np.ndarray, xyz100: np.ndarray, kind: str) -> np.ndarray:
    """(m, 3), m 3 or 6, from terms of camera values (n, 3) to XYZ (n, 3), by least squares in steps that look alike.

    Notes
    -----
    XYZ is weighted by the size of an equal-looking step at each patch, and the six terms are held a little toward the straight
    ones, so that a dark or a doubled patch does not bend the rest.
    """
    terms = features(rgb, kind)
    weight = 1 / _step(xyz100)[:, None]
    a, b = terms * weight, xyz100 * weight
    if kind == KINDS[0]:
        return np.linalg.lstsq(a, b, rcond=None)[0]
    straight = np.linalg.lstsq(a[:, :3], b, rcond=None)[0]
    hold = RIDGE * np.sqrt((a[:, :3] ** 2).mean()) * np.sqrt(len(a))
    rest = b - a[:, :3] @ straight
    bend = np.linalg.solve(a.T @ a + hold**2 * np.eye(6), a.T @ rest)
    return np.vstack([straight, np.zeros((3, 3))]) + bend


def _step(xyz100: np.ndarray) -> np.ndarray:
    """(n,) size of an equal-looking step, about: larger in light colours, and in strong ones as ΔE*94 has it (CIE 116-1995)."""
    lab = quick_lab(xyz100)
    return np.sqrt(np.maximum(xyz100[:, 1], 2)) * (1 + 0.045 * np.hypot(lab[:, 1], lab[:, 2]))


def held_out(rgb: np.ndarray, xyz100: np.ndarray, kind: str) -> float:
    """Root mean square miss of chart patches (n, 3), each predicted by the others."""
    away = []
    for i in range(len(rgb)):
        rest = np.arange(len(rgb)) != i
        guess = features(rgb[i], kind) @ fit_matrix(rgb[rest], xyz100[rest], kind)
        away.append(float(miss(quick_lab(guess), quick_lab(xyz100[i]))))
    bounded = np.minimum(away, 15)  # the corner patch that only extrapolates says little about the others
    return float(np.sqrt(np.mean(bounded**2)))


def miss(lab: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """Difference of Lab (..., 3) weighted by chroma as ΔE*94 has it (CIE 116-1995): near to ΔE00, and quick."""
    chroma1, chroma = np.hypot(lab[..., 1], lab[..., 2]), np.hypot(reference[..., 1], reference[..., 2])
    lightness, chroma_away = lab[..., 0] - reference[..., 0], chroma1 - chroma
    square = (lab[..., 1] - reference[..., 1]) ** 2 + (lab[..., 2] - reference[..., 2]) ** 2 - chroma_away**2
    return np.sqrt(
        lightness**2 + (chroma_away / (1 + 0.045 * chroma)) ** 2 + np.maximum(square, 0) / (1 + 0.015 * chroma) ** 2
    )
