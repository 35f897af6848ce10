"""SIMULATED laser: marks a grid on invented steel so that the flow can be tried without a machine.

Nothing here is a measurement. Heat is summed from a few terms, oxide grows by a parabolic law with an Arrhenius rate,
and two ideal films (hematite on magnetite) on austenitic steel give the colour, dulled by roughness. It stands apart
from the colour model on purpose: that one knows none of these equations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import lab_from_reflectance
from tint.measure.patches import Patches
from tint.plan.grid import Grid
from tint.process import process
from tint.setting import Machine, Setting, Stock

# All constants below are invented; they were picked so that a grid over usual settings shows straw to second-order green.
DIAL_GAMMA = 1.06  # a dial that gives a little less than it says at the low end
BASE_K = 300.0
REST_K = 480.0  # rise from the heat that stays about the spot, at an areal energy of 11 J/mm² a pass; grows as its power 0.55
PULSE_K = 600.0  # rise by the pulses themselves, at 60 µJ and 20 ns; grows as the pulse energy to the power 0.33
ACTIVATION_K = 6000.0  # activation energy over the gas constant
GROWTH_NM2_S = 5.0e8  # rate constant of the parabolic law
MARK_NOISE = 0.012  # relative scatter of the film from one mark to the next
READ_NOISE = 0.25  # scatter of the instrument per Lab axis
DRIFT = 0.008  # the laser fades by this share of its power from first patch to last

# The box the invented shop grids over: where its (unshown) scouting plate had colour.
DEMO_RANGES = {
    "power_pct": (18.0, 40.0),
    "speed_mm_s": (500.0, 1500.0),
    "freq_khz": (200.0, 600.0),
    "pulse_ns": (8.0, 60.0),
}


@dataclass(frozen=True)
class SimulatedLaser:
    """An invented laser and sheet that answer a setting with a colour; `strength` scales the sheet's growth."""

    machine: Machine
    strength: float = 1.0

    def film_nm(self, setting: Setting, power: np.ndarray | float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Thicknesses [nm] of the outer and inner oxide and a roughness 0..1, each (n,); `power` scales the source."""
        dialled = setting.replace(power_pct=100 * (setting.power_pct / 100) ** DIAL_GAMMA)
        p = process(dialled, self.machine)
        watts = p.average_power_w * power
        rest = REST_K * (p.areal_energy_j_mm2 / setting.passes * power / 11.0) ** 0.55
        pulse = PULSE_K * (p.pulse_energy_uj * power / 60.0) ** 0.33 * (setting.pulse_ns / 20.0) ** -0.08
        absorbed = 1 + 0.12 * np.tanh(np.log(setting.pulse_ns / 30.0))  # long pulses couple a little better
        kelvin = BASE_K + absorbed * (rest + pulse) * (1 + 0.02 * np.log(watts))
        dwell_s = setting.passes * p.spot_mm**2 / (setting.speed_mm_s * setting.spacing_mm)
        grown_nm2 = self.strength * GROWTH_NM2_S * np.exp(-ACTIVATION_K / kelvin) * dwell_s
        total = np.sqrt(grown_nm2)
        total = 330 * (1 - np.exp(-total / 330))  # thick oxide cracks and stops growing
        outer_share = 0.12 + 0.25 / (1 + (p.peak_power_kw / 4.0))
        molten = 1 / (1 + np.exp(-(p.fluence_j_cm2 * power - 9.0) / 1.6))
        return outer_share * total, (1 - outer_share) * total, np.clip(0.06 + 0.75 * molten, 0, 1)

    def lab(self, setting: Setting, power: np.ndarray | float = 1.0, film: np.ndarray | float = 1.0) -> np.ndarray:
        """(n, 3) colour without instrument noise; `power` and `film` scale the source and the film grown."""
        outer, inner, rough = self.film_nm(setting, power)
        films = [(material_index("hematite"), outer * film), (material_index("magnetite"), inner * film)]
        shine = reflectance(WAVELENGTH_NM, films, material_index("austenitic steel"), angle_deg=8.0)
        dull = 0.10 + 0.02 * (WAVELENGTH_NM - 380) / 400  # what a rough, molten surface sends back: a warm dark grey
        return lab_from_reflectance(WAVELENGTH_NM, shine * (1 - rough[..., None]) + rough[..., None] * dull)

    def bare_lab(self) -> np.ndarray:
        """(3,) colour of the unmarked sheet."""
        return lab_from_reflectance(
            WAVELENGTH_NM, reflectance(WAVELENGTH_NM, [], material_index("austenitic steel"), 8.0)
        )

    def mark(self, grid: Grid, seed: int = 0, power: float = 1.0) -> Patches:
        """Patches of a grid as a hand-held instrument would read them, with drift, scatter and one scratched patch.

        `power` scales the source: 0.97 is one that has lost 3 % since.
        """
        rng = np.random.default_rng(seed)
        n = len(grid)
        age = (grid.order - 1) / max(n - 1, 1)
        lab = self.lab(grid.setting, power=power * (1 - DRIFT * age), film=rng.normal(1, MARK_NOISE, n))
        lab = lab + rng.normal(0, READ_NOISE, (n, 3))
        scratched = int(rng.integers(n))
        lab[scratched, 0] -= 11
        flags = tuple("scratched while handling (invented)" if i == scratched else "" for i in range(n))
        bare = self.bare_lab()
        facts = {
            "source": "SIMULATED by the invented shop of tint; no metal was marked",
            "remark": "SIMULATED colours: no metal was marked",
            "plate": grid.mark,
            "stock": grid.stock.name,
            "machine": grid.machine.name,
            "instrument": "simulated hand-held spectrophotometer",
            "geometry": "d/8 SCI (simulated)",
            "illuminant": "D50",
            "bare_lab": " ".join(f"{value:.2f}" for value in bare),
        }
        return Patches(
            grid.ids,
            grid.setting,
            lab.round(2),
            np.full(n, READ_NOISE * 1.2),
            grid.order.astype(float),
            grid.xy_mm,
            flags,
            facts,
        )


def demo_machine() -> Machine:
    """The invented shop's laser."""
    return Machine(
        name="bench laser (invented)", max_power_w=60.0, pulse_ns=(4.0, 8.0, 14.0, 30.0, 60.0, 100.0, 200.0), freq_khz=(1.0, 2000.0),
        max_speed_mm_s=8000.0, field_mm=(175.0, 175.0), wavelength_nm=1064.0, lens_focal_mm=254.0, beam_mm=7.5, m2=1.3,
        full_energy_khz=(900.0, 600.0, 400.0, 220.0, 130.0, 90.0, 60.0),
    )  # fmt: skip


def demo_stock() -> Stock:
    """The invented shop's sheet for the signs of its nature reserve."""
    return Stock(
        name="reserve sign plate (invented)",
        grade="304",
        finish="2B",
        thickness_mm=1.5,
        size_mm=(120.0, 120.0),
        batch="spring sheet",
    )
