"""Soft edges: drawn in eightfold size and averaged down, so which colour covers each pixel most is known."""

import numpy as np
import pytest
from invented import palette, picture
from PIL import Image, ImageDraw

from tint.layers.difference import lab_of_srgb255
from tint.layers.edges import colour_codes, is_flat, settled_edges
from tint.layers.nearest import nearest_of_codes
from tint.layers.separate import separate

INKS = [(255, 255, 255), (0, 0, 0), (200, 30, 40), (20, 60, 150), (240, 200, 40)]  # what is drawn
BETWEEN = [
    (128, 128, 128),
    (190, 190, 190),
    (64, 64, 64),
    (110, 45, 95),
    (230, 140, 140),
]  # what mixtures are nearest to
FINE = 8


def drawn(seed, mix, width=240, height=160):
    """Picture (h, w, 3) of discs, triangles and strokes, and the share (h, w, 5) of each pixel that each ink covers."""
    rng = np.random.default_rng(seed)
    fine = Image.new("P", (width * FINE, height * FINE), 0)
    draw = ImageDraw.Draw(fine)
    for _ in range(12):
        ink, (x, y), r = (
            int(rng.integers(1, 5)),
            rng.integers(0, [width * FINE, height * FINE]),
            int(rng.integers(8, 40)) * FINE,
        )
        kind = rng.integers(3)
        if kind == 0:
            draw.ellipse((x - r, y - r, x + r, y + r), fill=ink)
        elif kind == 1:
            draw.polygon([tuple(p) for p in np.add(rng.integers(-r, r, (3, 2)), (x, y)).tolist()], fill=ink)
        else:
            draw.line((int(x), int(y), int(x) + r, int(y) + r // 3), fill=ink, width=3 * FINE)
    ink = np.asarray(fine).reshape(height, FINE, width, FINE)
    cover = np.stack([(ink == i).mean(axis=(1, 3)) for i in range(len(INKS))], axis=-1)
    encoded = np.array(INKS) / 255
    mixed = cover @ encoded if mix == "numbers" else (cover @ encoded**2.2) ** (1 / 2.2)
    return np.round(mixed * 255).astype(np.uint8), cover


def labelled(pixels, colours):
    different, place = np.unique(colour_codes(pixels).ravel(), return_inverse=True)
    return nearest_of_codes(different, lab_of_srgb255(*np.array(colours).T).T)[place].reshape(pixels.shape[:2])


@pytest.mark.parametrize(("mix", "left"), [("numbers", 0.05), ("light", 0.12)])
def test_hardly_a_pixel_of_a_third_colour_is_left_between_two_flat_areas(mix, left):
    fringes = remaining = wrong = sure = 0
    for seed in range(6):
        pixels, cover = drawn(seed, mix)
        before = labelled(pixels, INKS + BETWEEN)
        after = before.copy()
        changed = settled_edges(pixels, np.zeros(before.shape, bool), after)
        assert changed == (after != before).sum()
        even = cover.max(axis=-1) == 1
        assert (after == before)[
            even
        ].mean() > 0.999  # what is wholly of one ink stays, but for the last pixel of a tip
        fringes, remaining = fringes + (before >= len(INKS)).sum(), remaining + (after >= len(INKS)).sum()
        clear = (cover.max(axis=-1) > 0.6) & ~even
        wrong, sure = wrong + (after != cover.argmax(axis=-1))[clear].sum(), sure + clear.sum()
    assert fringes > 1000 and remaining <= left * fringes
    if (
        mix == "numbers"
    ):  # mixed in light, half the light is not half the number, and the cut lies a fifth of a pixel off
        assert wrong <= 0.06 * sure


def test_the_edge_is_cut_where_half_the_pixel_is_covered():
    ramp = np.array([0, 0, 0, 0, 60, 128, 200, 255, 255, 255, 255], np.uint8)
    pixels = np.repeat(np.repeat(ramp[None], 12, axis=0)[..., None], 3, axis=2)
    colours = [(0, 0, 0), (255, 255, 255), (128, 128, 128), (60, 60, 60), (200, 200, 200)]
    labels = labelled(pixels, colours)
    settled_edges(pixels, np.zeros(labels.shape, bool), labels)
    assert labels[5, :5].tolist() == [0] * 5 and labels[5, 6:].tolist() == [1] * 5 and labels[5, 5] in (0, 1)


def test_two_middle_pixels_part():
    ramp = np.array([0, 0, 0, 0, 120, 136, 255, 255, 255, 255], np.uint8)
    pixels = np.repeat(np.repeat(ramp[None], 12, axis=0)[..., None], 3, axis=2)
    labels = labelled(pixels, [(0, 0, 0), (255, 255, 255), (128, 128, 128)])
    settled_edges(pixels, np.zeros(labels.shape, bool), labels)
    assert labels[5].tolist() == [0] * 5 + [1] * 5


def test_a_thin_line_of_its_own_colour_and_a_shaded_area_are_left_alone():
    pixels = np.full((60, 80, 3), 255, np.uint8)
    pixels[:, 40:] = (20, 60, 150)
    pixels[30, 5:35] = (200, 30, 40)  # across white: no mixture of its neighbours
    pixels[np.arange(5, 25), np.arange(45, 65)] = (240, 200, 40)
    pixels[40:55, 5:35] = np.linspace(250, 10, 30).astype(np.uint8)[:, None]  # 8 levels a pixel
    labels = np.arange(60 * 80, dtype=np.uint32).reshape(60, 80).astype(np.uint8)
    before = labels.copy()
    settled_edges(pixels, np.zeros(labels.shape, bool), labels)
    np.testing.assert_array_equal(labels[30, 6:34], before[30, 6:34])
    np.testing.assert_array_equal(labels[41:54, 8:31], before[41:54, 8:31])
    np.testing.assert_array_equal(
        labels[np.arange(6, 24), np.arange(46, 64)], before[np.arange(6, 24), np.arange(46, 64)]
    )


def test_bare_places_stay_bare_and_soft_pixels_beside_them_may_join_them():
    pixels = np.repeat(np.array([[0, 0, 0, 200, 255, 255, 255]] * 8, np.uint8)[..., None], 3, axis=2)
    bare = pixels[..., 0] == 255
    labels = np.where(bare, 0, np.where(pixels[..., 0] == 0, 2, 1)).astype(np.uint8)
    settled_edges(pixels, bare, labels)
    assert labels[3].tolist() == [2, 2, 2, 0, 0, 0, 0]


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea", "camera", "retina", "rocket"])
def test_photographs_are_not_flat_and_stay_as_they_are(name):
    """scikit-image's standard pictures, as they are and enlarged, which makes them even."""
    data = pytest.importorskip("skimage.data")
    image = Image.fromarray(getattr(data, name)()).convert("RGB")
    for times in (1, 2):
        pixels = np.asarray(image.resize((image.width * times, image.height * times), Image.Resampling.BICUBIC))
        labels = np.random.default_rng(0).integers(0, 9, pixels.shape[:2], dtype=np.uint8)
        before = labels.copy()
        assert settled_edges(pixels, np.zeros(labels.shape, bool), labels) == 0
        np.testing.assert_array_equal(labels, before)


def test_even_shading_is_not_flat():
    assert not is_flat(
        np.repeat(np.linspace(0, 255, 2000).astype(np.uint8)[None, :, None], 300, axis=0).repeat(3, axis=2)
    )


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1), (2, 2)])
def test_tiny_pictures_are_no_trouble(shape):
    pixels = np.random.default_rng(0).integers(0, 256, (*shape, 3), dtype=np.uint8)
    settled_edges(pixels, np.zeros(shape, bool), np.zeros(shape, np.uint8))


def test_a_separation_of_black_on_white_uses_one_colour_unless_soft_edges_are_wanted():
    fine = Image.new("L", (200 * FINE, 200 * FINE), 255)
    ImageDraw.Draw(fine).ellipse((300, 300, 1300, 1300), fill=0)
    grey = np.asarray(fine.resize((200, 200), Image.Resampling.BOX))
    art = picture(np.repeat(grey[..., None], 3, axis=2), 10)
    settled, soft = separate(art, palette(), speck_mm2=0), separate(art, palette(), speck_mm2=0, soft_edges=True)
    assert len(settled.used) == 1 and len(soft.used) > 1
    assert np.isnan(settled.lost_de00[[n for n in range(1, 6) if n not in settled.used]]).all()
    assert settled.area_mm2(settled.used[0]) == pytest.approx(np.pi * (500 / FINE * 0.05) ** 2, rel=0.005)
