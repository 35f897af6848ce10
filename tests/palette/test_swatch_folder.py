"""Swatches for design programs: GIMP palette, CSS, printable sheet, and the folder that holds them."""

import dataclasses
import re
from xml.etree import ElementTree

import numpy as np
import pytest
import tinycss2
from PIL.GimpPaletteFile import GimpPaletteFile

from tint.errors import FileError
from tint.lab import srgb255_from_lab
from tint.palette.palette import Palette, PaletteColour
from tint.palette.swatch_folder import write_swatches
from tint.palette.swatch_sheet import swatch_sheets
from tint.palette.swatch_text import beyond_screen, css_names, css_text, doubt_words, gpl_text
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench (invented)", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate <A&B> (invented)", "304", "2B", 1.5, [100, 100])
SVG = "{http://www.w3.org/2000/svg}"


def palette(count=3, names=()):
    rng = np.random.default_rng(4)
    colours = tuple(
        PaletteColour(
            names[i] if i < len(names) else f"colour {i}",
            Setting(15, 800, 300, 6, 0.002),
            rng.uniform([20, -20, -30], [80, 20, 30]),
            2.0,
            1.0,
        )
        for i in range(count)
    )
    return Palette(
        "signs */ (invented)", LASER, SHEET, colours, np.array([82.0, 0.5, 3.0]), ("SIMULATED colours",), "power ±2 %"
    )


def test_pillow_reads_the_gimp_palette_with_the_same_bytes(tmp_path):
    mine = palette(5)
    (tmp_path / "p.gpl").write_text(gpl_text(mine), encoding="utf-8")
    with open(tmp_path / "p.gpl", "rb") as stream:
        table, mode = GimpPaletteFile(stream).getpalette()
    assert mode == "RGB"
    np.testing.assert_array_equal(np.frombuffer(table, np.uint8)[:18].reshape(-1, 3), srgb255_from_lab(mine.lab))
    assert "SIMULATED colours" in gpl_text(mine)


def test_names_with_line_breaks_and_other_scripts_stay_on_their_line():
    mine = palette(2, ("reed\ngreen", "синий"))
    lines = gpl_text(mine).splitlines()
    assert sum(bool(re.match(r" *\d+ +\d+ +\d+\t", line)) for line in lines) == 3 and "1 reed green" in lines[-2]
    assert css_names(mine) == ["--metal-0-bare", "--metal-1-reed-green", "--metal-2"]


def test_the_style_sheet_parses_and_holds_every_colour_twice():
    mine = palette(4)
    rules = tinycss2.parse_stylesheet(css_text(mine), skip_comments=True, skip_whitespace=True)
    assert [rule.type for rule in rules] == ["qualified-rule", "at-rule"]
    plain = [d for d in tinycss2.parse_blocks_contents(rules[0].content) if d.type == "declaration"]
    assert [d.name for d in plain] == css_names(mine) and all(d.value[-1].type == "hash" for d in plain)
    (inner,) = tinycss2.parse_rule_list(rules[1].content, skip_whitespace=True)
    for declared, lab in zip(
        (d for d in tinycss2.parse_blocks_contents(inner.content) if d.type == "declaration"), mine.lab, strict=True
    ):
        function = next(token for token in declared.value if token.type == "function")
        numbers = [token.value for token in function.arguments if token.type == "number"]
        assert function.name == "lab" and numbers == pytest.approx(lab, abs=0.006)


def test_a_colour_beyond_the_screen_is_marked_so():
    assert beyond_screen(np.array([[50, 0, 0], [60, -60, 60], [50, 0, -90]])).tolist() == [False, True, True]


@pytest.mark.parametrize(("count", "pages"), [(1, 1), (19, 1), (20, 2), (60, 4)])
def test_the_sheets_are_a4_in_millimetres_with_every_swatch_at_its_true_size(count, pages):
    mine = palette(count)
    sheets = swatch_sheets(mine)
    assert len(sheets) == pages
    seen = []
    for sheet in sheets:
        root = ElementTree.fromstring(sheet)
        assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("210mm", "297mm", "0 0 210 297")
        for rect in root.iter(f"{SVG}rect"):
            if (rect.get("id") or "").startswith("swatch-"):
                number = int(rect.get("id")[7:])
                seen.append(number)
                assert (float(rect.get("width")), float(rect.get("height"))) == (34, 18)
                assert rect.get("fill") == "#{:02x}{:02x}{:02x}".format(*srgb255_from_lab(mine.lab[number]))
                assert 0 < float(rect.get("x")) and float(rect.get("x")) + 34 < 210 and float(rect.get("y")) + 18 < 255
        ruler = next(path for path in root.iter(f"{SVG}path") if path.get("id") == "ruler")
        assert "h50" in ruler.get("d")
        said = " ".join(text.text or "" for text in root.iter(f"{SVG}text"))
        for words in ("SIMULATED", "Class 4", "metal shifts with the angle", "print at 100 %"):
            assert words in said
        assert all(float(text.get("y")) < 295 for text in root.iter(f"{SVG}text"))
    assert seen == list(range(count + 1))


def test_remarks_too_long_for_the_sheet_end_with_where_there_is_more():
    few = swatch_sheets(dataclasses.replace(palette(), remarks=("SIMULATED colours", "reed " * 60)))[0]
    many = swatch_sheets(dataclasses.replace(palette(), remarks=("SIMULATED colours", "reed " * 200)))[0]
    assert "…" not in few and many.count("… (more in README.txt)</text>") == 1 and "SIMULATED" in many


def test_without_a_stated_jitter_the_note_still_is_a_sentence():
    assert doubt_words(palette()).endswith("jitter is the mean shift under power ±2 %.")
    assert doubt_words(dataclasses.replace(palette(), jitter="")).endswith("jitter is the mean shift.")


def test_the_folder_is_written_whole_and_replaced_only_with_force(tmp_path):
    names = write_swatches(palette(), tmp_path / "out", date="2026-03-14")
    assert names == ("palette.gpl", "palette.css", "swatches.svg", "palette.icc", "README.txt")
    assert all((tmp_path / "out" / name).stat().st_size > 150 for name in names)
    text = (tmp_path / "out" / "README.txt").read_text(encoding="utf-8")
    assert "SIMULATED" in text and "black point compensation off" in text and "Class 4" in text
    with pytest.raises(FileError, match="already there"):
        write_swatches(palette(), tmp_path / "out")
    write_swatches(palette(25), tmp_path / "out", force=True)
    assert sorted(path.name for path in (tmp_path / "out").glob("*.svg")) == ["swatches-1.svg", "swatches-2.svg"]
