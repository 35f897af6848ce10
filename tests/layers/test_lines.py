"""Lines thinner than the spot: found at every angle, kept in one piece, widened to the spot, or refused with their places."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from invented import palette, picture
from PIL import Image, ImageDraw

from tint.errors import DataError, LimitError
from tint.layers.clean import absorb_specks, find_regions, thin_area_px
from tint.layers.lines import find_lines, kept_lines, widened_lines
from tint.layers.separate import separate

LAB = np.array([[80, 0, 0], [60, 0, 20], [40, 20, 0], [30, 0, -30], [50, -20, 10]], dtype=float)  # invented colours
ANGLES = (0, 10, 27, 45, 63, 80, 90)


def lines_drawn(width_px, size=480):
    """Map (h, w) of lines of label 3 on 0, one an angle, and how many there are."""
    image = Image.new("L", (size, 100), 0)
    draw = ImageDraw.Draw(image)
    for i, angle in enumerate(np.radians(ANGLES)):
        x, y = 20 + 65 * i, 30
        draw.line((x, y, x + 45 * np.cos(angle), y + 45 * np.sin(angle)), fill=3, width=width_px)
    return np.array(image)


@pytest.mark.parametrize("spot", [2, 3, 4, 6])
def test_lines_of_one_pixel_are_found_at_every_angle_and_their_width_is_told(spot):
    lines = find_lines(lines_drawn(1), spot)
    assert len(lines) == len(ANGLES)
    assert set(lines.number.tolist()) == {3} and set(lines.width_px.tolist()) == {1}
    assert (np.abs(lines.length_px - 46) < 3).all()


@pytest.mark.parametrize("spot", [2, 3, 4, 5])
def test_lines_as_wide_as_the_spot_and_the_borders_of_wide_shapes_are_none(spot):
    labels = np.zeros((120, 200), dtype=np.uint8)
    labels[10 : 10 + spot, 10:60], labels[30:80, 10 : 10 + spot] = 1, 2
    y, x = np.mgrid[:120, :200]
    labels[(y - 60) ** 2 + (x - 110) ** 2 < 45**2] = 3
    labels[(y > 0.35 * x) & (x > 160)] = 4
    assert len(find_lines(labels, spot)) == 0


def test_the_gap_between_two_marks_is_a_line_of_bare_metal():
    labels = np.ones((30, 60), dtype=np.uint8)
    labels[14:16] = 0
    lines = find_lines(labels, 4)
    assert lines.number.tolist() == [0] and lines.width_px.tolist() == [2]


@pytest.mark.parametrize("spot", [2, 3, 5])
def test_without_a_wish_diagonal_lines_are_lost_and_kept_they_stay_whole_in_one_region(spot):
    labels, area = lines_drawn(1), np.pi / 4 * spot**2
    assert (absorb_specks(labels, area, LAB).labels[labels == 3] == 3).mean() < 1
    joined, kept = kept_lines(labels, find_lines(labels, spot))
    cleaned = absorb_specks(joined, area, LAB, kept=kept).labels
    assert (cleaned[labels == 3] == 3).all()
    assert (find_regions(cleaned).label == 3).sum() == len(ANGLES)
    assert (cleaned != labels).sum() < 2 * (labels == 3).sum()


@pytest.mark.parametrize("spot", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("width_px", [1, 2, 3])
def test_widened_lines_are_as_wide_as_the_spot_and_no_more(spot, width_px):
    labels = np.zeros((40, 80), dtype=np.uint8)
    labels[15 : 15 + width_px, 10:70] = 2
    if width_px >= spot:
        assert len(find_lines(labels, spot)) == 0
        return
    wide, kept = widened_lines(labels, find_lines(labels, spot), spot)
    assert (wide[:, 40] == 2).sum() == spot and kept[wide == 2].all()
    rows = np.flatnonzero(wide[:, 40] == 2)
    assert abs(rows.mean() - (15 + (width_px - 1) / 2)) <= 0.5


@pytest.mark.parametrize("turned", [False, True])
def test_a_pixel_as_near_to_one_line_as_to_another_goes_to_the_one_above_or_left(turned):
    labels = np.zeros((19, 9), dtype=np.uint8)
    labels[:9, 4], labels[10:, 4] = 1, 2
    labels = labels.T.copy() if turned else labels
    widened = widened_lines(labels, find_lines(labels, 3), 3)[0]
    assert (widened.T if turned else widened)[9].tolist() == [0, 0, 0, 1, 1, 1, 0, 0, 0]


@pytest.mark.parametrize(("spot", "found"), [(9, 1), (257, 1), (100_000, 0)])
def test_a_spot_wider_than_the_map_or_than_a_byte_counts_is_told_from_a_line_by_its_length(spot, found):
    lines = find_lines(np.ones((3, 600), dtype=np.uint8), spot)
    assert len(lines) == found and lines.width_px.tolist() == [3] * found


@pytest.mark.parametrize("spot", [2, 3, 4, 6])
@pytest.mark.parametrize("width_px", [1, 2])
def test_nothing_thin_is_left_of_widened_lines_at_any_angle(spot, width_px):
    labels = lines_drawn(width_px)
    wide, _ = widened_lines(labels, find_lines(labels, spot), spot)
    assert len(find_lines(wide, spot)) == 0
    assert (wide[labels == 3] == 3).all()
    assert thin_area_px(wide, spot) <= 0.03 * (wide == 3).sum()


@pytest.mark.parametrize("spot", [2, 3, 4, 6])
def test_of_lines_as_wide_as_the_spot_and_wider_at_least_97_percent_stay(spot):
    rng = np.random.default_rng(spot)
    for width_px in (spot, spot + 2):
        labels = lines_drawn(width_px)
        noisy = labels.copy()
        specks = rng.random(labels.shape) < 0.01
        noisy[specks] = rng.integers(0, 5, specks.sum())
        cleaned = absorb_specks(noisy, np.pi / 4 * spot**2, LAB).labels
        line = labels == 3
        assert (cleaned[line] == 3).mean() >= 0.97
        assert (find_regions(cleaned).area_px >= np.pi / 4 * spot**2).all()


small_maps = arrays(np.uint8, array_shapes(min_dims=2, max_dims=2, max_side=16), elements=st.integers(0, 4))


@given(small_maps, st.integers(1, 4), st.permutations(range(5)))
@settings(deadline=None)
def test_numbering_the_colours_otherwise_changes_nothing_but_the_numbers(labels, spot, order):
    renumbered = np.array(order, dtype=np.uint8)
    for change in (
        lambda given, lines: kept_lines(given, lines)[0],
        lambda given, lines: widened_lines(given, lines, spot)[0],
    ):
        one = change(labels, find_lines(labels, spot))
        other = change(renumbered[labels], find_lines(renumbered[labels], spot))
        np.testing.assert_array_equal(renumbered[one], other)


@given(small_maps, st.integers(1, 4))
@settings(deadline=None)
def test_kept_lines_stay_and_belong_to_regions_that_are_kept_whatever_their_size(labels, spot):
    lines = find_lines(labels, spot)
    joined, kept = kept_lines(labels, lines)
    assert (joined[lines.line > 0] == labels[lines.line > 0]).all()
    cleaned = absorb_specks(joined, 9, LAB, kept=kept)
    assert (cleaned.labels[kept] == joined[kept]).all()


def sign(width_px=1):
    pixels = np.full((100, 480, 3), 255, np.uint8)
    pixels[lines_drawn(width_px) == 3] = (20, 60, 130)
    return picture(pixels, 480 * 0.02)


def test_a_separation_keeps_widens_or_refuses_its_thin_lines():
    book, art = palette(), sign()
    line = lines_drawn(1) == 3
    plain = separate(art, book).labels
    kept, wide = separate(art, book, thin="keep"), separate(art, book, thin="widen")
    number = int(kept.labels[line][0])
    assert number and not (plain[line] == number).all()
    assert (kept.labels[line] == number).all() and (wide.labels[line] == number).all()
    assert any("stay as thin as drawn" in remark for remark in kept.remarks)
    assert any("were widened" in remark for remark in wide.remarks)
    with pytest.raises(
        DataError, match=r"7 lines thinner than the spot \(0.06 mm\): blue 0.02 mm wide at .* mm; .* and 2 more"
    ) as caught:
        separate(art, book, thin="refuse")
    assert "\n" not in str(caught.value)
    assert (separate(sign(5), book, thin="refuse").labels == number).sum() > 7 * 45 * 4  # wide enough: not refused
    with pytest.raises(LimitError, match="use one of absorb, keep"):
        separate(art, book, thin="fat")
