"""Drawings of the layers in millimetres: SVG 1.1 and DXF R2010."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from tint.job.masks import layer_name
from tint.job.order import JobLayer
from tint.lab import hex_from_lab, srgb255_from_lab
from tint.layers.layers import Layers

SVG_DECIMALS = 4  # 0.1 µm: a hundredth of the finest line spacing, a thousandth of a spot
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def svg_text(layers: Layers, planned: Sequence[JobLayer]) -> str:
    """SVG 1.1 text: user units are millimetres, one titled group per layer in marking order, filled even-odd.

    Parameters
    ----------
    planned : layers in marking order, as `plan_order` gives them

    References
    ----------
    W3C, Scalable Vector Graphics (SVG) 1.1, second edition: chapters 7 (viewBox) and 11.3 (fill-rule).
    """
    width, height = _short(layers.width_mm), _short(layers.height_mm)
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>\n',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">\n',
        f"<title>{_xml(layers.name)}</title>\n",
    ]
    for layer in planned:
        name = quoteattr("layer-" + layer_name(layer.number, layer.name))
        out.append(f'<g id={name} fill="{hex_from_lab(layer.lab)}" fill-rule="evenodd" stroke="none">\n')
        out.append(f"<title>{_xml(f'layer {layer.number} · {layer.name} · marked no. {layer.order} · {layer.setting}')}</title>\n")
        out.extend(f'<path d="{_path(rings)}"/>\n' for rings in _regions(layers, layer.number))
        out.append("</g>\n")
    out.append("</svg>\n")
    return "".join(out)


def dxf_text(layers: Layers, planned: Sequence[JobLayer]) -> str:
    """DXF R2010 text in millimetres: one drawing layer per layer, in its colour, rings as closed polylines at full precision.

    Parameters
    ----------
    planned : layers in marking order, as `plan_order` gives them

    Notes
    -----
    DXF counts y upwards: the artwork's bottom left corner is the origin. A hole is a polyline inside another; programs
    fill such a drawing even-odd. Equal input gives equal text: the file carries no date.
    """
    import ezdxf
    from ezdxf import options, units

    dated = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # the library's only switch that leaves date and random ids out
    try:
        document = ezdxf.new("R2010", units=units.MM)
        _draw(document, layers, planned)
        out = io.StringIO()
        document.write(out)
    finally:
        options.write_fixed_meta_data_for_testing = dated
    return out.getvalue()


def _draw(document: Any, layers: Layers, planned: Sequence[JobLayer]) -> None:
    from ezdxf import rgb2int

    document.header["$EXTMIN"], document.header["$EXTMAX"] = (0, 0, 0), (layers.width_mm, layers.height_mm, 0)
    space = document.modelspace()
    for layer in planned:
        name = layer_name(layer.number, layer.name)
        document.layers.add(name, true_color=rgb2int(tuple(int(value) for value in srgb255_from_lab(layer.lab))))
        for rings in _regions(layers, layer.number):
            for ring in rings:
                flipped = np.column_stack([ring[:, 0], layers.height_mm - ring[:, 1]])
                space.add_lwpolyline(flipped.tolist(), format="xy", close=True, dxfattribs={"layer": name})


def _regions(layers: Layers, number: int) -> Iterator[list[np.ndarray]]:
    """Rings (n, 2) [mm] of each region of a layer, the outer first, without the closing point."""
    outline: Any = layers.outlines[number - 1]
    for polygon in getattr(outline, "geoms", [outline]):
        yield [np.asarray(ring.coords)[:-1, :2] for ring in (polygon.exterior, *polygon.interiors)]


def _path(rings: Sequence[np.ndarray]) -> str:
    return "".join(f"M{_points(ring)}Z" for ring in rings)


def _points(ring: np.ndarray) -> str:
    rounded = np.round(ring, SVG_DECIMALS) + 0.0  # no minus zero
    return "L".join(f"{x!r},{y!r}" for x, y in rounded.tolist())


def _short(value: float) -> str:
    return repr(round(float(value), 6)).removesuffix(".0")


def _xml(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text))
