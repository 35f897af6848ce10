"""The job sheet, read back by another PDF reader."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path

import pypdfium2
import pytest
from pieces import LASER, STEEL, layers_of, palette, pond
from pypdf import PdfReader

from tint.job.job import Job, plan_job
from tint.job.masks import mask_name
from tint.job.order import clock
from tint.job.page import A4_MM
from tint.job.sheet import sheet_pdf
from tint.setting import Setting

MM = 72 / 25.4


def read(data: bytes) -> tuple[PdfReader, str]:
    reader = PdfReader(io.BytesIO(data))
    return reader, " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def sheet(count: int, trial: bool = False, **changes: object) -> tuple[Job, bytes]:
    piece = layers_of(pond(count)[::2, ::2], 1.0, dataclasses.replace(palette(count), **changes))
    job = plan_job(piece, LASER, date="2026-03-14", trial=trial)
    return job, sheet_pdf(job, piece)


def test_the_sheet_is_one_a4_page_and_says_what_the_operator_needs(folder: Path, job: Job) -> None:
    reader, text = read((folder / "sheet.pdf").read_bytes())
    assert len(reader.pages) == 1
    assert [float(side) for side in reader.pages[0].mediabox[2:]] == pytest.approx([side * MM for side in A4_MM], abs=0.1)
    for words in (
        job.name, job.date, job.stock.name, job.stock.batch, job.machine.name, "1064 nm", "lens 254 mm", "spot 60 µm", "60 × 40 mm",
        "READ FIRST: simulated: invented colours", "drawn at", clock(job.total_s), "plate is of batch 2026-03", "trial on scrap", "lens clean",
        "extraction on", "fixture", "eyewear for 1064 nm", "marked by, date", "IEC 60825-1",
    ):  # fmt: skip
        assert words in text, words


def test_every_layer_stands_on_the_sheet_with_settings_colour_uncertainty_and_time(folder: Path, job: Job) -> None:
    _, text = read((folder / "sheet.pdf").read_bytes())
    for layer in job.layers:
        for words in (
            layer.name, mask_name(layer), f"{float(layer.setting.spacing_mm):g}", f"{float(layer.setting.freq_khz):g}",
            f"±{layer.de00_90:.1f}", clock(layer.time_s), f"{layer.lab[0]:.1f}",
        ):  # fmt: skip
            assert words in text, (layer.name, words)
    places = [text.index(mask_name(layer)) for layer in job.layers]
    assert places == sorted(places)


@pytest.mark.parametrize("count, pages", [(1, 1), (10, 1), (11, 2), (14, 2), (24, 2), (60, 4)])
def test_up_to_ten_layers_take_one_page_and_more_flow_on(count: int, pages: int) -> None:
    piece = layers_of(pond(count, 60, max(40, 2 * count)), 0.6, palette(count))
    job = plan_job(piece, LASER, date="2026-03-14")
    reader, text = read(sheet_pdf(job, piece))
    assert len(reader.pages) == pages
    for layer in job.layers:
        assert mask_name(layer) in text
    assert "BEFORE START" in text and "CAUTIONS" in text and f"page {pages} of {pages}" in text


LONG = dict(
    remarks=("simulated: invented colours, not from a real plate", *(f"camera note {i}: " + "long words " * 40 for i in range(6))),
    stock=dataclasses.replace(STEEL, name="stock " * 30, grade="304 " * 30, finish="brushed " * 20, batch="batch" * 30),
    name="palette " * 30,
)  # fmt: skip


@pytest.mark.parametrize("trial", [False, True])
@pytest.mark.parametrize("count", [1, 10, 14])
def test_no_text_leaves_the_page_or_its_margins_however_long_the_names(count: int, trial: bool) -> None:
    long_names = tuple(
        dataclasses.replace(colour, name=f"{colour.name} {'wasserblau' * 8} {i}") for i, colour in enumerate(palette(count).colours)
    )
    _, data = sheet(count, trial, colours=long_names, **LONG)
    reader, _ = read(data)
    assert len(reader.pages) == (1 if count == 1 else 2)  # remarks of the palette are never cut: they need the room
    boxes = drawn_text(data)
    assert len(boxes) > 60
    for left, bottom, right, top in boxes:
        assert 12 * MM - 1 <= left and right <= (A4_MM[0] - 12) * MM + 1
        assert 4 * MM <= bottom and top <= (A4_MM[1] - 8) * MM


@pytest.mark.parametrize("trial", [False, True])
@pytest.mark.parametrize("count", [1, 10, 14])
def test_no_two_lines_of_text_lie_on_each_other(count: int, trial: bool) -> None:
    long_names = tuple(
        dataclasses.replace(colour, name=f"{colour.name} {'wasserblau' * 8} {i}") for i, colour in enumerate(palette(count).colours)
    )
    _, data = sheet(count, trial, colours=long_names, **LONG)
    for page in pypdfium2.PdfDocument(data):
        area = page.get_textpage()
        rects = [area.get_rect(i) for i in range(area.count_rects())]
        for i, (l0, b0, r0, t0) in enumerate(rects):
            for l1, b1, r1, t1 in rects[i + 1 :]:
                wide, tall = min(r0, r1) - max(l0, l1), min(t0, t1) - max(b0, b1)
                small = min((r0 - l0) * (t0 - b0), (r1 - l1) * (t1 - b1))
                assert wide <= 0 or tall <= 0 or wide * tall <= 0.2 * small, (l0, b0, l1, b1)


def drawn_text(data: bytes) -> list[tuple[float, float, float, float]]:
    """Boxes (left, bottom, right, top) [pt] of all text, measured by an independent renderer (PDFium)."""
    boxes = []
    for page in pypdfium2.PdfDocument(data):
        area = page.get_textpage()
        boxes += [area.get_rect(i) for i in range(area.count_rects())]
    return boxes


def test_a_sheet_of_ten_layers_stays_under_400_kb() -> None:
    assert len(sheet(10)[1]) < 400_000


def test_a_setting_with_many_digits_is_printed_small_and_never_cut() -> None:
    odd = Setting(18.3271, 1234.57, 333.333, 123.457, 0.00234567, passes=2, focus_mm=-0.12345, hatch_deg=-37.125)
    _, data = sheet(1, colours=(dataclasses.replace(palette(1).colours[0], setting=odd),))
    text = read(data)[1]
    for word in ("18.3271", "1234.57", "333.333", "123.457", "0.00234567", "−0.12345", "−37.125"):
        assert word in text, word


def test_characters_the_font_lacks_send_the_reader_to_job_json() -> None:
    colours = (dataclasses.replace(palette(1).colours[0], name="синий"),)
    _, data = sheet(1, colours=colours)
    assert "see job.json" in read(data)[1]
    assert "see job.json" not in read(sheet(1)[1])[1]


def test_the_same_job_gives_the_same_sheet() -> None:
    assert sheet(3)[1] == sheet(3)[1]


@pytest.mark.parametrize("count", [1, 7, 8, 10])
def test_a_trial_has_a_box_of_its_own_and_the_sheet_stays_one_page(count: int) -> None:
    reader, text = read(sheet(count, True)[1])
    assert len(reader.pages) == 1 and "TRIAL FIRST" in text and "of 4 mm" in text
    assert "TRIAL FIRST" not in read(sheet(count)[1])[1]
