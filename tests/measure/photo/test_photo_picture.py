"""Files of every kind become the same light: 8 and 16 bits, EXIF turns, ICC profiles; what is no photo is refused."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms, TiffImagePlugin

from tint.errors import FileError
from tint.measure.photo import picture
from tint.measure.photo.icc import tone_curves
from tint.measure.photo.picture import open_photo

cv2 = pytest.importorskip("cv2")
RNG = np.random.default_rng(0)
PIXELS = np.kron(RNG.integers(0, 256, (16, 20, 3)), np.ones((20, 20, 1))).astype(np.uint8)  # 320 × 400, in even blocks


def srgb_light(levels1):
    """Light of sRGB values 0..1 (IEC 61966-2-1), by colour-science."""
    import colour

    return colour.models.eotf_sRGB(np.asarray(levels1))


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.jpg"])
def test_eight_bits_are_read_as_they_stand_and_as_srgb(tmp_path, name):
    Image.fromarray(PIXELS).save(tmp_path / name, **({"quality": 100, "subsampling": 0} if name == "a.jpg" else {}))
    photo = open_photo(tmp_path / name)
    assert photo.size_px == (400, 320) and photo.full == 255
    assert np.abs(photo.pixels.astype(int) - PIXELS).max() <= (4 if name == "a.jpg" else 0)
    np.testing.assert_allclose(photo.linear1(np.array([[0.0, 64, 255]])), srgb_light([[0, 64 / 255, 1]]), atol=1e-6)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_sixteen_bits_keep_their_steps(tmp_path, name):
    deep = (PIXELS.astype(np.uint16) * 257) ^ RNG.integers(0, 256, PIXELS.shape, dtype=np.uint16)
    cv2.imwrite(str(tmp_path / name), deep[..., ::-1])
    photo = open_photo(tmp_path / name)
    assert photo.full == 65535
    np.testing.assert_array_equal(photo.pixels, deep)


@pytest.mark.parametrize("turn", range(1, 9))
def test_every_exif_turn_is_undone_as_pillow_undoes_it(tmp_path, turn):
    from PIL import ImageOps

    exif = Image.Exif()
    exif[274] = turn
    Image.fromarray(PIXELS).save(tmp_path / "a.tif", exif=exif)
    with Image.open(tmp_path / "a.tif") as image:
        expected = np.asarray(ImageOps.exif_transpose(image))
    np.testing.assert_array_equal(open_photo(tmp_path / "a.tif").pixels, expected)


@pytest.mark.parametrize(("kind", "turn"), [(3, 0), (3, 9), (2, "six")])
def test_a_turn_nobody_knows_is_none(tmp_path, kind, turn):
    notes = TiffImagePlugin.ImageFileDirectory_v2()
    notes.tagtype[274] = kind
    notes[274] = turn
    Image.fromarray(PIXELS).save(tmp_path / "a.tif", tiffinfo=notes)
    np.testing.assert_array_equal(open_photo(tmp_path / "a.tif").pixels, PIXELS)


def test_an_embedded_profile_says_how_much_light_a_level_is(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    curves = tone_curves(profile, 256)
    np.testing.assert_allclose(curves, np.tile(srgb_light(np.linspace(0, 1, 256)), (3, 1)), atol=2e-4)
    gamma = profile_with_gamma(profile, 1.8)
    Image.fromarray(PIXELS).save(tmp_path / "a.png", icc_profile=gamma)
    light = open_photo(tmp_path / "a.png").linear1(np.array([[128.0, 128, 128]]))
    np.testing.assert_allclose(light, (128 / 255) ** 1.8, rtol=2e-3)
    assert tone_curves(b"no profile", 256) is None and tone_curves(profile[:200], 256) is None


def profile_with_gamma(profile, gamma):
    """The profile with all three curves replaced by one exponent (ICC.1:2022, curveType with one entry, u8Fixed8)."""
    data = bytearray(profile)
    count = int.from_bytes(data[128:132], "big")
    curve = b"curv\0\0\0\0" + (1).to_bytes(4, "big") + round(gamma * 256).to_bytes(2, "big")
    place = len(data)
    data += curve + b"\0\0"
    for at in range(132, 132 + 12 * count, 12):
        if bytes(data[at + 1 : at + 4]) == b"TRC":
            data[at + 4 : at + 12] = place.to_bytes(4, "big") + len(curve).to_bytes(4, "big")
    data[0:4] = len(data).to_bytes(4, "big")
    return bytes(data)


def picture_bytes(mode, size=(400, 320), kind="TIFF"):
    out = io.BytesIO()
    Image.new(mode, size).save(out, kind)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.jpg", b"not a picture", "is not a picture tint reads; save the photo as JPEG, PNG or TIFF"),
        ("a.jpg", b"", "is not a picture"),
        ("a.csv", b"patch,L,a,b\n", "is not a picture"),
        ("a.png", picture_bytes("RGB", kind="PNG")[:300], "cannot be read as a picture"),
        ("a.tif", picture_bytes("L"), r"is not a colour photo \(it is L\)"),
        ("a.tif", picture_bytes("CMYK"), r"is not a colour photo \(it is CMYK\)"),
        ("a.png", picture_bytes("RGB", (200, 200), "PNG"), "has 200 × 200 pixels; 300 a side are needed"),
        ("a.dng", b"not raw", "cannot be read as a raw file|needs rawpy"),
    ],
)
def test_what_is_no_photo_is_refused_in_one_line(tmp_path, name, content, said):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(FileError, match=said) as caught:
        open_photo(path)
    assert "\n" not in str(caught.value) and name in str(caught.value)


def test_a_file_that_is_not_there_and_a_folder_are_refused(tmp_path):
    for path, said in (
        (tmp_path / "none.jpg", "is not there"),
        (tmp_path / "none.nef", "is not there|rawpy"),
        (tmp_path, "cannot be read"),
    ):
        with pytest.raises(FileError, match=said):
            open_photo(path)


def test_a_huge_picture_is_refused_before_it_is_loaded(tmp_path, monkeypatch):
    Image.fromarray(PIXELS).save(tmp_path / "a.png")
    monkeypatch.setattr(picture, "MAX_PIXELS", 100_000)
    with pytest.raises(FileError, match=r"a.png has 0 million pixels; tint reads up to 0"):
        open_photo(tmp_path / "a.png")
    Image.new("1", (20_000, 20_000)).save(tmp_path / "bomb.png")
    with pytest.raises(FileError, match="million pixels"):
        open_photo(tmp_path / "bomb.png")


def test_without_opencv_the_message_names_what_to_install(monkeypatch, tmp_path):
    import sys

    from tint.measure.photo.vision import opencv

    monkeypatch.setitem(sys.modules, "cv2", None)
    with pytest.raises(FileError, match=r'pip install "tint\[photo\]"'):
        opencv()
