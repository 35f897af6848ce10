"""The drawings, read back by other readers and measured."""

from __future__ import annotations

import dataclasses
import re
from collections import defaultdict
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from pieces import LASER, layers_of, palette, pond

from tint.caution import SHORT
from tint.job.drawing import dxf_text, svg_text
from tint.job.inset import Inset, inset_layers
from tint.job.job import Job
from tint.job.masks import layer_name
from tint.job.order import plan_order
from tint.lab import hex_from_lab, srgb255_from_lab
from tint.layers.layers import Layers

SVG = "{http://www.w3.org/2000/svg}"
DXF_REL = 1e-9  # exact but for the flip of y


def rings_of(path: str) -> list[np.ndarray]:
    assert re.fullmatch(r"(M[-0-9.,L]+Z)+", path)
    return [np.array([[float(v) for v in point.split(",")] for point in ring.split("L")]) for ring in re.findall(r"M([^Z]+)Z", path)]


def even_odd_area(rings: list[np.ndarray]) -> float:
    area = shapely.Polygon()
    for ring in rings:
        area = area.symmetric_difference(shapely.Polygon(ring))
    return area.area


def test_the_svg_states_its_size_in_millimetres_and_a_matching_view_box(folder: Path) -> None:
    root = ElementTree.parse(folder / "layers.svg").getroot()
    assert root.tag == f"{SVG}svg" and root.get("version") == "1.1"
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("60mm", "40mm", "0 0 60 40")


def test_svg_and_dxf_carry_the_caution(folder: Path) -> None:
    assert ElementTree.parse(folder / "layers.svg").getroot().find(f"{SVG}desc").text == SHORT
    lines = (folder / "layers.dxf").read_text(encoding="utf-8").splitlines()
    head = lines[: lines.index("SECTION") - 1]
    assert set(head[::2]) == {"999"} and " ".join(head[1::2]) == SHORT


def test_every_svg_group_is_a_layer_in_marking_order_with_title_colour_and_area(folder: Path, layers: Layers, job: Job) -> None:
    groups = ElementTree.parse(folder / "layers.svg").getroot().findall(f"{SVG}g")
    assert [group.get("id") for group in groups] == [f"layer-{layer_name(layer.order, layer.name)}" for layer in job.layers]
    for group, layer in zip(groups, job.layers, strict=True):
        assert group.get("fill-rule") == "evenodd" and group.get("fill") == hex_from_lab(layer.lab)
        title = group.find(f"{SVG}title").text
        assert title.startswith(f"{layer.order} ·") and layer.name in title and str(layer.setting) in title
        area = sum(even_odd_area(rings_of(path.get("d"))) for path in group.findall(f"{SVG}path"))
        assert area == pytest.approx(layers.outlines[layer.number - 1].area, rel=1e-6)


def test_svg_coordinates_with_many_digits_are_true_to_a_nanometre() -> None:
    piece = layers_of(pond(3), 0.0371 * np.pi, palette(3))
    groups = ElementTree.fromstring(svg_text(piece, plan_order(piece, LASER)).encode()).findall(f"{SVG}g")
    for group, layer in zip(groups, plan_order(piece, LASER), strict=True):
        drawn = np.concatenate([ring for path in group.findall(f"{SVG}path") for ring in rings_of(path.get("d"))])
        exact = shapely.get_coordinates(piece.outlines[layer.number - 1])
        assert shapely.MultiPoint(drawn).hausdorff_distance(shapely.MultiPoint(exact)) <= 0.5e-6 * np.sqrt(2) + 1e-12
        area = sum(even_odd_area(rings_of(path.get("d"))) for path in group.findall(f"{SVG}path"))
        assert area == pytest.approx(piece.outlines[layer.number - 1].area, rel=1e-6)


def test_neighbours_drawn_in_the_svg_touch_without_gap_or_overlap(folder: Path) -> None:
    groups = ElementTree.parse(folder / "layers.svg").getroot().findall(f"{SVG}g")
    shapes = []
    for group in groups:
        paths = [rings_of(path.get("d")) for path in group.findall(f"{SVG}path")]
        shapes.append(shapely.union_all([shapely.Polygon(rings[0], rings[1:]) for rings in paths]))
    total = sum(shape.area for shape in shapes)
    assert shapely.union_all(shapes).area == pytest.approx(total, abs=1e-6)


def test_names_with_signs_of_xml_and_control_characters_still_make_valid_xml(layers: Layers) -> None:
    odd = 'reed & "water" <b>\x07 ]]> \ud83d'
    colours = tuple(dataclasses.replace(c, name=f"{odd}{i}") for i, c in enumerate(layers.palette.colours))
    piece = dataclasses.replace(layers, name=odd, palette=dataclasses.replace(layers.palette, colours=colours))
    root = ElementTree.fromstring(svg_text(piece, plan_order(piece, LASER)).encode("utf-8"))
    assert 'reed & "water" <b>' in root.find(f"{SVG}title").text


def shoelace(points: np.ndarray) -> float:
    x, y = points.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def test_the_dxf_reads_back_in_millimetres_without_audit_errors(folder: Path) -> None:
    document = ezdxf.readfile(folder / "layers.dxf")
    auditor = document.audit()
    assert not auditor.has_errors and not auditor.has_fixes
    assert document.dxfversion == "AC1024"  # R2010
    assert document.header["$INSUNITS"] == 4  # millimetres


def test_every_dxf_layer_has_the_predicted_colour_and_the_exact_area(folder: Path, layers: Layers, job: Job) -> None:
    document = ezdxf.readfile(folder / "layers.dxf")
    rings = defaultdict(list)
    for entity in document.modelspace():
        assert entity.dxftype() == "LWPOLYLINE" and entity.closed
        rings[entity.dxf.layer].append(np.array(entity.get_points("xy")))
    names = [layer_name(layer.order, layer.name) for layer in job.layers]
    assert list(rings) == names  # drawn in marking order
    assert [each.dxf.name for each in document.layers if each.dxf.name in names] == names
    for layer, name in zip(job.layers, names, strict=True):
        assert document.layers.get(name).rgb == tuple(srgb255_from_lab(layer.lab))
        outline = layers.outlines[layer.number - 1]
        exact = [ring for polygon in outline.geoms for ring in (polygon.exterior, *polygon.interiors)]
        assert len(rings[name]) == len(exact)
        for drawn, ring in zip(rings[name], exact, strict=True):
            assert shoelace(drawn) == pytest.approx(shapely.Polygon(ring).area, rel=DXF_REL)
            assert shoelace(np.array(ring.coords)[:-1]) == pytest.approx(shoelace(drawn), rel=DXF_REL)


def test_the_dxf_counts_y_upwards_from_the_bottom_of_the_artwork() -> None:
    labels = np.zeros((4, 4), dtype=np.uint8)
    labels[0, 0] = 1  # top left pixel
    piece = layers_of(labels, 1.0, palette(1))
    drawn = dxf_text(piece, plan_order(piece, LASER)).split("\nLWPOLYLINE\n")[-1].split("ENDSEC")[0]
    points = re.findall(r" 10\n([-0-9.]+)\n 20\n([-0-9.]+)\n", drawn)
    assert sorted((float(x), float(y)) for x, y in points) == [(0, 3), (0, 4), (1, 3), (1, 4)]


def test_equal_layers_give_equal_drawings(layers: Layers, job: Job) -> None:
    assert dxf_text(layers, job.layers) == dxf_text(layers, job.layers)
    assert svg_text(layers, job.layers) == svg_text(layers, job.layers)


def test_writing_a_dxf_leaves_the_librarys_switches_as_they_were(layers: Layers, job: Job) -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    dxf_text(layers, job.layers)
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


@pytest.fixture(scope="module")
def flags() -> tuple[Layers, Inset]:
    """Two flags on poles too narrow for scan lines (0.05 mm), and what half a spot of inset leaves."""
    piece = layers_of(np.ones((60, 120), dtype=np.uint8), 0.05, palette(2))
    shapes = [shapely.union_all([shapely.box(x, 0.5, x + 0.05, 2.5), shapely.box(x, 0.5, x + 1.5, 1.5)]) for x in (0.5, 3.0)]
    piece = dataclasses.replace(piece, drawn=tuple(shapely.MultiPolygon([shape]) for shape in shapes))
    return piece, inset_layers(piece, LASER, 0.5)


def test_an_inset_svg_has_the_smaller_regions_and_the_centre_lines_in_groups_of_their_own(flags: tuple[Layers, Inset]) -> None:
    piece, inset = flags
    groups = ElementTree.fromstring(svg_text(piece, plan_order(piece, LASER), inset).encode()).findall(f"{SVG}g")
    by_name = {group.get("id"): group for group in groups}
    assert list(by_name) == ["layer-01-dark-blue", "centre-01-dark-blue", "layer-02-straw", "centre-02-straw"]
    for number, name in enumerate(("01-dark-blue", "02-straw")):
        area = sum(even_odd_area(rings_of(path.get("d"))) for path in by_name[f"layer-{name}"].findall(f"{SVG}path"))
        assert area == pytest.approx(inset.regions[number].area, rel=1e-6) == pytest.approx(1.44 * 0.94, rel=0.01)
        middle = by_name[f"centre-{name}"]
        (path,) = middle.findall(f"{SVG}path")
        points = np.array([[float(v) for v in point.split(",")] for point in path.get("d")[1:].split("L")])
        assert middle.get("fill") == "none" and "Z" not in path.get("d")
        np.testing.assert_allclose(points, shapely.get_coordinates(inset.centre_lines[number]), atol=1e-6)


def test_an_inset_dxf_passes_the_audit_with_open_centre_lines_on_layers_of_their_own(flags: tuple[Layers, Inset], tmp_path: Path) -> None:
    piece, inset = flags
    (tmp_path / "inset.dxf").write_text(dxf_text(piece, plan_order(piece, LASER), inset), encoding="utf-8")
    document = ezdxf.readfile(tmp_path / "inset.dxf")
    auditor = document.audit()
    assert not auditor.has_errors and not auditor.has_fixes
    found = {entity.dxf.layer: entity for entity in document.modelspace()}
    assert set(found) == {"01-dark-blue", "01-dark-blue-centre", "02-straw", "02-straw-centre"}
    for name, entity in found.items():
        assert entity.closed == (not name.endswith("centre"))
        assert document.layers.get(name).rgb == document.layers.get(name.removesuffix("-centre")).rgb
    points = np.array(found["01-dark-blue-centre"].get_points("xy"))
    points[:, 1] = piece.height_mm - points[:, 1]
    np.testing.assert_allclose(points, shapely.get_coordinates(inset.centre_lines[0]), atol=1e-12)
    handles = [entity.dxf.handle for entity in document.modelspace()]
    assert len(set(handles)) == len(handles)
