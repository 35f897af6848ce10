"""What marks side by side can show: mixtures of a palette's colours and the bare metal, and the nearest of them to a wish."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

LIGHTNESS_WEIGHT = 2.0  # of L* against a*, b* where the nearest is sought: contrast carries a picture more than chroma does
STEP_LAB = 4.0  # distance of the points a nearest place is first sought among; it is then found between them
MOST_POINTS = 60_000
_ROUNDS = 8  # halvings of the step: 4 Lab becomes 0.02
_AT_ONCE = 2000  # places sought at once: their numbers stay in the processor's cache
# Changes of the shares of a triangle's corners that are tried: none, and to each of six sides
_MOVES = np.array([(0, 0, 0), (1, -1, 0), (-1, 1, 0), (1, 0, -1), (-1, 0, 1), (0, 1, -1), (0, -1, 1)], dtype=float)
# CIELAB's cube root and its straight part below (ISO/CIE 11664-4)
_CUT, _SLOPE, _FOOT = 6 / 29, 3 * (6 / 29) ** 2, 4 / 29


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
        Nearest in (2 L*, a*, b*). Sought among points of the hull's faces 4 apart, then between them by halving steps.
        """
        lab = np.asarray(lab, float)
        out = lab.copy()
        outside = np.flatnonzero(~self.inside(lab))
        for start in range(0, len(outside), _AT_ONCE):
            part = outside[start : start + _AT_ONCE]
            out[part] = self._on_a_face(lab[part])
        return out

    @cached_property
    def _points(self) -> tuple[Any, np.ndarray, np.ndarray]:
        """Points spread over the faces as a search tree in weighted Lab, with the face (n,) and shares (n, 3) of each."""
        from scipy.spatial import cKDTree

        face, shares = _spread(_weighted(self.lab)[self._triangles])
        light = (shares[:, None] @ light_from_lab(self.lab)[self._triangles][face])[:, 0]
        return cKDTree(_weighted(lab_from_light(light))), face, shares

    def _on_a_face(self, lab: np.ndarray) -> np.ndarray:
        tree, faces, spread = self._points
        goal = _weighted(lab)
        first = tree.query(goal)[1]
        face, shares = faces[first], spread[first]
        corners = light_from_lab(self.lab)[self._triangles][face]  # (n, 3 corners, 3)
        sides = np.linalg.norm(np.ptp(_weighted(self.lab)[self._triangles], axis=1), axis=1)[face]
        step = np.minimum(STEP_LAB / np.maximum(sides, 1e-9), 1.0)
        for _ in range(_ROUNDS):
            tries = np.clip(shares[:, None] + step[:, None, None] * _MOVES, 0, None)
            tries /= tries.sum(axis=2, keepdims=True)
            found = _weighted(lab_from_light(tries @ corners))
            found -= goal[:, None]
            best = np.einsum("nmc,nmc->nm", found, found).argmin(axis=1)
            shares, step = tries[np.arange(len(lab)), best], step / 2
        return lab_from_light((shares[:, None] @ corners)[:, 0])


def light_from_lab(lab: Any) -> np.ndarray:
    """XYZ over that of white (..., 3) of CIELAB (..., 3): amounts of light, which add up where marks lie side by side."""
    lab = np.asarray(lab, float)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.where(f > _CUT, f**3, _SLOPE * (f - _FOOT))


def lab_from_light(light: Any) -> np.ndarray:
    """CIELAB (..., 3) of XYZ over that of white (..., 3).

    Examples
    --------
    >>> lab_from_light(light_from_lab([38.0, 5.0, -35.0])).round(9).tolist()
    [38.0, 5.0, -35.0]
    """
    light = np.asarray(light, float)
    f = np.where(light > _CUT**3, np.cbrt(light), light / _SLOPE + _FOOT)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def _weighted(lab: np.ndarray) -> np.ndarray:
    return lab * np.array([LIGHTNESS_WEIGHT, 1.0, 1.0])


def _spread(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points over triangles (t, 3, 3), evenly by their size: number of the triangle (n,) and shares of its corners (n, 3)."""
    side = np.max([np.linalg.norm(corners[:, i] - corners[:, i - 1], axis=1) for i in range(3)], axis=0)
    step = max(STEP_LAB, float(np.sqrt((side**2).sum() / 2 / MOST_POINTS)))
    face, shares = [], []
    for number, length in enumerate(side):
        cuts = max(1, int(np.ceil(length / step)))
        i, j = (each.ravel() for each in np.mgrid[: cuts + 1, : cuts + 1])
        whole = i + j <= cuts
        i, j = i[whole], j[whole]
        shares.append(np.column_stack([i, j, cuts - i - j]) / cuts)
        face.append(np.full(len(i), number))
    return np.concatenate(face), np.concatenate(shares)
