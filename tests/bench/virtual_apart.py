"""SIMULATED lasers apart from those of `virtual`: other growth, heat, haze, optics and dials. Never used for tuning.

A gain that shows only on the six cases of `virtual` is a gain in knowing those cases. Constants and prior widths of the
colour model were chosen without these three, which break what the six have in common: no Arrhenius rate of a background
plus a spike, no parabola, no even film, no matt share that follows fluence alone, no dial that is a power of the percent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from virtual import INVENTED, VirtualLaser

from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import lab_from_reflectance
from tint.setting import Machine, Setting, Stock


def _index(name: str, porous: float) -> np.ndarray:
    return 1 + ((INVENTED[name] if name in INVENTED else material_index(name)) - 1) * (1 - porous)


@dataclass(frozen=True)
class SlowingFilm(VirtualLaser):
    """Growth by the logarithm of time (field-driven), a line that heats by speed^−0.35, and scatter that takes the blue.

    The dial gives nothing below 5 %; the scanner lags, so fast lines are marked slower than stated near their ends.
    """

    def film_nm(
        self, setting: Setting, power: np.ndarray | float = 1.0
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Outer and inner oxide [nm], scattering share and 0, each (n,)."""
        grown = self._grown(setting, power) / self._grown(Setting(*self.middle(), self.spacing_mm), 1.0)
        total = self.middle_nm * grown
        share = self.outer_share + 0.2 * np.tanh((total - self.middle_nm) / 120)  # the outer oxide comes late
        scatter = 0.55 * (1 - np.exp(-((total / self.crack_nm) ** 3)))
        return share * total, (1 - share) * total, scatter, np.zeros(setting.shape)

    def _pulse(self, setting: Setting, power: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        dial = np.maximum(setting.power_pct / 100 - 0.05, 1e-3) / 0.95
        watts = self.machine.max_power_w * dial**0.92 * power
        return watts / setting.freq_khz * 1e3, watts

    def _grown(self, setting: Setting, power: np.ndarray | float) -> np.ndarray:
        energy_uj, watts = self._pulse(setting, power)
        speed = setting.speed_mm_s / (1 + setting.speed_mm_s / 9000)  # lag
        line = watts / speed**0.35 / (1 + setting.spacing_mm / 0.004)
        spike = energy_uj / (0.4 + setting.pulse_ns / 60) ** 0.6
        home_energy, home_watts = self._pulse(Setting(*self.middle(), self.spacing_mm), 1.0)
        line0 = home_watts / (self.middle()[1] / (1 + self.middle()[1] / 9000)) ** 0.35 / (1 + self.spacing_mm / 0.004)
        spike0 = home_energy / (0.4 + self.middle()[3] / 60) ** 0.6
        heat = 0.6 * line / line0 + 0.4 * (spike / spike0) ** 0.8
        return np.log1p(0.5 * heat**2.6 * setting.passes * (self.middle()[1] / speed) ** 0.7)

    def lab(self, setting: Setting, power: np.ndarray | float = 1.0, film: np.ndarray | float = 1.0) -> np.ndarray:
        """(n, 3) colour without scatter from mark to mark."""
        outer, inner, scatter, _ = self.film_nm(setting, power)
        films = [(_index(name, self.porous), nm * film) for name, nm in ((self.outer, outer), (self.inner, inner))]
        shine = reflectance(WAVELENGTH_NM, films, material_index(self.metal), angle_deg=8.0)
        lost = scatter[..., None] * (450 / WAVELENGTH_NM) ** 2
        return lab_from_reflectance(WAVELENGTH_NM, shine * (1 - np.minimum(lost, 0.95)) + 0.02)


@dataclass(frozen=True)
class MoltenFilm(VirtualLaser):
    """Every pulse melts a skin and oxidises it; nothing grows below a threshold, and strong pulses carry oxide away.

    Pulses lose energy as the source runs out of stored power at high frequency; pulses far apart leave ripples that dull.
    """

    def film_nm(
        self, setting: Setting, power: np.ndarray | float = 1.0
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Outer and inner oxide [nm], matt share and dark share, each (n,)."""
        middle = Setting(*self.middle(), self.spacing_mm)
        grown, fluence, pitch = self._grown(setting, power)
        total = self.middle_nm * grown / self._grown(middle, 1.0)[0]
        matt = self.rough + 0.5 * np.minimum(pitch / 0.12, 1.0) ** 2
        dark = 0.35 / (1 + (self.melt_j_cm2 / fluence) ** 5)
        return self.outer_share * total, (1 - self.outer_share) * total, matt, dark

    def _pulse(self, setting: Setting, power: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        watts = (
            self.machine.max_power_w * (0.55 * setting.power_pct / 100 + 0.45 * (setting.power_pct / 100) ** 2) * power
        )
        full_khz = 220.0
        energy_uj = watts / setting.freq_khz * 1e3 * (1 - 0.25 * np.exp(-setting.freq_khz / full_khz))
        return energy_uj, watts

    def _grown(self, setting: Setting, power: np.ndarray | float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        energy_uj, _ = self._pulse(setting, power)
        spot_cm = self.true_spot_um * 1e-4
        fluence = 8 * energy_uj * 1e-6 / (np.pi * spot_cm**2)
        threshold = 2.5 * np.sqrt(1 + setting.pulse_ns / 10)
        skin = np.logaddexp(0, 6 * (fluence / threshold - 1)) / 6  # melted skin, softly zero below the threshold
        pitch = setting.speed_mm_s / setting.freq_khz / self.true_spot_um  # over the spot
        hits = setting.passes / (pitch * setting.spacing_mm / self.true_spot_um * 1e3)
        carried = 1 / (1 + (fluence / self.melt_j_cm2) ** 3)
        return skin**0.75 * hits**0.6 * carried, fluence, pitch


@dataclass(frozen=True)
class UnevenFilm(VirtualLaser):
    """Film that heats itself as it darkens, grows by a cube root, and is uneven under the spot, so that colours wash out."""

    def film_nm(
        self, setting: Setting, power: np.ndarray | float = 1.0
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Outer and inner oxide [nm], 0, and relative unevenness of the film, each (n,)."""
        middle = Setting(*self.middle(), self.spacing_mm)
        total = self.middle_nm * self._grown(setting, power) / self._grown(middle, 1.0)
        pitch = setting.speed_mm_s / setting.freq_khz / self.true_spot_um
        uneven = 0.06 + 0.20 * pitch + 0.10 * setting.spacing_mm / 0.006
        share = self.outer_share * (1 + 0.3 * np.tanh(np.log(setting.freq_khz / self.middle()[2])))
        return share * total, (1 - share) * total, np.zeros(setting.shape), uneven

    def _pulse(self, setting: Setting, power: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        dial = setting.power_pct / 100
        watts = self.machine.max_power_w * 1.1 * dial / (1 + 0.1 * dial**3) * power
        return watts / setting.freq_khz * 1e3, watts

    def _grown(self, setting: Setting, power: np.ndarray | float) -> np.ndarray:
        energy_uj, watts = self._pulse(setting, power)
        energy0, watts0 = self._pulse(Setting(*self.middle(), self.spacing_mm), 1.0)
        _, speed0, freq0, pulse0 = self.middle()
        still = (watts / watts0) * (speed0 / setting.speed_mm_s) ** 0.6 * (self.spacing_mm / setting.spacing_mm) ** 0.3
        spike = (energy_uj / energy0) * (freq0 / setting.freq_khz) ** -0.4 * (pulse0 / setting.pulse_ns) ** 0.2
        grown = np.ones(setting.shape)
        for _ in range(30):  # absorbs more as it thickens, until it settles
            absorbs = 0.8 + 0.2 * np.tanh(grown)
            heat = absorbs * (0.7 * still + 0.3 * spike)
            rate = np.exp(5.5 * (heat - 1) / (0.6 + 0.4 * np.maximum(heat, 0.05)))
            grown = 0.5 * grown + 0.5 * np.cbrt(rate * setting.passes * speed0 / setting.speed_mm_s)
        return grown

    def lab(self, setting: Setting, power: np.ndarray | float = 1.0, film: np.ndarray | float = 1.0) -> np.ndarray:
        """(n, 3) colour without scatter from mark to mark: the mean over an uneven film."""
        outer, inner, _, uneven = self.film_nm(setting, power)
        indices = [_index(name, self.porous) for name in (self.outer, self.inner)]
        mean = 0.0
        for step, part in ((-1.5, 0.16), (-0.75, 0.22), (0.0, 0.24), (0.75, 0.22), (1.5, 0.16)):
            here = np.exp(uneven * step) * film
            films = [(indices[0], outer * here), (indices[1], inner * here)]
            mean = mean + part * reflectance(WAVELENGTH_NM, films, material_index(self.metal), angle_deg=8.0)
        return lab_from_reflectance(WAVELENGTH_NM, mean * (1 - self.rough) + 0.3 * self.rough)


def apart() -> tuple[VirtualLaser, ...]:
    """The three cases."""
    mid = Machine("virtual 50 W", 50, (2, 350), (1, 4000), 10000, (175, 175), spot_um=45)
    small = Machine("virtual 30 W", 30, (2, 500), (1, 2000), 8000, (110, 110), spot_um=50)
    big = Machine("virtual 120 W", 120, (2, 500), (1, 4000), 12000, (175, 175), spot_um=70)

    def sheet(name: str, grade: str) -> Stock:
        return Stock(f"virtual {name}", grade, "2B", 1.5, (120, 120))

    return (
        SlowingFilm(
            "slowing film", mid, sheet("301", "301"), {"power_pct": (25.0, 60.0), "speed_mm_s": (400.0, 1300.0),
            "freq_khz": (120.0, 500.0), "pulse_ns": (10.0, 60.0)}, 0.003, "austenitic steel", "chromia, invented", "magnetite",
            middle_nm=100, true_spot_um=48, crack_nm=300,
        ),
        MoltenFilm(
            "molten film", small, sheet("441", "441"), {"power_pct": (40.0, 85.0), "speed_mm_s": (200.0, 700.0),
            "freq_khz": (80.0, 320.0), "pulse_ns": (10.0, 60.0)}, 0.003, "ferritic steel", "hematite", "spinel, invented",
            middle_nm=120, true_spot_um=46, outer_share=0.3, melt_j_cm2=40, porous=0.05,
        ),
        UnevenFilm(
            "uneven film", big, sheet("titanium 1", "titanium grade 1"), {"power_pct": (16.0, 38.0), "speed_mm_s": (700.0, 2200.0),
            "freq_khz": (200.0, 900.0), "pulse_ns": (6.0, 40.0)}, 0.002, "titanium", "titania, invented", "suboxide, invented",
            middle_nm=90, true_spot_um=66, outer_share=0.5, porous=0.03, rough=0.08,
        ),
    )  # fmt: skip
