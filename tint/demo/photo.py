"""SIMULATED photograph of the invented shop's plate: drawn, not taken, so that `tint measure --kind photo` has one to read.

An ideal camera sees patches and chart as sRGB, from a little aside, under light that falls off, with a streak of glare
and grain. It shows how a photo is read; how well cameras do is another matter.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from tint.lab import CHART_EDITIONS, chart_xyz100, lab_from_xyz100, srgb1_from_lab
from tint.measure.patches import Patches
from tint.plan.grid import Grid
from tint.plan.marks import mark_squares

EDITION = next(iter(CHART_EDITIONS))
SIZE_PX = (1800, 1200)
FLAT_PX_MM = 12  # scale the scene is drawn at before it is seen at an angle
CHART_MM, CHART_GAP_MM, CHART_RIM_MM = 14.0, 2.5, 6.0  # a chart that fits a pocket
AWAY_MM = 12.0  # from plate to chart
TABLE, METAL_DARK, FRAME = (96, 84, 74), (58, 55, 54), (42, 42, 42)
FALL_OFF, GLARE, GRAIN = 0.22, 0.16, 0.004  # shares of the light


def photo_jpeg(grid: Grid, marked: Patches, seed: int = 0) -> bytes:
    """JPEG of the plate of a grid, marked with the colours of `marked`, beside a 24-patch chart of the edition `EDITION`."""
    from PIL import Image, ImageFilter

    flat, size_mm = _flat_scene(grid, marked)
    plate = Image.new("L", flat.size)
    plate.paste(255, tuple(((np.array([0, 0, *grid.plate_mm]) + AWAY_MM) * FLAT_PX_MM).astype(int).tolist()))
    seen, on_plate = (
        layer.transform(SIZE_PX, Image.Transform.PERSPECTIVE, _view(size_mm), Image.Resampling.BICUBIC, fillcolor=fill)
        for layer, fill in ((flat, TABLE), (plate, 0))
    )
    light1 = _light(np.asarray(seen.filter(ImageFilter.GaussianBlur(0.8)), dtype=np.float32) / 255)
    y, x = np.mgrid[0 : SIZE_PX[1], 0 : SIZE_PX[0]].astype(np.float32) / SIZE_PX[0]
    light1 *= (0.95 - FALL_OFF * (0.8 * x + 0.5 * y))[..., None]
    streak = np.exp(-(((x - 0.12 - 0.35 * y) / 0.012) ** 2))
    light1 += (GLARE / 255 * streak * np.asarray(on_plate))[..., None]
    light1 += GRAIN * np.random.default_rng(seed).standard_normal(light1.shape, dtype=np.float32)
    out = io.BytesIO()
    exif = Image.Exif()
    exif[271], exif[272] = "SIMULATED", "ideal camera (no photo was taken)"
    Image.fromarray(_levels(light1)).save(out, "JPEG", quality=92, exif=exif)
    return out.getvalue()


def _flat_scene(grid: Grid, marked: Patches) -> tuple[Any, np.ndarray]:
    """Picture of plate and chart from straight above, and its size [mm]."""
    from PIL import Image, ImageDraw

    step = CHART_MM + CHART_GAP_MM
    chart = np.array([6 * step, 4 * step]) - CHART_GAP_MM + 2 * CHART_RIM_MM
    size = np.array([grid.plate_mm[0] + AWAY_MM + chart[0], max(grid.plate_mm[1], chart[1])]) + 2 * AWAY_MM
    picture = Image.new("RGB", tuple(np.round(size * FLAT_PX_MM).astype(int).tolist()), TABLE)
    draw = ImageDraw.Draw(picture)

    def fill(top_left: np.ndarray, span: object, colour: tuple[int, ...]) -> None:
        low = (np.asarray(top_left) + AWAY_MM) * FLAT_PX_MM
        draw.rectangle([*low.tolist(), *(low + np.asarray(span) * FLAT_PX_MM - 1).tolist()], fill=colour)

    def screen(lab: np.ndarray) -> tuple[int, ...]:
        return tuple(np.round(255 * srgb1_from_lab(lab)).astype(int).tolist())

    bare = marked.bare_lab if marked.bare_lab is not None else np.array([82.0, 0.5, 3.0])
    fill(np.zeros(2), grid.plate_mm, screen(bare))
    for mark in grid.registration.marks if grid.registration else ():
        for low, high in mark_squares(mark):
            fill(low, high - low, METAL_DARK)
    for xy, lab in zip(marked.xy_mm, marked.lab, strict=True):
        fill(xy - grid.patch_mm / 2, (grid.patch_mm, grid.patch_mm), screen(lab))
    corner = np.array([grid.plate_mm[0] + AWAY_MM, (grid.plate_mm[1] - chart[1]) / 2])
    fill(corner, chart, FRAME)
    for k, lab in enumerate(lab_from_xyz100(chart_xyz100(EDITION))):
        fill(corner + CHART_RIM_MM + step * np.array([k % 6, k // 6]), (CHART_MM, CHART_MM), screen(lab))
    return picture, size


def _view(size_mm: np.ndarray) -> tuple[float, ...]:
    """Eight numbers of the perspective from photo [px] to the flat scene [px], as Pillow takes them."""
    width, height = size_mm * FLAT_PX_MM
    corners = np.array([[0.06, 0.09], [0.97, 0.03], [0.94, 0.95], [0.03, 0.90]]) * SIZE_PX  # of the scene in the photo
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    rows, right = [], []
    for (x, y), (u, v) in zip(corners, flat, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return tuple(np.linalg.solve(np.array(rows), np.array(right)).tolist())


def _light(srgb1: np.ndarray) -> np.ndarray:
    return np.where(srgb1 <= 0.04045, srgb1 / 12.92, ((srgb1 + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1


def _levels(light1: np.ndarray) -> np.ndarray:
    light1 = np.clip(light1, 0, 1)
    return np.round(
        255 * np.where(light1 <= 0.0031308, 12.92 * light1, 1.055 * np.maximum(light1, 1e-6) ** (1 / 2.4) - 0.055)
    ).astype(np.uint8)
