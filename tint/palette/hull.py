"""The place nearest to a wished colour on the faces of a hull: straight in light or in a root of it, and near in Lab.

Marks side by side mix in light (or in light to the power of 1/n, Yule and Nielsen), so what they can show is bounded by flat
triangles there. People see in Lab, where those triangles are curved. The nearest place is first sought among a few places
of every triangle, then between them by Gauss and Newton's steps, each the exact least of a squared form on the triangle.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tint.lab import LAB_OF_ROOTS
from tint.threads import one_thread

# Over the nodes of a table of two palettes and two n (numpy, double precision) these leave no place 0.1 Lab farther than a search
# of all faces does; four faces left some by 13, at the folds of the hull, where the first search misleads
FACES = 6  # searched for each wish
STEPS = 6  # of a face's side in the first search
ROUNDS, LAST_ROUNDS = 2, 4  # Gauss and Newton's steps on each of these faces, and then on the nearest
_AT_ONCE = 4_000
# CIELAB's cube root from CUT on, and its straight part below (ISO/CIE 11664-4)
CUT, SLOPE, FOOT = 6 / 29, 3 * (6 / 29) ** 2, 4 / 29
_PAIRS = tuple(itertools.combinations_with_replacement(range(3), 2))


@dataclass(frozen=True, eq=False)
class Hull:
    """Triangles of mixtures of colours, in which the nearest to a wish is sought.

    Parameters
    ----------
    corners : (t, c, 3) places of the corners, light to the power of 1/n; c is 1 to 3
    n : of Yule and Nielsen; 1 where light itself adds up
    """

    corners: np.ndarray
    n: float = 1.0

    @cached_property
    def _whole(self) -> np.ndarray:
        """(3 corners, 3 axes, t): points and lines as triangles with equal corners."""
        corners = self.corners
        while corners.shape[1] < 3:
            corners = np.concatenate([corners, corners[:, -1:]], axis=1)
        return np.ascontiguousarray(corners.transpose(1, 2, 0))

    @cached_property
    def _shares(self) -> np.ndarray:
        """(g, 2) shares of the first two corners at the places of the first search."""
        steps = STEPS if self.corners.shape[1] > 1 else 0
        whole = [(i, j) for i, j in itertools.product(range(steps + 1), repeat=2) if i + j <= steps]
        return np.array(whole, dtype=float) / max(steps, 1)

    @cached_property
    def _forms(self) -> np.ndarray:
        """(g t, 9) float32: what a squared form of f is multiplied with, at the places of the first search."""
        one, other = self._shares.T[:, :, None, None]
        root = one * self._whole[0] + other * self._whole[1] + (1 - one - other) * self._whole[2]  # (g, 3, t)
        f = self._f(root)[0].transpose(1, 0, 2).reshape(3, -1)
        return np.vstack([*(f[i] * f[j] for i, j in _PAIRS), f]).T.astype(np.float32)

    def _f(self, root: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """CIELAB's cube roots of places, and their slopes."""
        light = root if self.n == 1 else np.maximum(root, 1e-9) ** self.n
        f = np.cbrt(light)
        slope = 1 / (3 * np.maximum(f, CUT) ** 2)  # at and below the cut this is the straight part's
        if self.n != 1:
            slope *= self.n * np.maximum(root, 1e-9) ** (self.n - 1)
        return np.where(light > CUT**3, f, light / SLOPE + FOOT), slope

    @one_thread
    def nearest(self, lab: np.ndarray, metric: np.ndarray) -> np.ndarray:
        """Places (m, 3), as `corners` has them, nearest to Lab (m, 3).

        Parameters
        ----------
        metric : (m, 3, 3) or (3, 3), symmetric: with d the difference in Lab, dᵀ metric d is least

        Notes
        -----
        Known error: for simulated palettes (up to 19 colours of L* 15 to 90, chroma up to 57, n 1 to 10) one or two wishes in
        ten thousand came out more than 0.1 farther, the root of that sum, than the best of 325 places on each face; where faces
        fold, by up to 6.
        """
        metric = np.broadcast_to(metric, (len(lab), 3, 3))
        out = np.empty(lab.shape)
        for start in range(0, len(lab), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            out[part] = self._searched(lab[part], LAB_OF_ROOTS.T @ metric[part] @ LAB_OF_ROOTS).T
        return out

    def _searched(self, lab: np.ndarray, metric: np.ndarray) -> np.ndarray:
        """Places (3, m); `metric` (m, 3, 3) of differences in f."""
        y = (lab[:, 0] + 16) / 116
        wish = np.stack([y + lab[:, 1] / 500, y, y - lab[:, 2] / 200])
        form = {pair: np.ascontiguousarray(metric[(slice(None), *pair)]) for pair in _PAIRS}
        form.update({(j, i): each for (i, j), each in form.items()})
        square = [form[pair] * (1 if pair[0] == pair[1] else 2) for pair in _PAIRS]
        line = [-2 * sum(form[i, j] * wish[j] for j in range(3)) for i in range(3)]
        away = self._forms @ np.array([*square, *line], dtype=np.float32)
        away = away.reshape(len(self._shares), -1, len(lab))
        least, row = away.min(axis=0), np.arange(len(lab))
        best, best_face, best_share = (
            np.full(len(lab), np.inf),
            np.zeros(len(lab), dtype=np.intp),
            np.zeros((2, len(lab))),
        )
        for _ in range(min(FACES, len(least))):  # the nearest may be on the face next to the one that looks nearest
            face = least.argmin(axis=0)
            share = self._shares[away[:, face, row].argmin(axis=0)].T.copy()
            least[face, row] = np.inf
            off, share = self._between(wish, form, self._whole[:, :, face], share, ROUNDS)
            nearer = off < best
            best[nearer], best_face[nearer], best_share[:, nearer] = off[nearer], face[nearer], share[:, nearer]
        corners = self._whole[:, :, best_face]
        one, other = self._between(wish, form, corners, best_share, LAST_ROUNDS)[1]
        return corners[2] + one * (corners[0] - corners[2]) + other * (corners[1] - corners[2])

    def _between(
        self,
        wish: np.ndarray,
        form: dict[tuple[int, int], np.ndarray],
        corners: np.ndarray,
        share: np.ndarray,
        rounds: int,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Squared difference (m,) and shares (2, m) of the nearest place on triangles (3, 3, m), from shares on."""
        sides = corners[:2] - corners[2]

        def at(share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
            f, slope = self._f(corners[2] + share[0] * sides[0] + share[1] * sides[1])
            f -= wish
            pulled = np.stack([sum(form[i, j] * f[j] for j in range(3)) for i in range(3)])
            return (f * pulled).sum(axis=0), f, pulled, slope

        off, f, pulled, slope = at(share)
        for _ in range(rounds):
            along = sides * slope  # (2, 3, m): how f changes with each share
            bent = [[sum(form[i, j] * along[k, j] for j in range(3)) for i in range(3)] for k in (0, 1)]
            curve = {(k, m): sum(along[k, i] * bent[m][i] for i in range(3)) for k, m in ((0, 0), (0, 1), (1, 1))}
            fall = [(along[k] * pulled).sum(axis=0) for k in (0, 1)]
            goal = _least_on_triangle(curve, fall, share)
            moved = at(goal)
            worse = ~(moved[0] < off)
            if worse.any():  # overshot: a part of the way
                goal[:, worse] = share[:, worse] + 0.3 * (goal[:, worse] - share[:, worse])
                moved = at(goal)
            better = moved[0] < off
            share = np.where(better, goal, share)
            off, f, pulled, slope = (
                np.where(better, new, old) for new, old in zip(moved, (off, f, pulled, slope), strict=True)
            )
        return off, share


def _least_on_triangle(
    curve: dict[tuple[int, int], np.ndarray], fall: list[np.ndarray], share: np.ndarray
) -> np.ndarray:
    """Shares (2, m), none below 0 and at most 1 together, where the squared form at `share` with that slope is least."""
    one, both, other = curve[0, 0] + 1e-9, curve[0, 1], curve[1, 1] + 1e-9
    whole = one * other - both * both
    step = np.stack([both * fall[1] - other * fall[0], both * fall[0] - one * fall[1]]) / np.maximum(whole, 1e-12)
    free = share + step
    best = np.full(share.shape[1], np.inf)
    out = np.empty(share.shape)
    for start, way in (((0.0, 0.0), (1.0, 0.0)), ((0.0, 0.0), (0.0, 1.0)), ((1.0, 0.0), (-1.0, 1.0))):
        # along a side, start + t way: the form's slope there is the curve times the way from the free least
        x, y = start[0] - free[0], start[1] - free[1]
        pull = way[0] * (one * x + both * y) + way[1] * (both * x + other * y)
        long = way[0] ** 2 * one + 2 * way[0] * way[1] * both + way[1] ** 2 * other
        t = np.clip(-pull / np.maximum(long, 1e-12), 0, 1)
        x, y = x + t * way[0], y + t * way[1]
        off = one * x * x + 2 * both * x * y + other * y * y
        nearer = off < best
        best = np.where(nearer, off, best)
        out[0] = np.where(nearer, start[0] + t * way[0], out[0])
        out[1] = np.where(nearer, start[1] + t * way[1], out[1])
    inside = (free >= 0).all(axis=0) & (free.sum(axis=0) <= 1) & (whole > 0)
    return np.where(inside, free, out)
