"""Shared by the tests of the colour model: the open 6 ns grid (real marks, camera colours) and a small simulated one."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tint.measure.patches import Patches, read_patches
from tint.model.fit import fit
from tint.model.model import ColourModel
from tint.setting import Machine, Setting, Stock

OPEN_GRID = Path(__file__).parents[2] / "palettes" / "open-6ns" / "patches.csv"
# 100 W source and 6 ns are stated by the repository of the open grid; the spot is not, 60 µm is assumed
MACHINE = Machine("open 100 W", 100, (2, 500), (1, 4000), 10000, (175, 175), spot_um=60)
STOCK = Stock("polished sheet", "stainless, grade not stated", "polished", 1.2, (100, 100))


@pytest.fixture(scope="session")
def machine() -> Machine:
    """The machine of the open grid."""
    return MACHINE


@pytest.fixture(scope="session")
def stock() -> Stock:
    """The stock of the open grid."""
    return STOCK


@pytest.fixture(scope="session")
def invented() -> Callable[..., Patches]:
    """Maker of simulated patches: `invented(n, seed, scatter_de00)`."""
    return invented_colours


@pytest.fixture(scope="session")
def open_patches() -> Patches:
    """The 100 patches of the open grid."""
    return read_patches(OPEN_GRID)


@pytest.fixture(scope="session")
def open_model(open_patches: Patches) -> ColourModel:
    """A model of the open grid."""
    return fit(open_patches, MACHINE, STOCK)


def invented_colours(n: int = 30, seed: int = 0, scatter_de00: float = 0.3) -> Patches:
    """SIMULATED patches: a smooth invented colour of areal and pulse energy; proves code, not physics."""
    rng = np.random.default_rng(seed)
    power, speed = rng.uniform(15, 45, n).round(1), rng.uniform(500, 1500, n).round(0)
    freq, pulse = rng.uniform(200, 800, n).round(0), rng.choice([6.0, 20.0, 60.0], n)
    heat = np.log(power * 900 / speed / 30) + 0.3 * np.log(pulse / 20)
    pulse_heat = np.log(power / freq * 500 / 30)
    turn = 1.8 * heat + 0.9 * pulse_heat
    lab = np.stack([55 + 12 * np.cos(turn), 28 * np.sin(turn), 6 + 26 * np.cos(turn + 0.5)], axis=1)
    lab += rng.normal(0, scatter_de00, (n, 3))
    unknown = np.full(n, np.nan)
    return Patches(
        tuple(f"p{i}" for i in range(n)), Setting(power, speed, freq, pulse, 0.003), lab, unknown, unknown,
        np.full((n, 2), np.nan), ("",) * n, {"source": "SIMULATED"},
    )  # fmt: skip


@pytest.fixture(scope="session")
def invented_patches() -> Patches:
    """Thirty simulated patches."""
    return invented_colours()


@pytest.fixture(scope="session")
def invented_model(invented_patches: Patches) -> ColourModel:
    """A model of the simulated patches."""
    return fit(invented_patches, MACHINE, STOCK)


@pytest.fixture(scope="session")
def spoilt_pair() -> tuple[ColourModel, ColourModel]:
    """Models of forty simulated patches, and of the same with patch p11 spoilt."""
    patches = invented_colours(40, seed=3)
    lab = patches.lab.copy()
    lab[11] = [20, 0, 0]
    return fit(patches, MACHINE, STOCK), fit(dataclasses.replace(patches, lab=lab), MACHINE, STOCK)


@pytest.fixture(scope="session")
def spoilt_model(spoilt_pair: tuple[ColourModel, ColourModel]) -> ColourModel:
    """The model with the spoilt patch."""
    return spoilt_pair[1]
