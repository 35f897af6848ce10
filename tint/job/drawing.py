"""Drawings of the layers in millimetres: SVG 1.1 and DXF R2010."""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Sequence
from itertools import pairwise
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from tint.caution import SHORT
from tint.job.hatch import line_paths
from tint.job.inset import Inset
from tint.job.masks import layer_name
from tint.job.order import JobLayer
from tint.job.rings import rings_of
from tint.lab import hex_from_lab, srgb255_from_lab
from tint.layers.layers import Layers

# A nanometre. Coarser rounding opens slivers where a corner of one layer lies along an edge of its neighbour: 0.1 µm over
# 60 mm leaves up to 0.003 mm² bare or marked twice.
SVG_DECIMALS = 6
DXF_COMMENT = 80  # characters of a comment line (group code 999); readers allow 255 and more
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def svg_text(layers: Layers, planned: Sequence[JobLayer], inset: Inset | None = None) -> str:
    """SVG 1.1 text: user units are millimetres, one titled group per layer in marking order, filled even-odd.

    Parameters
    ----------
    planned : layers in marking order, as `plan_order` gives them
    inset : what is drawn instead of the whole outlines; centre lines stand in a group of their own after their layer

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
        f"<desc>{_xml(SHORT)}</desc>\n",
    ]
    for layer in planned:
        name = quoteattr("layer-" + layer_name(layer.order, layer.name))
        out.append(f'<g id={name} fill="{hex_from_lab(layer.lab)}" fill-rule="evenodd" stroke="none">\n')
        out.append(f"<title>{_xml(f'{layer.order} · {layer.name} · {layer.setting}')}</title>\n")
        out.extend(f'<path d="{path}"/>\n' for path in _paths(_outline(layers, inset, layer.number)))
        out.append("</g>\n")
        out.extend(_centre_group(layer, inset))
    out.append("</svg>\n")
    return "".join(out)


def _centre_group(layer: JobLayer, inset: Inset | None) -> list[str]:
    if inset is None or inset.centre_lines[layer.number - 1].is_empty:
        return []
    name = quoteattr("centre-" + layer_name(layer.order, layer.name))
    pen = f'stroke="{hex_from_lab(layer.lab)}" stroke-width="{float(layer.setting.spacing_mm):g}"'
    return [
        f'<g id={name} fill="none" {pen}>\n',
        f"<title>{_xml(f'{layer.order} · {layer.name} · centre lines: follow each once, do not fill')}</title>\n",
        *(f'<path d="{path}"/>\n' for path in line_paths(inset.centre_lines[layer.number - 1], SVG_DECIMALS)),
        "</g>\n",
    ]


def _outline(layers: Layers, inset: Inset | None, number: int) -> Any:
    return layers.outlines[number - 1] if inset is None else inset.regions[number - 1]


def centre_name(order: int, name: str) -> str:
    """Name of the DXF layer with a layer's centre lines, such as "04-dark-blue-centre"."""
    return f"{layer_name(order, name)}-centre"


def dxf_text(layers: Layers, planned: Sequence[JobLayer], inset: Inset | None = None) -> str:
    """DXF R2010 text in millimetres: one drawing layer per layer, in its colour, rings as closed polylines at full precision.

    Parameters
    ----------
    planned : layers in marking order, as `plan_order` gives them
    inset : what is drawn instead of the whole outlines; centre lines are open polylines on a layer of their own

    Notes
    -----
    DXF counts y upwards: the artwork's bottom left corner is the origin. A hole is a polyline inside another; programs
    fill such a drawing even-odd. Equal input gives equal text: the file carries no date. Comments (group code 999) at its
    head hold the caution.
    """
    from ezdxf import options

    dated = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # the library's only switch that leaves date and random ids out
    try:
        return _dxf_text(layers, planned, inset)
    finally:
        options.write_fixed_meta_data_for_testing = dated


def _dxf_text(layers: Layers, planned: Sequence[JobLayer], inset: Inset | None) -> str:
    # ezdxf writes header, tables and layers; the polylines, all of one kind, are put into its empty entities section:
    # 100,000 of them take the library 10 s and this 1 s. Reading back and the library's audit are part of the tests.
    import ezdxf
    from ezdxf import units

    document = ezdxf.new("R2010", units=units.MM)
    document.header["$EXTMIN"], document.header["$EXTMAX"] = (0, 0, 0), (layers.width_mm, layers.height_mm, 0)
    for layer in planned:
        red, green, blue = (int(value) for value in srgb255_from_lab(layer.lab))
        colour = ezdxf.rgb2int((red, green, blue))
        document.layers.add(layer_name(layer.order, layer.name), true_color=colour)
        if inset is not None and not inset.centre_lines[layer.number - 1].is_empty:
            document.layers.add(centre_name(layer.order, layer.name), true_color=colour)
    owner, handle = document.modelspace().layout_key, int(str(document.entitydb.handles), 16)
    entities: list[str] = []
    for layer in planned:
        lines = _closed(_outline(layers, inset, layer.number))
        drawn = _polylines(lines, layers.height_mm, layer_name(layer.order, layer.name), True, owner, handle)
        handle += len(drawn)
        entities += drawn
        if inset is not None:
            lines = _open(inset.centre_lines[layer.number - 1])
            drawn = _polylines(lines, layers.height_mm, centre_name(layer.order, layer.name), False, owner, handle)
            handle += len(drawn)
            entities += drawn
    document.entitydb.handles.reset(f"{handle:X}")  # becomes the file's next free handle
    document.classes.add_required_classes(document.dxfversion)  # in an order that changes from run to run
    document.classes.classes = dict(sorted(document.classes.classes.items()))
    out = io.StringIO()
    document.write(out)
    before, mark, after = out.getvalue().partition("  2\nENTITIES\n")
    comment = "".join(f"999\n{line}\n" for line in textwrap.wrap(SHORT, DXF_COMMENT))
    return "".join([comment, before, mark, *entities, after])


def _closed(outline: Any) -> list[np.ndarray]:
    """Rings of an outline, the point that closes each left out."""
    rings = rings_of(outline)
    return [rings.points_mm[start : end - 1] for start, end in pairwise(rings.starts.tolist())]


def _open(lines: Any) -> list[np.ndarray]:
    import shapely

    return [shapely.get_coordinates(line) for line in shapely.get_parts(lines)]


def _polylines(
    lines: list[np.ndarray], height_mm: float, name: str, closed: bool, owner: str, first_handle: int
) -> list[str]:
    """Polylines (n, 2) [mm] as DXF text, y turned up."""
    entities = []
    for handle, line in enumerate(lines, first_handle):
        points = "".join([f" 10\n{x!r}\n 20\n{height_mm - y!r}\n" for x, y in line.tolist()])
        entities.append(
            f"  0\nLWPOLYLINE\n  5\n{handle:X}\n330\n{owner}\n100\nAcDbEntity\n  8\n{name}\n100\nAcDbPolyline\n"
            f" 90\n{len(line)}\n 70\n{int(closed)}\n{points}"
        )
    return entities


def _paths(outline: Any) -> list[str]:
    """Path data of each region of an outline, its holes after its outer ring."""
    rings = rings_of(outline)
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
