"""Pictures of every kind come out as sRGB pixels at their size; hostile ones are refused in one line."""

import io
import os
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms

from tint.artwork.artwork import read_artwork
from tint.artwork.bands import _silent
from tint.errors import FileError, LimitError


def saved(tmp_path, image, name="p.png", **options):
    path = tmp_path / name
    image.save(path, **options)
    return path


def pixels(*rows):
    return Image.fromarray(np.array(rows, dtype=np.uint8))


def test_a_picture_keeps_its_pixels_and_its_proportions(tmp_path):
    image = pixels(*[[(10 * x, 20 * y, 5) for x in range(6)] for y in range(4)])
    art = read_artwork(saved(tmp_path, image, "heron.png"), 60)
    assert (art.name, art.width_mm, art.height_mm, art.pitch_mm) == ("heron", 60, 40, 10)
    np.testing.assert_array_equal(art.srgb255, np.asarray(image))
    assert not art.bare.any()


@pytest.fixture(autouse=True)
def _coarse_pixels_allowed(monkeypatch):
    monkeypatch.setattr("tint.artwork.raster.MAX_PITCH_MM", 100.0)


def test_transparency_stays_bare_and_grey_16_bit_palette_and_cmyk_come_out_right(tmp_path):
    clear = Image.fromarray(np.array([[[255, 0, 0, 255], [0, 255, 0, 100], [0, 0, 255, 200]]], dtype=np.uint8))
    art = read_artwork(saved(tmp_path, clear), 30)
    assert art.bare.tolist() == [[False, True, False]] and art.srgb255[0, 0].tolist() == [255, 0, 0]

    deep = Image.fromarray(np.array([[0, 32768, 65535]], dtype=np.uint16))
    assert read_artwork(saved(tmp_path, deep, "deep.png"), 30).srgb255[0, :, 0].tolist() == [0, 128, 255]

    indexed = pixels([(255, 0, 0), (0, 0, 255)]).convert("P", palette=Image.Palette.ADAPTIVE)
    assert read_artwork(saved(tmp_path, indexed, "indexed.png"), 30).srgb255[0, 1].tolist() == [0, 0, 255]

    grey = Image.fromarray(np.array([[7, 200]], dtype=np.uint8))
    assert read_artwork(saved(tmp_path, grey, "grey.png"), 30).srgb255[0].tolist() == [[7] * 3, [200] * 3]

    ink = Image.new("CMYK", (2, 1), (0, 0, 0, 0))
    assert read_artwork(saved(tmp_path, ink, "ink.tif"), 30).srgb255[0, 0].tolist() == [255, 255, 255]

    two = Image.new("1", (2, 1), 1)
    assert read_artwork(saved(tmp_path, two, "two.png"), 30).srgb255[0, 0].tolist() == [255, 255, 255]


def test_a_grey_picture_with_a_colour_profile_is_read_and_numbers_without_a_scale_are_refused(tmp_path):
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    grey = Image.fromarray(np.array([[7, 200]], dtype=np.uint8))
    read = read_artwork(saved(tmp_path, grey, "grey.png", icc_profile=srgb), 30).srgb255[0].astype(int)
    assert np.abs(read - [[7] * 3, [200] * 3]).max() <= 1
    for name, kind in (("whole.tif", np.int32), ("real.tif", np.float32)):
        with pytest.raises(FileError, match="unknown scale; save it with 8 or 16 bits"):
            read_artwork(saved(tmp_path, Image.fromarray(np.ones((2, 2), kind)), name), 30)


def test_a_file_name_that_is_no_text_still_gives_a_name_to_print(tmp_path):
    path = os.fsencode(tmp_path) + b"/k\xe4fer\n.png"
    with open(path, "wb") as stream:
        pixels([(1, 2, 3)]).save(stream, "PNG")
    assert read_artwork(os.fsdecode(path), 30).name == "k?fer?"


def test_the_turn_a_camera_notes_is_honoured(tmp_path):
    image = pixels([(255, 0, 0), (0, 0, 255)])
    notes = Image.Exif()
    notes[0x0112] = 6  # turn a quarter clockwise
    art = read_artwork(saved(tmp_path, image, "turned.png", exif=notes), 30)
    assert art.srgb255.shape == (2, 1, 3) and art.srgb255[0, 0].tolist() == [255, 0, 0]


def swapped_profile():
    """sRGB profile with its red and green primaries exchanged, by exchanging the two names in its tag table (ICC.1 §7.3)."""
    data = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for one, other in ((b"rXYZ", b"gXYZ"), (b"rTRC", b"gTRC")):
        data = data.replace(one, b"????").replace(other, one).replace(b"????", other)
    return data


def test_an_embedded_profile_is_converted_to_srgb(tmp_path):
    image = pixels([(200, 30, 60)])
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    same = read_artwork(saved(tmp_path, image, "srgb.png", icc_profile=srgb), 30).srgb255[0, 0]
    assert np.abs(same.astype(int) - [200, 30, 60]).max() <= 1
    turned = read_artwork(saved(tmp_path, image, "turned.png", icc_profile=swapped_profile()), 30).srgb255[0, 0]
    assert np.abs(turned.astype(int) - [30, 200, 60]).max() <= 1
    clear = image.convert("RGBA")
    kept = read_artwork(saved(tmp_path, clear, "clear.png", icc_profile=swapped_profile()), 30)
    assert np.abs(kept.srgb255[0, 0].astype(int) - [30, 200, 60]).max() <= 1 and not kept.bare.any()
    with pytest.raises(FileError, match="colour profile cannot be used"):
        read_artwork(saved(tmp_path, image, "broken.png", icc_profile=b"not a profile"), 30)


def test_resampling_averages_light_not_numbers(tmp_path):
    checks = pixels(*[[(255,) * 3 if (x + y) % 2 else (0,) * 3 for x in range(64)] for y in range(64)])
    art = read_artwork(saved(tmp_path, checks), 64, 2.0)
    assert art.srgb255.shape == (32, 32, 3) and art.pitch_mm == 2
    assert abs(int(art.srgb255[5, 5, 0]) - 188) <= 1  # half the light is sRGB 188 (IEC 61966-2-1), not 128


def test_resampling_does_not_bleed_what_is_transparent(tmp_path):
    half = np.zeros((8, 8, 4), np.uint8)
    half[:, :3] = (200, 30, 30, 255)
    half[:, 3:] = (0, 255, 0, 0)
    art = read_artwork(saved(tmp_path, Image.fromarray(half)), 8, 2.0)
    assert np.abs(art.srgb255[:, 0].astype(int) - [200, 30, 30]).max() <= 1 and art.bare[0].tolist() == [False, False, True, True]


@pytest.mark.parametrize(("width", "said"), [(None, "say how wide it is to be with --width-mm"), (0, "width 0 mm cannot be"), (-3, "cannot be"),
                                             (float("nan"), "cannot be"), (1e12, "is a number above 0, up to 1,000,000 mm")])  # fmt: skip
def test_a_picture_needs_a_width(tmp_path, width, said):
    with pytest.raises(LimitError, match=said):
        read_artwork(saved(tmp_path, pixels([(1, 2, 3)])), width)


def test_a_pitch_nobody_can_mark_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("tint.artwork.raster.MAX_PITCH_MM", 1.0)
    with pytest.raises(LimitError, match="--pitch-mm"):
        read_artwork(saved(tmp_path, pixels([(1, 2, 3)] * 4)), 100)
    with pytest.raises(LimitError, match="between 0.002 and 1 mm"):
        read_artwork(saved(tmp_path, pixels([(1, 2, 3)] * 4)), 100, 5.0)


def bomb(width, height):
    def chunk(kind, body):
        return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 2, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")


def test_hostile_pictures_are_one_clear_line(tmp_path):
    stream = io.BytesIO()
    pixels(*[[(9, 9, 9)] * 50] * 50).save(stream, "PNG")
    frames = [Image.new("RGB", (4, 4), colour) for colour in ("red", "blue")]
    frames[0].save(tmp_path / "moving.webp", save_all=True, append_images=frames[1:])
    frames[0].save(tmp_path / "pages.tif", save_all=True, append_images=frames[1:])
    frames[0].save(tmp_path / "gif.png", "GIF")
    files = {
        "cut.png": (stream.getvalue()[:70], "is cut short: a part of the picture is missing. Ask for the file again"),
        "head.png": (stream.getvalue()[:30], "is damaged or cut short. Ask for the file again"),
        "drawing.png": (b"<?xml version='1.0'?>\n<svg/>", "is an SVG drawing under another name. Give it the ending .svg."),
        "words.png": (b"hello", "not a picture tint reads"),
        "empty.jpg": (b"", "is empty. Ask for the file again"),
        "bomb.png": (bomb(60_000, 60_000), "megapixels"),
        "moving.webp": (None, "holds 2 pictures"),
        "pages.tif": (None, "holds 2 pictures"),
        "gif.png": (None, "is a GIF file"),
        "missing.png": (None, "is not there"),
        "notes.docx": (b"x", "artwork ends in .png"),
    }
    for name, (content, said) in files.items():
        if content is not None:
            (tmp_path / name).write_bytes(content)
        with pytest.raises(FileError, match=said) as caught:
            read_artwork(tmp_path / name, 30)
        assert "\n" not in str(caught.value) and name in str(caught.value)
    (tmp_path / "signs").mkdir()
    with pytest.raises(FileError, match="signs is a folder; name one artwork in it"):
        read_artwork(tmp_path / "signs", 30)
    (tmp_path / "folder.png").mkdir()
    with pytest.raises(FileError, match="cannot read"):
        read_artwork(tmp_path / "folder.png", 30)


@pytest.mark.parametrize("kind", ["png", "jpg", "tif", "webp"])
def test_half_a_picture_asks_for_the_file_again(tmp_path, kind):
    noise = np.random.default_rng(0).integers(0, 256, (90, 120, 3), dtype=np.uint8)
    whole = saved(tmp_path, Image.fromarray(noise), f"heron.{kind}").read_bytes()
    (tmp_path / f"half.{kind}").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(FileError, match="cut short.*Ask for the file again, or export it again.$"):
        read_artwork(tmp_path / f"half.{kind}", 30)


def test_colours_of_every_kind_of_picture_are_those_of_an_independent_computation(tmp_path):
    """Oracle: each kind's pixels turned to sRGB by hand, by the plain formula its file type states; 16 bits to one level."""
    rng = np.random.default_rng(4)
    grey = rng.integers(0, 256, (9, 11), dtype=np.uint8)
    alike = {"L": np.repeat(grey[..., None], 3, axis=2)}
    ink = rng.integers(0, 256, (9, 11, 4), dtype=np.uint8)
    alike["CMYK"] = (255 - ink[..., :3].astype(float)) * (255 - ink[..., 3:].astype(float)) / 255
    deep = rng.integers(0, 1 << 16, (9, 11), dtype=np.uint16)
    alike["I;16"] = np.repeat(np.round(deep / 257)[..., None], 3, axis=2)
    book, index = rng.integers(0, 256, (7, 3), dtype=np.uint8), rng.integers(0, 7, (9, 11), dtype=np.uint8)
    alike["P"] = book[index]
    indexed = Image.fromarray(index)
    indexed.putpalette(book.tobytes())
    images = {"L": Image.fromarray(grey), "CMYK": Image.fromarray(ink, "CMYK"), "I;16": Image.fromarray(deep), "P": indexed}
    for mode, image in images.items():
        read = read_artwork(saved(tmp_path, image, f"{mode[0]}.tif"), 110).srgb255
        assert np.abs(read - alike[mode]).max() <= 1, mode


def test_a_picture_without_pixels_is_refused_in_one_line(tmp_path):
    for name, content in (("none.png", bomb(0, 5)), ("flat.png", bomb(5, 0))):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(FileError, match="no pixels|not a picture tint reads|damaged") as caught:
            read_artwork(tmp_path / name, 30)
        assert "\n" not in str(caught.value) and name in str(caught.value)


def test_a_finer_pitch_interpolates_and_keeps_the_size(tmp_path):
    art = read_artwork(saved(tmp_path, pixels([(255,) * 3, (0,) * 3])), 20, 2.5)
    assert art.srgb255.shape == (4, 8, 3) and art.height_mm == 10
    assert art.srgb255[0, 0, 0] == 255 and art.srgb255[0, -1, 0] == 0 and (np.diff(art.srgb255[0, :, 0].astype(int)) <= 0).all()


@pytest.mark.parametrize("suffix", ["tif", "jpg"])
def test_inks_without_a_profile_are_told_in_one_remark(tmp_path, suffix):
    told: list[str] = []
    Image.new("CMYK", (40, 30), (90, 0, 40, 10)).save(tmp_path / f"inks.{suffix}")
    art = read_artwork(tmp_path / f"inks.{suffix}", 4, progress=told.append)
    assert art.remarks == tuple(told)
    assert len(told) == 1 and "CMYK without a colour profile" in told[0] and "Save it as sRGB" in told[0]
    Image.new("RGB", (40, 30), (90, 0, 40)).save(tmp_path / f"light.{suffix}")
    assert read_artwork(tmp_path / f"light.{suffix}", 4, progress=told.append).remarks == ()
    assert len(told) == 1


def test_two_threads_that_read_pictures_give_stderr_back(capfd):
    one, other = _silent(), _silent()
    one.__enter__()
    other.__enter__()
    os.write(2, b"a library's line")
    one.__exit__(None, None, None)
    other.__exit__(None, None, None)
    os.write(2, b"ours")
    assert capfd.readouterr().err == "ours"
