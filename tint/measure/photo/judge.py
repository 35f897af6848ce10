"""What speaks against a patch in a photograph, and how far its colour may be off."""

from __future__ import annotations

import numpy as np

from tint.measure.photo.chart import quick_lab
from tint.measure.photo.correct import Scene, miss
from tint.measure.photo.sample import Squares

# Colour change [ΔE] by light that the bare metal about a patch shows and the smooth field does not: flagged above
GLARE_DE, SHADOW_DE = 2.0, 2.5
ONE_SIDE = 2.5  # times that where one side of a patch shows it and the mean of all sides does not
ODD_SHARE = 0.04  # of pixels that do not belong: a scratch across a patch is 3 to 10 %
UNEVEN_DE = 6.0  # change of lightness over a patch from edge to edge that the light does not explain
GRAIN_DE = 5.0  # robust scatter of pixels, as lightness
SOFT_SHARE = 0.14  # of a patch's side: edges blurred more than that reach into what is read
CLIPPED_SHARE, DARK_SHARE = 0.05, 0.3


def lab_of(scene: Scene, rgb: np.ndarray) -> np.ndarray:
    """Lab D50 (..., 3) of evened camera values, quickly."""
    return quick_lab(scene.xyz100(rgb))


def ring_changes(scene: Scene, rgb: np.ndarray, ring: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Changes of colour [ΔE] by light about each patch that the smooth field lacks: mean of its sides (n,), worst side (n,).

    Above 0 there is added light (glare), below 0 light is missing (shadow).

    Parameters
    ----------
    rgb : (n, 3) evened values of the patches
    ring : (n, 4, 3) evened values of bare metal on each side of a patch; NaN where it is not seen
    """
    seen = ~np.isnan(ring).any(axis=-1)
    ring = np.where(seen[..., None], ring, scene.light.bare_rgb)
    excess = ring - scene.light.bare_rgb  # glare adds the same light to metal and mark
    share = ring / scene.light.bare_rgb  # shade takes the same share from both
    bright = excess.mean(axis=-1) > 0
    cleaned = np.where(bright[..., None], rgb[:, None] - np.maximum(excess, 0), rgb[:, None] / np.clip(share, 0.2, 5))
    change = miss(lab_of(scene, np.maximum(cleaned, 1e-5)), lab_of(scene, rgb)[:, None]) * np.where(bright, 1, -1)
    mean = change.sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    return mean, change[np.arange(len(change)), np.abs(change).argmax(axis=1)]


def flags_of(
    scene: Scene,
    squares: Squares,
    rgb: np.ndarray,
    full: int,
    mean: np.ndarray,
    worst: np.ndarray,
    soft: np.ndarray,
    inside: np.ndarray,
) -> list[str]:
    """Why each of n patches is not to be used; "" where nothing speaks against it. `rgb` is (n, 3), the other arrays (n,)."""
    lightness = lab_of(scene, rgb)[:, 0]
    # what a step of one level means as lightness, at each patch
    per_level = _lightness_per_level(scene, squares, rgb, full)
    reasons = []
    for i in range(len(rgb)):
        said = []
        if not inside[i]:
            said.append("out of the picture")
        if squares.high[i] > CLIPPED_SHARE:
            said.append("clipped: over-exposed")
        elif squares.low[i] > DARK_SHARE and lightness[i] > 5:
            said.append("clipped: a channel is at its lower end")
        if mean[i] > GLARE_DE or worst[i] > ONE_SIDE * GLARE_DE:
            said.append("glare")
        if mean[i] < -SHADOW_DE or worst[i] < -ONE_SIDE * SHADOW_DE:
            said.append("shadow or covered")
        if squares.odd[i] > ODD_SHARE:
            said.append("scratch or dirt")
        elif squares.slope[i] * per_level[i] > UNEVEN_DE or squares.sd[i].max() * per_level[i] > GRAIN_DE:
            said.append("uneven")
        if soft[i] > SOFT_SHARE:
            said.append("blurred")
        reasons.append(", ".join(said))
    return reasons


def _lightness_per_level(scene: Scene, squares: Squares, rgb: np.ndarray, full: int) -> np.ndarray:
    level = np.maximum(squares.level.mean(axis=1) / full, 0.02)
    # on an encoded scale lightness is about in proportion to the level
    return lab_of(scene, rgb)[:, 0] / (level * full)


# The miss of a film's colour, in misses of chart patches held out: greys are easier than chart colours, strong colours of
# films harder, because no paint of the chart has such a spectrum. Set on simulated photos; tests/bench/photo_table.py says
# how well it holds on others.
GREY_SHARE, STRONG_SHARE, STRONG_CHROMA = 0.75, 1.3, 25.0
RING_SHARE = 0.5  # of the change that light about a patch would explain
LEAST_SD = 0.4  # lens, flatness of the chart, its own age: no photo is better than that (common practice, no source)


def uncertainty(
    scene: Scene, squares: Squares, rgb: np.ndarray, full: int, mean: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Standard uncertainties (n,) as ΔE00: what further photos do not mend (chart, camera), and what they do (grain, light)."""
    lab = lab_of(scene, rgb)
    strong = np.minimum(np.hypot(lab[:, 1], lab[:, 2]) / STRONG_CHROMA, 1)
    lasting = np.hypot(scene.held_out * (GREY_SHARE + (STRONG_SHARE - GREY_SHARE) * strong), LEAST_SD)
    grain = squares.sd.max(axis=1) * _lightness_per_level(scene, squares, rgb, full)
    grain = grain / np.sqrt(np.maximum(squares.count / 4, 1))  # neighbouring pixels share their noise
    return lasting, np.sqrt(grain**2 + (RING_SHARE * mean) ** 2 + 0.1**2)
