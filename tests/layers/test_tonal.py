"""Tonal separation: cells no smaller than the spot, one colour each, that show the tones of a picture."""

import dataclasses

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from invented import LASER, palette, picture

from tint.artwork.artwork import Drawing, Shape
from tint.errors import DataError, LimitError
from tint.lab import delta_e00, lab_from_srgb1
from tint.layers.clean import find_regions
from tint.layers.folder import read_layers, write_layers
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.mixture import Mixing, mixture_lab
from tint.layers.separate import separate
from tint.layers.spatial import spatial_error
from tint.layers.tonal import JUDGED_CELLS, WAYS, Tonal, cell_for, in_cells, judged_parts, tonal_layers
from tint.palette.reach import light_from_lab

BOOK = palette()
MAPPED = GamutMap("nearest", Gamut(BOOK.lab))


def shaded(height=120, width=160):
    y, x = np.mgrid[0:height, 0:width] / max(height, width)
    return np.clip(np.stack([90 + 120 * x, 110 + 60 * y, 200 - 120 * x * y], axis=-1), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("how", ["nearest", "hue", "tone"])
def test_nothing_is_smaller_than_the_spot_and_every_cell_has_one_colour(way, how):
    layers = separate(picture(shaded(), 8), BOOK, how=how, tonal=Tonal(way=way))
    assert layers.labels.dtype == np.uint8 and layers.pitch_mm >= LASER.spot_um / 1e3
    areas = find_regions(layers.labels).area_px * layers.pitch_mm**2
    assert areas.min() >= np.pi / 4 * (LASER.spot_um / 1e3) ** 2
    total = sum(layers.area_mm2(number) for number in layers.used) + (layers.labels == 0).sum() * layers.pitch_mm**2
    assert total == pytest.approx(layers.width_mm * layers.height_mm)


@settings(max_examples=25, deadline=None)
@given(
    width_mm=st.floats(0.3, 6), high=st.integers(1, 40), wide=st.integers(3, 60), cell_mm=st.floats(0.06, 0.2), way=st.sampled_from(WAYS),
    seed=st.integers(0, 99),
)  # fmt: skip
def test_no_mark_is_smaller_than_the_spot_wherever_the_border_cuts(width_mm, high, wide, cell_mm, way, seed):
    rng = np.random.default_rng(seed)
    art = picture(rng.integers(0, 250, (high, wide, 3), dtype=np.uint8), width_mm, rng.random((high, wide)) < 0.3)
    with pytest.MonkeyPatch.context() as patch:  # one table of the palette's gamut for all examples
        patch.setattr("tint.layers.tonal.GamutMap", lambda how, gamut, ink: MAPPED)
        try:
            layers = separate(art, BOOK, tonal=Tonal(cell_mm, way))
        except DataError:  # all of it bare
            return
    assert layers.width_mm <= max(art.width_mm, cell_mm) + 1e-5 and layers.height_mm <= max(art.height_mm, cell_mm) + 1e-5
    marks = find_regions(layers.labels)
    areas = marks.area_px[marks.label > 0] * layers.pitch_mm**2
    assert areas.min() >= np.pi / 4 * (LASER.spot_um / 1e3) ** 2
    for number in layers.used:  # the outlines that are marked, not only the cells
        for part in layers.outlines[number - 1].geoms:
            assert part.area >= np.pi / 4 * (LASER.spot_um / 1e3) ** 2
            left, top, right, bottom = part.bounds
            assert min(right - left, bottom - top) >= LASER.spot_um / 1e3 - 1e-9


def test_a_piece_as_wide_as_the_field_stays_within_it():
    assert in_cells(picture(shaded(), 175), 0.08).width_mm <= 175


def test_the_picture_looks_like_its_mapped_self_from_a_hand_away():
    art = picture(shaded(300, 400), 20)
    layers = separate(art, BOOK, tonal=Tonal())
    gamut = Gamut(BOOK.lab)
    wanted = GamutMap("nearest", gamut).picture(in_cells(art, layers.pitch_mm).srgb255)
    assert spatial_error(light_from_lab(BOOK.lab)[layers.labels], wanted, layers.pitch_mm) < 0.8


def test_the_outlines_are_the_cells_and_the_folder_gives_them_back(tmp_path):
    layers = separate(picture(shaded(30, 40), 4), BOOK, tonal=Tonal(0.1))
    for number in layers.used:
        assert layers.outlines[number - 1].area == pytest.approx(layers.area_mm2(number))
    again = read_layers(write_layers(layers, tmp_path / "layers"))
    np.testing.assert_array_equal(again.labels, layers.labels)
    assert again.remarks == layers.remarks and again.simplify_px == 0


def test_remarks_say_what_tonal_costs_and_how_near_it_looks():
    first, second = separate(picture(shaded(), 8), BOOK, tonal=Tonal(0.1)).remarks[:2]
    assert first.startswith("tonal: ") and "runs side by side" in first and "jump time" in first
    assert "from 300 mm it looks" in second and "this palette cannot mix all colours" in second


def test_what_a_large_map_is_judged_by_covers_all_of_it_evenly():
    parts = judged_parts(2500, 3500)
    counted = np.zeros((2500, 3500), int)
    for part in parts:
        counted[part] += 1
    assert counted.max() == 1 and counted.sum() <= 220_000
    y, x = np.nonzero(counted)
    assert abs(y.mean() - 1250) < 5 and abs(x.mean() - 1750) < 5


@given(st.integers(1, 900), st.integers(0, 900))
@example(75, 33)  # 75 × 2700 cells, which have room for one row of tiles and half another
def test_tiles_that_a_map_is_judged_by_lie_whole_inside_it_whatever_its_shape(height, more):
    width = -(-JUDGED_CELLS // height) + more
    for rows, columns in judged_parts(height, width):
        assert 0 <= rows.start < rows.stop <= height and 0 <= columns.start < columns.stop <= width


def spaced(*spacing_mm):
    colours = tuple(
        dataclasses.replace(colour, setting=dataclasses.replace(colour.setting, spacing_mm=spacing))
        for colour, spacing in zip(BOOK.colours, spacing_mm, strict=False)
    )
    return dataclasses.replace(BOOK, colours=colours)


def test_a_cell_holds_whole_scan_lines_of_every_colour():
    assert cell_for(spaced(0.002, 0.003, 0.005)) == (0.06, ())
    assert cell_for(spaced(0.007, 0.01)) == (0.07, ())
    cell_mm, remarks = cell_for(spaced(0.0071, 0.0113))  # no common multiple near the spot
    assert cell_mm == 0.06 and "not whole numbers of scan lines of straw (0.0071 mm), purple (0.0113 mm)" in remarks[0]
    assert cell_for(spaced(0.02), 0.1)[1] == () and "straw (0.02 mm)" in cell_for(spaced(0.02), 0.09)[1][0]


def test_as_many_colours_as_a_label_map_holds_each_with_a_spacing_of_its_own_have_a_cell():
    many = tuple(
        dataclasses.replace(BOOK.colours[0], name=f"tone {i}", setting=dataclasses.replace(BOOK.colours[0].setting, spacing_mm=0.002 + i * 7e-6))
        for i in range(255)
    )
    assert cell_for(dataclasses.replace(BOOK, colours=many))[0] == 0.06


def test_cells_below_the_spot_or_too_many_are_refused():
    with pytest.raises(LimitError, match=r"a cell of 0.05 mm cannot be marked; it lies between the spot of bench \(0.06 mm\)"):
        cell_for(BOOK, 0.05)
    with pytest.raises(LimitError, match="are too many"):
        in_cells(picture(shaded(20, 20), 175), 0.01)
    with pytest.raises(LimitError, match="tonal way 'rows' is not known; use diffused or ordered"):
        Tonal(way="rows")
    with pytest.raises(LimitError, match="tonal cells are square and none is a speck"):
        separate(picture(shaded(), 8), BOOK, tonal=Tonal(), smooth=True)


def test_transparent_and_background_cells_stay_bare():
    pixels, bare = shaded(), np.zeros((120, 160), bool)
    bare[:, :80] = True
    pixels[60:] = 255
    layers = separate(picture(pixels, 8, bare), BOOK, tonal=Tonal(0.1))
    assert not layers.labels[:, :40].any() and not layers.labels[31:].any() and layers.labels[:30, 40:].any()
    with pytest.raises(DataError, match="wholly transparent, or background"):
        tonal_layers(picture(pixels, 8, np.ones((120, 160), bool)), BOOK, "nearest", Tonal())


@pytest.mark.parametrize("tonal", [None, Tonal(0.1)])
def test_what_is_hidden_under_transparency_does_not_shine_through(tonal):
    bare = np.zeros((60, 80), bool)
    bare[:, :40] = True
    maps = []
    for hidden in (0, 255):
        pixels = shaded(60, 80)
        pixels[bare] = hidden
        maps.append(separate(picture(pixels, 8, bare), BOOK, how="tone", tonal=tonal).labels)
    np.testing.assert_array_equal(*maps)


def test_a_drawing_can_be_tonal_too():
    import shapely

    drawing = Drawing("sky", 8, 6, (Shape(shapely.box(1, 1, 7, 5), (110, 130, 150), "sky"),))
    layers = separate(drawing, BOOK, tonal=Tonal(0.1))
    assert layers.labels.shape == (60, 80) and not layers.labels[:10].any() and len(layers.used) > 1


@pytest.mark.parametrize("order", [("dark", "teal", "blue", "purple", "straw"), ("blue", "straw", "dark", "purple", "teal")])
def test_another_order_of_the_palette_gives_the_same_cells(order):
    art, book = picture(shaded(40, 50), 4), palette(*order)
    one, other = (separate(art, each, tonal=Tonal(0.1)) for each in (BOOK, book))
    same = np.array(one.names)[one.labels] == np.array(other.names)[other.labels]
    assert same.mean() > 0.9  # rounding turns a few, and those turn some that follow
    for name in one.names:
        shares = [(np.array(each.names)[each.labels] == name).mean() for each in (one, other)]
        assert abs(shares[0] - shares[1]) < 0.01


@pytest.mark.parametrize("way", WAYS)
def test_growth_of_marks_told_by_a_strip_is_made_good(way):
    mixing = Mixing(1.4, np.array([0, 0.08, 0.05, 0.06, 0.05, 0.07]))
    even = np.full((200, 200, 3), (120, 140, 150), np.uint8)
    wanted = Gamut(BOOK.lab, mixing)
    goal = wanted.colour(wanted.nearest(lab_from_srgb1(even[0, :1] / 255)))[0]
    shown = {}
    for name, used in (("fitted", mixing), ("plain", Mixing())):
        layers = separate(picture(even, 20), BOOK, tonal=Tonal(0.1, way, used))
        share = np.bincount(layers.labels.ravel(), minlength=6) / layers.labels.size
        shown[name] = float(delta_e00(mixture_lab(share, BOOK.lab, mixing), goal))
    assert shown["fitted"] < 1.5 and shown["fitted"] < 0.5 * shown["plain"]
