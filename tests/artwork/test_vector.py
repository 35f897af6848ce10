"""Drawings against resvg, an independent rasteriser, and against areas known in closed form."""

import io
import math
import re
from pathlib import Path

import numpy as np
import pytest
import shapely

from tint.artwork.vector import read_drawing

DRAWINGS = sorted((Path(__file__).parent / "svg").glob("*.svg"))
PX_PER_MM = 40.0  # pixels of 0.025 mm: half a spot
IOU_NEEDED = 0.99


def rasterised(regions, width_px, height_px, px_per_mm):
    """(h, w) index of the region at each pixel's centre, -1 outside, by counting border crossings along rows."""
    labels = np.full((height_px, width_px), -1)
    for index, region in enumerate(regions):
        toggles = np.zeros((height_px, width_px + 1), dtype=int)
        for polygon in shapely.get_parts(region):
            for ring in (polygon.exterior, *polygon.interiors):
                xy = shapely.get_coordinates(ring) * px_per_mm
                for (x0, y0), (x1, y1) in zip(xy[:-1], xy[1:], strict=True):
                    if y0 > y1:
                        x0, y0, x1, y1 = x1, y1, x0, y0
                    rows = np.arange(max(math.ceil(y0 - 0.5), 0), min(math.ceil(y1 - 0.5), height_px))
                    if len(rows):
                        x = x0 + (rows + 0.5 - y0) / (y1 - y0) * (x1 - x0)
                        toggles[rows, np.clip(np.ceil(x - 0.5).astype(int), 0, width_px)] += 1
        labels[np.cumsum(toggles, axis=1)[:, :-1] % 2 == 1] = index
    return labels


def coverage_ious(path, drawing):
    """Intersection over union with resvg's picture, per colour of either."""
    import resvg_py
    from PIL import Image

    width_px, height_px = round(drawing.width_mm * PX_PER_MM), round(drawing.height_mm * PX_PER_MM)
    text = path.read_text()
    if "viewBox" in text.split("<svg", 1)[1].split(">", 1)[0]:  # resvg rounds a size to whole px: give it whole ones
        text = re.sub(r'width="[^"]*" height="[^"]*"', f'width="{width_px}" height="{height_px}"', text, count=1)
    data = resvg_py.svg_to_bytes(svg_string=text, dpi=96.0, width=width_px, shape_rendering="crisp_edges")
    picture = np.array(Image.open(io.BytesIO(bytes(data))).convert("RGBA"))
    assert picture.shape[:2] == (height_px, width_px)
    labels = rasterised([shape.region for shape in drawing.shapes], width_px, height_px, PX_PER_MM)
    codes = np.array([*((r << 16) + (g << 8) + b for r, g, b in (shape.srgb255 for shape in drawing.shapes)), -1])
    ours = codes[labels]
    rgb = picture.astype(int)
    theirs = np.where(rgb[..., 3] > 127, (rgb[..., 0] << 16) + (rgb[..., 1] << 8) + rgb[..., 2], -1)
    colours = set(np.unique(ours)) | set(np.unique(theirs)) - {-1}
    return {f"#{c:06x}" if c >= 0 else "bare": ((ours == c) & (theirs == c)).sum() / ((ours == c) | (theirs == c)).sum() for c in colours}


@pytest.mark.parametrize("path", DRAWINGS, ids=lambda path: path.stem)
def test_every_colour_covers_what_resvg_paints(path):
    ious = coverage_ious(path, read_drawing(path))
    assert min(ious.values()) >= IOU_NEEDED, ious
