"""The trial: at the edge, clear of the artwork, in the order of the job."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pieces import LASER, STEEL, layers_of, palette, pond
from PIL import Image

from tint.caution import SHORT
from tint.errors import LimitError
from tint.job.job import plan_job, read_job, write_job
from tint.job.masks import layer_name
from tint.job.trial import GAP_MM, SQUARE_MM, place_trial, trial_layers
from tint.layers.layers import Layers
from tint.measure.patches import read_settings
from tint.measure.reading import patches_from_reading
from tint.plan.grid import read_grid
from tint.setting import Stock

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def tried(layers: Layers, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("trial") / "job"
    write_job(layers, LASER, folder, date="2026-03-14", trial=True, hatch=True)
    return folder


def test_the_trial_holds_a_square_of_every_layer_in_marking_order(tried: Path) -> None:
    job = read_job(tried)
    names = [layer_name(layer.order, layer.name) for layer in job.layers]
    assert {path.name for path in (tried / "trial").iterdir()} == {
        "trial.svg", "trial.dxf", "settings.csv", "grid.json", "reading.csv", "masks", "hatch",
    }  # fmt: skip
    assert (tried / "trial" / "settings.csv").read_bytes() == (tried / "settings.csv").read_bytes()
    assert ElementTree.parse(tried / "trial" / "trial.svg").getroot().find(f"{SVG}desc").text == SHORT
    groups = ElementTree.parse(tried / "trial" / "trial.svg").getroot().findall(f"{SVG}g")
    assert [group.get("id") for group in groups] == [f"layer-{name}" for name in names]
    left = []
    for group in groups:
        (path,) = group.findall(f"{SVG}path")
        points = np.array([[float(v) for v in point.split(",")] for point in path.get("d")[1:-1].split("L")])
        assert np.ptp(points, axis=0).tolist() == [SQUARE_MM, SQUARE_MM]
        left.append(points[:, 0].min())
    assert left == [5.0 * k for k in range(len(names))]  # 4 mm and a gap of 1 mm
    for name in names:
        black = ~np.asarray(Image.open(tried / "trial" / "masks" / f"{name}.png"))
        assert black.sum() * 0.05**2 == pytest.approx(SQUARE_MM**2)
        assert (tried / "trial" / "hatch" / f"{name}.svg").is_file()
    rings = {entity.dxf.layer: np.array(entity.get_points("xy")) for entity in ezdxf.readfile(tried / "trial" / "trial.dxf").modelspace()}
    assert list(rings) == names and all(np.ptp(ring, axis=0).tolist() == [4, 4] for ring in rings.values())


def test_readings_of_the_trial_come_back_as_patches_with_the_settings_of_the_job(tried: Path, tmp_path: Path) -> None:
    job, grid = read_job(tried), read_grid(tried / "trial")
    assert [grid.setting[i] for i in np.argsort(grid.order)] == [layer.setting for layer in job.layers]
    assert grid.xy_mm.tolist() == [[2 + 5.0 * k, 2.0] for k in range(len(grid))]  # the middles of the squares above
    filled = (tried / "trial" / "reading.csv").read_text(encoding="utf-8").replace(",,,,", ",50,1,2,")
    (tmp_path / "reading.csv").write_text(filled, encoding="utf-8")
    patches = patches_from_reading(grid, tmp_path / "reading.csv")
    assert patches.ids == tuple(f"T{layer.order}" for layer in job.layers) and patches.bare_lab is not None


def test_the_job_names_the_version_of_its_palette(tried: Path, layers: Layers) -> None:
    job = read_job(tried)
    assert (job.palette_version, job.palette_digest) == (1, layers.palette.digest)


def test_readme_sheet_and_record_say_where_it_goes_and_that_it_comes_first(tried: Path) -> None:
    from pypdf import PdfReader

    job = read_job(tried)
    assert job.trial is not None and job.trial.at_mm == (50.5, 75.0) and job.trial.edge == "bottom"
    text = " ".join((tried / "README.txt").read_text(encoding="utf-8").split())
    assert "50.5 mm from its left edge and 75 mm from its top edge" in text
    assert text.index("Mark the 4 squares of the folder trial") < text.index("For each layer")
    reader = PdfReader(tried / "sheet.pdf")
    page = " ".join(reader.pages[0].extract_text().split())
    assert len(reader.pages) == 1 and "TRIAL FIRST" in page and "50.5 mm from the left, 75 mm from the top" in page
    assert page.index("TRIAL FIRST") < page.index("BEFORE START") and "trial squares marked" in page
    assert job.trial.time_s == pytest.approx(sum(16 * p / (h * v) for v, h, p in _settings(tried)), rel=0.15)  # plus turns


def _settings(folder: Path) -> list[tuple[float, float, float]]:
    setting = read_settings(folder / "settings.csv")
    return list(zip(setting.speed_mm_s, setting.spacing_mm, setting.passes, strict=True))


@settings(max_examples=200, deadline=None)
@given(
    count=st.integers(1, 12), blank=st.tuples(st.floats(20, 200), st.floats(20, 200)), share=st.tuples(st.floats(0.05, 1), st.floats(0.05, 1)),
    at=st.tuples(st.floats(0, 1), st.floats(0, 1)), field=st.floats(20, 200),
)  # fmt: skip
def test_wherever_it_is_put_it_is_on_the_blank_in_the_field_at_an_edge_and_clear_of_the_artwork(count, blank, share, at, field) -> None:
    size = tuple(min(side * part, field) for side, part in zip(blank, share, strict=True))
    place = tuple((side - own) * where for side, own, where in zip(blank, size, at, strict=True))
    stock = dataclasses.replace(STEEL, size_mm=blank)
    machine = dataclasses.replace(LASER, field_mm=(field, field))
    try:
        trial = place_trial(count, stock, machine, place, size)
    except LimitError as error:
        assert "no room for the trial" in str(error) and "\n" not in str(error)
        return
    box = shapely.box(*trial.at_mm, trial.at_mm[0] + trial.width_mm, trial.at_mm[1] + trial.height_mm)
    art = shapely.box(*place, place[0] + size[0], place[1] + size[1])
    whole = shapely.box(0, 0, *blank)
    assert whole.buffer(-GAP_MM + 2e-3, join_style="mitre").contains(box)  # places are given to a micrometre
    (a0, a1, a2, a3), (b0, b1, b2, b3) = art.bounds, box.bounds
    assert max(a0 - b2, b0 - a2, a1 - b3, b1 - a3) >= GAP_MM - 2e-3
    left, top, right, bottom = shapely.union_all([art, box]).bounds
    assert max(right - left, bottom - top) <= field + 2e-3
    edge = {"left": box.bounds[0], "top": box.bounds[1], "right": blank[0] - box.bounds[2], "bottom": blank[1] - box.bounds[3]}[trial.edge]
    assert edge == pytest.approx(GAP_MM, abs=2e-3)


def test_a_crowded_edge_takes_two_rows_and_a_side_edge_a_column() -> None:
    small = Stock("tag (invented)", "304", "2B", 1.0, (30, 50))
    two = place_trial(8, small, LASER, (1, 1), (28, 30))
    assert (two.edge, two.rows, two.width_mm, two.height_mm) == ("bottom", 2, 19, 9)
    side = place_trial(4, Stock("strip (invented)", "304", "2B", 1.0, (80, 22)), LASER, (0, 0), (60, 22))
    assert (side.edge, side.width_mm, side.height_mm) == ("right", 4, 19)


@pytest.mark.parametrize("rows, edge", [(1, "bottom"), (2, "bottom"), (3, "top"), (2, "left"), (2, "right")])
def test_squares_never_overlap_and_drawing_and_masks_agree(layers: Layers, rows: int, edge: str) -> None:
    trial = dataclasses.replace(place_trial(4, STEEL, LASER, (30, 20), (60, 40)), rows=rows, edge=edge)
    long, deep = -(-4 // rows) * 5 - 1, rows * 5 - 1
    flat = edge in ("bottom", "top")
    trial = dataclasses.replace(trial, width_mm=long if flat else deep, height_mm=deep if flat else long)
    squares = trial_layers(layers, trial, [3, 4, 1, 2])
    assert shapely.union_all(squares.outlines).area == pytest.approx(4 * 16)
    for number in (1, 2, 3, 4):
        assert (squares.labels == number).sum() * 0.05**2 == pytest.approx(16)
        x, y = np.flatnonzero((squares.labels == number).any(0))[0], np.flatnonzero((squares.labels == number).any(1))[0]
        assert squares.outlines[number - 1].bounds[:2] == pytest.approx((x * 0.05, y * 0.05))
    first = shapely.get_coordinates(squares.outlines[2])  # layer 3 is marked first: nearest to the edge
    (left, top), (right, bottom) = first.min(axis=0), first.max(axis=0)
    depth = {"bottom": trial.height_mm - bottom, "top": top, "left": left, "right": trial.width_mm - right}
    assert depth[edge] == 0


def test_no_room_is_said_in_one_line_before_anything_is_written(tmp_path: Path) -> None:
    piece = layers_of(pond(4), 0.5, palette(4, stock=dataclasses.replace(STEEL, size_mm=(66, 46))))
    with pytest.raises(LimitError, match=r"no room for the trial: 4 squares of 4 mm need a free strip of 6 mm.*--at-mm") as caught:
        write_job(piece, LASER, tmp_path / "job", trial=True)
    assert "\n" not in str(caught.value) and list(tmp_path.iterdir()) == []
    assert plan_job(piece, LASER, trial=True, at_mm=(0, 0)).trial.edge == "bottom"
