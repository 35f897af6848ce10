"""Choosing the handful, against the proven optimum and on real marks."""

import dataclasses

import numpy as np
import pytest
import shapely
from PIL import Image

from tint.artwork.artwork import Drawing, Picture, Shape
from tint.errors import DataError
from tint.lab import delta_e00, lab_from_srgb1
from tint.palette.choose import choose_palette
from tint.palette.curve import error_curve
from tint.palette.offer import offer_of, thin
from tint.palette.penalty import Penalty
from tint.palette.wishes import artwork_wishes, read_wishes


def test_thinning_keeps_the_surest_of_each_cell():
    lab = np.array([[50.2, 0, 0], [50.4, 0.5, 0], [80, 0, 0]])
    assert thin(lab, np.array([3.0, 1.0, 2.0]), cell=3).tolist() == [1, 2]


def test_a_palette_of_real_marks_spans_their_hues_with_settings_the_machine_can_do(model):
    palette = choose_palette(model, 8)
    model.machine.check(palette.setting)
    assert len(palette) == 8 and len({colour.name for colour in palette.colours}) == 8
    away = delta_e00(palette.lab[1:, None], palette.lab[None, 1:]) + 99 * np.eye(8)
    assert away.min() > 4  # told apart at a glance
    hue = np.degrees(np.arctan2(palette.lab[1:, 2], palette.lab[1:, 1])) % 360
    assert ((hue > 240) & (hue < 300)).any() and (hue > 310).any() and ((hue > 40) & (hue < 110)).any()
    assert palette.remarks[0].startswith("camera colours") and "bare metal was not measured" in palette.remarks[1]
    assert palette.jitter.endswith("focus ±0.2 mm (speed, line spacing, focus assumed: never varied in the grid)")


def test_a_palette_for_an_artwork_serves_it_better_than_one_for_the_stock(model):
    shapes = tuple(
        Shape(shapely.box(i, 0, i + 1, 1), srgb, "test")
        for i, srgb in enumerate([(40, 80, 150), (60, 110, 180), (30, 50, 110), (90, 130, 200)])
    )
    art = Drawing("water", 4, 1, shapes)
    wishes, weight = artwork_wishes(art)

    def lost(palette):
        return (delta_e00(wishes[:, None], palette.lab[None]).min(axis=1) * weight).sum()

    chosen, general = choose_palette(model, 4, artwork=art), choose_palette(model, 4)
    assert lost(chosen) < 0.8 * lost(general) and (chosen.artwork, general.artwork) == ("water", "")


def test_the_wishes_of_a_picture_are_its_colours_by_area_without_the_transparent_ones():
    pixels = np.zeros((10, 10, 3), np.uint8)
    pixels[:, :3] = (200, 40, 40)
    pixels[:, 3:] = (40, 40, 200)
    bare = np.zeros((10, 10), bool)
    bare[:, 8:] = True
    wishes, weight = artwork_wishes(Picture("p", 10, 10, pixels, bare))
    assert weight.tolist() == [50 / 80, 30 / 80]
    np.testing.assert_allclose(wishes, lab_from_srgb1(np.array([[40, 40, 200], [200, 40, 40]]) / 255))
    with pytest.raises(DataError, match="wholly transparent"):
        artwork_wishes(Picture("p", 10, 10, pixels, np.ones((10, 10), bool)))


def test_the_background_is_no_wish_unless_it_is_to_be_marked():
    page, fish = (253, 255, 250), (40, 40, 200)
    drawn = Drawing("fish", 10, 10, (Shape(shapely.box(0, 0, 10, 9), page, "t"), Shape(shapely.box(0, 9, 10, 10), fish, "t")))
    pixels = np.full((10, 10, 3), page, np.uint8)
    pixels[9] = fish
    for art in (drawn, Picture("fish", 10, 10, pixels, np.zeros((10, 10), bool))):
        wishes, weight = artwork_wishes(art)
        np.testing.assert_allclose(wishes, lab_from_srgb1(np.array([fish]) / 255))
        assert weight.tolist() == [1] and artwork_wishes(art, None)[1].tolist() == [0.9, 0.1]
        assert artwork_wishes(art, fish)[1].tolist() == [1] and len(artwork_wishes(art, (253, 255, 243))[0]) == 2
    for art in (dataclasses.replace(drawn, shapes=drawn.shapes[:1]), Picture("fish", 10, 9, pixels[:9], np.zeros((9, 10), bool))):
        with pytest.raises(DataError, match="all of it is the background's colour. Add --background none"):
            artwork_wishes(art)


def test_a_white_page_does_not_weigh_in_what_the_curve_promises(model):
    fish = Shape(shapely.box(0, 0, 10, 10), (60, 110, 180), "t"), Shape(shapely.box(10, 0, 20, 10), (215, 180, 120), "t")
    page = Shape(shapely.box(0, 10, 20, 90), (255, 255, 255), "t")
    bare, whole = (error_curve(offer_of(model, Drawing("fish", 20, 90, shapes)), 4) for shapes in (fish, (*fish, page)))
    assert whole.words() == bare.words() and whole.away_de00.tolist() == bare.away_de00.tolist()


@pytest.mark.parametrize(("width", "height"), [(1, 1), (40, 3), (3000, 7), (60_000, 1), (7, 300)])
def test_the_colours_of_a_picture_of_any_size_are_read(tmp_path, width, height):
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[:, : width // 4] = (200, 40, 40)
    Image.fromarray(pixels).save(tmp_path / "reed.png")
    weight = artwork_wishes(read_wishes(tmp_path / "reed.png"))[1]
    assert weight.tolist() == pytest.approx([1 - width // 4 / width, width // 4 / width][: 1 + (width > 3)])


def test_the_wishes_of_a_picture_are_the_same_whatever_is_sorted_at_once(monkeypatch):
    rng = np.random.default_rng(1)
    picture = Picture("p", 9, 7, rng.integers(0, 256, (70, 90, 3)).astype(np.uint8), rng.random((70, 90)) < 0.3)
    whole = artwork_wishes(picture)
    monkeypatch.setattr("tint.palette.wishes._AT_ONCE_PX", 500)
    for one, other in zip(whole, artwork_wishes(picture), strict=True):
        np.testing.assert_array_equal(one, other)


def test_more_colours_than_the_stock_has_are_refused(model, monkeypatch):
    with pytest.raises(DataError, match="a palette holds 1 to 255"):
        choose_palette(model, 0)
    monkeypatch.setattr("tint.palette.offer.THIN_LAB", 25.0)
    with pytest.raises(DataError, match=r"offers only \d+ different colours of polished stainless \(open data\)"):
        choose_palette(model, 250)


def test_loud_colours_are_chosen_less_the_heavier_they_weigh(model):
    calm = choose_palette(model, 8, penalty=Penalty(sensitive=6))
    plain = choose_palette(model, 8, penalty=Penalty(sensitive=0))

    def loud(palette):
        return np.mean([colour.sensitivity_de00 for colour in palette.colours])

    assert loud(calm) < 0.9 * loud(plain)


def test_near_twins_of_a_large_palette_are_said(model):
    palette = choose_palette(model, 200)
    assert any(line.startswith("near twins:") and "of 200 can be told apart" in line for line in palette.remarks)
    assert not any(line.startswith("near twins") for line in choose_palette(model, 6).remarks)


def test_without_a_number_as_many_colours_are_taken_as_pay(model):
    flat = tuple(
        Shape(shapely.box(i, 0, i + 1, 1), srgb, "test") for i, srgb in enumerate([(60, 110, 180), (215, 180, 120)] * 4)
    )
    assert 1 <= len(choose_palette(model, None, artwork=Drawing("two colours", 8, 1, flat))) <= 3
