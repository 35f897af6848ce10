"""What marks side by side can show: mixtures of a palette's colours and the bare metal, and the nearest of them to a wish."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tint.palette.hull import CUT, FOOT, SLOPE, Hull

LIGHTNESS_WEIGHT = (
    2.0  # of L* against a*, b* where the nearest is sought: contrast carries a picture more than chroma does
)


@dataclass(frozen=True, eq=False)
class Reach:
    """Mixtures by area of some colours: their convex hull in linear light.

    Parameters
    ----------
    lab : (v, 3) the colours that are mixed, CIELAB
    """

    lab: np.ndarray

    @cached_property
    def _triangles(self) -> np.ndarray:
        """(t, 3) index triples of the hull's faces; of two or three colours the line or triangle between them."""
        count = len(self.lab)
        if count < 4:
            return np.array([(0, min(1, count - 1), count - 1)])
        return np.asarray(self._hull.simplices)

    @cached_property
    def _hull(self) -> Any:
        from scipy.spatial import ConvexHull

        return ConvexHull(
            light_from_lab(self.lab), qhull_options="QJ Pp"
        )  # joggled: colours in one plane have a hull too

    def inside(self, lab: np.ndarray) -> np.ndarray:
        """(n,) True where Lab (n, 3) can be mixed exactly."""
        if len(self.lab) < 4:
            return np.zeros(len(lab), dtype=bool)
        light = light_from_lab(lab)
        return (light @ self._hull.equations[:, :3].T + self._hull.equations[:, 3] <= 1e-9).all(axis=1)

    def nearest(self, lab: Any) -> np.ndarray:
        """Lab (n, 3) of the mixture nearest to each Lab (n, 3), lightness weighted twice; mixtures stay what they are.

        Notes
        -----
        Nearest in (2 L*, a*, b*), sought on the hull's faces (`tint.palette.hull`).
        """
        lab = np.asarray(lab, float)
        out = lab.copy()
        outside = np.flatnonzero(~self.inside(lab))
        if len(outside):
            corners = light_from_lab(self.lab)[self._triangles]
            out[outside] = lab_from_light(Hull(corners).nearest(lab[outside], np.diag([LIGHTNESS_WEIGHT**2, 1.0, 1.0])))
        return out


def light_from_lab(lab: Any) -> np.ndarray:
    """XYZ over that of white (..., 3) of CIELAB (..., 3): amounts of light, which add up where marks lie side by side."""
    lab = np.asarray(lab, float)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.where(f > CUT, f**3, SLOPE * (f - FOOT))


def lab_from_light(light: Any) -> np.ndarray:
    """CIELAB (..., 3) of XYZ over that of white (..., 3).

    Examples
    --------
    >>> lab_from_light(light_from_lab([38.0, 5.0, -35.0])).round(9).tolist()
    [38.0, 5.0, -35.0]
    """
    light = np.asarray(light, float)
    f = np.where(light > CUT**3, np.cbrt(light), light / SLOPE + FOOT)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)
