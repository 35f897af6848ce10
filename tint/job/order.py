"""Which layer is marked when, how long it takes, and how warm the plate becomes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import LimitError
from tint.job.heat import HeatInputs, Plate, cooling_wait_s, plate_of, rise_k
from tint.job.inset import Inset
from tint.job.rings import Rings, rings_of
from tint.layers.layers import Layers
from tint.metal import AUSTENITIC, metal_of
from tint.process import process
from tint.setting import Machine, Setting

RULE = (
    "Colours that shift most under jitter are marked first, while the plate is cold; among those less than about 0.5 ΔE00 apart "
    "the layer that brings the least heat into the plate comes first."
)
LOUDNESS_STEP_DE00 = 0.5  # sensitivities this close count as equal: they are estimated no better (no source)


@dataclass(frozen=True)
class Timing:
    """What a machine spends besides marking.

    Parameters
    ----------
    turn_ms : from the end of one scan line to the start of the next: laser delays and turning mirrors [ms]
    jump_ms : settling after a jump to another region [ms]
    jump_speed_mm_s : speed of such a jump [mm/s]; None takes the machine's highest speed
    source : where the numbers come from, in words

    Raises
    ------
    LimitError
        A number is negative, or the speed not above 0.
    """

    turn_ms: float = 0.6
    jump_ms: float = 1.0
    jump_speed_mm_s: float | None = None
    source: str = "common practice, no source"

    def __post_init__(self) -> None:
        for name in ("turn_ms", "jump_ms"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) >= 0):
                raise LimitError(f"{name} {getattr(self, name):g} cannot be; it is a number from 0 up.")
        speed = self.jump_speed_mm_s
        if speed is not None and not (math.isfinite(speed) and speed > 0):
            raise LimitError(f"jump_speed_mm_s {speed:g} cannot be; it is a number above 0.")


@dataclass(frozen=True, eq=False)
class LayerTime:
    """What the marking of one layer takes.

    Parameters
    ----------
    scan_s : laser on, along all scan lines of all passes [s]
    turn_s : turning between scan lines [s]
    jump_s : jumps between regions [s]
    lines : scan lines of all passes; a line that leaves the layer and enters it again counts twice
    jumps : jumps to another region, of all passes
    jump_mm : their way together [mm]
    """

    scan_s: float
    turn_s: float
    jump_s: float
    lines: float
    jumps: float
    jump_mm: float

    @property
    def total_s(self) -> float:
        """Sum [s]."""
        return self.scan_s + self.turn_s + self.jump_s


@dataclass(frozen=True)
class JobLayer:
    """One layer of a job.

    Parameters
    ----------
    order : when it is marked, 1 first; the number people see, in file names and on the sheet
    number : number of its palette colour, for programs
    name : name of its palette colour
    setting : single setting
    lab : predicted colour, CIELAB D50/2°
    de00_90 : radius [ΔE00] within which 9 of 10 fresh marks should land
    sensitivity_de00 : expected shift [ΔE00] under the jitter the palette states
    area_mm2 : area [mm²]
    time_s : marking [s], without the wait before it
    wait_s : suggested cooling wait before it [s]
    start_k, end_k : plate above the room when it starts and when it ends [K]
    remark : what heat means for this layer, "" where nothing
    scan_s, lines, jumps, jump_mm : what its time is made of, as in `LayerTime`; 0 where not counted
    """

    order: int
    number: int
    name: str
    setting: Setting
    lab: tuple[float, float, float]
    de00_90: float
    sensitivity_de00: float
    area_mm2: float
    time_s: float
    wait_s: float
    start_k: float
    end_k: float
    remark: str = ""
    scan_s: float = 0.0
    lines: float = 0.0
    jumps: float = 0.0
    jump_mm: float = 0.0


def plan_order(
    layers: Layers,
    machine: Machine,
    timing: Timing | None = None,
    heat: HeatInputs | None = None,
    inset: Inset | None = None,
) -> tuple[JobLayer, ...]:
    """Layers of the artwork in marking order, with time, cooling wait and plate temperature.

    Parameters
    ----------
    timing : what the machine spends besides marking; None takes the stated defaults
    heat : inputs of the heat balance; None takes the stated defaults
    inset : what is marked instead of the whole outlines; areas stay those of the artwork

    Raises
    ------
    LimitError
        A setting is outside the machine.

    Notes
    -----
    Order: see `RULE`. A colour that shifts most under jitter changes most when the plate is not as cold as the test grid was, so it gets the
    coldest plate; heat already in the plate then falls on colours that show it least. Waits let the plate cool to
    `HeatInputs.warm_start_k` before a layer starts.
    """
    timing, heat = timing or Timing(), heat or HeatInputs()
    plate = plate_of(layers.palette.stock, layers.width_mm, layers.height_mm, heat)
    planned: list[JobLayer] = []
    warm_k = 0.0
    for number in _sorted_numbers(layers, machine):
        colour = layers.palette.colours[number - 1]
        outline = inset.regions[number - 1] if inset else layers.outlines[number - 1]
        took = layer_time(outline, colour.setting, machine, timing, inset.centre_lines[number - 1] if inset else None)
        wait_s = float(math.ceil(cooling_wait_s(warm_k, heat.warm_start_k, plate.tau_s)))
        start_k = rise_k(0.0, plate.loss_w_k, plate.tau_s, wait_s, warm_k)
        laser_on = took.scan_s / took.total_s if took.total_s else 0.0
        mean_w = float(machine.average_power_w(colour.setting)) * laser_on
        warm_k = rise_k(heat.absorptivity * mean_w, plate.loss_w_k, plate.tau_s, took.total_s, start_k)
        lightness, a, b = (round(float(value), 4) for value in colour.lab)
        planned.append(
            JobLayer(
                len(planned) + 1, number, colour.name, colour.setting, (lightness, a, b),
                round(float(colour.de00_90), 4), round(float(colour.sensitivity_de00), 4),
                round(layers.area_mm2(number), 6), round(took.total_s, 2), wait_s,
                round(start_k, 2), round(warm_k, 2), _layer_remark(wait_s, warm_k, heat),
                round(took.scan_s, 3), round(took.lines, 1), took.jumps, round(took.jump_mm, 1),
            )
        )  # fmt: skip
    return tuple(planned)


def layer_time(
    outline: Any, setting: Setting, machine: Machine, timing: Timing | None = None, centre_lines: Any = None
) -> LayerTime:
    """Time one layer takes; `outline` is a shapely polygon or multipolygon [mm], `setting` a single one.

    Parameters
    ----------
    centre_lines : shapely MultiLineString [mm] of strokes marked by a single line, None where there are none

    Notes
    -----
    Scan time is N A / (h v). The number of scan lines needs no scan lines drawn: lines a distance h apart cross the
    outline, on average, Σ|Δ|/h times, Δ being the steps of its rings across the lines, and two crossings make one line.
    Regions are marked one after another in strips to and fro; each costs one jump. An unknown hatch angle counts as 0°.
    """
    timing = timing or Timing()
    spacing_mm, speed, passes = float(setting.spacing_mm), float(setting.speed_mm_s), float(setting.passes)
    rings = rings_of(outline)
    regions = len(rings.boxes_mm)
    across_mm = _steps_across_mm(rings, float(setting.hatch_deg))
    lines = passes * max(across_mm / 2 / spacing_mm, regions)
    jump_mm = _tour_mm(rings.boxes_mm)
    scan_s = passes * float(outline.area) / (spacing_mm * speed)
    if centre_lines is not None and len(centre_lines.geoms):
        scan_s += passes * float(centre_lines.length) / speed
        lines += passes * len(centre_lines.geoms)
        boxes = np.array([line.bounds for line in centre_lines.geoms])
        regions += len(boxes)
        jump_mm += _tour_mm(boxes)
    jump_speed = timing.jump_speed_mm_s or machine.max_speed_mm_s
    return LayerTime(
        scan_s=scan_s,
        turn_s=lines * timing.turn_ms / 1e3,
        jump_s=passes * (jump_mm / jump_speed + regions * timing.jump_ms / 1e3),
        lines=lines,
        jumps=passes * regions,
        jump_mm=passes * jump_mm,
    )


def heat_remarks(layers: Layers, planned: tuple[JobLayer, ...], heat: HeatInputs | None = None) -> tuple[str, ...]:
    """Remarks on the plate's heat, one line each; none for a thick, large plate."""
    heat, stock = heat or HeatInputs(), layers.palette.stock
    plate = plate_of(stock, layers.width_mm, layers.height_mm, heat)
    remarks = []
    if metal_of(stock.grade) is None:
        remarks.append(f"Heat: grade {stock.grade!r} is not known here; counted as {AUSTENITIC.name}.")
    hottest = max(planned, key=lambda layer: layer.end_k)
    if hottest.end_k > heat.hot_plate_k:
        remarks.append(_hot_text(plate, hottest, stock.thickness_mm))
    if stock.thickness_mm < heat.thin_mm:
        remarks.append(
            f"Thin plate: {stock.thickness_mm:g} mm can bow out of focus while it warms; clamp it flat on a metal block."
        )
    return tuple(remarks)


def _hot_text(plate: Plate, hottest: JobLayer, thickness_mm: float) -> str:
    what = "Small or thin plate" if plate.whole else "Thin plate"
    return (
        f"{what} ({thickness_mm:g} mm, {plate.mass_kg * 1e3:.0f} g take up the heat): about {hottest.end_k:.0f} K above the "
        f"room at the end of {hottest.name}. Colours may differ from the test grid: clamp the plate on a thick metal block, "
        "wait between layers, mark the trial on the same fixture."
    )


def _layer_remark(wait_s: float, end_k: float, heat: HeatInputs) -> str:
    parts = []
    if wait_s:
        parts.append(f"let the plate cool for {clock(wait_s)} first")
    if end_k > heat.hot_plate_k:
        parts.append(f"plate reaches about {end_k:.0f} K above the room")
    return "; ".join(parts)


def clock(time_s: float) -> str:
    """Time as minutes:seconds, or hours:minutes:seconds from one hour on; seconds are rounded up.

    Examples
    --------
    >>> clock(75.2), clock(3600)
    ('1:16', '1:00:00')
    """
    whole = math.ceil(time_s - 1e-9)
    minutes, seconds = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"


def _sorted_numbers(layers: Layers, machine: Machine) -> list[int]:
    colours = layers.palette.colours
    for number in layers.used:
        try:
            machine.check(colours[number - 1].setting)
        except LimitError as error:
            raise LimitError(f"{colours[number - 1].name} (palette no. {number}): {error}") from None

    def key(number: int) -> tuple[float, float, int]:
        colour = colours[number - 1]
        loudness = round(colour.sensitivity_de00 / LOUDNESS_STEP_DE00)
        energy_j = float(process(colour.setting, machine).areal_energy_j_mm2) * layers.area_mm2(number)
        return (-loudness, energy_j, number)

    return sorted(layers.used, key=key)


def _steps_across_mm(rings: Rings, hatch_deg: float) -> float:
    # hatch angle counts from x to the right, anticlockwise as seen; y points down
    angle = 0.0 if math.isnan(hatch_deg) else math.radians(hatch_deg)
    return float(np.abs(rings.steps_mm() @ [math.sin(angle), math.cos(angle)]).sum())


def _tour_mm(boxes_mm: np.ndarray) -> float:
    """Length [mm] of a walk over the regions in strips to and fro, strips as wide as regions stand apart."""
    if len(boxes_mm) < 2:
        return 0.0
    points = (boxes_mm[:, :2] + boxes_mm[:, 2:]) / 2
    extent = np.ptp(points, axis=0)
    strip_mm = math.sqrt(max(float(extent.prod()), 1e-12) / len(points))
    strip = np.floor((points[:, 1] - points[:, 1].min()) / strip_mm)
    along = np.where(strip % 2 == 0, points[:, 0], -points[:, 0])
    walk = points[np.lexsort((along, strip))]
    return float(np.hypot(*np.diff(walk, axis=0).T).sum())
