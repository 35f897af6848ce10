"""SIMULATED lasers for measuring the colour model: six machine × stock cases. They prove code, not physics.

Heat is a steady background from the scanned line plus a spike after every pulse that cools with the root of time; oxide
grows by a parabolic law whose Arrhenius rate is averaged over the cooling; two films of fixed optical constants share the
growth, thick film cracks, molten or ablated surface turns matt or dark. The colour model knows none of these equations.
All constants are invented; growth is set so that the middle of the box has the film thickness stated.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import delta_e00, lab_from_reflectance
from tint.measure.patches import Patches
from tint.setting import Machine, Setting, Stock

READ_SD = 0.3  # instrument, per Lab axis
DRIFT = 0.008  # share of power lost from the first patch to the last
GROSS = 0.02  # share of patches that are simply wrong
_BLUE = (780 - WAVELENGTH_NM) / 400  # 1 at the blue end, 0 at the red
# Invented optical constants, smooth and of a usual size, none of them in the model's own tables
INVENTED = {
    "chromia, invented": 2.15 + 0.40 * _BLUE + 1j * (0.04 + 0.30 * _BLUE**3),
    "spinel, invented": 2.25 + 0.15 * _BLUE + 1j * (0.18 + 0.20 * _BLUE),
    "titania, invented": 2.30 + 0.30 * _BLUE**2 + 1j * 0.005 * _BLUE,
    "suboxide, invented": 2.20 + 0.10 * _BLUE + 1j * (0.30 - 0.12 * _BLUE),
    "cuprous, invented": 2.55 + 0.45 * _BLUE + 1j * (0.02 + 0.75 * _BLUE**3),
    "zincite, invented": 1.95 + 0.15 * _BLUE**2 + 1j * 0.01,
}
WIDE = 2.2  # the wide box: half width of every field's logarithm, over that of the usual box


@dataclass(frozen=True)
class VirtualLaser:
    """An invented machine and sheet. `box` holds (lowest, highest) of power [%], speed, frequency and pulse width."""

    name: str
    machine: Machine
    stock: Stock
    box: dict[str, tuple[float, float]]
    spacing_mm: float
    metal: str
    outer: str
    inner: str
    middle_nm: float  # whole film in the middle of the box
    true_spot_um: float
    dial_gamma: float = 1.05  # watts = max · dial^gamma: the curve nobody measured
    background_k: float = 420.0  # rise in the middle of the box
    pulse_k: float = 800.0  # spike in the middle of the box, just after the pulse
    activation_k: float = 7000.0
    cooling_ns: float = 250.0
    outer_share: float = 0.25
    porous: float = 0.0  # share of air in the oxide
    rough: float = 0.05  # matt share of the bare sheet
    melt_j_cm2: float = 12.0
    ablate_kw: float = 30.0
    crack_nm: float = 380.0
    droop: float = 0.0  # loss of pulse energy toward high frequency
    mark_sd: float = 0.012  # scatter of film thickness from mark to mark
    home: VirtualLaser | None = None  # laser in whose middle of the box the stated film grows; None: this one

    def middle(self) -> np.ndarray:
        """(4,) middle of the box."""
        return np.sqrt([low * high for low, high in self.box.values()])

    def film_nm(self, setting: Setting, power: np.ndarray | float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Outer and inner oxide [nm], matt share and dark share, each (n,)."""
        home = self.home or self
        grown = np.sqrt(self._rate(setting, power) / home._rate(Setting(*home.middle(), home.spacing_mm), 1.0))
        total = self.middle_nm * grown
        total = self.crack_nm * (1 - np.exp(-total / self.crack_nm)) / (1 - np.exp(-self.middle_nm / self.crack_nm)) * (
            self.middle_nm / self.crack_nm
        )
        energy_uj, watts = self._pulse(setting, power)
        fluence = 8 * energy_uj * 1e-6 / (np.pi * (self.true_spot_um * 1e-4) ** 2)
        peak_kw = energy_uj / setting.pulse_ns
        share = self.outer_share * (1 + 0.5 * np.tanh(np.log(setting.pulse_ns / 40) / 2)) * (watts / 20) ** 0.1
        matt = self.rough + (0.75 - self.rough) / (1 + np.exp(-(np.log(fluence / self.melt_j_cm2)) / 0.18))
        dark = 0.6 / (1 + np.exp(-(np.log(peak_kw / self.ablate_kw)) / 0.2))
        return share * total, (1 - share) * total, matt, dark

    def lab(self, setting: Setting, power: np.ndarray | float = 1.0, film: np.ndarray | float = 1.0) -> np.ndarray:
        """(n, 3) colour without scatter; `power` and `film` scale the source and the film grown."""
        outer, inner, matt, dark = self.film_nm(setting, power)
        indices = [
            1 + ((INVENTED[name] if name in INVENTED else material_index(name)) - 1) * (1 - self.porous)
            for name in (self.outer, self.inner)
        ]
        films = [(index, nm * film) for index, nm in zip(indices, (outer, inner), strict=True)]
        shine = reflectance(WAVELENGTH_NM, films, material_index(self.metal), angle_deg=8.0)
        grey = 0.13 + 0.05 * (WAVELENGTH_NM - 380) / 400
        mixed = shine * (1 - matt[..., None]) + grey * matt[..., None]
        return lab_from_reflectance(WAVELENGTH_NM, mixed * (1 - dark[..., None]))

    def mark(self, setting: Setting, seed: int, *, drift: float = DRIFT, gross: float = GROSS) -> Patches:
        """Patches of settings in shuffled marking order, with drift, scatter and gross outliers."""
        rng = np.random.default_rng(seed)
        n = len(setting)
        order = rng.permutation(n) + 1.0
        lab = self.fresh(setting, rng, power=1 - drift * (order - 1) / max(n - 1, 1))
        for i in np.flatnonzero(rng.random(n) < gross):
            lab[i] = lab[i] + rng.normal(0, 1, 3) * [18, 15, 15]
        lab[:, 0] = np.clip(lab[:, 0], 2, 99)
        return Patches(
            tuple(f"s{i}" for i in range(n)), setting, lab.round(2), np.full(n, READ_SD), order, np.full((n, 2), np.nan),
            ("",) * n, {"source": "SIMULATED"},
        )  # fmt: skip

    def fresh(self, setting: Setting, rng: np.random.Generator, power: np.ndarray | float = 1.0) -> np.ndarray:
        """(n, 3) colours of fresh marks as an instrument reads them, without gross outliers."""
        n = len(setting)
        lab = self.lab(setting, power, rng.normal(1, self.mark_sd, n))
        return lab + rng.normal(0, 0.45, (n, 3)) * [0.8, 0.8, 0.8] + rng.normal(0, READ_SD, (n, 3))

    def settings(self, n: int, seed: int, *, stretch: float = 1.0, wide: bool = False) -> Setting:
        """n settings that fill the box evenly (Sobol); `stretch` widens it about its middle, `wide` opens six fields over decades."""
        from scipy.stats import qmc

        fields = list(self.box)
        columns = {}
        unit = qmc.Sobol(6 if wide else 4, seed=seed).random(2 ** int(np.ceil(np.log2(max(n, 2)))))[:n]
        for name, share in zip(fields, unit.T, strict=False):
            low, high = np.log(self.box[name])
            half = (high - low) / 2 * (WIDE if wide else stretch)
            columns[name] = np.exp((low + high) / 2 + (2 * share - 1) * half)
        columns["power_pct"] = np.minimum(columns["power_pct"], 100.0)
        low, high = self.machine.pulse_ns[0], self.machine.pulse_ns[-1]
        columns["pulse_ns"] = np.clip(columns["pulse_ns"], low, high)
        spacing, passes = np.full(n, self.spacing_mm), np.ones(n)
        if wide:
            spacing = self.spacing_mm * 2.0 ** (2 * unit[:, 4] - 1)
            passes = np.floor(1 + 2.999 * unit[:, 5])
        return Setting(**columns, spacing_mm=spacing, passes=passes)

    def _pulse(self, setting: Setting, power: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        watts = self.machine.max_power_w * (setting.power_pct / 100) ** self.dial_gamma * power
        watts = watts * (setting.freq_khz / 300) ** -self.droop
        return watts / setting.freq_khz * 1e3, watts

    def _heat(self, setting: Setting, power: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        energy_uj, watts = self._pulse(setting, power)
        rest = watts / np.sqrt(setting.speed_mm_s * setting.spacing_mm) * (1 + 0.1 * np.log(watts))
        spike = energy_uj / (self.true_spot_um / 60) ** 2 / np.sqrt(1 + setting.pulse_ns / 25)
        return rest, spike

    def _rate(self, setting: Setting, power: np.ndarray | float) -> np.ndarray:
        rest, spike = self._heat(setting, power)
        home = self.home or self
        rest0, spike0 = home._heat(Setting(*home.middle(), home.spacing_mm), 1.0)
        background = 300 + self.background_k * rest / rest0
        period_ns = 1e6 / setting.freq_khz
        rate = np.zeros(setting.shape)
        for share in (np.arange(12) + 0.5) / 12:
            after = (share**3) * period_ns  # dense just after the pulse
            kelvin = background + self.pulse_k * spike / spike0 / np.sqrt(1 + after / self.cooling_ns)
            rate += 3 * share**2 / 12 * np.exp(-self.activation_k / np.minimum(kelvin, 3500.0))
        dwell = self.true_spot_um**2 / (setting.speed_mm_s * setting.spacing_mm)
        return rate * dwell * setting.passes


def moved(laser: VirtualLaser, machine: Machine, true_spot_um: float, dial_gamma: float, droop: float = 0.0) -> VirtualLaser:
    """The same sheet under another machine: its film answers heat as it did at home."""
    return dataclasses.replace(
        laser, name=f"{laser.name} on {machine.name}", machine=machine, true_spot_um=true_spot_um, dial_gamma=dial_gamma, droop=droop, home=laser
    )


def cases() -> tuple[VirtualLaser, ...]:
    """The six cases."""
    big = Machine("virtual 100 W", 100, (2, 500), (1, 4000), 12000, (175, 175), spot_um=60)
    mid = Machine("virtual 60 W", 60, (2, 500), (1, 4000), 10000, (175, 175), spot_um=50)
    small = Machine("virtual 20 W", 20, (4, 200), (20, 1000), 8000, (110, 110), spot_um=40)

    def sheet(name: str, grade: str, finish: str = "2B") -> Stock:
        return Stock(f"virtual {name}", grade, finish, 1.5, (120, 120))

    box60 = {"power_pct": (24.0, 54.0), "speed_mm_s": (500.0, 1500.0), "freq_khz": (150.0, 600.0), "pulse_ns": (8.0, 48.0)}
    box20 = {"power_pct": (40.0, 90.0), "speed_mm_s": (140.0, 420.0), "freq_khz": (60.0, 240.0), "pulse_ns": (10.0, 60.0)}
    box100 = {"power_pct": (18.0, 40.0), "speed_mm_s": (700.0, 2100.0), "freq_khz": (200.0, 800.0), "pulse_ns": (6.0, 36.0)}
    return (
        VirtualLaser(
            "60 W austenitic", mid, sheet("304", "304"), box60, 0.003, "austenitic steel", "hematite", "magnetite",
            middle_nm=95, true_spot_um=53,
        ),
        VirtualLaser(
            "20 W austenitic", small, sheet("316", "316L"), box20, 0.003, "austenitic steel", "chromia, invented", "spinel, invented",
            middle_nm=80, true_spot_um=37, dial_gamma=1.12, background_k=350, pulse_k=900, activation_k=6600, outer_share=0.35,
            droop=0.05, melt_j_cm2=22,
        ),
        VirtualLaser(
            "100 W ferritic", big, sheet("430", "430", "BA"), box100, 0.002, "ferritic steel", "chromia, invented", "chromia, invented",
            middle_nm=110, true_spot_um=64, background_k=480, pulse_k=650, activation_k=7400, porous=0.08,
        ),
        VirtualLaser(
            "60 W brushed", mid, sheet("304 brushed", "304", "brushed"), box60, 0.003, "austenitic steel", "hematite",
            "spinel, invented", middle_nm=85, true_spot_um=50, rough=0.2, background_k=450, pulse_k=700, activation_k=6800,
            outer_share=0.3, melt_j_cm2=9, dial_gamma=0.96,
        ),
        VirtualLaser(
            "60 W titanium", mid, sheet("titanium", "titanium grade 2"), box60, 0.003, "titanium", "titania, invented",
            "suboxide, invented", middle_nm=115, true_spot_um=53, background_k=520, pulse_k=850, activation_k=8600, outer_share=0.7,
            porous=0.05, crack_nm=600, melt_j_cm2=15,
        ),
        VirtualLaser(
            "20 W brass", small, sheet("brass", "brass CuZn37"), box20, 0.003, "brass", "zincite, invented", "cuprous, invented",
            middle_nm=90, true_spot_um=40, background_k=380, pulse_k=750, outer_share=0.5, porous=0.05, ablate_kw=6.0, melt_j_cm2=20,
        ),
    )  # fmt: skip


def scatter_de00(laser: VirtualLaser, seed: int = 0) -> float:
    """Median ΔE00 between fresh marks and the truth: what no model can be better than on a single mark."""
    at = laser.settings(256, 99)
    return float(np.median(delta_e00(laser.fresh(at, np.random.default_rng(seed)), laser.lab(at))))
