"""The folder of a separation: written whole, read back the same, damage refused."""

import json

import numpy as np
import pytest
import shapely
from invented import palette, picture
from PIL import Image

from tint.artwork.artwork import Drawing, Shape
from tint.errors import FileError
from tint.lab import srgb255_from_lab
from tint.layers.folder import layers_text, read_layers, write_layers
from tint.layers.separate import separate

BOOK = palette()
SRGB = srgb255_from_lab(BOOK.lab)


@pytest.fixture
def flat():
    shapes = (
        Shape(shapely.Point(5, 5).buffer(3), tuple(SRGB[3].tolist()), "pond"),
        Shape(shapely.box(0, 0, 10, 1 / 3), tuple(SRGB[1].tolist()), "edge"),
    )
    return separate(Drawing("pond", 10, 10, shapes), BOOK, pitch_mm=0.1)


@pytest.fixture
def pixels():
    return separate(picture(SRGB[np.kron(np.array([[0, 2], [5, 1]]), np.ones((20, 20), int))], 4), BOOK)


@pytest.mark.parametrize("kind", ["flat", "pixels"])
def test_layers_survive_their_folder(tmp_path, request, kind):
    layers = request.getfixturevalue(kind)
    back = read_layers(write_layers(layers, tmp_path / "layers"))
    np.testing.assert_array_equal(back.labels, layers.labels)
    assert back.palette.as_dict() == layers.palette.as_dict() and back.used == layers.used and back.remarks == layers.remarks
    for one, other in zip(layers.outlines, back.outlines, strict=True):
        assert shapely.equals_exact(one, other, tolerance=0)
    np.testing.assert_allclose(back.lost_de00, layers.lost_de00, atol=1e-3)


def test_the_pictures_of_the_folder_show_what_the_layers_say(tmp_path, pixels):
    folder = write_layers(pixels, tmp_path / "layers")
    with Image.open(folder / "labels.png") as labels, Image.open(folder / "proof.png") as proof:
        assert labels.mode == "P" and labels.info["dpi"][0] == pytest.approx(254, abs=0.01)
        np.testing.assert_array_equal(np.asarray(labels), pixels.labels)
        np.testing.assert_array_equal(np.asarray(proof), SRGB[pixels.labels])
        np.testing.assert_array_equal(np.asarray(labels.convert("RGB")), SRGB[pixels.labels])


def test_the_table_names_every_layer_with_its_area(flat):
    text = layers_text(flat)
    assert "10.0 × 10.0 mm" in text and "blue" in text and "straw" in text and f"{flat.area_mm2(3):.1f}" in text


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda folder: (folder / "labels.png").unlink(), "is damaged"),
        (lambda folder: (folder / "labels.png").write_bytes(b"no picture"), "is damaged"),
        (lambda folder: (folder / "layers.json").unlink(), "is not there"),
        (lambda folder: (folder / "layers.json").write_text("{}"), "not a file tint wrote"),
        (lambda folder: change(folder, lambda body: body.pop("pitch_mm")), "pitch_mm is missing"),
        (lambda folder: change(folder, lambda body: body["layers"][1].update(outline="POLYGON ((")), "is damaged"),
        (lambda folder: change(folder, lambda body: body["layers"][1].update(outline=BOW)), "is damaged"),
        (lambda folder: change(folder, lambda body: body["palette"].pop("bare_lab")), "bare_lab is missing"),
        (lambda folder: change(folder, lambda body: body["palette"].update(colours=body["palette"]["colours"][:1])), "do not make layers"),
    ],
)
def test_a_damaged_folder_is_one_clear_line(tmp_path, flat, spoil, said):
    folder = write_layers(flat, tmp_path / "layers")
    spoil(folder)
    with pytest.raises(FileError, match=said) as caught:
        read_layers(folder)
    assert "\n" not in str(caught.value)


BOW = "POLYGON ((1 1, 5 5, 5 1, 1 5, 1 1))"  # a side crosses another: what lies inside is anybody's guess


def change(folder, how):
    path = folder / "layers.json"
    body = json.loads(path.read_text(encoding="utf-8"))
    how(body)
    path.write_text(json.dumps(body), encoding="utf-8")


def test_a_path_that_is_no_folder_is_refused(tmp_path):
    with pytest.raises(FileError, match="is not a folder of layers"):
        read_layers(tmp_path / "nothing")
