"""`tint measure` from instrument files: what is taken as what, what is checked, what is refused and leaves nothing behind."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from calling import one_line, tint

from tint.measure.patches import read_patches, reading_table
from tint.measure.scan import scan
from tint.plan.grid import read_grid

DATA = Path(__file__).parents[1] / "data"


@pytest.fixture
def bench(shop, tmp_path, monkeypatch):
    """Empty folder to work in, and the invented shop's plate and reading."""
    monkeypatch.chdir(tmp_path)
    return shop / "simulated"


def turned(bench, name="turned.csv"):
    grid, patches = read_grid(bench / "plate-1"), read_patches(bench / "patches.csv")
    really = np.empty(len(grid), int)
    really[scan(grid, "row-wise")] = scan(grid, "row-wise", "bottom-right")
    Path(name).write_text(reading_table(dataclasses.replace(patches, lab=patches.lab[really])), encoding="utf-8")
    return name


def as_cgats(bench, pattern, name="export.txt"):
    """The shop's reading as a CGATS file without patch names, read in a pattern."""
    grid, patches = read_grid(bench / "plate-1"), read_patches(bench / "patches.csv")
    rows = [f"{k + 1} " + " ".join(f"{v:.2f}" for v in patches.lab[i]) for k, i in enumerate(scan(grid, pattern))]
    text = ["CGATS.17", "BEGIN_DATA_FORMAT", "SAMPLE_ID LAB_L LAB_A LAB_B", "END_DATA_FORMAT", "BEGIN_DATA", *rows, "END_DATA", ""]
    Path(name).write_text("\n".join(text), encoding="utf-8")
    return name


HOW = ("--geometry", "45/0", "--illuminant", "D50", "--observer", "2")


@pytest.mark.parametrize(
    ("name", "kind"), [("plate.cxf", "cxf"), ("plate_spectral.cgats", "cgats"), ("plate_lab.cgats", "cgats"), ("plate_office.csv", "csv")]
)
def test_the_kind_is_told_by_the_contents_and_said(bench, name, kind):
    Path("no-suffix").write_bytes((DATA / name).read_bytes())
    done = tint("measure", bench / "plate-1", "no-suffix")
    assert done.exit_code == 0 and f"no-suffix is taken as {kind}, by its contents" in done.stderr
    assert done.stdout == "12 patches in patches.csv, 0 flagged\n" and len(read_patches("patches.csv")) == 12
    assert tint("measure", bench / "plate-1", "no-suffix", "--kind", kind, "--force").exit_code == 0


def test_an_export_without_names_is_matched_by_the_pattern_it_was_read_in(bench):
    done = tint("measure", bench / "plate-1", as_cgats(bench, "serpentine"), "--rows", "serpentine", *HOW)
    assert done.exit_code == 0
    found, known = read_patches("patches.csv"), read_patches(bench / "patches.csv")
    np.testing.assert_allclose(found.lab, known.lab, atol=0.006)
    assert found.order.tolist() == known.order.tolist() and found.facts["geometry"] == "45/0"


def test_the_wrong_pattern_is_caught_by_the_colours_and_the_right_one_named(bench):
    said = one_line(tint("measure", bench / "plate-1", as_cgats(bench, "serpentine"), "--rows", "row-wise", *HOW), 1)
    assert "the colours fit far better if the plate was read serpentine from top-left" in said and "Then say --rows serpentine." in said
    assert not Path("patches.csv").exists()


def test_a_turned_plate_is_refused_put_right_by_its_corner_or_kept_when_one_is_sure(bench):
    said = one_line(tint("measure", bench / "plate-1", turned(bench)), 1)
    assert "as a plate turned by 180° is" in said and "Then say --start bottom-right." in said and "--sure" in said
    assert not Path("patches.csv").exists()
    assert tint("measure", bench / "plate-1", "turned.csv", "--start", "bottom-right", "-o", "right.csv").exit_code == 0
    np.testing.assert_array_equal(read_patches("right.csv").lab, read_patches(bench / "patches.csv").lab)
    done = tint("measure", bench / "plate-1", "turned.csv", "--sure")
    assert done.exit_code == 0 and "CHECK: turned.csv: the colours fit better if the plate was read row-wise from bottom-" in done.stderr


def test_a_model_tells_too(bench):
    assert tint("measure", bench / "plate-1", bench / "reading.csv", "--model", bench / "model.json").exit_code == 0
    said = one_line(tint("measure", bench / "plate-1", turned(bench), "--model", bench / "model.json", "-o", "x.csv"), 1)
    assert "turned by 180°" in said


def test_measurements_of_one_plate_merge_with_their_spread_and_earlier_patches_too(bench):
    patches = read_patches(bench / "patches.csv")
    noise = np.random.default_rng(1).normal(0, 0.4, patches.lab.shape)
    again = dataclasses.replace(patches, lab=patches.lab + noise, sd=np.full(len(patches), np.nan))
    Path("tuesday.csv").write_text(reading_table(again), encoding="utf-8")
    done = tint("measure", bench / "plate-1", bench / "patches.csv", "tuesday.csv", "--merge", "-o", "both.csv")
    assert done.exit_code == 0, done.stderr
    both = read_patches("both.csv")
    np.testing.assert_allclose(both.lab, (patches.lab + again.lab) / 2, atol=1e-9)
    assert both.order.tolist() == patches.order.tolist() and np.isfinite(both.sd).all() and both.bare_lab is not None
    assert "merged" in both.facts and tint("measure", bench / "plate-1", "both.csv", "tuesday.csv", "--merge", "-o", "three.csv").exit_code == 0


def test_measurements_of_two_geometries_or_a_turned_second_one_do_not_merge(bench):
    text = (bench / "reading.csv").read_text(encoding="utf-8").replace("d/8 SCI", "d/8 SCE")
    Path("sce.csv").write_text(text, encoding="utf-8")
    assert "d/8 SCI and sce.csv d/8 SCE: on metal" in one_line(tint("measure", bench / "plate-1", bench / "reading.csv", "sce.csv", "--merge"), 2)
    assert "turned by 180°" in one_line(tint("measure", bench / "plate-1", bench / "reading.csv", turned(bench), "--merge"), 1)
    assert not Path("patches.csv").exists()


@pytest.mark.parametrize(
    ("content", "words", "code", "said"),
    [
        (b"\xff\xd8\xff\xe0 a picture", [], 2, "is a picture"),
        (b"<svg/>", [], 2, "is XML, but not CxF/X"),
        (b"patch,L,a,b\nA01,50,1,2\n\xe4", [], 2, "not UTF-8"),
        ((DATA / "plate_lab.cgats").read_bytes().replace(b"MEASUREMENT_GEOMETRY", b"OTHER"), [], 2,
         "states no geometry. Say how it was measured, such as --geometry 45/0"),
        ((DATA / "plate_lab.cgats").read_bytes(), ["--kind", "cxf"], 2, "file is cgats by its contents, not cxf"),
        ((DATA / "plate_lab.cgats").read_bytes(), ["--kind", "csv"], 2, "file is cgats by its contents, not csv"),
        ((DATA / "plate_lab.cgats").read_bytes(), ["--table", "2"], 2, "has 1 tables with colours; --table 2 is not there"),
        ((DATA / "plate.cxf").read_bytes(), ["--table", "1"], 2, "only CGATS files hold several tables"),
        ((DATA / "plate.cxf").read_bytes(), ["--geometry", "sideways"], 2, "geometry 'sideways' is not known"),
        ((DATA / "plate.cxf").read_bytes(), ["--rows", "row-wise"], 2, "file has 12 rows for"),
        (b"patch,nm400,nm410\nA01,1,2\n", [], 2, "states no scale"),
        (b"patch,L,a,b\nA01,50,1,2\n", ["--kind", "cxf"], 2, "not well-formed XML"),
        (b"patch,L,a,b\nA01,50,1,2\n", ["--kind", "cgats"], 2, "no BEGIN_DATA block"),
        (b"", [], 2, "is empty"),
        (b"patch,L,a,b\nA01,50,1,2\n", ["--model", "file"], 2, "not a file tint wrote"),
    ],
)  # fmt: skip
def test_bad_input_is_one_clear_line_and_leaves_nothing_behind(bench, content, words, code, said):
    Path("file").write_bytes(content)
    assert said in one_line(tint("measure", bench / "plate-1", "file", *words), code)
    assert [path.name for path in Path().iterdir()] == ["file"]


@pytest.mark.parametrize(("words", "said"), [(["a.csv", "b.csv"], "add --merge"), (["a.csv", "--merge"], "two or more"), ([], "FILE")])
def test_wrong_use_says_what_to_add(bench, words, said):
    done = tint("measure", bench / "plate-1", *words)
    assert done.exit_code == 2 and said in done.stderr and "Usage:" in done.stderr


def test_an_output_that_is_there_is_kept(bench):
    Path("patches.csv").write_text("mine", encoding="utf-8")
    assert "already there" in one_line(tint("measure", bench / "plate-1", bench / "reading.csv"), 2)
    assert Path("patches.csv").read_text(encoding="utf-8") == "mine"
