"""The gamut of a palette: the colours that marks side by side can mix, and the nearest of them to a wish.

What can be mixed is convex in light raised to 1/n (Neugebauer's sum, n of Yule–Nielsen), so n above 1 gives a gamut that
is not convex in light. `tint.layers.gamut_map` maps pictures into it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tint.lab import LAB_OF_ROOTS
from tint.layers.mixture import IDEAL, Mixing
from tint.palette.hull import Hull
from tint.palette.reach import lab_from_light, light_from_lab

MAPS = ("nearest", "hue", "tone")
# Weights of lightness, chroma and hue differences. Chosen by the mean spatial error over pictures that the table in the
# documents is not scored on (tests/bench/gamut_table.py --choose): hue twice wins little over once, lightness twice much.
WEIGHTS = {"nearest": (2.0, 1.0, 2.0), "hue": (2.0, 1.0, 6.0), "tone": (3.0, 1.0, 1.5)}
GREY_CHROMA = 10.0  # CIELAB; hue differences fade to chroma differences below it, for grey has no hue
FLAT_LIGHT = 2e-3  # colours within this [light to the power of 1/n, 0..1] of one plane, line or point count as lying in it
CHROMA_SHOWS = 0.5  # a difference of chroma against one of lightness, between cells side by side
# Light as CIELAB sees small differences of it, the cube root's slope left out
_SHOWN = LAB_OF_ROOTS / 100 * np.array([[1], [CHROMA_SHOWS], [CHROMA_SHOWS]])
_TOUCHES = 1e-7  # farther outside a face than this [light to the power of 1/n] is outside


@dataclass(frozen=True, eq=False)
class Gamut:
    """Colours that marks of a palette can mix side by side.

    Parameters
    ----------
    lab : (k + 1, 3) colours by number, bare metal first
    mixing : how area shares turn into colour
    """

    lab: np.ndarray
    mixing: Mixing = IDEAL

    @cached_property
    def root(self) -> np.ndarray:
        """(k + 1, 3) light to the power of 1/n: mixtures are straight between these."""
        light = light_from_lab(self.lab)
        return light if self.mixing.n == 1 else np.maximum(light, 0) ** (1 / self.mixing.n)

    @cached_property
    def _frame(self) -> tuple[np.ndarray, np.ndarray]:
        """Centre (3,) and axes (r, 3) of the space the colours span; r is 0 to 3.

        Along the axes distances are those that show (`_SHOWN`). The simplices are Delaunay's, which mix every place of colours
        near one another (Delaunay 1934): so cells side by side differ little, and least in lightness.
        """
        centre = self.root.mean(axis=0)
        _, _, directions = np.linalg.svd(self.root - centre, full_matrices=False)
        directions = directions[np.ptp((self.root - centre) @ directions.T, axis=0) > FLAT_LIGHT]
        return centre, np.linalg.qr(_SHOWN @ directions.T)[1] @ directions

    @cached_property
    def simplices(self) -> np.ndarray:
        """(s, r + 1) numbers of the colours at the corners of simplices that fill the gamut and never overlap."""
        centre, directions = self._frame
        flat = (self.root - centre) @ directions.T
        if flat.shape[1] == 0:
            return np.zeros((1, 1), dtype=np.intp)
        if flat.shape[1] == 1:
            _, order = np.unique(flat[:, 0].round(9), return_index=True)
            return np.column_stack([order[:-1], order[1:]])
        return np.asarray(self._delaunay.simplices, dtype=np.intp)

    @cached_property
    def _delaunay(self) -> Any:
        from scipy.spatial import Delaunay

        centre, directions = self._frame
        return Delaunay((self.root - centre) @ directions.T)

    @cached_property
    def faces(self) -> np.ndarray:
        """(t, c) numbers at the corners of what bounds the gamut: triangles; of a plane, line or point, all of it."""
        if len(self._frame[1]) < 3:
            return self.simplices
        return np.asarray(self._delaunay.convex_hull, dtype=np.intp)

    def colour(self, root: np.ndarray) -> np.ndarray:
        """Lab (..., 3) of places (..., 3) as `root` has them."""
        return lab_from_light(self.light(root))

    def light(self, root: np.ndarray) -> np.ndarray:
        """Light (..., 3) of places (..., 3) as `root` has them."""
        return root if self.mixing.n == 1 else np.maximum(root, 0) ** self.mixing.n

    def inside(self, lab: Any) -> np.ndarray:
        """(n,) True where Lab (n, 3) can be mixed exactly; never where all colours lie in one plane."""
        if len(self._frame[1]) < 3:
            return np.zeros(len(lab), dtype=bool)
        root = np.maximum(light_from_lab(lab), 0) ** (1 / self.mixing.n)
        normal, least = self._planes
        return (root @ normal.T <= least + _TOUCHES).all(axis=1)

    @cached_property
    def _planes(self) -> tuple[np.ndarray, np.ndarray]:
        """Outward normals (t, 3) of the faces, and how far along each its face lies (t,)."""
        first, second, third = self.root[self.faces].transpose(1, 0, 2)
        normal = np.cross(second - first, third - first)
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
        along = np.einsum("tx,tx->t", normal, first)
        outward = np.where(normal @ self._frame[0] <= along, 1.0, -1.0)
        return normal * outward[:, None], along * outward

    @cached_property
    def _hull(self) -> Hull:
        return Hull(self.root[self.faces], self.mixing.n)

    def shares(self, root: np.ndarray) -> np.ndarray:
        """(n, k + 1) area shares that mix places (n, 3) of the gamut, of at most four colours each."""
        centre, directions = self._frame
        flat = (root - centre) @ directions.T
        out = np.zeros((len(root), len(self.root)))
        if flat.shape[1] == 0:
            out[:, 0] = 1
            return out
        corners = ((self.root - centre) @ directions.T)[self.simplices]
        simplex = self._simplex_of(flat, corners)
        used, at = np.unique(simplex, return_inverse=True)  # where many colours lie in one plane, others may have no volume
        inverse = np.linalg.inv((corners[used, :-1] - corners[used, -1:]).transpose(0, 2, 1))
        part = np.einsum("nij,nj->ni", inverse[at], flat - corners[simplex, -1])
        part = np.clip(np.column_stack([part, 1 - part.sum(axis=1)]), 0, None)
        np.put_along_axis(out, self.simplices[simplex], part / part.sum(axis=1, keepdims=True), axis=1)
        return out

    def asked_light(self, root: np.ndarray) -> np.ndarray:
        """Light (h, w, 3) whose plain mean over cells makes real marks show places (h, w, 3) float32: growth and n undone."""
        if self.mixing.ideal:
            return root
        light = light_from_lab(self.lab)
        out = np.empty(root.shape, dtype=root.dtype)
        for row, places in enumerate(root):
            out[row] = self.mixing.asked(self.shares(places)) @ light
        return out

    def _simplex_of(self, flat: np.ndarray, corners: np.ndarray) -> np.ndarray:
        if flat.shape[1] == 1:
            ends = np.sort(corners[:, :, 0].max(axis=1))[:-1]
            return np.searchsorted(ends, flat[:, 0])
        found = self._delaunay.find_simplex(flat)
        for pull in (1e-6, 1e-4, 1e-2, 0.1, 1.0):  # places on the border that rounding put outside
            lost = np.flatnonzero(found < 0)
            if not len(lost):
                break
            middle = corners.reshape(-1, flat.shape[1]).mean(axis=0)
            found[lost] = self._delaunay.find_simplex(flat[lost] * (1 - pull) + middle * pull)
        return np.maximum(found, 0)

    def nearest(self, lab: Any, weights: tuple[float, float, float] = WEIGHTS["nearest"]) -> np.ndarray:
        """Places (n, 3), as `root` has them, nearest to Lab (n, 3); what can be mixed stays what it is.

        Parameters
        ----------
        weights : of differences in lightness, chroma and hue

        Notes
        -----
        With d the difference in Lab, u the direction of the wish's hue and v across it, (w_L d_L)² + (w_C d·u)² + (w_H d·v)² is
        least.
        """
        lab = np.asarray(lab, float)
        root = np.maximum(light_from_lab(lab), 0) ** (1 / self.mixing.n)
        outside = np.flatnonzero(~self.inside(lab))
        if len(outside):
            root[outside] = self._hull.nearest(lab[outside], _metric(lab[outside], weights))
        return root


def _metric(lab: np.ndarray, weights: tuple[float, float, float]) -> np.ndarray:
    """(n, 3, 3) squared weights of differences in Lab from each Lab (n, 3), along its own lightness, chroma and hue."""
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    unit = np.where(chroma[:, None] > 1e-6, lab[:, 1:] / np.maximum(chroma, 1e-6)[:, None], [1.0, 0.0])
    light, along, across = (weight**2 for weight in weights)
    across = along + (across - along) * np.minimum(chroma / GREY_CHROMA, 1)
    out = np.zeros((len(lab), 3, 3))
    out[:, 0, 0] = light
    out[:, 1, 1] = along * unit[:, 0] ** 2 + across * unit[:, 1] ** 2
    out[:, 2, 2] = along * unit[:, 1] ** 2 + across * unit[:, 0] ** 2
    out[:, 1, 2] = out[:, 2, 1] = (along - across) * unit[:, 0] * unit[:, 1]
    return out
