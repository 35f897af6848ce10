"""Drawings of the layers in millimetres: SVG 1.1 and DXF R2010."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from itertools import pairwise
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from tint.job.masks import layer_name
from tint.job.order import JobLayer
from tint.job.rings import rings_of
from tint.lab import hex_from_lab, srgb255_from_lab
from tint.layers.layers import Layers

# A nanometre. Coarser rounding opens slivers where a corner of one layer lies along an edge of its neighbour: 0.1 µm over
# 60 mm leaves up to 0.003 mm² bare or marked twice.
SVG_DECIMALS = 6
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
        out.extend(f'<path d="{path}"/>\n' for path in _paths(layers, layer.number))
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
    from ezdxf import options

    dated = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # the library's only switch that leaves date and random ids out
    try:
        return _dxf_text(layers, planned)
    finally:
        options.write_fixed_meta_data_for_testing = dated


def _dxf_text(layers: Layers, planned: Sequence[JobLayer]) -> str:
    # ezdxf writes header, tables and layers; the polylines, all of one kind, are put into its empty entities section:
    # 100,000 of them take the library 10 s and this 1 s. Reading back and the library's audit are part of the tests.
    import ezdxf
    from ezdxf import units

    document = ezdxf.new("R2010", units=units.MM)
    document.header["$EXTMIN"], document.header["$EXTMAX"] = (0, 0, 0), (layers.width_mm, layers.height_mm, 0)
    for layer in planned:
        rgb = tuple(int(value) for value in srgb255_from_lab(layer.lab))
        document.layers.add(layer_name(layer.number, layer.name), true_color=ezdxf.rgb2int(rgb))
    owner, handle = document.modelspace().layout_key, int(str(document.entitydb.handles), 16)
    entities: list[str] = []
    for layer in planned:
        drawn, handle = _layer_entities(layers, layer, owner, handle)
        entities += drawn
    document.entitydb.handles.reset(f"{handle:X}")  # becomes the file's next free handle
    out = io.StringIO()
    document.write(out)
    before, mark, after = out.getvalue().partition("  2\nENTITIES\n")
    return "".join([before, mark, *entities, after])


def _layer_entities(layers: Layers, layer: JobLayer, owner: str, first_handle: int) -> tuple[list[str], int]:
    """Polylines of one layer as DXF text, and the first handle left free."""
    rings = rings_of(layers.outlines[layer.number - 1])
    points = np.column_stack([rings.points_mm[:, 0], layers.height_mm - rings.points_mm[:, 1]]).tolist()
    texts = [f" 10\n{x!r}\n 20\n{y!r}\n" for x, y in points]
    name = layer_name(layer.number, layer.name)
    starts = rings.starts.tolist()
    entities = [
        f"  0\nLWPOLYLINE\n  5\n{handle:X}\n330\n{owner}\n100\nAcDbEntity\n  8\n{name}\n100\nAcDbPolyline\n"
        f" 90\n{end - 1 - start}\n 70\n1\n{''.join(texts[start : end - 1])}"
        for handle, (start, end) in enumerate(pairwise(starts), first_handle)
    ]
    return entities, first_handle + len(entities)


def _paths(layers: Layers, number: int) -> list[str]:
    """Path data of each region of a layer, its holes after its outer ring."""
    rings = rings_of(layers.outlines[number - 1])
    rounded = np.round(rings.points_mm, SVG_DECIMALS) + 0.0  # no minus zero
    texts = [f"{_plain(x)},{_plain(y)}" for x, y in rounded.tolist()]
    starts = rings.starts.tolist()
    paths = [""] * len(rings.boxes_mm)
    for region, (start, end) in zip(rings.region.tolist(), pairwise(starts), strict=True):
        paths[region] += f"M{'L'.join(texts[start : end - 1])}Z"
    return paths


def _plain(value: float) -> str:
    text = repr(value)
    return text if "e" not in text else f"{value:.{SVG_DECIMALS}f}"  # some readers of path data know no exponents


def _short(value: float) -> str:
    return repr(round(float(value), 6)).removesuffix(".0")


def _xml(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text))
