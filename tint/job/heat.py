"""How warm the plate becomes: its energy balance as one body that loses heat to the air."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tint.errors import LimitError
from tint.metal import AUSTENITIC, Metal, metal_of
from tint.setting import Stock


@dataclass(frozen=True)
class HeatInputs:
    """What the balance needs besides the plate and the laser; every number is stated so that a shop can replace it.

    Parameters
    ----------
    absorptivity : share of the laser's power that stays in the plate [1]
    loss_w_m2_k : heat given to the air per area and degree, convection and radiation together [W/(m² K)]
    warm_start_k : a layer should not start on a plate warmer than this above the room [K]
    hot_plate_k : above this the plate is called hot and the operator warned [K]
    thin_mm : below this thickness a plate can bow out of focus [mm]

    Raises
    ------
    LimitError
        A number is not above 0, or the absorptivity beyond 1.
    """

    absorptivity: float = 0.4  # bare steel takes 0.3 to 0.4 near 1 µm, an oxide film more (from memory)
    loss_w_m2_k: float = 10.0  # still air 2 to 25 (range from memory), plus about 5 by radiation from an oxidised face
    # A film that grows near 1000 K feels 10 K as 1 % more heat, the size of the power's jitter (estimate, no source).
    warm_start_k: float = 10.0
    hot_plate_k: float = 30.0  # common practice, no source; well above what a shop's air varies over a day
    thin_mm: float = 0.5  # common practice, no source

    def __post_init__(self) -> None:
        for name in ("absorptivity", "loss_w_m2_k", "warm_start_k", "hot_plate_k", "thin_mm"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0) or (name == "absorptivity" and value > 1):
                need = "above 0 and at most 1" if name == "absorptivity" else "a number above 0"
                raise LimitError(f"{name} {value:g} of the heat balance cannot be; it is {need}.")


@dataclass(frozen=True)
class Plate:
    """The part of the plate that warms as one body.

    Parameters
    ----------
    metal : what it is made of
    mass_kg : m [kg]
    surface_m2 : S, both faces [m²]
    loss_w_k : h S, heat lost per degree above the room [W/K]
    tau_s : τ = m c / (h S), time constant [s]
    whole : True where the whole plate takes part, False where only the part around the artwork does
    """

    metal: Metal
    mass_kg: float
    surface_m2: float
    loss_w_k: float
    tau_s: float
    whole: bool


def plate_of(stock: Stock, width_mm: float, height_mm: float, inputs: HeatInputs | None = None) -> Plate:
    """Plate that warms while an artwork of this size [mm] is marked; an unknown grade counts as austenitic steel.

    Notes
    -----
    Heat spreads sideways only as far as it is not lost to the air first: a fin cooled on both faces has the length
    √(k t / (2 h)), 27 mm for 1 mm of austenitic steel in still air. The body is the artwork's rectangle grown by that
    length on each side, at most the whole plate. Within the body the temperature is taken as even: early in a job, and
    at the place being marked, the metal is warmer than this.

    References
    ----------
    Incropera et al., "Fundamentals of Heat and Mass Transfer", chapters 3.6 (fins) and 5.1 to 5.3 (lumped capacitance).
    """
    inputs = inputs or HeatInputs()
    metal = metal_of(stock.grade) or AUSTENITIC
    thick_m = stock.thickness_mm / 1e3
    spread_m = math.sqrt(metal.conductivity_w_m_k * thick_m / (2 * inputs.loss_w_m2_k))
    wanted = [side / 1e3 + 2 * spread_m for side in (width_mm, height_mm)]
    limits = [side / 1e3 for side in stock.size_mm]
    sides = [min(pair) for pair in zip(wanted, limits, strict=True)]
    face_m2 = sides[0] * sides[1]
    mass_kg = face_m2 * thick_m * metal.density_kg_m3
    loss_w_k = inputs.loss_w_m2_k * 2 * face_m2
    tau_s = mass_kg * metal.heat_capacity_j_kg_k / loss_w_k
    return Plate(metal, mass_kg, 2 * face_m2, loss_w_k, tau_s, sides == limits)


def rise_k(absorbed_w: float, loss_w_k: float, tau_s: float, time_s: float, start_k: float = 0.0) -> float:
    """Temperature above the room [K] after a time, ΔT = ΔT₀ e^(−t/τ) + (A P / h S) (1 − e^(−t/τ)).

    Parameters
    ----------
    absorbed_w : A P, heat put in [W]; 0 while cooling
    loss_w_k : h S [W/K]
    tau_s : τ [s]
    time_s : t [s]
    start_k : ΔT₀, temperature above the room at the start [K]

    Notes
    -----
    One body at one temperature (Biot number below 0.1: a 1 mm steel plate in air has 0.0003) that loses heat in proportion
    to its temperature above the room.

    References
    ----------
    Incropera et al., "Fundamentals of Heat and Mass Transfer", equations 5.6 and 5.25 (numbers from memory).

    Examples
    --------
    >>> round(rise_k(absorbed_w=8, loss_w_k=0.2, tau_s=200, time_s=200), 2)  # 63 % of 40 K after one time constant
    25.28
    """
    left = math.exp(-time_s / tau_s)
    return start_k * left - absorbed_w / loss_w_k * math.expm1(-time_s / tau_s)


def cooling_wait_s(warm_k: float, allowed_k: float, tau_s: float) -> float:
    """Time [s] until a plate `warm_k` above the room has cooled to `allowed_k` [K]; 0 where it is cool enough.

    Examples
    --------
    >>> round(cooling_wait_s(20, 10, 200), 1)
    138.6
    """
    return max(0.0, tau_s * float(np.log(warm_k / allowed_k))) if warm_k > 0 else 0.0
