"""The folder of proofs: every picture at the size it states, with its caption."""

import base64
import io
from xml.etree import ElementTree

import numpy as np
import pytest
from invented import palette, picture
from PIL import Image

from tint.errors import DataError, FileError
from tint.lab import srgb255_from_lab
from tint.layers.heated import heated
from tint.layers.layers import Layers
from tint.layers.lost import Lost
from tint.layers.proof_folder import write_proofs
from tint.layers.proof_pictures import BANDS, BRUSHED, LEFT_BARE, NOTE, SURROUND, captioned, lost_picture, piece_picture
from tint.layers.separate import separate
from tint.layers.tonal import Tonal
from tint.layers.true_size import true_size_svg

SVG = "{http://www.w3.org/2000/svg}"


def layers_of(labels, pitch_mm=0.05, size_mm=None, name="reeds & pond"):
    mine = palette()
    nothing = np.full((len(mine) + 1, 3), np.nan)
    return Layers(name, pitch_mm, np.asarray(labels, np.uint8), mine, nothing, nothing[:, 0], size_mm=size_mm)


@pytest.fixture(scope="module")
def pond():
    labels = np.zeros((200, 300), np.uint8)
    labels[100:] = 3
    labels[20:90, 40:120] = 1
    return layers_of(labels)


def test_marks_have_exactly_their_colour_and_bare_metal_is_brushed_around_its_own(pond):
    shown, pixel_mm = piece_picture(pond, pond.palette.lab)
    pixels = np.asarray(shown).astype(int)
    times = round(pond.pitch_mm / pixel_mm)
    labels = pond.labels.repeat(times, 0).repeat(times, 1)
    colours = srgb255_from_lab(pond.palette.lab).astype(int)
    assert pixels.shape[:2] == labels.shape and (pixels[labels == 3] == colours[3]).all()
    bare = pixels[labels == 0] - colours[0]
    assert np.abs(bare).max() <= BRUSHED and np.abs(bare.mean(axis=0)).max() < 0.5 and bare.std() > 1


def test_a_large_map_is_blended_in_linear_light_and_keeps_its_size_on_the_metal():
    checks = np.indices((300, 4000), dtype=np.uint8).sum(axis=0, dtype=np.uint8) % 2 * 2 + 1
    large = layers_of(checks, 0.02)
    shown, pixel_mm = piece_picture(large, large.palette.lab)
    assert max(shown.size) <= 2600 and shown.width * pixel_mm == pytest.approx(80, abs=0.1)
    linear = ((srgb255_from_lab(large.palette.lab[[1, 3]]) / 255 + 0.055) / 1.055) ** 2.4
    expected = 255 * (1.055 * linear.mean(axis=0) ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(np.asarray(shown).reshape(-1, 3).mean(axis=0), expected, atol=1.5)


def test_the_map_of_what_is_lost_shows_each_band_in_its_colour():
    de00 = np.array([[0.4, 1.5, 4.0], [8.0, 15.0, np.nan], [30.0, 0.0, 2.31]])
    shown = np.asarray(lost_picture(Lost(de00, 0.25), (30, 30), 10.0))
    got = [tuple(int(v) for v in shown[5 + 10 * row, 5 + 10 * column]) for row in range(3) for column in range(3)]
    wanted = [
        BANDS[0][1],
        BANDS[1][1],
        BANDS[2][1],
        BANDS[3][1],
        BANDS[4][1],
        LEFT_BARE,
        BANDS[5][1],
        BANDS[0][1],
        BANDS[2][1],
    ]
    assert got == wanted


def test_a_caption_stands_below_on_grey_and_leaves_the_picture_as_it_is():
    piece = Image.new("RGB", (900, 300), (10, 200, 30))
    one, more = captioned(piece, "reeds", ()), captioned(piece, "reeds", ("a line of words",) * 4, bands=True)
    np.testing.assert_array_equal(np.asarray(one)[:300, :900], np.asarray(piece))
    below = np.asarray(one)[300:]
    assert more.height > one.height > 340 and (below == SURROUND).all(axis=-1).mean() > 0.7 and (below > 200).any()


def test_every_picture_states_the_size_of_the_piece(pond, tmp_path):
    asked = picture(np.full((200, 300, 3), (90, 120, 160)), 15.0)
    done = write_proofs(pond, tmp_path / "proof", artwork=asked)
    assert set(done.names) == {
        "expected.png",
        "light.png",
        "heavy.png",
        "lost.png",
        "overview.png",
        "true-size.svg",
        "README.txt",
    }
    assert {path.name for path in (tmp_path / "proof").iterdir()} == {*done.names, ".tint"}
    for name in ("expected", "light", "heavy", "lost"):
        with Image.open(tmp_path / "proof" / f"{name}.png") as shown:
            across_mm = shown.width / shown.info["dpi"][0] * 25.4
            assert across_mm == pytest.approx(15.0, rel=2e-3)  # pHYs holds whole pixels per metre
    text = (tmp_path / "proof" / "README.txt").read_text(encoding="utf-8")
    assert NOTE in text and "invented" in text and done.words() in text
    assert done.light_de00 == pytest.approx(2.0, abs=0.01) and done.lost.mean_de00 > 1
    with pytest.raises(FileError, match="already there"):
        write_proofs(pond, tmp_path / "proof")


def test_the_light_proof_is_lighter_and_the_heavy_one_darker(pond, tmp_path):
    write_proofs(pond, tmp_path / "proof")
    mean = {}
    for name in ("light", "expected", "heavy"):
        with Image.open(tmp_path / "proof" / f"{name}.png") as shown:
            mean[name] = np.asarray(shown)[400:550].mean()
    assert mean["light"] > mean["expected"] > mean["heavy"]
    assert not (tmp_path / "proof" / "lost.png").exists()


@pytest.mark.parametrize(
    ("shape", "pitch_mm", "count"),
    [((200, 300), 0.3, 3), ((200, 200), 0.8, 1), ((60, 300), 0.6, 3), ((400, 100), 0.5, 3), ((300, 300), 0.9, 1)],
)
def test_the_sheet_at_true_size_measures_what_the_piece_measures(shape, pitch_mm, count):
    labels = np.ones(shape, np.uint8)
    piece = layers_of(labels, pitch_mm, (shape[1] * pitch_mm - 0.1, shape[0] * pitch_mm - 0.1))
    root = ElementTree.fromstring(true_size_svg(piece, heated(piece.palette)))
    page = [float(root.get(side).removesuffix("mm")) for side in ("width", "height")]
    assert root.get("viewBox") == f"0 0 {page[0]:g} {page[1]:g}"
    images = list(root.iter(f"{SVG}image"))
    assert [image.get("id") for image in images] == ["expected", "light", "heavy"][:count]
    for image, edge in zip(images, root.iter(f"{SVG}clipPath"), strict=True):
        assert float(image.get("width")) == pytest.approx(shape[1] * pitch_mm) and float(
            image.get("height")
        ) == pytest.approx(shape[0] * pitch_mm)
        x, y, wide, tall = (float(edge[0].get(key)) for key in ("x", "y", "width", "height"))
        assert (wide, tall) == pytest.approx((piece.width_mm, piece.height_mm))
        assert 0 < x and x + wide <= page[0] - 9 and 0 < y and y + tall <= page[1] - 9
        shown = Image.open(io.BytesIO(base64.b64decode(image.get("href").split(",")[1])))
        assert shown.width / shown.height == pytest.approx(shape[1] / shape[0], rel=1e-2)
    texts = [text.text for text in root.iter(f"{SVG}text")]
    assert NOTE in texts and any("reeds & pond" in text for text in texts)


def test_a_comparison_needs_the_artwork(pond, tmp_path):
    with pytest.raises(DataError, match="name it with --artwork"):
        write_proofs(pond, tmp_path / "proof", compare=True)
    assert not (tmp_path / "proof").exists()


def test_the_maps_are_compared_where_asked(pond, tmp_path):
    asked = picture(np.random.default_rng(1).integers(40, 200, (40, 60, 3)), 15.0)
    done = write_proofs(pond, tmp_path / "proof", artwork=asked, compare=True)
    assert "maps.png" in done.names
    with Image.open(tmp_path / "proof" / "maps.png") as shown:
        assert shown.width > 800


@pytest.mark.parametrize("tonal", [None, Tonal(0.1)])
def test_the_maps_are_drawn_as_the_layers_are_and_each_step_is_told(tmp_path, tonal):
    asked = picture(np.random.default_rng(1).integers(40, 200, (40, 60, 3)), 15.0)
    told = []
    write_proofs(separate(asked, palette(), tonal=tonal), tmp_path / "proof", artwork=asked, compare=True, progress=told.append)
    panels = [line.partition(": ")[2] for line in told if line.startswith("drawing the maps")]
    assert len(panels) == 4 and panels[0].startswith("flat") and all(line.startswith("tonal" if tonal else "flat") for line in panels[1:])
    assert told[0].startswith("comparing") and told[1].startswith("drawing the piece") and told[-1] == "writing the pictures"
