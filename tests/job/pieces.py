"""Invented pieces for the tests of the job folder: a shop marking signs for a nature reserve. All data simulated."""

from __future__ import annotations

import numpy as np
import shapely

from tint.layers.layers import Layers
from tint.palette.palette import Palette, PaletteColour
from tint.setting import Machine, Setting, Stock

LASER = Machine(
    "bench laser (invented)", 60, [2, 500], [1, 4000], 10000, [175, 175], lens_focal_mm=254, spot_um=60
)  # fmt: skip
STEEL = Stock("sign plate (invented)", "304", "2B", 1.0, (120, 80), "2026-03")
SIMULATED = "simulated: invented colours, not from a real plate"
COLOURS = (  # name, setting, Lab, de00_90, sensitivity: invented
    ("dark blue", Setting(18, 800, 500, 6, 0.002), (38, 5, -35), 3.1, 2.9),
    ("straw", Setting(25, 900, 200, 6, 0.004), (74, 6, 38), 2.0, 0.9),
    ("purple", Setting(18, 800, 367, 6, 0.002, hatch_deg=90), (36, 30, -22), 3.8, 4.4),
    ("reed green", Setting(18, 800, 570, 6, 0.003, passes=2, focus_mm=-0.5), (55, -20, 12), 4.2, 3.6),
    ("rust red", Setting(22, 1000, 333, 6, 0.002), (45, 38, 20), 3.3, 3.0),
    ("black", Setting(30, 800, 300, 60, 0.003), (20, 0, 1), 1.2, 0.3),
    ("sky blue", Setting(20, 850, 450, 6, 0.0025, hatch_deg=np.nan), (68, -12, -18), 2.6, 1.8),
    ("brown", Setting(24.4, 700, 300, 60, 0.003), (42, 12, 18), 2.2, 1.1),
    ("pale grey", Setting(18, 800, 1000, 6, 0.005), (66, 0, 2), 1.4, 0.4),
    ("gold", Setting(21.5, 950, 250, 8, 0.003), (64, 12, 46), 2.4, 1.6),
)


def palette(count: int = 4, remarks: tuple[str, ...] = (SIMULATED,), stock: Stock = STEEL) -> Palette:
    """Palette of `count` invented colours; beyond ten they repeat under a longer name."""
    colours = []
    for index in range(count):
        name, setting, lab, radius, loudness = COLOURS[index % len(COLOURS)]
        name = name if index < len(COLOURS) else f"{name} {index // len(COLOURS) + 1}"
        colours.append(PaletteColour(name, setting, np.array(lab, float), radius, loudness))
    jitter = "1 % power, 0.5 µm line spacing (standard deviations)"
    return Palette("reserve signs", LASER, stock, tuple(colours), np.array([78.0, 0.4, 3.2]), remarks, jitter)


def pixel_outline(labels: np.ndarray, number: int, pitch_mm: float) -> shapely.MultiPolygon:
    """Union of a label's pixels as a MultiPolygon [mm]."""
    y, x = np.nonzero(labels == number)
    boxes = shapely.box(x * pitch_mm, y * pitch_mm, (x + 1) * pitch_mm, (y + 1) * pitch_mm)
    whole = shapely.union_all(boxes)
    return shapely.MultiPolygon(getattr(whole, "geoms", [whole] if not whole.is_empty else []))


def layers_of(labels: np.ndarray, pitch_mm: float, chosen: Palette, name: str = "kingfisher sign") -> Layers:
    """Layers of a small label map, outlined pixel by pixel."""
    outlines = tuple(pixel_outline(labels, number, pitch_mm) for number in range(1, len(chosen) + 1))
    nothing = np.full((len(chosen) + 1, 3), np.nan)
    return Layers(name, pitch_mm, labels.astype(np.uint8), chosen, nothing, nothing[:, 0], drawn=outlines)


def pond(count: int = 4, width: int = 120, height: int = 80) -> np.ndarray:
    """Label map (height, width): water in bands, a ring with a hole, islands and bare metal."""
    y, x = np.mgrid[:height, :width]
    bands = 1 + (y + 4 * np.sin(x / 9)).astype(int) * count // (height + 8)
    labels = np.clip(bands, 1, count)
    middle = np.hypot(x - width * 0.4, y - height * 0.5)
    labels[middle < height * 0.3] = 2 if count > 1 else 1
    labels[middle < height * 0.15] = 0
    labels[5:12, width - 20 : width - 8] = count
    labels[height - 14 :, : width // 4] = 0
    return labels.astype(np.uint8)
