"""The ICC profile: read by Little CMS (through Pillow), by the clauses of ICC.1:2022, and a design proofed through it."""

import dataclasses
import hashlib
import io
import itertools
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from tint.lab import delta_e00, lab_from_srgb1, srgb255_from_lab
from tint.palette.icc import D50_XYZ
from tint.palette.palette import Palette, PaletteColour
from tint.palette.profile import axis_nodes, device_from_lab, palette_profile
from tint.palette.reach import Reach
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench (invented)", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate (invented)", "304", "2B", 1.5, [100, 100])
LABS = ((72, 8, 36), (40, 28, -24), (42, -2, -34), (60, -22, -4), (24, 4, -10))  # invented, all within sRGB
AS_IT_IS = (
    0x4000 | 0x0100
)  # soft proofing, and no table of 8 bits in between (cmsFLAGS_SOFTPROOFING, cmsFLAGS_NOOPTIMIZE)
RELATIVE, PERCEPTUAL = 1, 0


def palette(labs=LABS):
    colours = tuple(
        PaletteColour(f"colour {i}", Setting(15, 800, 300, 6, 0.002), np.array(lab, float), 2.0, 1.0)
        for i, lab in enumerate(labs)
    )
    return Palette("signs (invented)", LASER, SHEET, colours, np.array([82.0, 0.5, 3.0]))


@pytest.fixture(scope="module")
def data():
    return palette_profile(palette(), "2026-03-14")


def through(data, srgb255, intent, flags=AS_IT_IS):
    """Lab (n, 3) on screen of sRGB bytes (n, 3) proofed through a profile."""
    screen = ImageCms.createProfile("sRGB")
    profile = ImageCms.getOpenProfile(io.BytesIO(data))
    proof = ImageCms.buildProofTransform(screen, screen, profile, "RGB", "RGB", RELATIVE, intent, flags=flags)
    seen = np.asarray(ImageCms.applyTransform(Image.fromarray(srgb255[None]), proof))[0]
    return lab_from_srgb1(seen / 255)


def test_little_cms_opens_it_as_an_output_profile_that_serves_every_intent_both_ways(data):
    core = ImageCms.getOpenProfile(io.BytesIO(data)).profile
    assert core.version == pytest.approx(4.4) and core.device_class == "prtr"
    assert core.xcolor_space.strip() == "RGB" and core.connection_space.strip() == "Lab"
    assert all(all(ways) for ways in core.intent_supported.values()) and len(core.intent_supported) == 4
    assert core.profile_description == "signs (invented) (plate (invented))"
    assert core.creation_date.year == 2026 and core.media_white_point[0] == pytest.approx(D50_XYZ, abs=1e-4)


def test_the_description_does_not_say_the_stock_twice():
    named = dataclasses.replace(palette(), name="plate (invented) for heron")
    profile = ImageCms.getOpenProfile(io.BytesIO(palette_profile(named, "2026-03-14"))).profile
    assert profile.profile_description == "plate (invented) for heron"


def test_header_and_tags_are_laid_out_as_the_specification_has_them(data):
    size, version = struct.unpack(">I4xI", data[:12])
    assert size == len(data) and size % 4 == 0 and version == 0x04400000 and data[36:40] == b"acsp"
    blank = data[:44] + bytes(4) + data[48:64] + bytes(4) + data[68:84] + bytes(16) + data[100:]
    assert hashlib.md5(blank).digest() == data[84:100]  # profile ID, clause 7.2.18
    (count,) = struct.unpack(">I", data[128:132])
    tags = {}
    for i in range(count):
        signature, offset, length = struct.unpack(">4sII", data[132 + 12 * i : 144 + 12 * i])
        assert offset % 4 == 0 and 132 + 12 * count <= offset and offset + length <= size
        tags[signature.decode()] = data[offset : offset + length]
    # required of an output profile with tables, clause 8.5.2, beside description, copyright and white (8.2)
    assert set(tags) == {"desc", "cprt", "wtpt", "A2B0", "A2B1", "A2B2", "B2A0", "B2A1", "B2A2", "gamt"}
    assert tags["A2B1"][:4] == b"mAB " and tags["B2A1"][:4] == b"mBA " and tags["gamt"][8:10] == bytes([3, 1])
    assert size < 1_100_000


def test_the_palettes_own_colours_pass_a_soft_proof_unchanged(data):
    mine = srgb255_from_lab(palette().lab)
    assert delta_e00(through(data, mine, RELATIVE), lab_from_srgb1(mine / 255)).max() < 0.6  # one byte of sRGB


def test_in_eight_bits_little_cms_shows_what_lies_between_the_exact_proofs_of_its_own_nodes(data):
    # without NOOPTIMIZE it reads the profile once at 33 nodes a channel, and a colour between nodes is interpolated; the
    # palette's own colours are corners of the hull, so they lose up to 1.7 there whatever the profile does
    mine, step = srgb255_from_lab(palette().lab), 255 / 32
    low = np.floor(mine / step).astype(int)
    between = np.zeros(mine.shape)
    for corner in itertools.product((0, 1), repeat=3):
        weight = np.prod(np.where(corner, mine / step - low, 1 - mine / step + low), axis=1)
        node = np.rint((low + corner) * step).astype(np.uint8)
        between += weight[:, None] * through(data, node, RELATIVE)
    assert delta_e00(through(data, mine, RELATIVE, flags=0x4000), between).max() < 0.6  # one byte of sRGB


def test_what_is_out_of_reach_shows_as_the_nearest_mixture(data):
    wish = np.random.default_rng(5).integers(0, 256, (400, 3)).astype(np.uint8)
    expected = Reach(palette().lab).nearest(lab_from_srgb1(wish / 255))
    off = delta_e00(through(data, wish, RELATIVE), expected)
    assert off.mean() < 0.9 and np.quantile(off, 0.95) < 2.2


def test_white_proofs_as_bare_metal_and_black_as_the_darkest_mark_in_the_perceptual_intent(data):
    white, black = through(data, np.array([[255] * 3, [0] * 3], np.uint8), PERCEPTUAL)
    assert delta_e00(white, [82, 0.5, 3]) < 1.5 and abs(black[0] - 24) < 3
    greys = through(data, np.arange(20, 256, 25, dtype=np.uint8)[:, None].repeat(3, 1), PERCEPTUAL)
    assert (np.diff(greys[:, 0]) > 0).all()  # tones stay apart


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_palette_of_few_colours_has_a_profile_too(count):
    few = palette(LABS[:count])
    mine = srgb255_from_lab(few.lab)
    assert (
        delta_e00(through(palette_profile(few, "2026-03-14"), mine, RELATIVE), lab_from_srgb1(mine / 255)).max() < 0.8
    )


def test_nodes_stand_on_the_wanted_places_while_they_suffice_and_spread_evenly_else():
    wanted = [0.3, 0.31, 0.6]
    nodes = axis_nodes(wanted, 33)
    assert len(nodes) == 33 and nodes[0] == 0 and nodes[-1] == 1 and (np.diff(nodes) > 0).all()
    assert np.abs(nodes[:, None] - wanted).min(axis=0).max() < 1 / 4095
    many = axis_nodes(np.linspace(0.2, 0.8, 200), 33)
    inside = (many >= 0.2) & (many <= 0.8)
    assert len(many) == 33 and inside.sum() == 29 and np.diff(many[inside]).max() < 2.1 * np.diff(many[inside]).min()


def test_greys_have_three_equal_channels():
    device = device_from_lab(np.column_stack([np.linspace(0, 100, 9), np.zeros(9), np.zeros(9)]))
    np.testing.assert_allclose(device, np.linspace(0, 1, 9)[:, None].repeat(3, 1), atol=1e-9)


def test_equal_palettes_give_equal_profiles(data):
    assert palette_profile(palette(), "2026-03-14") == data
