"""Label maps: every decision against colour-science pixel by pixel, and outlines filled with no pixel lost or doubled."""

import colour
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import palette, picture

from tint.lab import delta_e00, lab_from_srgb1
from tint.layers.label import colour_codes, label_outlines, label_picture


@pytest.mark.parametrize("seed", range(3))
def test_every_pixel_gets_the_colour_nearest_by_colour_sciences_delta_e(seed):
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 256, (40, 50, 3), dtype=np.uint8)
    book = palette()
    labels, wanted, lost = label_picture(picture(pixels, 5), book)
    lab = lab_from_srgb1(pixels / 255)
    each = np.stack([colour.delta_E(lab, one, method="CIE 2000") for one in book.lab], axis=-1)
    np.testing.assert_array_equal(labels, each.argmin(axis=-1))
    for number in range(len(book) + 1):
        inside = labels == number
        np.testing.assert_allclose(wanted[number], lab[inside].mean(axis=0))
        np.testing.assert_allclose(lost[number], each[inside, number].mean())


@given(st.integers(0, 1000), st.integers(1, 40))
def test_even_runs_are_labelled_as_pixel_by_pixel(seed, longest):
    rng = np.random.default_rng(seed)
    colours = rng.integers(0, 256, (rng.integers(1, 40), 3), dtype=np.uint8)
    pixels = np.repeat(colours[rng.integers(0, len(colours), 2000)], rng.integers(1, longest + 1, 2000), axis=0)
    width = int(rng.integers(1, 60))
    srgb255 = pixels[: len(pixels) // width * width].reshape(-1, width, 3)
    labels = label_picture(picture(srgb255, 5), palette())[0]
    away = delta_e00(lab_from_srgb1(srgb255.reshape(-1, 1, 3) / 255), palette().lab)
    np.testing.assert_array_equal(labels.ravel(), away.argmin(axis=1))


def test_transparent_pixels_stay_bare_and_count_for_nothing():
    pixels = np.full((4, 4, 3), (20, 60, 130), np.uint8)
    bare = np.zeros((4, 4), bool)
    bare[:, 2:] = True
    labels, wanted, _ = label_picture(picture(pixels, 4, bare), palette())
    assert (labels[:, 2:] == 0).all() and (labels[:, :2] == 3).all()
    assert np.isnan(wanted[0]).all()


def test_permuting_the_palette_permutes_the_labels():
    pixels = np.random.default_rng(1).integers(0, 256, (30, 30, 3), dtype=np.uint8)
    one, other = palette("straw", "purple", "blue", "teal"), palette("teal", "straw", "blue", "purple")
    there = {0: 0, **{i: [c.name for c in other.colours].index(name) + 1 for i, name in enumerate((c.name for c in one.colours), 1)}}
    first, second = (label_picture(picture(pixels, 3), book)[0] for book in (one, other))
    np.testing.assert_array_equal(np.vectorize(there.get)(first), second)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 30), st.integers(1, 30))
def test_touching_outlines_cover_every_pixel_once(seed, height, width):
    rng = np.random.default_rng(seed)
    frame = shapely.box(0, 0, width * 0.1, height * 0.1)
    cut = shapely.Point(rng.uniform(0, width * 0.1), rng.uniform(0, height * 0.1)).buffer(rng.uniform(0.05, 2), quad_segs=3)
    inside, outside = frame.intersection(cut), frame.difference(cut)
    parts = [shapely.MultiPolygon([p for p in shapely.get_parts(g) if p.geom_type == "Polygon"]) for g in (inside, outside)]
    labels = label_outlines(parts, (height, width), 0.1)
    assert (labels > 0).all()
    y, x = (np.mgrid[0:height, 0:width] + 0.5) * 0.1
    strictly = shapely.contains_xy(inside, x, y)
    assert (labels[strictly] == 1).all()
    assert (labels[~strictly & (shapely.distance(inside, shapely.points(x, y)) > 1e-9)] == 2).all()


def test_pixel_centres_on_a_shared_border_belong_to_one_side_only():
    left, right = shapely.box(0, 0, 0.25, 1), shapely.box(0.25, 0, 1, 1)
    labels = label_outlines([shapely.MultiPolygon([left]), shapely.MultiPolygon([right])], (2, 2), 0.5)
    assert labels.tolist() == [[2, 2], [2, 2]]
    labels = label_outlines([shapely.MultiPolygon([right]), shapely.MultiPolygon([left])], (2, 2), 0.5)
    assert labels.tolist() == [[1, 1], [1, 1]]


def test_holes_stay_open():
    ring = shapely.box(0, 0, 1, 1).difference(shapely.box(0.3, 0.3, 0.7, 0.7))
    labels = label_outlines([shapely.MultiPolygon([ring])], (10, 10), 0.1)
    assert labels.sum() == 100 - 16


@pytest.mark.parametrize(("height", "width"), [(1, 1), (1, 7), (3, 1), (5, 4)])
def test_colour_codes_hold_every_pixel_even_the_last(height, width):
    pixels = np.random.default_rng(height).integers(0, 256, (height, width, 3), dtype=np.uint8)
    np.testing.assert_array_equal(colour_codes(pixels), pixels.astype(int) @ [1, 256, 65536])
    turned = pixels[::-1, ::-1]  # not in order in memory
    np.testing.assert_array_equal(colour_codes(turned), turned.astype(int) @ [1, 256, 65536])


def test_a_colour_too_rare_for_the_sample_still_has_its_mean():
    pixels = np.full((400, 500, 3), (200, 170, 100), np.uint8)
    pixels[200, 251] = (20, 60, 130)
    book = palette()
    labels, wanted, lost = label_picture(picture(pixels, 5), book)
    rare = int(labels[200, 251])
    assert rare != labels[0, 0]
    np.testing.assert_allclose(wanted[rare], lab_from_srgb1(np.array([20, 60, 130]) / 255))
    assert lost[rare] == pytest.approx(float(colour.delta_E(wanted[rare], book.lab[rare], method="CIE 2000")))
