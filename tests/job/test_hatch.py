"""Scan lines: as long as the area asks for, in one layer only, read back from their file."""

from __future__ import annotations

import io
import re
import tracemalloc
from itertools import combinations, pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from pieces import LASER, layers_of, palette, pond

import tint.job.hatch as hatch
from tint.errors import LimitError
from tint.job.hatch import HatchLines, hatch_bands, hatch_lines, write_hatch_svg
from tint.job.order import plan_order

SVG = "{http://www.w3.org/2000/svg}"
AREA_REL = 2e-3  # length × spacing against area, as asked of a hatch
TOUCH_MM = 1e-9  # rounding of a crossing


def segments(lines: HatchLines) -> np.ndarray:
    return shapely.linestrings(np.stack([lines.start_mm, lines.end_mm], axis=1))


def fields(seed: int, count: int = 4, size_mm: float = 10.0) -> list[shapely.Geometry]:
    """A square cut into `count` layers of several Voronoi cells each (shapely), borders shared exactly."""
    rng = np.random.default_rng(seed)
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.MultiPoint(rng.uniform(0, size_mm, (3 * count, 2)))))
    cells = shapely.intersection(cells, shapely.box(0, 0, size_mm, size_mm))
    return [shapely.union_all(cells[k::count]) for k in range(count)]


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), angle=st.floats(-720, 720), spacing_mm=st.floats(0.001, 0.005))
def test_length_times_spacing_is_the_area_at_any_angle(seed: int, angle: float, spacing_mm: float) -> None:
    layers = fields(seed)
    for layer in layers:
        lines = hatch_lines(layer, spacing_mm, angle, 0.05)
        assert lines.length_mm * spacing_mm == pytest.approx(layer.area, rel=AREA_REL)


def test_a_100_mm_square_and_round_shapes_come_out_within_two_per_mille() -> None:
    ring = shapely.Point(20, 20).buffer(18, 64).difference(shapely.Point(24, 20).buffer(9, 64))
    for shape in (shapely.box(0, 0, 100, 100), ring):
        for angle in (0, 30, 45, 90, 137.5):
            assert hatch_lines(shape, 0.01, angle, 0.05).length_mm * 0.01 == pytest.approx(shape.area, rel=AREA_REL)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), angle=st.one_of(st.sampled_from([0.0, 45.0, 90.0, 180.0, -90.0]), st.floats(0, 360)))
def test_no_piece_of_a_scan_line_is_in_two_neighbouring_layers(seed: int, angle: float) -> None:
    lines = [hatch_lines(layer, 0.05, angle, 0.05) for layer in fields(seed)]
    rows = {}
    cos, sin = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    for layer in lines:
        ends = [points @ [cos, -sin] for points in (layer.start_mm, layer.end_mm)]
        for row, low, high in zip(layer.row.tolist(), np.minimum(*ends).tolist(), np.maximum(*ends).tolist(), strict=True):
            rows.setdefault(row, []).append((low, high))
    assert len(rows) > 150
    for pieces in rows.values():
        for (_, end), (start, _) in pairwise(sorted(pieces)):
            assert start >= end - TOUCH_MM


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), angles=st.lists(st.floats(0, 180), min_size=4, max_size=4))
def test_layers_hatched_at_different_angles_and_spacings_stay_out_of_each_other(seed: int, angles: list[float]) -> None:
    layers = fields(seed)
    drawn = [segments(hatch_lines(layer, 0.07 + 0.02 * k, angle, 0.05)) for k, (layer, angle) in enumerate(zip(layers, angles, strict=True))]
    assert all(len(lines) for lines in drawn)
    for one, other in combinations(range(4), 2):
        for lines, layer in ((drawn[one], layers[other]), (drawn[other], layers[one])):
            inside = shapely.length(shapely.intersection(lines, shapely.buffer(layer, -1e-7)))
            assert inside.max(initial=0.0) <= TOUCH_MM


def test_a_line_exactly_on_a_shared_border_belongs_to_one_side_only() -> None:
    above, below = shapely.box(0, 0, 4, 0.25), shapely.box(0, 0.25, 4, 1)  # lines at 0.25, 0.75: h/2 off, h = 0.5
    assert len(hatch_lines(above, 0.5, 0)) == 0
    assert hatch_lines(below, 0.5, 0).start_mm[:, 1].tolist() == [0.25, 0.75]


@pytest.mark.parametrize("spacing_mm, pitch_mm", [(0.002, 0.05), (0.003, 0.05), (0.01, 0.05), (0.05, 0.05), (0.07, 0.05), (0.0025, 0.0213)])
@pytest.mark.parametrize("angle", [0, 90, 180, 270])
def test_lines_keep_off_the_pixel_borders(spacing_mm: float, pitch_mm: float, angle: float) -> None:
    lines = hatch_lines(shapely.box(0, 0, 7, 7), spacing_mm, angle, pitch_mm)
    across = lines.start_mm[:, 1 if angle % 180 == 0 else 0]
    nm = np.gcd(round(spacing_mm * 1e6), round(pitch_mm * 1e6))
    assert np.abs(across / pitch_mm - np.round(across / pitch_mm)).min() * pitch_mm >= 0.49e-6 * nm


def test_neighbouring_rows_run_in_opposite_directions_and_a_row_in_one() -> None:
    combed = shapely.union_all([shapely.box(2 * k, 0, 2 * k + 1, 5) for k in range(4)])
    lines = hatch_lines(combed, 0.1, 0)
    assert (np.diff(lines.row) >= 0).all() and len(lines) == 4 * 50
    step = lines.end_mm[:, 0] - lines.start_mm[:, 0]
    assert (np.sign(step) == np.where(lines.row % 2 == 0, 1, -1)).all()
    for row in range(50):
        starts = lines.start_mm[lines.row == row, 0]
        assert (np.diff(starts) > 0).all() if row % 2 == 0 else (np.diff(starts) < 0).all()


def test_the_angle_counts_anticlockwise_as_seen_and_an_unknown_one_is_zero() -> None:
    box = shapely.box(0, 0, 10, 10)
    step = (lambda lines: (lines.end_mm - lines.start_mm)[np.hypot(*(lines.end_mm - lines.start_mm).T).argmax()])(hatch_lines(box, 0.1, 30))
    assert np.degrees(np.arctan2(-step[1], step[0])) % 180 == pytest.approx(30)  # y points down
    np.testing.assert_array_equal(hatch_lines(box, 0.1, np.nan).start_mm, hatch_lines(box, 0.1, 0).start_mm)


def test_lines_agree_with_lines_really_cut_from_the_shape() -> None:
    shape = shapely.Point(5, 5).buffer(4, 16).difference(shapely.Point(6, 5).buffer(1.5, 16))
    angle, spacing_mm = 33.0, 0.2
    lines = hatch_lines(shape, spacing_mm, angle)
    turned = shapely.affinity.rotate(shape, angle, origin=(0, 0))
    cut = sum(
        turned.intersection(shapely.LineString([(-20, (k + 0.5) * spacing_mm), (20, (k + 0.5) * spacing_mm)])).length
        for k in range(-100, 100)
    )
    assert lines.length_mm == pytest.approx(cut, rel=1e-9)
    assert shapely.length(shapely.difference(segments(lines), shapely.buffer(shape, 1e-9))).max() <= TOUCH_MM


def test_bands_give_the_same_lines_as_all_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    shape = shapely.union_all(fields(7)[:2])
    whole = hatch_lines(shape, 0.01, 20)
    monkeypatch.setattr(hatch, "BAND_CROSSINGS", 200)
    bands = list(hatch_bands(shape, 0.01, 20))
    assert len(bands) > 8 and max(len(band) for band in bands) < 300
    np.testing.assert_array_equal(np.concatenate([band.start_mm for band in bands]), whole.start_mm)
    np.testing.assert_array_equal(np.concatenate([band.end_mm for band in bands]), whole.end_mm)


def test_memory_stays_bounded_however_many_lines_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hatch, "BAND_CROSSINGS", 20_000)
    comb = shapely.MultiPolygon([shapely.box(2 * k, 0, 2 * k + 1, 40) for k in range(20)])
    peaks = []
    for spacing_mm in (0.01, 0.002):  # 80,000 and 400,000 lines
        tracemalloc.start()
        count = sum(len(band) for band in hatch_bands(comb, spacing_mm, 0))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert count == round(40 / spacing_mm) * 20
    assert peaks[1] < 1.5 * peaks[0]


def test_the_file_reads_back_in_millimetres_with_every_line_and_the_area() -> None:
    piece = layers_of(pond(4), 0.5, palette(4))
    for layer in plan_order(piece, LASER):
        outline = piece.outlines[layer.number - 1]
        out = io.StringIO()
        centre = shapely.MultiLineString([[(1, 1), (2, 1.5)]])
        count, length_mm = write_hatch_svg(out, layer, hatch_bands(outline, 0.05, 30, 0.5), (60, 40), centre)
        root = ElementTree.fromstring(out.getvalue().encode())
        assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("60mm", "40mm", "0 0 60 40")
        drawn, middle = root.findall(f"{SVG}g")
        text = "".join(path.get("d") for path in drawn.findall(f"{SVG}path"))
        ends = np.array([[float(v) for v in ends] for ends in re.findall(r"M([-\d.]+),([-\d.]+)L([-\d.]+),([-\d.]+)", text)])
        assert len(ends) == count
        read_mm = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]).sum()
        assert read_mm == pytest.approx(length_mm, rel=1e-6)
        assert read_mm * 0.05 == pytest.approx(outline.area, rel=AREA_REL)
        assert middle.find(f"{SVG}path").get("d") == "M1.00000,1.00000L2.00000,1.50000"


@pytest.mark.parametrize("spacing_mm, said", [(1e-9, r"e\+\d+ scan lines; 1e\+08 are the most"), (0, "spacing 0 mm"), (np.nan, "spacing nan mm")])
def test_an_absurd_spacing_is_refused_in_one_line(spacing_mm: float, said: str) -> None:
    with pytest.raises(LimitError, match=said) as caught:
        next(hatch_bands(shapely.box(0, 0, 100, 100), spacing_mm, 0))
    assert "\n" not in str(caught.value)


def test_an_empty_outline_has_no_lines() -> None:
    assert len(hatch_lines(shapely.MultiPolygon(), 0.01, 0)) == 0
