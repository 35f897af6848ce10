"""Remarks: what differs is said, and said once."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from pieces import LASER, STEEL, palette

from tint.artwork.artwork import Picture
from tint.errors import LimitError
from tint.job.job import plan_job
from tint.job.remarks import machine_remark, split_remarks, stock_remark
from tint.lab import srgb255_from_lab
from tint.layers.separate import separate
from tint.layers.tonal import Tonal


def test_the_palettes_own_machine_and_stock_need_no_remark() -> None:
    assert machine_remark(LASER, LASER) == "" and stock_remark(STEEL, STEEL) == ""
    assert stock_remark(STEEL, dataclasses.replace(STEEL, name="small plate", size_mm=(40, 40))) == ""


def test_another_spot_is_warned_of_as_a_burn_with_both_spots() -> None:
    fine = dataclasses.replace(LASER, name="second laser (invented)", spot_um=45)
    said = machine_remark(LASER, fine)
    assert said.startswith("Other machine, other spot (45 µm, not 60 µm): another spot means another energy density")
    assert "these settings may burn; fit this machine first" in said and "this job is for second laser" in said
    same = machine_remark(LASER, dataclasses.replace(fine, spot_um=60))
    assert "burn" not in same and same.startswith("Other machine: the palette was made on bench laser")


@pytest.mark.parametrize("spot_um, burns", [(60.5, False), (59.5, False), (61, True), (59, True)])
def test_spots_within_one_percent_count_as_equal(spot_um: float, burns: bool) -> None:
    assert ("burn" in machine_remark(LASER, dataclasses.replace(LASER, spot_um=spot_um))) == burns


@pytest.mark.parametrize(
    "change, words",
    [
        ({"grade": "316L"}, "grade 316L instead of 304"),
        ({"finish": "brushed"}, "finish brushed instead of 2B"),
        ({"thickness_mm": 2.0}, "thickness 2 mm instead of 1 mm"),
        ({"batch": "2026-09"}, "batch 2026-09 instead of 2026-03"),
        ({"batch": ""}, "batch not stated instead of 2026-03"),
    ],
)
def test_a_piece_that_differs_is_named_with_what_the_palette_was_made_on(change: dict[str, object], words: str) -> None:
    said = stock_remark(STEEL, dataclasses.replace(STEEL, **change))
    assert said == f"Other stock: palette was made on sign plate (invented); {words}; colours may shift: trial first."


def test_a_piece_of_another_metal_is_refused_in_one_line() -> None:
    with pytest.raises(LimitError, match=r"made on 304 \(austenitic.*is titanium grade 2 \(titanium\)") as caught:
        stock_remark(STEEL, dataclasses.replace(STEEL, grade="titanium grade 2"))
    assert "\n" not in str(caught.value)


def test_a_separations_own_lines_are_merged_and_sorted_and_its_specks_go_to_the_readme() -> None:
    pixels = np.full((60, 90, 3), (20, 200, 60), dtype=np.uint8)  # a green and a pink this palette has not
    pixels[:, 45:] = (250, 60, 160)
    pixels[5, 5] = srgb255_from_lab(palette(5).colours[1].lab)  # a speck of 0.0004 mm²
    layers = separate(Picture("reeds", 1.8, 1.2, pixels, np.zeros((60, 90), dtype=bool)), palette(5))
    assert sum("stands in for colours" in line for line in layers.remarks) == 2  # the words this test is about
    assert sum("specks smaller than" in line for line in layers.remarks) == 1
    job = plan_job(layers, LASER)
    (merged,) = [line for line in job.remarks if line.startswith("Far from the wished colour (ΔE00): ")]
    off = [int(part.split()[-1]) for part in merged.removesuffix(".").split(": ")[1].split(", ")]
    assert len(off) == 2 and off == sorted(off, reverse=True)
    assert not any("stands in for" in line or "specks" in line for line in job.remarks)
    assert len(job.notes) == 1 and job.notes[0].startswith("1 specks smaller than")


def test_lines_of_other_kinds_pass_unchanged() -> None:
    assert split_remarks(["straw is nowhere as wide as a pixel"]) == (("straw is nowhere as wide as a pixel",), ())


def test_of_a_tonal_separation_the_sheet_has_what_concerns_the_bench_and_the_readme_how_it_looks() -> None:
    y, x = np.mgrid[:60, :90]
    pixels = np.stack([90 + x, 110 + y, 200 - x], axis=-1).astype(np.uint8)
    layers = separate(Picture("reeds", 9, 6, pixels, np.zeros((60, 90), dtype=bool)), palette(5), tonal=Tonal(0.1))
    said, notes = split_remarks(layers.remarks)
    assert sum("jump time" in line for line in said) == 1 and not any("it looks" in line for line in said)
    assert len(notes) == 1 and notes[0].startswith("tonal: from 300 mm it looks ")


PIECES = ("curlew", "heron", "otter", "reed", "teal")


def plate_lines() -> list[str]:
    """What a plate of many pieces has to say: 20 far colours, 5 mergings, an empty mask in all pieces, specks in one."""
    far = [
        f"{piece}: {name} stands in for colours that are {20 + 3 * i + k} ΔE00 away on average; this palette has nothing nearer"
        for i, piece in enumerate(PIECES)
        for k, name in enumerate(("red", "straw", "teal", "violet"))
    ]
    rests = ("", ", and colours of 1 more layer likewise", *["; #00ff00 and #0a0a0a are red (12)"] * 3)
    one = [
        f"{piece}: colours that come out as one: #2d723{i} and #667bff, {40 + i} ΔE00 apart in the artwork, are both sky blue{rest}. "
        "A palette chosen for the artwork (tint palette --for) may keep them apart."
        for i, (piece, rest) in enumerate(zip(PIECES, rests, strict=True))
    ]
    thin = [f"{piece}: straw is nowhere as wide as a pixel of the masks (0.05 mm): its mask is empty, use the drawing" for piece in PIECES]
    return [*far, *one, *thin, "reed: 3 specks smaller than 0.0036 mm² joined a neighbour (0.01 mm² in all)"]


def test_a_plate_of_many_pieces_says_each_kind_in_one_short_line_worst_first_and_the_readme_all() -> None:
    said, notes = split_remarks(plate_lines())
    assert said == (
        "Far from the wished colour (ΔE00): violet 35 (teal and 4 more), teal 34 (teal and 4 more), straw 33 (teal and 4 more), "
        "and 1 more in README.txt.",
        "colours that come out as one: #2d7234 and #667bff are both sky blue (teal); #2d7233 and #667bff are both sky blue (reed); "
        "#2d7232 and #667bff are both sky blue (otter); and 2 more in README.txt. A palette chosen for the artwork (tint palette --for) "
        "may keep them apart.",
        "curlew, heron, otter, and 2 more in README.txt: straw is nowhere as wide as a pixel of the masks (0.05 mm): its mask is empty, "
        "use the drawing",
    )
    told = " ".join(notes)
    assert all(f"{piece}: {name} " in told for piece in PIECES for name in ("red", "straw", "teal", "violet"))
    assert all(line in notes for line in plate_lines() if "come out as one" in line or "specks" in line)
    assert any(line.startswith("curlew, heron, otter, reed, teal: straw is nowhere") for line in notes)


def test_what_is_said_of_one_piece_or_of_none_stays_as_it_is() -> None:
    lines = ["a note", "another note", plate_lines()[20]]
    assert split_remarks(lines) == (tuple(lines), ())
    assert split_remarks(["a note", "a note"]) == (("a note",), ())


def test_every_remark_is_said_once_and_those_that_may_not_be_cut_come_first() -> None:
    from pieces import layers_of, pond

    piece = dataclasses.replace(layers_of(pond(4), 0.5, palette(4)), remarks=(palette(4).remarks[0], "a note"))
    other = dataclasses.replace(LASER, name="second laser (invented)")
    job = plan_job(piece, other, stock=dataclasses.replace(STEEL, batch="2026-09"))
    assert len(set(job.remarks)) == len(job.remarks)
    assert job.in_full == 3 and job.remarks[1].startswith("Other machine") and job.remarks[2].startswith("Other stock")


def test_a_stronger_or_weaker_source_is_said_to_burn_like_another_spot():
    for watts in (LASER.max_power_w * 1.67, LASER.max_power_w * 10, LASER.max_power_w / 2):
        said = machine_remark(LASER, dataclasses.replace(LASER, max_power_w=watts))
        assert "may burn" in said and f"{watts:g} W" in said
    assert "burn" not in machine_remark(LASER, dataclasses.replace(LASER, name="its twin"))
