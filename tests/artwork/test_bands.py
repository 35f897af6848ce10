"""Pictures with a profile for greys, with one transparent colour, or with a turn nobody knows are read for what they are."""

import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms, TiffImagePlugin

from tint.artwork import bands as reading
from tint.artwork.artwork import read_artwork
from tint.errors import FileError

GAMMA = 1.8


@pytest.fixture(autouse=True)
def _coarse_pixels_allowed(monkeypatch):
    monkeypatch.setattr("tint.artwork.raster.MAX_PITCH_MM", 100.0)


def grey_profile(gamma=GAMMA):
    """Profile of a grey screen, its tags laid out as ICC.1:2001-04 has them (6.1 header, 6.2 tag table, 6.3.3 monochrome display)."""
    white = struct.pack(">3i", *(round(65536 * value) for value in (0.9642, 1.0, 0.8249)))  # D50, 6.1 table 9
    tags = {
        b"desc": b"desc" + struct.pack(">2I", 0, 5) + b"grey\0" + bytes(78),
        b"cprt": b"text" + bytes(4) + b"none\0",
        b"wtpt": b"XYZ " + bytes(4) + white,
        b"kTRC": b"curv" + struct.pack(">2IH", 0, 1, round(256 * gamma)),
    }
    table, body, first = struct.pack(">I", len(tags)), b"", 132 + 12 * len(tags)
    for name, data in tags.items():
        table += name + struct.pack(">2I", first + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">2I4s4s4s4s", first + len(body), 0, b"\x02\x40\0\0", b"mntr", b"GRAY", b"XYZ ")
    head += bytes(12) + b"acsp" + bytes(28) + white
    return head.ljust(128, b"\0") + table + body


def on_screen(grey255, gamma=GAMMA):
    """sRGB bytes of greys by hand: the profile's curve, then that of IEC 61966-2-1."""
    light = (np.asarray(grey255, float) / 255) ** gamma
    return np.round(255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055))


GREYS = np.arange(256, dtype=np.uint8).reshape(8, 32)


def with_palette(book):
    image = Image.fromarray(GREYS)
    image.putpalette(np.asarray(book, np.uint8).tobytes())
    return image


def in_mode(mode):
    if mode == "LA":
        return Image.merge("LA", [Image.fromarray(GREYS), Image.fromarray(255 - GREYS)])
    if mode == "P":
        return with_palette(np.repeat(np.arange(256)[:, None], 3, axis=1))
    return Image.fromarray(GREYS.astype(np.uint16) * 257 if mode == "I;16" else GREYS)


@pytest.mark.parametrize("whole_px", [10_000, 100])
@pytest.mark.parametrize(("mode", "suffix"), [("L", "png"), ("LA", "png"), ("P", "png"), ("I;16", "png"), ("P", "tif"), ("LA", "tif")])
def test_greys_pass_through_a_profile_for_greys_in_every_mode(tmp_path, monkeypatch, mode, suffix, whole_px):
    monkeypatch.setattr(reading, "WHOLE_PX", whole_px if suffix == "tif" else 10_000)
    monkeypatch.setattr(TiffImagePlugin, "STRIP_SIZE", 32 * 3)
    told = []
    in_mode(mode).save(tmp_path / f"heron.{suffix}", icc_profile=grey_profile())
    art = read_artwork(tmp_path / f"heron.{suffix}", 32, progress=told.append)
    sure = GREYS > 8  # below, the library that applies profiles rounds steps of the curve to more than a level
    assert np.abs(art.srgb255 - on_screen(GREYS)[..., None])[sure].max() <= 1 and not told
    np.testing.assert_array_equal(art.bare, GREYS > 127 if mode == "LA" else np.zeros_like(art.bare))


def test_a_transparent_grey_and_a_transparent_entry_stay_bare_beside_a_profile_for_greys(tmp_path):
    for mode in ("L", "P"):
        in_mode(mode).save(tmp_path / "heron.png", icc_profile=grey_profile(), transparency=100)
        np.testing.assert_array_equal(read_artwork(tmp_path / "heron.png", 32).bare, GREYS == 100)


@pytest.mark.parametrize("kind", ["palette", "RGB", "RGBA", "CMYK", "greys"])
def test_a_profile_for_other_colours_than_the_picture_s_is_left_out_and_told(tmp_path, kind):
    colours = np.stack([GREYS, 255 - GREYS, GREYS // 2], axis=-1)
    image, profile, said = Image.fromarray(colours), grey_profile(), "is for greys"
    if kind == "palette":
        image = with_palette(colours.reshape(-1, 3))
    elif kind == "greys":
        image, said = Image.fromarray(GREYS), "is for CIELAB"
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    elif kind != "RGB":
        image = image.convert(kind)
    suffix = "tif" if kind == "CMYK" else "png"
    image.save(tmp_path / f"plain.{suffix}")
    image.save(tmp_path / f"odd.{suffix}", icc_profile=profile)
    told = []
    plain, odd = read_artwork(tmp_path / f"plain.{suffix}", 32), read_artwork(tmp_path / f"odd.{suffix}", 32, progress=told.append)
    np.testing.assert_array_equal(odd.srgb255, plain.srgb255)
    assert odd.remarks == tuple(told) and len(plain.remarks) == (kind == "CMYK")
    assert len(told) == 1 and said in told[0] and "tint leaves it out, and colours may be off. Save it as sRGB" in told[0]


def test_a_profile_that_is_none_stays_refused(tmp_path):
    for image in (in_mode("LA"), in_mode("P"), Image.new("RGB", (4, 4))):
        image.save(tmp_path / "broken.png", icc_profile=b"not a profile")
        with pytest.raises(FileError, match="colour profile cannot be used"):
            read_artwork(tmp_path / "broken.png", 32)


def png(values, bits, kind, clear):
    """A PNG by its specification: `values` (w, channels) of one row of `bits` each, of colour type `kind`, and its tRNS chunk (11.3.2.1)."""

    def chunk(name, body):
        return len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")

    flat = np.ravel(values)
    row = "".join(f"{value:0{bits}b}" for value in flat)
    row += "0" * (-len(row) % 8)
    head = struct.pack(">2I5B", len(values), 1, bits, kind, 0, 0, 0)
    body = zlib.compress(b"\0" + int(row, 2).to_bytes(len(row) // 8, "big"))
    parts = ((b"IHDR", head), (b"tRNS", struct.pack(f">{len(clear)}H", *clear)), (b"IDAT", body), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts)


@pytest.mark.parametrize("bits", [1, 2, 4, 8, 16])
def test_the_one_transparent_grey_of_a_png_stays_bare_at_every_depth(tmp_path, bits):
    most = 2**bits - 1
    values = sorted({0, 1, most // 2, most // 2 + 1, most})
    for clear in values:
        (tmp_path / "grey.png").write_bytes(png(values, bits, 0, [clear]))
        art = read_artwork(tmp_path / "grey.png", 30)
        assert art.bare[0].tolist() == [value == clear for value in values]
        assert np.abs(art.srgb255[0, :, 0] - 255 * np.array(values) / most).max() <= 0.51


@pytest.mark.parametrize("bits", [8, 16])
def test_the_one_transparent_colour_of_a_png_stays_bare_at_either_depth(tmp_path, bits):
    values = np.array([[10, 20, 30], [200, 150, 100], [10, 20, 31]]) * (256 if bits == 16 else 1)
    (tmp_path / "colour.png").write_bytes(png(values, bits, 2, values[1].tolist()))
    assert read_artwork(tmp_path / "colour.png", 30).bare[0].tolist() == [False, True, False]


@pytest.mark.parametrize("turn", [0, 9, 65535])
@pytest.mark.parametrize(("name", "whole_px"), [("p.png", 10_000), ("p.jpg", 10_000), ("p.tif", 10_000), ("p.tif", 100)])
def test_a_turn_nobody_knows_is_none_and_leaves_the_pitch_alone(tmp_path, monkeypatch, turn, name, whole_px):
    monkeypatch.setattr(reading, "WHOLE_PX", whole_px)
    notes = Image.Exif()
    notes[0x0112] = turn
    Image.new("RGB", (90, 60), (200, 30, 60)).save(tmp_path / name, exif=notes)
    art = read_artwork(tmp_path / name, 30, 0.5)
    assert art.pitch_mm == 0.5 and art.srgb255.shape == (40, 60, 3)
