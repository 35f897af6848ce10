"""Process quantities: what a setting means on a given machine, in physical units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.setting import Machine, Setting


@dataclass(frozen=True, eq=False)
class Process:
    """Physical quantities of settings on a machine; every field is an array of the setting's shape.

    Attributes
    ----------
    average_power_w : P, average power [W]
    pulse_energy_uj : P / f [µJ]
    peak_power_kw : P / (f τ) [kW]
    spot_mm : d, beam diameter at the surface (1/e²), widened out of focus [mm]
    fluence_j_cm2 : peak fluence 8 P / (f π d²) [J/cm²]
    pulse_pitch_mm : v / f, distance between pulses [mm]
    pulse_overlap : 1 − v / (f d) [1]; negative where pulses stand apart
    line_overlap : 1 − h / d [1]
    pulses_per_spot : d f / v, pulses of one scan line that hit one place [1]
    linear_energy_j_mm : P / v [J/mm]
    areal_energy_j_mm2 : N P / (v h) [J/mm²]
    """

    average_power_w: np.ndarray
    pulse_energy_uj: np.ndarray
    peak_power_kw: np.ndarray
    spot_mm: np.ndarray
    fluence_j_cm2: np.ndarray
    pulse_pitch_mm: np.ndarray
    pulse_overlap: np.ndarray
    line_overlap: np.ndarray
    pulses_per_spot: np.ndarray
    linear_energy_j_mm: np.ndarray
    areal_energy_j_mm2: np.ndarray


def process(setting: Setting, machine: Machine) -> Process:
    """Process quantities of a setting (any shape) on a machine; raises nothing, as `Machine.check` keeps the limits.

    Parameters
    ----------
    setting : what is dialled; any shape
    machine : turns percent into watts and knows the spot

    Notes
    -----
    Standard formulas, P average power, f frequency, v speed, h line spacing, d spot, τ pulse width, N passes; see
    `Process` for each. A pulse is taken as a square of width τ, a beam as Gaussian: peak power and fluence of a real
    source differ by its pulse shape, within a factor of two (common practice, no source).

    Examples
    --------
    >>> from tint import Machine, Setting
    >>> laser = Machine("bench", 100, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
    >>> float(process(Setting(18, 800, 500, 6, 0.002), laser).areal_energy_j_mm2)
    11.25
    """
    power = machine.average_power_w(setting)
    freq_hz, pulse_s = setting.freq_khz * 1e3, setting.pulse_ns * 1e-9
    spot_mm = spot_out_of_focus_mm(machine, setting.focus_mm)
    energy_j = power / freq_hz
    pitch = setting.speed_mm_s / freq_hz
    linear = power / setting.speed_mm_s
    return Process(
        average_power_w=power,
        pulse_energy_uj=energy_j * 1e6,
        peak_power_kw=energy_j / pulse_s / 1e3,
        spot_mm=spot_mm,
        fluence_j_cm2=8 * energy_j / (np.pi * (spot_mm / 10) ** 2),
        pulse_pitch_mm=pitch,
        pulse_overlap=1 - pitch / spot_mm,
        line_overlap=1 - setting.spacing_mm / spot_mm,
        pulses_per_spot=spot_mm / pitch,
        linear_energy_j_mm=linear,
        areal_energy_j_mm2=setting.passes * linear / setting.spacing_mm,
    )


def spot_mm(machine: Machine) -> float:
    """Spot of the machine at focus (1/e² diameter) [mm]: stated, or d = 4 M² λ F / (π D) from the lens.

    Examples
    --------
    >>> from tint import Machine
    >>> lens = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], lens_focal_mm=254, beam_mm=7.5, m2=1.3)
    >>> round(spot_mm(lens), 4)
    0.0596
    """
    if machine.spot_um is not None:
        return machine.spot_um / 1e3
    assert machine.beam_mm is not None and machine.lens_focal_mm is not None  # Machine made sure of it
    return 4 * machine.m2 * machine.wavelength_nm * 1e-6 * machine.lens_focal_mm / (np.pi * machine.beam_mm)


def rayleigh_mm(machine: Machine) -> float:
    """Rayleigh range of the machine [mm], π d² / (4 M² λ): there the spot is √2 wider than at focus."""
    return np.pi * spot_mm(machine) ** 2 / (4 * machine.m2 * machine.wavelength_nm * 1e-6)


def spot_out_of_focus_mm(machine: Machine, focus_mm: np.ndarray) -> np.ndarray:
    """Beam diameter at the surface [mm], d √(1 + (z / z_R)²), for offsets from focus z [mm], same shape."""
    return spot_mm(machine) * np.sqrt(1 + (np.asarray(focus_mm) / rayleigh_mm(machine)) ** 2)
