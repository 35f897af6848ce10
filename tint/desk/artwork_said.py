"""What the page says of layers: a row each, warnings with their places, remarks."""

from __future__ import annotations

from typing import Any

import numpy as np

from tint.desk.plain import hexes, lab_plain, rounded, setting_plain
from tint.job.job import Job
from tint.job.masks import pitch_remark
from tint.job.order import clock
from tint.job.thin import SEEN_MM2, thin_remark
from tint.lab import hex_from_lab
from tint.layers.layers import Layers
from tint.palette.palette import Palette
from tint.palette.twins import FAR_DE00
from tint.process import spot_mm


def layer_rows(layers: Layers, job: Job | None) -> list[dict[str, Any]]:
    """A row per layer in marking order, plain values for the page."""
    planned = {layer.number: layer for layer in job.layers} if job else {}
    marked = {
        number: planned[number].area_mm2 if number in planned else layers.area_mm2(number) for number in layers.used
    }
    whole = layers.width_mm * layers.height_mm
    screen = hexes(layers.palette.lab)
    rows = []
    for number in sorted(layers.used, key=lambda each: planned[each].order if each in planned else each):
        colour, layer = layers.palette.colours[number - 1], planned.get(number)
        known = bool(np.isfinite(layers.lost_de00[number]))
        rows.append(
            {
                "number": number,
                "name": colour.name,
                "hex": screen[number],
                "lab": lab_plain(colour.lab),
                "de00_90": rounded(colour.de00_90, 1),
                "sensitivity_de00": rounded(colour.sensitivity_de00, 1),
                "setting": setting_plain(colour.setting),
                "area_mm2": rounded(marked[number], 1),
                "share": rounded(marked[number] / whole, 4),
                "off_de00": rounded(layers.lost_de00[number], 1) if known else None,
                "wanted": hex_from_lab(layers.wanted_lab[number]) if known else None,
                "order": layer.order if layer else None,
                "time": clock(layer.time_s) if layer else "",
                "wait": clock(layer.wait_s) if layer and layer.wait_s else "",
                "remark": layer.remark if layer else "",
            }
        )
    return rows


def warnings(layers: Layers, job: Job | None) -> list[dict[str, Any]]:
    """What needs a look, with the places where there are some [mm from the artwork's top left corner]."""
    found: list[dict[str, Any]] = []
    for thin in sorted(job.thin if job else (), key=lambda item: -item.area_mm2):
        if thin.area_mm2 < SEEN_MM2:
            continue
        said = f"{thin.name}: narrower than the spot in {thin.count} {'place' if thin.count == 1 else 'places'} ({thin.area_mm2:.2g} mm²)"
        found.append({"kind": "thin", "text": said, "at_mm": [list(at) for at in thin.at_mm]})
    for number in (0, *layers.used):
        if layers.lost_de00[number] > FAR_DE00:
            far = f"{layers.names[number]}: stands in for colours {layers.lost_de00[number]:.0f} ΔE00 away; this palette has nothing nearer"
            found.append({"kind": "far", "text": far, "number": number, "at_mm": []})
    return found


def remarks(palette: Palette, layers: Layers, job: Job | None) -> list[str]:
    """What else there is to say: all but what the warnings say with their places, and what holds for the preview's pixels only."""
    height, width = layers.labels.shape
    said = {pitch_remark(width, height, layers.pitch_mm), thin_remark(job.thin, spot_mm(job.machine)) if job else ""}
    lines = (*palette.remarks, *(job.remarks if job else layers.remarks))
    far = tuple(f"{layers.names[number]} stands in" for number in range(len(layers.names)))
    return [
        line for line in dict.fromkeys(lines) if line not in said and not line.startswith((*far, "Far from the wished"))
    ]
