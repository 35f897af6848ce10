"""A picture of what was read where in a photograph: to be looked at before its numbers are believed."""

from __future__ import annotations

import io

import numpy as np

from tint.lab import srgb255_from_lab
from tint.measure.photo.read import CHART_KEEP, KEEP, OnePhoto
from tint.measure.photo.vision import mapped, opencv, square
from tint.plan.grid import Grid

LONGEST_PX = 2000
NAMED_FROM_PX = 36.0  # side of a patch in the picture below which its name could not be read
DARK_L = 62.0  # a colour at most this light takes white letters
GOOD, BAD, FOUND = (255, 255, 255), (230, 30, 30), (255, 200, 0)


def overlay_png(grid: Grid, one: OnePhoto) -> bytes:
    """PNG of a photograph with what was read: patches read white, flagged ones red and crossed, marks and chart yellow.

    Each patch carries a square of the colour that was read, so that a misplaced grid shows at a glance.
    """
    from PIL import Image, ImageDraw, ImageFont

    photo = one.photo
    scale = min(2.0, LONGEST_PX / max(photo.size_px))
    cv2 = opencv()
    small = cv2.resize(
        photo.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    )
    if photo.full > 255:  # as a screen shows it
        small = np.round(255 * photo.linear1(small) ** (1 / 2.2)).astype(np.uint8)
    picture = Image.fromarray(small)
    draw = ImageDraw.Draw(picture)

    def outline(corners_px: np.ndarray, colour: tuple[int, int, int], width: int = 2) -> None:
        points = [tuple(point) for point in ((corners_px + 0.5) * scale - 0.5).tolist()]
        draw.line([*points, points[0]], fill=colour, width=width, joint="curve")

    def at(xy_mm: np.ndarray) -> tuple[float, float]:
        x, y = (mapped(one.plate.to_px, xy_mm) + 0.5) * scale - 0.5
        return float(x), float(y)

    outline(one.plate.outline_px(grid), FOUND)
    if grid.registration is not None:
        for mark in grid.registration.marks:
            if mark.number in one.plate.found:
                outline(mapped(one.plate.to_px, mark.corners_mm), FOUND)
    outline(one.chart.outline_px(rim=0.5), FOUND)  # around its outer patches: how wide the frame is, nobody knows
    for centre in one.chart.centres:
        outline(mapped(one.chart.to_px, square(centre, CHART_KEEP * one.chart.side)), FOUND, 1)
    side_px = float(np.linalg.norm(np.subtract(at(grid.xy_mm[0] + [grid.patch_mm, 0]), at(grid.xy_mm[0]))))
    font = ImageFont.load_default(max(9, int(0.28 * side_px)))
    srgb = srgb255_from_lab(one.lab)
    for i, xy in enumerate(grid.xy_mm):
        bad = bool(one.flags[i])
        corners = mapped(one.plate.to_px, square(xy, KEEP * grid.patch_mm))
        outline(corners, BAD if bad else GOOD, 2 if bad else 1)
        inner = ((mapped(one.plate.to_px, square(xy, 0.26 * grid.patch_mm)) + 0.5) * scale - 0.5).tolist()
        draw.polygon([tuple(point) for point in inner], fill=tuple(srgb[i].tolist()), outline=(0, 0, 0))
        if bad:
            (x0, y0), (x1, y1) = ((corners[[0, 2]] + 0.5) * scale - 0.5).tolist()
            draw.line([x0, y0, x1, y1], fill=BAD, width=2)
        if side_px < NAMED_FROM_PX:
            continue
        name_at = at(xy + np.array([0, -0.4 * grid.patch_mm]))
        ink = (0, 0, 0) if one.lab[i, 0] > DARK_L else (255, 255, 255)
        draw.text(name_at, grid.ids[i], font=font, fill=ink, anchor="mm")
    flagged = sum(1 for flag in one.flags if flag)
    said = (
        f"{photo.name}: {len(grid) - flagged} patches read, {flagged} flagged (red). "
        "Small square: the colour read. Yellow: plate, marks and chart as found."
    )
    strip = Image.new("RGB", (picture.width, picture.height + 30), (40, 40, 40))
    strip.paste(picture, (0, 0))
    ImageDraw.Draw(strip).text((10, picture.height + 6), said, font=ImageFont.load_default(15), fill=(255, 255, 255))
    out = io.BytesIO()
    strip.save(out, "PNG")
    return out.getvalue()
