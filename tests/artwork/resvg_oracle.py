"""A drawing compared pixel by pixel with what resvg, an independent rasteriser, paints."""

import io
import math
import re

import numpy as np
import shapely

PX_PER_MM = 83  # pixels of 0.012 mm, and corners seldom on a pixel's centre, where rasterisers may differ
IOU_NEEDED = 0.99


def rasterised(regions, width_px, height_px):
    """(h, w) index of the region at each pixel's centre, -1 outside, by counting border crossings along rows."""
    labels = np.full((height_px, width_px), -1)
    for index, region in enumerate(regions):
        toggles = np.zeros((height_px, width_px + 1), dtype=np.int16)
        for ring in shapely.get_parts(shapely.get_rings(shapely.get_parts(region))):
            xy = shapely.get_coordinates(ring) * PX_PER_MM - 0.5
            for (x0, y0), (x1, y1) in zip(xy[:-1].tolist(), xy[1:].tolist(), strict=True):
                if y0 > y1:
                    x0, y0, x1, y1 = x1, y1, x0, y0
                rows = np.arange(max(math.ceil(y0), 0), min(math.ceil(y1), height_px))
                if len(rows):
                    x = x0 + (rows - y0) / (y1 - y0) * (x1 - x0)
                    toggles[rows, np.clip(np.ceil(x).astype(int), 0, width_px)] += 1
        labels[np.cumsum(toggles, axis=1, dtype=np.int16)[:, :-1] % 2 == 1] = index
    return labels


def coverage_ious(path, drawing, fonts=None):
    """Intersection over union with resvg's picture, per colour of either; -1 is bare metal.

    `fonts` are arguments that tell resvg which fonts there are.
    """
    import resvg_py
    from PIL import Image

    width_px, height_px = round(drawing.width_mm * PX_PER_MM), round(drawing.height_mm * PX_PER_MM)
    text = path.read_text()
    if "viewBox" in text.split("<svg", 1)[1].split(">", 1)[0]:  # resvg rounds a size to whole px: give it whole ones
        text = re.sub(r'width="[^"]*" height="[^"]*"', f'width="{width_px}" height="{height_px}"', text, count=1)
    data = resvg_py.svg_to_bytes(svg_string=text, dpi=96.0, width=width_px, shape_rendering="crisp_edges", **(fonts or {}))
    picture = np.array(Image.open(io.BytesIO(bytes(data))).convert("RGBA")).astype(np.int32)
    assert abs(picture.shape[0] - height_px) <= 1 and picture.shape[1] == width_px
    height_px = picture.shape[0]
    labels = rasterised([shape.region for shape in drawing.shapes], width_px, height_px)
    codes = np.array([*((r << 16) + (g << 8) + b for r, g, b in (shape.srgb255 for shape in drawing.shapes)), -1])
    ours = codes[labels]
    theirs = np.where(picture[..., 3] > 127, (picture[..., 0] << 16) + (picture[..., 1] << 8) + picture[..., 2], -1)
    ious = {}
    for code in {*codes.tolist(), *np.unique(theirs[theirs != ours]).tolist()}:
        mine, its = ours == code, theirs == code
        either = np.count_nonzero(mine | its)
        if either:
            ious[code] = np.count_nonzero(mine & its) / either
    return ious
