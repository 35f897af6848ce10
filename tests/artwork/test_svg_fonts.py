"""Fonts found by their names, against what the files say of themselves; small fonts are made on the spot."""

from pathlib import Path

import pytest
from sign_fonts import VERA_FOLDER, invented_font

from tint.artwork.svg_fonts import FontShelf, FontWish, TextRefusal, font_places, script_runs


def wish(*names, **style):
    return FontWish(tuple((name, False) for name in names), **style)


@pytest.mark.parametrize(
    ("style", "file"),
    [
        ({}, "Vera.ttf"),
        ({"weight": 700}, "VeraBd.ttf"),
        ({"italic": True}, "VeraIt.ttf"),
        ({"weight": 700, "italic": True}, "VeraBI.ttf"),
    ],
)
def test_a_font_is_found_by_family_weight_and_slope_in_any_case(style, file):
    shelf = FontShelf([VERA_FOLDER])
    assert shelf.find(wish("bitstream  VERA sans", **style)).file.path.name == file


def test_the_first_family_that_is_installed_is_taken():
    assert FontShelf([VERA_FOLDER]).find(wish("Otter Sans", "Bitstream Vera Sans")).file.path.name == "Vera.ttf"


def test_a_family_of_four_within_a_larger_one_is_found_by_both_names(tmp_path):
    invented_font(tmp_path / "narrow.ttf", "Otter Sans Narrow Light", typographic="Otter Sans", width_class=3, weight=300)
    shelf = FontShelf([tmp_path])
    light = shelf.find(wish("Otter Sans Narrow Light"))
    assert light is shelf.find(wish("Otter Sans Narrow Light", weight=300))
    assert light is shelf.find(wish("Otter Sans", width_class=3, weight=300))
    for style in ({}, {"weight": 300}, {"width_class": 3}):
        with pytest.raises(TextRefusal, match="without weight"):
            shelf.find(wish("Otter Sans", **style))
    for style in ({"weight": 700}, {"width_class": 4}, {"italic": True}):
        with pytest.raises(TextRefusal, match="without weight"):
            shelf.find(wish("Otter Sans Narrow Light", **style))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (wish("Otter Sans"), "font 'Otter Sans' is not installed"),
        (wish("Otter Sans", "Reed"), "fonts 'Otter Sans', 'Reed' are not installed"),
        (FontWish((("Otter Sans", False), ("serif", True), ("Bitstream Vera Sans", False))), "font 'Otter Sans' is not installed"),
        (FontWish((("serif", True),)), "serif is a different font on each computer"),
        (FontWish(()), "names no font"),
        (wish("Bitstream Vera Sans", weight=600),
         r"'Bitstream Vera Sans' is installed, without weight 600 \(it has weight 400, 400 italic, 700, 700 italic\)"),
        (wish("Bitstream Vera Sans", width_class=3), "without weight 400 width class 3"),
    ],
)  # fmt: skip
def test_a_font_that_is_not_there_is_refused_by_name(asked, said):
    with pytest.raises(TextRefusal, match=said) as refused:
        FontShelf([VERA_FOLDER]).find(asked)
    assert "convert the text to outlines (paths) in the drawing program" in refused.value.advice


def test_a_variable_font_is_read_at_its_default_only(tmp_path):
    invented_font(tmp_path / "otter.ttf", "Otter Flex", axes=[("wght", 100, 400, 900)])
    shelf = FontShelf([tmp_path])
    assert shelf.find(wish("Otter Flex")).outline(1)
    with pytest.raises(TextRefusal, match="variable font, of which only the default is read"):
        shelf.find(wish("Otter Flex", weight=700))
    invented_font(tmp_path / "size.ttf", "Otter Optical", axes=[("opsz", 8, 12, 72)])
    with pytest.raises(TextRefusal, match="variable in opsz"):
        FontShelf([tmp_path]).find(wish("Otter Optical"))


def test_a_font_of_colours_is_refused(tmp_path):
    invented_font(tmp_path / "paint.ttf", "Otter Paint", colour=True)
    with pytest.raises(TextRefusal, match="'Otter Paint' is made of colours or pixels"):
        FontShelf([tmp_path]).find(wish("Otter Paint"))


def test_damaged_files_and_links_in_a_circle_are_passed_over(tmp_path):
    (tmp_path / "broken.ttf").write_bytes(b"\x00\x01\x00\x00 no font")
    (tmp_path / "empty.otf").write_bytes(b"")
    (tmp_path / "b.ttc").write_bytes(b"ttcf\x00\x01")
    (tmp_path / "again").symlink_to(tmp_path)
    invented_font(tmp_path / "ok.ttf", "Otter Sans")
    assert FontShelf([tmp_path, tmp_path / "gone"]).find(wish("Otter Sans")).units_per_em == 1000


def test_a_collection_holds_several_fonts(tmp_path):
    from fontTools.ttLib import TTCollection, TTFont

    for name in ("one", "two"):
        invented_font(tmp_path / name, f"Otter {name}", characters="AB" if name == "one" else "XY")
    both = TTCollection()
    both.fonts = [TTFont(tmp_path / name) for name in ("one", "two")]
    both.save(tmp_path / "both.ttc")
    font = FontShelf([tmp_path / "both.ttc"]).find(wish("Otter two"))
    assert font.file.index == 1 and len(font.shaped("XY", "Latn", "", {})) == 2


def test_what_tint_fonts_lists_comes_before_the_folders_of_each_system():
    import os

    listed = os.pathsep.join(["/signs/fonts", "/signs/otter.ttf"])
    linux = font_places({"HOME": "/home/shop", "TINT_FONTS": listed}, "linux")
    assert linux[:2] == [Path("/signs/fonts"), Path("/signs/otter.ttf")] and Path("/usr/share/fonts") in linux
    assert Path("/home/shop/.local/share/fonts") in linux
    assert Path("/home/shop/Library/Fonts") in font_places({"HOME": "/home/shop"}, "darwin")
    windows = font_places({"USERPROFILE": "C:/Users/shop", "WINDIR": "C:/Windows"}, "win32")
    assert Path("C:/Windows/Fonts") in windows and Path("C:/Users/shop/AppData/Local/Microsoft/Windows/Fonts") in windows


def where_second_stands(clusters):
    first, second = clusters
    return first.advance + second.glyphs[0][1].real


def test_shaping_agrees_with_the_kerning_table_of_the_font():
    from fontTools.ttLib import TTFont

    source = TTFont(VERA_FOLDER / "Vera.ttf")
    cmap, kerning = source.getBestCmap(), source["kern"].kernTables[0].kernTable
    font = FontShelf([VERA_FOLDER]).find(wish("Bitstream Vera Sans"))
    for pair in ("AV", "To", "LT", "Wa", "HH"):
        first, second = (cmap[ord(character)] for character in pair)
        expected = source["hmtx"][first][0] + kerning.get((first, second), 0)
        assert where_second_stands(font.shaped(pair, "Latn", "", {})) == expected
        assert where_second_stands(font.shaped(pair, "Latn", "", {"kern": False})) == source["hmtx"][first][0]


def test_an_outline_has_the_area_that_fonttools_measures():
    import numpy as np
    from fontTools.pens.areaPen import AreaPen
    from fontTools.ttLib import TTFont

    from tint.artwork.flatten import filled
    from tint.artwork.svg_path import flat_points

    source = TTFont(VERA_FOLDER / "Vera.ttf")
    font = FontShelf([VERA_FOLDER]).find(wish("Bitstream Vera Sans"))
    for character in "AgR8":
        pen = AreaPen(source.getGlyphSet())
        name = source.getBestCmap()[ord(character)]
        source.getGlyphSet()[name].draw(pen)
        outline = font.outline(source.getGlyphID(name))
        region = filled([np.asarray(flat_points(subpath, 0.01)) for subpath in outline], "nonzero")
        assert region.area == pytest.approx(abs(pen.value), rel=1e-4)


def test_digits_belong_to_the_script_before_them():
    assert list(script_runs("12 Reiher Ω3")) == [(0, 10, "Latn"), (10, 12, "Grek")]
    assert list(script_runs("12")) == [(0, 2, "Zyyy")] and not list(script_runs(""))
