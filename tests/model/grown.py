"""SIMULATED plates of one magnetite film that grows with heat: known truth for drift, the radius and carrying over."""

from __future__ import annotations

import numpy as np

from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import lab_from_reflectance
from tint.measure.patches import Patches
from tint.setting import Setting


def film_lab(setting: Setting, power: np.ndarray | float = 1.0, growth: float = 1.0) -> np.ndarray:
    """Lab (n, 3) of a film whose thickness saturates with areal and pulse energy.

    `power` is the share of the dialled power that comes out, `growth` what another batch changes.
    """
    heat = (setting.power_pct * power / 30) ** 1.4 * (900 / setting.speed_mm_s) ** 0.8 * (400 / setting.freq_khz) ** 0.5
    nm = growth * 400 * (1 - np.exp(-heat / 4))
    shine = reflectance(WAVELENGTH_NM, [(material_index("magnetite"), nm)], material_index("austenitic steel"), 8.0)
    return lab_from_reflectance(WAVELENGTH_NM, 0.9 * shine + 0.02)


def film_settings(n: int, seed: int) -> Setting:
    """Settings (n,) of random power, speed and frequency."""
    rng = np.random.default_rng(seed)
    return Setting(rng.uniform(20, 45, n), rng.uniform(500, 1500, n), rng.uniform(200, 800, n), 20, 0.003)


def film_patches(n: int, seed: int, growth: float = 1.0) -> Patches:
    """Patches whose marking order is not known."""
    setting, rng = film_settings(n, seed), np.random.default_rng(seed)
    return _measured(setting, film_lab(setting, growth=growth), np.full(n, np.nan), rng)


def film_plate(n: int, seed: int, drift: float = 0.0, share: float = 1.0) -> Patches:
    """Patches marked in shuffled order with a `share` of the power, along which it changed by a further share of `drift`."""
    setting, rng = film_settings(n, seed), np.random.default_rng(seed)
    order = rng.permutation(n) + 1.0
    return _measured(setting, film_lab(setting, share * (1 + drift * (order - 1) / (n - 1))), order, rng)


def _measured(setting: Setting, lab: np.ndarray, order: np.ndarray, rng: np.random.Generator) -> Patches:
    n = len(order)
    return Patches(
        tuple(f"m{i}" for i in range(n)), setting, lab + rng.normal(0, 0.3, (n, 3)), np.full(n, 0.3), order,
        np.full((n, 2), np.nan), ("",) * n, {"source": "SIMULATED"},
    )  # fmt: skip
