"""The job sheet, read back by another PDF reader."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from pieces import LASER, STEEL, layers_of, palette, pond
from pypdf import PdfReader

from tint.job.job import Job, plan_job
from tint.job.masks import mask_name
from tint.job.order import clock
from tint.job.page import A4_MM, Page
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


def test_the_number_people_see_is_the_marking_order_and_the_palettes_stands_once() -> None:
    job, data = sheet(4)
    assert [layer.number for layer in job.layers] != [1, 2, 3, 4]
    text = read(data)[1]
    for layer in job.layers:
        assert text.count(f"palette no. {layer.number}") == 1
        assert f"{layer.order:02d}-" in mask_name(layer) and mask_name(layer) in text


@pytest.mark.parametrize("shape", [(4, 200), (150, 4), (30, 45), (60, 40)])
@pytest.mark.parametrize("count", [1, 3, 10])
def test_discs_of_the_key_lie_inside_it_and_carry_the_marking_order(shape: tuple[int, int], count: int, monkeypatch) -> None:
    pictures, discs = [], []
    monkeypatch.setattr(Page, "picture", lambda self, data, *place: pictures.append(place))
    monkeypatch.setattr(Page, "disc", lambda self, *drawn: discs.append(drawn))
    labels = np.arange(shape[0] * shape[1]).reshape(shape) * count // (shape[0] * shape[1]) + 1
    piece = layers_of(labels, 0.5, palette(count))
    job = plan_job(piece, LASER, date="2026-03-14")
    sheet_pdf(job, piece)
    x, y, width, height = pictures[1]
    assert 12 <= x and x + width <= A4_MM[0] - 12 + 1e-6
    assert sorted(int(disc[3]) for disc in discs) == [layer.order for layer in job.layers]
    for disc_x, disc_y, radius, label, _ in discs:
        assert x <= disc_x - radius and disc_x + radius <= x + width and y <= disc_y - radius and disc_y + radius <= y + height
        number = next(layer.number for layer in job.layers if str(layer.order) == label)
        if min(width, height) > 4:  # else the disc covers more than its layer
            column, row = (int(share * side) for share, side in (((disc_x - x) / width, shape[1]), ((disc_y - y) / height, shape[0])))
            near = labels[max(row - 8, 0) : row + 9, max(column - 8, 0) : column + 9]
            assert number in near


def test_fewer_layers_give_a_larger_proof(monkeypatch: pytest.MonkeyPatch) -> None:
    widths = []
    for count in (1, 5, 10):
        pictures = []
        monkeypatch.setattr(Page, "picture", lambda self, data, *place, found=pictures: found.append(place))
        sheet(count)
        widths.append(pictures[0][2])
    assert widths == sorted(widths, reverse=True) and widths[0] > 110 and widths[0] > 1.5 * widths[2]


VITAL = (
    "SIMULATED colours: no metal was marked",
    "camera colours: measured without a reference, to be compared with each other, not read as true colour. " + "Mind this. " * 30 + "End.",
    "bare metal was not measured: the computed colour of polished austenitic steel stands in for it. Measure it and add 'bare_lab: L a b'.",
)


@pytest.mark.parametrize("count", [1, 10, 14])
def test_what_the_palette_says_and_warnings_of_another_machine_are_never_cut(count: int) -> None:
    piece = layers_of(pond(count), 0.5, palette(count, VITAL))
    piece = dataclasses.replace(piece, remarks=tuple(f"note {i} " + "of little weight " * 12 for i in range(12)))
    fine = dataclasses.replace(LASER, name="second laser (invented)", spot_um=45)
    job = plan_job(piece, fine, date="2026-03-14", stock=dataclasses.replace(STEEL, batch="2026-09"), trial=True)
    reader, text = read(sheet_pdf(job, piece))
    assert job.in_full == 5
    for words in job.remarks[: job.in_full]:
        assert " ".join(words.replace("Δ", "∆").split()) in text
    assert "… more in README.txt" in text and "batch 2026-09 instead of 2026-03" in text
    assert "READ FIRST: SIMULATED" in read_page(reader, 0)


def read_page(reader: PdfReader, number: int) -> str:
    return " ".join(reader.pages[number].extract_text().split())


def test_the_palettes_name_is_whole_while_there_is_room_for_it() -> None:
    name = "reserve sign plate, batch of the spring sheet (invented): kingfisher, heron and otter, second choice after the check strip"
    assert f"palette {name}" in read(sheet(2, name=name)[1])[1]


def test_jitter_is_the_word_and_is_explained_and_the_order_has_its_reason() -> None:
    text = read(sheet(3)[1])[1]
    assert "jitter" in text and "sens" not in text.replace("sense", "")
    assert "Jitter: mean shift (∆E00) under 1 % power, 0.5 µm line spacing" in text
    assert "Order: what shifts most under jitter first (in steps of 0.5), while the plate is cold." in text


def test_a_hatch_angle_not_noted_is_explained_only_where_there_is_one() -> None:
    assert "Hatch –: not noted" in read(sheet(7)[1])[1]  # sky blue is the seventh
    assert "not noted" not in read(sheet(6)[1])[1]


def test_the_pitch_is_printed_with_four_digits() -> None:
    piece = layers_of(pond(2), 0.0123456, palette(2))
    assert "masks 0.01235 mm per pixel" in read(sheet_pdf(plan_job(piece, LASER), piece))[1]


def test_safety_comes_first_of_the_checks_and_cautions_stand_before_notes_in_no_smaller_type_than_the_rest() -> None:
    _, data = sheet(4)
    text = read(data)[1]
    checks = text[text.index("BEFORE START") :]
    wanted = ("eyewear for 1064 nm", "enclosure closed", "someone stays with it, cooling waits included", "lens clean")
    places = [checks.index(words) for words in wanted]
    assert places == sorted(places) and text.index("CAUTIONS") < text.index("BEFORE START") < text.index("NOTES")
    sizes: dict[str, float] = {}

    def note(words: str, _cm: object, tm: list[float], _font: object, size: float) -> None:
        for key in ("Class 4 laser", "Times, temperatures", "palette no.", "L, a, b: predicted"):
            if key in words:
                sizes[key] = size

    read(data)[0].pages[0].extract_text(visitor_text=note)
    assert len(sizes) == 4 and sizes.pop("Class 4 laser") > max(sizes.values())


def test_the_pdf_carries_the_date_of_the_job() -> None:
    assert read(sheet(1)[1])[0].metadata.creation_date.date().isoformat() == "2026-03-14"


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


def test_that_drawings_are_smaller_than_masks_stands_on_a_full_sheet_too() -> None:
    piece = dataclasses.replace(layers_of(pond(10)[::2, ::2], 1.0, palette(10)), remarks=("a note",) * 2)
    job = plan_job(piece, LASER, trial=True, inset_spot=0.25)
    assert job.in_full == len(piece.palette.remarks) + 1
    text = read(sheet_pdf(job, piece))[1]
    assert "smaller on every side, the masks are not" in text


def test_the_same_job_gives_the_same_sheet() -> None:
    assert sheet(3)[1] == sheet(3)[1]


@pytest.mark.parametrize("count", [1, 7, 8, 10])
def test_a_trial_has_a_box_of_its_own_and_the_sheet_stays_one_page(count: int) -> None:
    reader, text = read(sheet(count, True)[1])
    assert len(reader.pages) == 1 and "TRIAL FIRST" in text and "of 4 mm" in text
    assert "TRIAL FIRST" not in read(sheet(count)[1])[1]


@pytest.mark.parametrize("trial", [False, True])
@pytest.mark.parametrize("count", [6, 9, 10])
def test_many_warnings_never_make_the_proof_small(count: int, trial: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    pictures: list[tuple[float, ...]] = []
    monkeypatch.setattr(Page, "picture", lambda self, data, *place: pictures.append(place))
    piece = layers_of(pond(count)[::2, ::2], 1.0, dataclasses.replace(palette(count), remarks=VITAL))
    job = plan_job(piece, LASER, date="2026-03-14", trial=trial)
    spots = tuple(f"dark blue {i} stands in for colours that are 14 ΔE00 away on average; this palette has nothing nearer" for i in range(8))
    sheet_pdf(dataclasses.replace(job, remarks=(*job.remarks, *spots)), piece)
    assert pictures[0][3] >= 25  # of 40 mm that the piece is tall; was 22


@pytest.mark.parametrize("count", [5, 9, 10])
def test_before_a_warning_is_left_out_all_are_shortened(count: int) -> None:
    job = plan_job(layers_of(pond(count)[::2, ::2], 1.0, palette(count)), LASER, date="2026-03-14")
    kinds = ("far colours", "merged colours", "narrow strokes")
    long = tuple(f"{kind}: " + ", ".join(f"piece {i}" for i in range(60)) for kind in kinds)
    piece = layers_of(pond(count)[::2, ::2], 1.0, palette(count))
    reader, text = read(sheet_pdf(dataclasses.replace(job, remarks=(job.remarks[0], *long)), piece))
    assert len(reader.pages) == 1 and text.count("… more in README.txt") == 1
    places = [text.index(kind) for kind in kinds]
    assert places == sorted(places) and places[-1] < text.index("… more in README.txt")


@pytest.mark.parametrize("trial", [False, True])
@pytest.mark.parametrize("count", [9, 10])
def test_a_tall_piece_on_a_full_page_has_its_facts_beside_a_larger_proof(count: int, trial: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    piece = layers_of(pond(count, 83, 96), 1.0, dataclasses.replace(palette(count), name="palette " * 30))
    steel = dataclasses.replace(STEEL, name="stock " * 30, size_mm=(120, 120))
    job = plan_job(piece, LASER, date="2026-03-14", trial=trial, stock=steel)
    job = dataclasses.replace(job, remarks=(*job.remarks, *("a long remark " * 30,) * 4))
    data = sheet_pdf(job, piece)
    reader, text = read(data)
    assert len(reader.pages) == 1 and all(words in text for words in ("STOCK", "1064 nm", "spot 60 µm", "from left edge", "PIECE"))
    for page in pypdfium2.PdfDocument(data):
        area = page.get_textpage()
        rects = [area.get_rect(i) for i in range(area.count_rects())]
        for i, (l0, b0, r0, t0) in enumerate(rects):
            assert 12 * MM - 1 <= l0 and r0 <= (A4_MM[0] - 12) * MM + 1
            for l1, b1, r1, t1 in rects[i + 1 :]:
                wide, tall = min(r0, r1) - max(l0, l1), min(t0, t1) - max(b0, b1)
                assert wide <= 0 or tall <= 0 or wide * tall <= 0.2 * min((r0 - l0) * (t0 - b0), (r1 - l1) * (t1 - b1))
    pictures: list[tuple[float, ...]] = []
    monkeypatch.setattr(Page, "picture", lambda self, data, *place: pictures.append(place))
    sheet_pdf(job, piece)
    (x, _, width, height), (key_x, _, key_width, key_height) = pictures[:2]
    assert height > 46 and width < key_x - x and key_height == pytest.approx(height)  # of 96 mm; was 26 to 40
    assert key_x + key_width < A4_MM[0] - 12 - 60  # of which the facts take the rest


def test_jitter_that_is_partly_assumed_is_told_whole_beside_a_hatch_angle_not_noted() -> None:
    jitter = "power ±2 %, speed ±2 %, line spacing ±1 %, focus ±0.2 mm (speed, line spacing, focus assumed: never varied in the grid)"
    text = read(sheet(7, jitter=jitter)[1])[1]
    assert f"Hatch –: not noted, use 0°. Black is marked, white stays bare. Jitter: mean shift (∆E00) under {jitter}." in text
    assert "Order: what shifts most under jitter first (in steps of 0.5), while the plate is cold." in text
