"""Packing: pieces apart, inside the plate and the field, and the whole plate's layers equal to its pieces' side by side."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, strategies

from tint.batch.pack import Placed, place_pieces, plate_layers, stock_use
from tint.demo.laser import demo_machine, demo_stock
from tint.errors import LimitError
from tint.layers.separate import separate
from tint.palette.palette import read_palette

STOCK = demo_stock()
MACHINE = demo_machine()


def apart(a, b, gap):
    return (
        a.x_mm + a.width_mm + gap <= b.x_mm + 1e-6 or b.x_mm + b.width_mm + gap <= a.x_mm + 1e-6
        or a.y_mm + a.height_mm + gap <= b.y_mm + 1e-6 or b.y_mm + b.height_mm + gap <= a.y_mm + 1e-6
    )  # fmt: skip


SIDE = strategies.floats(1, 90)


@given(sizes=strategies.lists(strategies.tuples(SIDE, SIDE), min_size=1, max_size=25), gap=strategies.floats(0, 8), turn=strategies.booleans())
def test_every_piece_lies_on_one_plate_apart_from_the_others_and_off_the_edge(sizes, gap, turn):
    named = {f"piece {number}": size for number, size in enumerate(sizes)}
    placed = place_pieces(named, MACHINE, STOCK, gap_mm=gap, edge_mm=2.5, turn=turn)
    assert sorted(one.name for one in placed) == sorted(named)
    width, height = (min(side, field + 5.0) for side, field in zip(STOCK.size_mm, MACHINE.field_mm, strict=True))
    for one in placed:
        assert 2.5 - 1e-9 <= one.x_mm and one.x_mm + one.width_mm <= width - 2.5 + 0.0101
        assert 2.5 - 1e-9 <= one.y_mm and one.y_mm + one.height_mm <= height - 2.5 + 0.0101
        assert (one.width_mm, one.height_mm) == (named[one.name][::-1] if one.turned else named[one.name])
        assert turn or not one.turned
    for a, b in itertools.combinations(placed, 2):
        assert a.plate != b.plate or apart(a, b, gap)
    assert sorted({one.plate for one in placed}) == list(range(1, max(one.plate for one in placed) + 1))


def test_equal_pieces_fill_a_plate_as_a_person_would_lay_them():
    room = STOCK.size_mm[0] - 6
    side = (room - 3 * 3) / 4  # four by four with gaps of 3
    placed = place_pieces({f"{i}": (side, side) for i in range(32)}, MACHINE, STOCK)
    assert max(one.plate for one in placed) == 2
    assert stock_use(placed, STOCK)[1] == pytest.approx(16 * side**2 / math.prod(STOCK.size_mm))


def test_turning_helps_where_a_piece_fits_only_turned():
    long = {"trail": (STOCK.size_mm[0] - 6, 20.0), "post": (20.0, STOCK.size_mm[1] - 6)}
    assert max(one.plate for one in place_pieces(long, MACHINE, STOCK, turn=True)) == 1
    assert max(one.plate for one in place_pieces(long, MACHINE, STOCK)) == 2


def test_a_piece_too_large_is_named():
    with pytest.raises(LimitError, match=r"heron \(300 × 20 mm\) fits on no plate"):
        place_pieces({"heron": (300.0, 20.0)}, MACHINE, STOCK, turn=True)
    with pytest.raises(LimitError, match="Turned by 90° it fits"):
        place_pieces({"heron": (STOCK.size_mm[0] - 6, 20.0)}, MACHINE, replace(STOCK, size_mm=(60.0, STOCK.size_mm[0])))
    with pytest.raises(LimitError, match="cannot be"):
        place_pieces({"heron": (30.0, 20.0)}, MACHINE, STOCK, gap_mm=float("nan"))


def test_a_plates_layers_are_its_pieces_in_place(shop, tmp_path):
    import shapely

    from tint.artwork.artwork import read_artwork
    from tint.job.job import plan_job

    palette = read_palette(shop / "simulated" / "palette.json")
    art = read_artwork(shop / "artwork" / "kingfisher.svg", width_mm=40)
    shaded = read_artwork(shop / "artwork" / "kingfisher-shaded.png", width_mm=30)
    pieces = {"sign": separate(art, palette), "shaded": separate(shaded, palette)}
    w, h = pieces["sign"].width_mm, pieces["sign"].height_mm
    v, u = pieces["shaded"].width_mm, pieces["shaded"].height_mm
    placed = [Placed("sign", 1, 5.0, 6.0, w, h, False), Placed("shaded", 1, 50.0, 6.0, u, v, True)]
    whole, at_mm = plate_layers(placed, pieces, "plate-01")
    assert at_mm == (5.0, 6.0) and whole.width_mm == pytest.approx(45 + u)
    for number in range(1, len(palette) + 1):
        assert whole.area_mm2(number) == pytest.approx(sum(one.outlines[number - 1].area for one in pieces.values()), rel=1e-9)
    for a, b in itertools.combinations([outline for outline in whole.outlines if not outline.is_empty], 2):
        assert shapely.intersection(a, b).area < 1e-9
    # clockwise: what is at the picture's left edge is at the top of the turned piece
    rows, columns = pieces["shaded"].labels.shape
    turned = np.rot90(pieces["shaded"].labels, -1)
    scale = pieces["shaded"].pitch_mm / whole.pitch_mm
    at = np.stack(np.meshgrid(np.arange(columns), np.arange(rows), indexing="ij"), axis=-1).reshape(-1, 2)[::97]
    y, x = ((at[:, 0] + 0.5) * scale).astype(int), ((at[:, 1] + 0.5) * scale + 45 / whole.pitch_mm).astype(int)
    assert (whole.labels[y, x] == turned[at[:, 0], at[:, 1]]).mean() > 0.93  # borders moved by half a pixel at most
    assert plan_job(whole, palette.machine, at_mm=at_mm).total_s > 0
