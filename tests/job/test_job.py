"""The job folder: complete, or not there."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from pieces import LASER, STEEL, layers_of, palette, pond
from PIL import Image
from pypdf import PdfReader

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.caution import SHORT
from tint.cli import main
from tint.errors import DataError, FileError, LimitError
from tint.job.hatch import hatch_lines
from tint.job.inset import inset_layers
from tint.job.job import Job, plan_job, read_job, write_job
from tint.job.masks import hatch_name, mask_name
from tint.job.readme import readme_text
from tint.lab import srgb255_from_lab
from tint.layers.folder import write_layers
from tint.layers.layers import Layers
from tint.layers.separate import separate
from tint.measure.patches import read_settings, read_table
from tint.process import spot_mm
from tint.setting import FIELDS, Setting, toml_text


def test_the_folder_holds_every_file_and_nothing_else(folder: Path, job: Job) -> None:
    assert {path.name for path in folder.iterdir()} - {".tint"} == {
        "job.json", "settings.csv", "layers.svg", "layers.dxf", "masks", "proof.png", "sheet.pdf", "README.txt",
    }  # fmt: skip
    assert len(list((folder / "masks").iterdir())) == len(job.layers)
    assert [path.name for path in folder.parent.iterdir()] == [folder.name]  # no temporary folder left


def test_settings_csv_lists_the_layers_in_marking_order_and_reads_back_exactly(folder: Path, job: Job) -> None:
    read = read_settings(folder / "settings.csv")
    assert read == Setting.from_table(np.stack([layer.setting.table() for layer in job.layers]))
    caution, first = (folder / "settings.csv").read_text(encoding="utf-8").splitlines()[:2]
    assert caution == f"# caution: {SHORT}"
    assert first == ",".join(("order", "layer", "name", *FIELDS))
    _, rows = read_table(folder / "settings.csv", FIELDS, FIELDS)
    assert [(row.number("order"), row.number("layer"), row.text("name")) for row in rows] == [
        (layer.order, layer.number, layer.name) for layer in job.layers
    ]


def test_the_proof_has_one_pixel_per_label(folder: Path, layers: Layers) -> None:
    height, width = layers.labels.shape
    assert Image.open(folder / "proof.png").size == (width, height)


def test_a_job_that_is_there_is_replaced_only_by_force(layers: Layers, tmp_path: Path) -> None:
    place = tmp_path / "job"
    write_job(layers, LASER, place, date="2026-03-14")
    with pytest.raises(FileError, match="--force"):
        write_job(layers, LASER, place, date="2026-03-15")
    assert '"2026-03-14"' in (place / "job.json").read_text(encoding="utf-8")
    write_job(layers, LASER, place, date="2026-03-15", force=True)
    assert '"2026-03-15"' in (place / "job.json").read_text(encoding="utf-8")


def test_the_same_job_written_twice_is_the_same_byte_for_byte(layers: Layers, folder: Path, tmp_path: Path) -> None:
    write_job(layers, LASER, tmp_path / "again", date="2026-03-14")
    for path in sorted(folder.rglob("*.*")):
        assert (tmp_path / "again" / path.relative_to(folder)).read_bytes() == path.read_bytes(), path.name


def test_a_job_that_fails_half_way_leaves_nothing_behind(layers: Layers, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> bytes:
        raise MemoryError

    monkeypatch.setattr("tint.job.sheet.sheet_pdf", fail)
    with pytest.raises(MemoryError):
        write_job(layers, LASER, tmp_path / "job")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "stock, machine, message",
    [
        (STEEL, dataclasses.replace(LASER, field_mm=(50, 175)), r"60 × 40 mm is larger than the field of the machine \(50 × 175"),
        (dataclasses.replace(STEEL, size_mm=(45, 70)), LASER, r"larger than the blank \(45 × 70 mm\).*Turned by 90° it fits"),
        (STEEL, dataclasses.replace(LASER, max_speed_mm_s=700), "speed 800 mm/s is outside this machine"),
    ],
)
def test_a_job_the_machine_or_blank_cannot_hold_is_refused_in_one_line(stock, machine, message: str, tmp_path: Path) -> None:
    piece = layers_of(pond(4), 0.5, palette(4, stock=stock))
    with pytest.raises(LimitError, match=message) as caught:
        write_job(piece, machine, tmp_path / "job")
    assert "\n" not in str(caught.value) and not (tmp_path / "job").exists()


def test_artwork_without_a_marked_place_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="nothing to mark"):
        write_job(layers_of(np.zeros((4, 4), dtype=np.uint8), 1.0, palette(2)), LASER, tmp_path / "job")
    assert list(tmp_path.iterdir()) == []


def test_the_artwork_is_centred_on_the_blank_or_put_where_asked(layers: Layers) -> None:
    assert plan_job(layers, LASER).at_mm == (30, 20)
    assert plan_job(layers, LASER, at_mm=(0, 40)).at_mm == (0, 40)
    for outside in ((61, 0), (0, 40.5), (-1, 0), (float("nan"), 0)):
        with pytest.raises(LimitError, match="does not lie on the blank"):
            plan_job(layers, LASER, at_mm=outside)


def test_remarks_tell_first_what_the_palette_is_then_of_another_machine() -> None:
    piece = layers_of(pond(4), 0.3, palette(4))
    assert plan_job(piece, LASER).remarks[0] == "simulated: invented colours, not from a real plate"
    other = dataclasses.replace(LASER, name="second laser (invented)")
    assert "made on bench laser (invented), this job is for second laser" in plan_job(piece, other).remarks[1]
    worn = dataclasses.replace(LASER, max_power_w=55)
    assert "has changed since the palette" in plan_job(piece, worn).remarks[1]


@pytest.mark.parametrize("pitch_mm, seen", [(0.3, False), (0.43, True)])
def test_an_inexact_pitch_is_a_warning_where_it_can_be_seen_beside_the_spot_else_a_note(pitch_mm: float, seen: bool) -> None:
    piece = layers_of(pond(4), pitch_mm, palette(4))
    side_px, spot_um = max(piece.labels.shape), 1e3 * spot_mm(LASER)
    off_um = abs(side_px / round(1e3 / pitch_mm) * 1e3 - side_px * pitch_mm) * 1e3  # by the whole pixels per metre of a PNG
    assert (off_um > 0.1 * spot_um) == seen and off_um > 1
    job = plan_job(piece, LASER)
    said = f"Masks: a PNG cannot state {pitch_mm} mm per pixel exactly"
    assert [any(line.startswith(said) for line in lines) for lines in (job.remarks, job.notes)] == [seen, not seen]
    assert said in " ".join(readme_text(job).split())


def test_another_blank_of_the_same_metal_is_placed_heated_and_named_as_the_piece(layers: Layers, tmp_path: Path) -> None:
    piece = dataclasses.replace(STEEL, name="small plate (invented)", size_mm=(64, 50), thickness_mm=0.4, batch="2026-09")
    job = write_job(layers, LASER, tmp_path / "job", stock=piece)
    own = plan_job(layers, LASER)
    assert job.stock == piece and job.at_mm == (2, 5) and read_job(tmp_path / "job").stock == piece
    assert max(layer.end_k for layer in job.layers) > max(layer.end_k for layer in own.layers)  # a thinner plate warms more
    said = "palette was made on sign plate (invented); thickness 0.4 mm instead of 1 mm, batch 2026-09 instead of 2026-03"
    for name in ("README.txt", "job.json"):
        assert said in " ".join((tmp_path / "job" / name).read_text(encoding="utf-8").split())
    page = " ".join(PdfReader(tmp_path / "job" / "sheet.pdf").pages[0].extract_text().split())
    assert said in page and "small plate (invented)" in page and "blank 64 × 50 mm" in page and "plate is of batch 2026-09" in page
    assert plan_job(layers, LASER, stock=STEEL) == own
    with pytest.raises(LimitError, match=r"larger than the blank \(50 × 50 mm\)"):
        write_job(layers, LASER, tmp_path / "other", stock=dataclasses.replace(STEEL, size_mm=(50, 50)))
    with pytest.raises(LimitError, match="settings do not carry over"):
        write_job(layers, LASER, tmp_path / "other", stock=dataclasses.replace(STEEL, grade="brass CuZn37"))
    assert not (tmp_path / "other").exists()


@pytest.fixture(scope="module")
def traced() -> Layers:
    """A picture with round borders, separated: its outlines are traced and simplified. Invented."""
    y, x = np.mgrid[:160, :240]
    colours = srgb255_from_lab(palette(4).lab[1:])
    number = np.where(np.hypot(x - 80, y - 80) < 60, 0, np.where(np.hypot(x - 170, y - 60) < 45, 1, np.where(y > 130 + 9 * np.sin(x / 20), 2, 3)))
    bare = (np.hypot(x - 90, y - 80) < 25) | (np.hypot(x - 200, y - 120) < 12)
    return separate(Picture("heron", 240 * 0.0418, 160 * 0.0418, colours[number].astype(np.uint8), bare), palette(4))


@pytest.fixture(scope="module")
def drawn() -> Layers:
    """A drawing 10.024 mm wide at a pitch of 0.05 mm: its masks are a little larger than it. Invented."""
    shapes = [shapely.Point(4, 3).buffer(2.5), shapely.box(6, 0.4, 10.024, 5.013)]
    colours = srgb255_from_lab(palette(2).lab[1:])
    return separate(
        Drawing("otter", 10.024, 7.013, tuple(Shape(shapely.MultiPolygon([each]), tuple(int(v) for v in colour), "shape")
                                              for each, colour in zip((shapes[0].difference(shapes[1]), shapes[1]), colours, strict=True))),
        palette(2), pitch_mm=0.05,
    )  # fmt: skip


@pytest.mark.parametrize("which", ["traced", "drawn"])
def test_drawings_and_masks_of_separated_artwork_agree_in_size_and_area(which: str, request, tmp_path: Path) -> None:
    layers: Layers = request.getfixturevalue(which)
    assert sum(len(shapely.get_coordinates(outline)) for outline in layers.outlines) > 50
    if which == "traced":  # simplified: not every step of the pixels is a corner
        stairs = layers_of(layers.labels, layers.pitch_mm, layers.palette)
        corners = [sum(len(shapely.get_coordinates(outline)) for outline in each.outlines) for each in (layers, stairs)]
        assert corners[0] < 0.7 * corners[1]
    job = write_job(layers, LASER, tmp_path / "job", date="2026-03-14")
    root = ElementTree.parse(tmp_path / "job" / "layers.svg").getroot()
    width, height = (float(value) for value in root.get("viewBox").split()[2:])
    assert (width, height) == pytest.approx((layers.width_mm, layers.height_mm), abs=1e-6)
    assert root.get("width") == f"{width:.6f}".rstrip("0") + "mm"
    points = np.array(re.findall(r"([-\d.]+),([-\d.]+)", " ".join(path.get("d") for path in root.iter("{http://www.w3.org/2000/svg}path"))), float)
    assert (points >= 0).all() and (points <= [width + 1e-6, height + 1e-6]).all()
    document = ezdxf.readfile(tmp_path / "job" / "layers.dxf")
    corners = np.concatenate([np.array(entity.get_points("xy")) for entity in document.modelspace()])
    assert (corners >= -1e-6).all() and (corners <= [width + 1e-6, height + 1e-6]).all()
    for layer in job.layers:
        outline = layers.outlines[layer.number - 1]
        with Image.open(tmp_path / "job" / "masks" / mask_name(layer)) as mask:
            mask_mm2 = (~np.asarray(mask)).sum() * layers.pitch_mm**2
            assert mask.size == (-(-round(width * 1e6) // round(layers.pitch_mm * 1e6)), -(-round(height * 1e6) // round(layers.pitch_mm * 1e6)))
        assert abs(mask_mm2 - outline.area) <= outline.length * layers.pitch_mm / 2
        assert mask_mm2 == pytest.approx(outline.area, rel=0.05)
    rows, columns = layers.labels.shape
    flat = " ".join((tmp_path / "job" / "README.txt").read_text(encoding="utf-8").split())
    assert f"{width:g} × {height:g} mm on sign plate" in flat and f"Check the size on the machine's screen: {width:g} × {height:g} mm" in flat
    assert f"{columns * layers.pitch_mm:.4f} × {rows * layers.pitch_mm:.4f} mm in whole pixels" in flat
    if which == "drawn":
        assert "10.024 × 7.013 mm on" in flat and "10.0500 × 7.0500 mm in whole pixels" in flat


def test_a_date_that_is_none_is_refused(layers: Layers) -> None:
    with pytest.raises(LimitError, match=r"14\.3\.2026"):
        plan_job(layers, LASER, date="14.3.2026")


def test_inset_and_hatch_reach_the_files_and_the_times(layers: Layers, folder: Path, job: Job, tmp_path: Path) -> None:
    inset = write_job(layers, LASER, tmp_path / "job", date="2026-03-14", inset_spot=1.0, hatch=True)
    assert {path.name for path in (tmp_path / "job" / "hatch").iterdir()} == {hatch_name(layer) for layer in inset.layers}
    assert inset.marking_s < job.marking_s and [layer.area_mm2 for layer in inset.layers] == [layer.area_mm2 for layer in job.layers]
    assert (tmp_path / "job" / "layers.svg").read_bytes() != (folder / "layers.svg").read_bytes()
    for mask in (folder / "masks").iterdir():
        assert (tmp_path / "job" / "masks" / mask.name).read_bytes() == mask.read_bytes()  # as README.txt says
    for layer in inset.layers:
        region = inset_layers(layers, LASER, 1.0).regions[layer.number - 1]
        spacing_mm, angle = float(layer.setting.spacing_mm), float(layer.setting.hatch_deg)
        text = (tmp_path / "job" / "hatch" / hatch_name(layer)).read_text(encoding="utf-8")
        assert f"<desc>{SHORT}</desc>" in text
        ends = np.array([[float(v) for v in part] for part in re.findall(r"M([-\d.]+),([-\d.]+)L([-\d.]+),([-\d.]+)", text)])
        length_mm = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]).sum()
        assert length_mm == pytest.approx(hatch_lines(region, spacing_mm, angle, 0.5).length_mm, rel=1e-4)
        assert length_mm * spacing_mm == pytest.approx(region.area, rel=2e-3)


@pytest.mark.parametrize("change, said", [({"inset_spot": 5.0}, "5 spots cannot be"), ({"inset_spot": -1.0}, "-1 spots cannot be")])
def test_an_inset_that_cannot_be_leaves_nothing_behind(layers: Layers, tmp_path: Path, change: dict[str, float], said: str) -> None:
    with pytest.raises(LimitError, match=said):
        write_job(layers, LASER, tmp_path / "job", **change)
    assert list(tmp_path.iterdir()) == []


def test_a_spacing_too_fine_to_hatch_leaves_nothing_behind(tmp_path: Path) -> None:
    fine = dataclasses.replace(palette(1).colours[0], setting=Setting(18, 800, 500, 6, 1e-9))
    piece = layers_of(np.ones((40, 60)), 1.0, dataclasses.replace(palette(1), colours=(fine,)))
    with pytest.raises(LimitError, match="scan lines; 1e.08 are the most for one layer. Leave --hatch away"):
        write_job(piece, LASER, tmp_path / "job", hatch=True)
    assert list(tmp_path.iterdir()) == []


def test_the_command_writes_the_job_with_every_option_and_prints_the_lines_for_machine_toml(layers: Layers, tmp_path: Path) -> None:
    (tmp_path / "machine.toml").write_text(toml_text(LASER), encoding="utf-8")
    write_layers(layers, tmp_path / "layers")
    words = [str(tmp_path / "layers"), str(tmp_path / "machine.toml")]

    def run(*more: str):
        return CliRunner().invoke(main, ["job", *words, *more])

    (tmp_path / "small.toml").write_text(toml_text(dataclasses.replace(STEEL, size_mm=(70, 60), batch="2026-09")), encoding="utf-8")
    done = run("--stock", str(tmp_path / "small.toml"), "-o", str(tmp_path / "small"))
    assert done.exit_code == 0, done.output
    assert read_job(tmp_path / "small").at_mm == (5, 10) and "batch 2026-09 instead of 2026-03" in " ".join(done.stderr.split())
    assert done.stderr.count("simulated: invented") == 1 and max(len(line) for line in done.output.splitlines()) <= 100
    done = run("--trial", "--hatch", "--inset-spot", "0.25", "--at-mm", "10,5", "-o", str(tmp_path / "first"))
    assert done.exit_code == 0, done.output
    first = read_job(tmp_path / "first")
    assert first.trial is not None and first.hatched and first.inset_spot == 0.25 and first.at_mm == (10, 5)
    times = [f"{tmp_path / 'first'}={first.marking_s + extra:.1f}" for extra in (0, 40)]
    done = run("--timed", times[0], "--timed", times[1], "-o", str(tmp_path / "second"))
    assert done.exit_code == 0, done.output
    second = read_job(tmp_path / "second")
    assert f"turn_ms = {second.timing.turn_ms:.4g}" in done.stderr and "jump_ms = 1" in done.stderr
    assert second.timing.turn_ms > 0.6
    for more, code, said in (
        (["--timed", times[0]], 1, "1 timed job is too few"), (["--timed", "nowhere=5", "--timed", "x=5"], 2, "is not there"),
        (["--timed", "nowhere"], 2, "write its folder and its time"), (["--timed", f"{tmp_path / 'first'}=soon"], 2, "is not a time"),
        (["--at-mm", "5"], 2, "write two numbers, such as --at-mm 20,10"), (["--at-mm", "nan,0"], 1, "does not lie on the blank"),
    ):  # fmt: skip
        done = run(*more, "-o", str(tmp_path / "third"))
        assert done.exit_code == code and said in done.stderr and done.stderr.count("\n") == 1, done.stderr
        assert not (tmp_path / "third").exists()
