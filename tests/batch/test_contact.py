"""Contact sheets: what stands on them in words."""

import io

import numpy as np
import pytest
from PIL import Image

import tint.batch.contact as contact
from tint.batch.contact import GREY, contact_sheets
from tint.batch.folder import Record


def proof():
    out = io.BytesIO()
    Image.new("RGB", (240, 120), (200, 30, 40)).save(out, "PNG")
    return out.getvalue()


def record(layers):
    return Record("reed", "reed.svg", "0" * 8, "1" * 8, {"width_mm": 35.0, "height_mm": 17.5, "layers": layers}, (), "", 0.1)


@pytest.mark.parametrize(("layers", "said"), [(1, "35 × 17.5 mm, 1 layer"), (2, "35 × 17.5 mm, 2 layers")])
def test_size_and_number_of_layers_stand_below_each_artwork(layers, said, monkeypatch):
    words = []
    monkeypatch.setattr(contact, "fitting", lambda text, *rest: words.append(text) or text)
    list(contact_sheets([(record(layers), proof())], "markers"))
    assert said in words


def test_where_the_colours_come_from_stands_below_the_title():
    (plain,), (told,) = (list(contact_sheets([(record(1), proof())], "markers", remark)) for remark in ("", "SIMULATED colours"))
    band = [np.asarray(sheet)[56:80] for sheet in (plain, told)]
    assert (band[0] == GREY).all() and (band[1] != GREY).any()
    np.testing.assert_array_equal(np.asarray(plain)[86:], np.asarray(told)[86:])
