"""Large TIFF pictures come strip by strip as Pillow decodes them whole; averaging in bands equals averaging at once."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms, TiffImagePlugin

from tint.artwork import bands as reading
from tint.artwork.artwork import read_artwork
from tint.artwork.average import averaged
from tint.errors import FileError


@pytest.fixture(autouse=True)
def _everything_is_large(monkeypatch):
    monkeypatch.setattr(reading, "WHOLE_PX", 100)
    monkeypatch.setattr("tint.artwork.raster.MAX_PITCH_MM", 100.0)


def noise(mode="RGB", size=(70, 50)):
    rng = np.random.default_rng(0)
    shape = {
        "L": size[::-1],
        "RGB": (*size[::-1], 3),
        "RGBA": (*size[::-1], 4),
        "CMYK": (*size[::-1], 4),
        "I;16": size[::-1],
    }[mode]
    if mode == "I;16":
        return Image.fromarray(rng.integers(0, 1 << 16, shape, dtype=np.uint16))
    values = rng.integers(0, 256, shape, dtype=np.uint8)
    return Image.fromarray(values, mode if mode == "CMYK" else None)


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits", "jpeg"])
@pytest.mark.parametrize("mode", ["L", "RGB", "RGBA", "CMYK", "I;16"])
def test_strips_give_what_pillow_gives_whole(tmp_path, compression, mode, monkeypatch):
    if compression == "jpeg" and mode in ("RGBA", "I;16"):
        pytest.skip("not a kind of TIFF")
    monkeypatch.setattr(TiffImagePlugin, "STRIP_SIZE", 70 * 7)  # bytes of a strip, at least one row
    noise(mode).save(tmp_path / "large.tif", compression=compression)
    streamed = read_artwork(tmp_path / "large.tif", 70)
    monkeypatch.setattr(reading, "WHOLE_PX", 10_000)
    whole = read_artwork(tmp_path / "large.tif", 70)
    np.testing.assert_array_equal(streamed.srgb255, whole.srgb255)
    np.testing.assert_array_equal(streamed.bare, whole.bare)
    assert streamed.bare.any() == (mode == "RGBA")


@pytest.mark.parametrize("compression", [None, "zlib"])
def test_tiles_of_a_file_another_library_wrote_give_its_pixels(tmp_path, compression):
    """Oracle: the array that tifffile was given."""
    tifffile = pytest.importorskip("tifffile")
    pixels = np.asarray(noise(size=(70, 50)))
    tifffile.imwrite(tmp_path / "tiles.tif", pixels, tile=(16, 32), photometric="rgb", compression=compression)
    np.testing.assert_array_equal(read_artwork(tmp_path / "tiles.tif", 70).srgb255, pixels)


@pytest.mark.parametrize("big_end", [False, True])
def test_sixteen_bits_a_colour_are_right_to_one_level_in_either_byte_order(tmp_path, big_end):
    tifffile = pytest.importorskip("tifffile")
    pixels = np.random.default_rng(0).integers(0, 1 << 16, (50, 70, 3), dtype=np.uint16)
    tifffile.imwrite(
        tmp_path / "deep.tif", pixels, photometric="rgb", byteorder=">" if big_end else "<", rowsperstrip=9
    )
    read = read_artwork(tmp_path / "deep.tif", 70).srgb255.astype(float)
    assert np.abs(read - pixels / 65535 * 255).max() <= 1


@pytest.mark.parametrize("turn", range(1, 9))
def test_every_turn_a_camera_notes_is_honoured_strip_by_strip_too(tmp_path, turn, monkeypatch):
    """Oracle: ImageOps.exif_transpose of Pillow."""
    from PIL import ImageOps

    image = noise()
    notes = Image.Exif()
    notes[0x0112] = turn
    image.save(tmp_path / "turned.tif", exif=notes)
    stream = io.BytesIO()
    image.save(stream, "PNG", exif=notes)
    wanted = np.asarray(ImageOps.exif_transpose(Image.open(stream)))
    np.testing.assert_array_equal(read_artwork(tmp_path / "turned.tif", 70).srgb255, wanted)
    monkeypatch.setattr(reading, "WHOLE_PX", 10_000)
    for name in ("turned.tif", "turned.png"):
        image.save(tmp_path / name, exif=notes)
        np.testing.assert_array_equal(read_artwork(tmp_path / name, 70).srgb255, wanted)


def test_a_profile_is_honoured_strip_by_strip(tmp_path):
    """Oracle: the whole picture through Pillow's colour management at once."""
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    profile = ImageCms.ImageCmsProfile(io.BytesIO(made))
    lab = Image.fromarray(np.random.default_rng(0).integers(60, 190, (50, 70, 3), dtype=np.uint8), "LAB")
    srgb = ImageCms.createProfile("sRGB")
    wanted = np.asarray(ImageCms.profileToProfile(lab, profile, srgb, outputMode="RGB"))
    lab.save(tmp_path / "lab.tif", icc_profile=made)
    np.testing.assert_array_equal(read_artwork(tmp_path / "lab.tif", 70).srgb255, wanted)


@pytest.mark.parametrize("smaller", [(70, 50), (35, 25), (23, 17), (7, 5), (1, 1)])
def test_averaging_in_bands_is_averaging_in_linear_light_weighted_by_opacity(smaller):
    """Oracle: each pixel handed to the larger one its centre lies in, the light summed in double precision."""
    width, height = 70, 50
    rng = np.random.default_rng(1)
    srgb, bare = rng.integers(0, 256, (height, width, 3), dtype=np.uint8), rng.random((height, width)) < 0.3
    encoded = srgb / 255
    light = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    column = np.floor((np.arange(width) + 0.5) * smaller[0] / width).astype(int)
    row = np.floor((np.arange(height) + 0.5) * smaller[1] / height).astype(int)
    place = (row[:, None] * smaller[0] + column).ravel()
    size = smaller[0] * smaller[1]
    total = np.bincount(place, minlength=size)
    opaque = np.bincount(place, ~bare.ravel(), minlength=size)
    mean = np.stack([np.bincount(place, (light[..., i] * ~bare).ravel(), minlength=size) for i in range(3)], axis=-1)
    mean = (mean / np.maximum(opaque, 1e-9)[:, None]).reshape(*smaller[::-1], 3)
    wanted = 255 * np.where(mean <= 0.0031308, 12.92 * mean, 1.055 * mean ** (1 / 2.4) - 0.055)
    parts = np.split(np.arange(height), [3, 4, 20, 49])
    got, clear = averaged(((srgb[p], bare[p]) for p in parts), (width, height), smaller)
    sure = np.abs(opaque / total - 0.5).reshape(clear.shape) > 1e-6
    np.testing.assert_array_equal(clear[sure], (opaque / total < 0.5).reshape(clear.shape)[sure])
    assert np.abs(got[~clear] - wanted[~clear]).max() <= 0.51


def test_a_picture_above_the_limit_is_averaged_as_it_is_read_and_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("tint.artwork.raster.MAX_PIXELS", 1000)
    monkeypatch.setattr("tint.artwork.raster._SAID_FROM_PX", 1000)
    flat = Image.new("RGB", (70, 50), (200, 30, 60))
    flat.save(tmp_path / "wide.tif")
    said = []
    art = read_artwork(tmp_path / "wide.tif", 70, progress=said.append)
    assert art.srgb255.shape == (25, 35, 3) and (art.srgb255 == (200, 30, 60)).all() and art.pitch_mm == 2
    assert art.remarks == (said[0],) and "averaged" in said[0] and said[-1] == "read 100 % of wide.tif"


def test_large_files_that_cannot_come_in_pieces_are_refused_in_one_line(tmp_path, monkeypatch):
    noise().save(tmp_path / "one-piece.tif", compression="tiff_lzw")
    monkeypatch.setattr("tint.artwork.strips._PIECE_PX", 100)
    noise().save(tmp_path / "large.png")
    noise().save(tmp_path / "slow.jpg", progressive=True)
    noise().save(tmp_path / "cut.tif")
    data = (tmp_path / "cut.tif").read_bytes()
    start = TiffImagePlugin.TiffImageFile(tmp_path / "cut.tif").tag_v2[273][0]
    (tmp_path / "cut.tif").write_bytes(data[: start + 4000] if start < 1000 else data[:-10])
    for name, said in (("one-piece.tif", "in strips or tiles"), ("large.png", "megapixels"), ("slow.jpg", "baseline JPEG"),
                       ("cut.tif", "cannot be read|damaged")):  # fmt: skip
        with pytest.raises(FileError, match=said) as caught:
            read_artwork(tmp_path / name, 70)
        assert "\n" not in str(caught.value) and name in str(caught.value)


@pytest.mark.parametrize(("tiles", "tag"), [(False, 273), (True, 324)])
def test_a_list_of_strips_or_tiles_cut_short_is_said_and_one_not_needed_is_not_missed(tmp_path, tiles, tag):
    tifffile = pytest.importorskip("tifffile")
    path, pixels = tmp_path / "short.tif", np.asarray(noise())
    tifffile.imwrite(path, pixels, photometric="rgb", **({"tile": (16, 32)} if tiles else {"rowsperstrip": 9}))

    def entry(data, wanted):
        at = int.from_bytes(data[4:8], "little")
        count = int.from_bytes(data[at : at + 2], "little")
        places = (at + 2 + 12 * i for i in range(count))
        return next(place for place in places if int.from_bytes(data[place : place + 2], "little") == wanted)

    whole = bytearray(path.read_bytes())
    cut = bytearray(whole)
    cut[entry(cut, tag) + 4 : entry(cut, tag) + 8] = (2).to_bytes(4, "little")
    path.write_bytes(cut)
    with pytest.raises(FileError, match="its list of strips or tiles is cut short"):
        read_artwork(path, 70)
    if not tiles:  # rows that are not compressed need no sizes
        whole[entry(whole, 279) : entry(whole, 279) + 2] = (65000).to_bytes(2, "little")
        path.write_bytes(whole)
        np.testing.assert_array_equal(read_artwork(path, 70).srgb255, pixels)


def test_a_large_jpeg_is_decoded_at_a_part_of_its_size(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "WHOLE_PX", 1000)
    Image.new("RGB", (96, 64), (200, 30, 60)).save(tmp_path / "large.jpg", quality=95)
    art = read_artwork(tmp_path / "large.jpg", 96)
    assert art.srgb255.shape == (16, 24, 3)
    assert len(art.remarks) == 1 and "averaged" in art.remarks[0] and "finer detail is lost" in art.remarks[0]
    assert np.abs(art.srgb255.astype(int) - [200, 30, 60]).max() <= 2
