"""Masks, read back and counted."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from tint.job.job import Job
from tint.job.masks import layer_name, mask_name, mask_png, pitch_remark, safe_name
from tint.layers.layers import Layers


def phys(data: bytes) -> tuple[int, int, int]:
    """Pixels per unit in x and y and the unit (1 metre) of a PNG's pHYs chunk, walked chunk by chunk."""
    at = 8
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        if kind == b"pHYs":
            return struct.unpack(">IIB", data[at + 8 : at + 17])
        at += 12 + length
    raise AssertionError("no pHYs chunk")


def test_black_pixels_of_every_mask_are_exactly_the_layers_labels(folder: Path, layers: Layers, job: Job) -> None:
    assert sorted(path.name for path in (folder / "masks").iterdir()) == sorted(mask_name(layer) for layer in job.layers)
    for layer in job.layers:
        picture = Image.open(folder / "masks" / mask_name(layer))
        assert picture.mode == "1"
        black = ~np.asarray(picture)
        np.testing.assert_array_equal(black, layers.labels == layer.number)
        assert black.sum() * layers.pitch_mm**2 == pytest.approx(layer.area_mm2, rel=1e-9)


@pytest.mark.parametrize("pitch_mm, per_m", [(0.5, 2000), (0.05, 20000), (0.01, 100000), (0.04, 25000), (0.0625, 16000), (0.03, 33333)])
def test_the_pitch_is_read_back_from_the_file_in_whole_pixels_per_metre(pitch_mm: float, per_m: int) -> None:
    data = mask_png(np.ones((3, 5), dtype=np.uint8), 1, pitch_mm)
    assert phys(data) == (per_m, per_m, 1)
    assert Image.open(io.BytesIO(data)).size == (5, 3)


def test_a_pitch_the_file_cannot_state_is_named_with_the_size_to_type_in() -> None:
    assert pitch_remark(1200, 800, 0.04) == ""
    remark = pitch_remark(2000, 800, 0.03)
    # 2000 pixels at 33333 per metre are 60.0006 mm
    assert "+0.6 µm" in remark and "60.0000 × 24.0000 mm" in remark


@given(st.text(max_size=80))
def test_any_name_becomes_a_safe_file_name(text: str) -> None:
    name = safe_name(text)
    assert name and len(name) <= 32 and set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    assert not name.startswith("-") and not name.endswith("-") and "--" not in name


def test_masks_are_numbered_in_marking_order_not_in_the_palettes(folder: Path, job: Job) -> None:
    numbers = [int(mask_name(layer)[:2]) for layer in job.layers]
    assert numbers == [1, 2, 3, 4] != [layer.number for layer in job.layers]


def test_names_of_other_scripts_or_the_same_letters_stay_apart_by_their_number() -> None:
    assert layer_name(1, "синий") == "01-colour" and layer_name(2, "青") == "02-colour"
    assert layer_name(3, "CON") == "03-con" and layer_name(4, "../../etc") == "04-etc"
