"""The gamut of a palette: the colours that marks side by side can mix, and the nearest of them to a wish.

What can be mixed is convex in light raised to 1/n (Neugebauer's sum, n of Yule–Nielsen), so n above 1 gives a gamut that
is not convex in light. `tint.layers.gamut_map` maps pictures into it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tint.layers.mixture import IDEAL, Mixing
from tint.palette.reach import lab_from_light, light_from_lab

MAPS = ("nearest", "hue", "tone")
# Weights of lightness, chroma and hue differences. Chosen by the mean spatial error over pictures that the table in the
# documents is not scored on (tests/bench/gamut_table.py --choose): hue twice wins little over once, lightness twice much.
WEIGHTS = {"nearest": (2.0, 1.0, 2.0), "hue": (2.0, 1.0, 6.0), "tone": (3.0, 1.0, 1.5)}
GREY_CHROMA = 10.0  # CIELAB; hue differences fade to chroma differences below it, for grey has no hue
FLAT_LIGHT = 2e-3  # colours within this [light, 0..1] of one plane, line or point count as lying in it
FACES = 3  # searched for each wish: near a fold of the hull the coarse places of the first search mislead
STEPS, ROUNDS = 10, 3  # of a face's side in the first search, and of the search between its places
_AT_ONCE = 1_000  # nodes compared at once with all places of the first search: 10 MB for twelve colours


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
        """Centre (3,) and directions (r, 3) of the space the colours span; r is 0 to 3."""
        centre = self.root.mean(axis=0)
        _, _, directions = np.linalg.svd(self.root - centre, full_matrices=False)
        across = np.ptp((self.root - centre) @ directions.T, axis=0)
        return centre, directions[across > FLAT_LIGHT]

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
        light = np.maximum(light_from_lab(lab), 0) ** (1 / self.mixing.n)
        centre, directions = self._frame
        return self._delaunay.find_simplex((light - centre) @ directions.T, tol=1e-7) >= 0

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
        inverse = np.linalg.inv((corners[:, :-1] - corners[:, -1:]).transpose(0, 2, 1))
        part = np.einsum("nij,nj->ni", inverse[simplex], flat - corners[simplex, -1])
        part = np.clip(np.column_stack([part, 1 - part.sum(axis=1)]), 0, None)
        np.put_along_axis(out, self.simplices[simplex], part / part.sum(axis=1, keepdims=True), axis=1)
        return out

    def asked_light(self, root: np.ndarray) -> np.ndarray:
        """Light (h, w, 3) whose plain mean over cells makes real marks show places (h, w, 3): growth and n undone."""
        if self.mixing.ideal:
            return root
        light = light_from_lab(self.lab)
        out = np.empty(root.shape)
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
        least. First the best of evenly spread places on the faces, then Gauss–Newton steps inside its face, each
        taken only where it gets nearer.
        """
        lab = np.asarray(lab, float)
        root = np.maximum(light_from_lab(lab), 0) ** (1 / self.mixing.n)
        outside = np.flatnonzero(~self.inside(lab))
        if len(outside):
            root[outside] = self._on_faces(lab[outside], _metric(lab[outside], weights))
        return root

    def _on_faces(self, lab: np.ndarray, metric: np.ndarray) -> np.ndarray:
        size = self.faces.shape[1]
        if size == 1:
            return np.broadcast_to(self.root[self.faces[0, 0]], lab.shape)
        grid = _even_shares(size, STEPS)
        places = self.colour(np.einsum("gc,tcx->tgx", grid, self.root[self.faces]).reshape(-1, 3))
        best, root = np.full(len(lab), np.inf), np.empty(lab.shape)
        for face, first in _nearest_faces(lab, metric, places, len(grid)):  # the nearest may be on the face next to it
            off, found = self._refined(lab, metric, self.root[self.faces][face], grid[first])
            nearer = off < best
            best[nearer], root[nearer] = off[nearer], found[nearer]
        return root

    def _refined(
        self, lab: np.ndarray, metric: np.ndarray, corners: np.ndarray, share: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Squared difference (n,) and place (n, 3) of the nearest on a face with `corners` (n, c, 3), from `share` (n, c) on."""

        def off(share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            delta = self.colour(np.einsum("nc,ncx->nx", share, corners)) - lab
            return delta, np.einsum("ni,nij,nj->n", delta, metric, delta)

        free = share.shape[1] - 1
        delta, best = off(share)
        for _ in range(ROUNDS):
            slopes = []
            for axis in range(free):
                moved = share.copy()
                moved[:, axis] += 1e-4
                moved[:, -1] -= 1e-4
                slopes.append((self.colour(np.einsum("nc,ncx->nx", moved, corners)) - lab - delta) / 1e-4)
            slope = np.stack(slopes, axis=-1)  # (n, 3, free)
            pulled = np.einsum("nij,njf->nif", metric, slope)
            normal = np.einsum("nif,nig->nfg", pulled, slope) + 1e-6 * np.eye(free)
            step = -np.linalg.solve(normal, np.einsum("nif,ni->nf", pulled, delta)[..., None])[..., 0]
            for size in (1.0, 0.3):
                tried = share.copy()
                tried[:, :-1] += size * step
                tried[:, -1] = 1 - tried[:, :-1].sum(axis=1)
                tried = np.clip(tried, 0, None)
                tried /= np.maximum(tried.sum(axis=1, keepdims=True), 1e-12)
                tried_delta, tried_off = off(tried)
                better = tried_off < best
                share[better], delta[better], best[better] = tried[better], tried_delta[better], tried_off[better]
        # where a share became 0 the step was cut short: along the face's sides, by ever smaller amounts
        edge = np.flatnonzero((share < 1e-6).any(axis=1))
        moves = [np.eye(free + 1)[i] - np.eye(free + 1)[j] for i, j in itertools.permutations(range(free + 1), 2)]
        near, target, form, shares = corners[edge], lab[edge], metric[edge], share[edge]
        least = best[edge]
        for size, move in itertools.product((0.1, 0.03, 0.01, 0.003), moves):
            tried = shares + size * move
            delta = self.colour(np.einsum("nc,ncx->nx", tried, near)) - target
            tried_off = np.einsum("ni,nij,nj->n", delta, form, delta)
            better = (tried_off < least) & (tried >= 0).all(axis=1)
            shares[better], least[better] = tried[better], tried_off[better]
        share[edge], best[edge] = shares, least
        return best, np.einsum("nc,ncx->nx", share, corners)


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


def _nearest_faces(
    lab: np.ndarray, metric: np.ndarray, places: np.ndarray, on_face: int
) -> list[tuple[np.ndarray, np.ndarray]]:
    """The `FACES` faces (n,) nearest to each Lab (n, 3), each with its nearest place (n,), of `on_face` places on every face.

    The squared form, multiplied out, is one matrix product.
    """
    pairs = tuple(itertools.combinations_with_replacement(range(3), 2))
    of_place = np.column_stack([places[:, i] * places[:, j] for i, j in pairs] + [places]).T.astype(np.float32)
    count = len(places) // on_face
    tried = min(FACES, count)
    face, first = np.empty((tried, len(lab)), dtype=np.intp), np.empty((tried, len(lab)), dtype=np.intp)
    for start in range(0, len(lab), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        square = [metric[part, i, j] * (1 if i == j else 2) for i, j in pairs]
        line = -2 * np.einsum("nij,nj->ni", metric[part], lab[part])
        away = (np.column_stack([*square, line]).astype(np.float32) @ of_place).reshape(-1, count, on_face)
        least = away.min(axis=2)
        row = np.arange(len(least))
        for rank in range(tried):
            face[rank, part] = least.argmin(axis=1)
            first[rank, part] = away[row, face[rank, part]].argmin(axis=1)
            least[row, face[rank, part]] = np.inf
    return list(zip(face, first, strict=True))


def _even_shares(size: int, steps: int) -> np.ndarray:
    """(g, size) shares that sum to 1, evenly spread.

    Examples
    --------
    >>> _even_shares(2, 2).tolist()
    [[0.0, 1.0], [0.5, 0.5], [1.0, 0.0]]
    """
    whole = [each for each in itertools.product(range(steps + 1), repeat=size - 1) if sum(each) <= steps]
    return np.array([(*each, steps - sum(each)) for each in whole], dtype=float) / steps
