"""Proof and key on the job sheet: as large as the page allows, side by side or one above the other."""

from __future__ import annotations

from dataclasses import dataclass

from tint.job.page import GREY, LEFT_MM, WIDTH_MM, Page
from tint.job.record import Job
from tint.job.thumbnail import key_picture, key_spots, proof_picture
from tint.layers.layers import Layers

KEY_MM = 60.0  # least width of the key where a large proof leaves it less than half
NEAR_TRUE = 1.15  # pictures this little larger than the piece are drawn at its true size
DISC_MM = 2.0


@dataclass(frozen=True)
class Arranged:
    """Scales of proof and key, the height [mm] both need with their titles, and where the key stands from the proof [mm]."""

    scale: float
    key_scale: float
    height_mm: float
    key_right_mm: float
    key_down_mm: float


def arranged(job: Job, room_mm: float, width_mm: float = WIDTH_MM) -> Arranged:
    """Proof with the key beside it, or below it where that makes both larger: long, flat pieces; in so much paper [mm]."""
    beside = _near_true(min((width_mm - 6 - KEY_MM) / job.width_mm, (room_mm - 4.5) / job.height_mm))
    below = _near_true(min(width_mm / job.width_mm, (room_mm - 11) / 2 / job.height_mm))
    if below > beside:
        down_mm = job.height_mm * below + 6.5
        return Arranged(below, below, down_mm + job.height_mm * below + 4.5, 0.0, down_mm)
    right_mm = max((width_mm - 6) / 2, job.width_mm * beside) + 6
    key = min(beside, (width_mm - right_mm) / job.width_mm)
    return Arranged(beside, key, job.height_mm * beside + 4.5, right_mm, 0.0)


def draw_pictures(page: Page, job: Job, layers: Layers, y: float, height: float, width_mm: float = WIDTH_MM) -> float:
    """Draws proof and key from `y` [mm] into a height [mm] that `arranged` gave; where the next thing may start [mm]."""
    placed = arranged(job, height, width_mm)
    scale, key_scale = placed.scale, placed.key_scale
    key_x, key_y = LEFT_MM + placed.key_right_mm, y + placed.key_down_mm
    size = f"{layers.width_mm:g} × {layers.height_mm:g} mm"
    note = f"drawn at true size, {size}" if scale == 1 else f"drawn at {100 * scale:.0f} % of true size, {size}"
    for x, top, title, data, words, times in (
        (LEFT_MM, y, "PROOF", proof_picture(layers), note, scale),
        (key_x, key_y, "KEY", key_picture(layers), "numbers in marking order", key_scale),
    ):
        width, tall = layers.width_mm * times, layers.height_mm * times
        page.text(x, top + 2.3, title, 6, bold=True, grey=GREY)
        most_mm = KEY_MM - 14 if x > LEFT_MM else min(76.0, (placed.key_right_mm or WIDTH_MM) - 15)
        page.text(x + 13 - 3 * (x > LEFT_MM), top + 2.3, words, 6.5, grey=GREY, width_mm=most_mm)
        page.picture(data, x, top + 3.8, width, tall)
        page.box(x, top + 3.8, width, tall, frame_pt=0.4, grey=0.3)
    _key_discs(page, job, layers, key_x, key_y + 3.8, key_scale)
    return y + height + 2.5


def _key_discs(page: Page, job: Job, layers: Layers, x: float, y: float, scale: float) -> None:
    width, tall = layers.width_mm * scale, layers.height_mm * scale
    radius = min(DISC_MM, 0.48 * min(width, tall))
    order = {layer.number: layer.order for layer in job.layers}
    for spot in key_spots(layers, 2.2 * radius / scale):
        at = [min(max(share * side, radius), side - radius) for share, side in ((spot.x, width), (spot.y, tall))]
        number = order[spot.number]
        page.disc(x + at[0], y + at[1], radius, str(number), (6 if number < 100 else 4.5) * radius / DISC_MM)


def _near_true(scale: float) -> float:
    return 1.0 if 1 - 1e-9 <= scale <= NEAR_TRUE else scale
