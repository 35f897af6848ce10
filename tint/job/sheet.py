"""The job sheet: one page (A4) up to ten layers, to be printed, followed and signed at the machine."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from tint.job.masks import POLARITY, mask_name
from tint.job.order import JobLayer, clock
from tint.job.page import A4_MM, BOTTOM_MM, GREY, LEFT_MM, RIGHT_MM, TOP_MM, WIDTH_MM, Page
from tint.job.pictures import arranged, draw_pictures
from tint.job.record import Job
from tint.job.remarks import OTHER_MACHINE
from tint.job.thumbnail import thumbnail_picture
from tint.lab import srgb1_from_lab
from tint.layers.layers import Layers
from tint.process import spot_mm

ONE_PAGE_LAYERS = 10
ROW_MM = (9.8, 12.5)  # lowest: name, file and heat remark still stand apart; highest: more is wasted paper
# Height of proof and key: below the first a second page is better, up to the second remarks that may be shortened give way,
# more than the last is wasted paper. A plate of 60 × 40 mm stands at true size from 44 on.
PICTURE_MM = (30.0, 44.5, 110.0)
NARROW_MM, FACT_MM = 112.0, 17.4  # width of proof and key with the facts beside them, and height of each of the three facts
LARGER = 1.2  # how much larger the proof must come out that way: tall pieces on a full page, such as plates of many pieces
MOST_SPARE_MM = 22.0
HEADER_MM, FACTS_MM, HEAD_ROW_MM, TOTAL_MM, CHECKS_MM, TRIAL_MM = 17.0, 22.5, 8.2, 12.5, 34.0, 11.1
REMARK_PT, REMARK_MM = 7, 3.3  # size, and from line to line
REST = "… more in README.txt"
REMARK_LINES = 3  # most of one remark that may be shortened
SEEN_REMARKS = 4  # of these that have a line each before the proof grows: the kinds of warnings a plate of many pieces has
MOST_REMARKS = 45  # lines; more than half a page of remarks helps nobody
CAUTION_PT, CAUTION_LEAD_MM = 6.4, 2.75
COLUMNS = (  # heading, unit, width [mm]
    ("order", "", 9.0), ("layer", "colour", 14.0), ("name", "mask file", 32.5),
    ("power", "%", 9.5), ("speed", "mm/s", 11.5), ("frequency", "kHz", 13.0), ("pulse", "ns", 9.0), ("spacing", "mm", 11.5),
    ("passes", "", 9.0), ("focus", "mm", 9.0), ("hatch", "°", 8.5),
    ("colour", "L, a, b", 11.5), ("∆E00 90 %", "jitter", 13.0), ("area", "time", 12.5), ("mask", "dark: mark", 12.5),
)  # fmt: skip


@dataclass(frozen=True)
class _Plan:
    """Lines of remarks (bold or not), heights [mm] and the rows of each page; `spare_mm` makes the notes taller."""

    remarks: tuple[tuple[str, bool], ...]
    picture_mm: float
    row_mm: float
    pages: tuple[tuple[JobLayer, ...], ...]
    closing_page: int
    spare_mm: float = 0.0
    narrow: bool = False  # proof and key leave the facts a column beside them


def sheet_pdf(job: Job, layers: Layers) -> bytes:
    """PDF of the job sheet: piece, plate, machine, proof, layers in order with their settings, checks, cautions.

    Parameters
    ----------
    job : what is marked
    layers : the same artwork, for the pictures

    Notes
    -----
    Up to ten layers stand on one page; more continue on the next. Every layer can be told by its number without colour.
    Characters the sheet's font lacks are replaced and the reader is sent to job.json.
    """
    page = Page(f"Job sheet: {job.name}", f"{job.width_mm:g} × {job.height_mm:g} mm on {job.stock.name}", job.date)
    plan = _planned(page, job)
    pages = max(len(plan.pages), plan.closing_page + 1)
    for index in range(pages):
        y = _header(page, job, index + 1, pages)
        if index == 0:
            y = _remarks(page, y, plan.remarks)
            y = _trial(page, job, y)
            facts_y = _facts(page, job, y, plan.narrow)
            y = draw_pictures(page, job, layers, y if plan.narrow else facts_y, plan.picture_mm, NARROW_MM if plan.narrow else WIDTH_MM)
        if index < len(plan.pages):
            y = _table(page, layers, plan.pages[index], y, plan.row_mm)
            if index == len(plan.pages) - 1:
                _totals(page, job, y)
                y += TOTAL_MM + 3
        if index == plan.closing_page:
            closing_mm = CHECKS_MM + plan.spare_mm + _cautions_mm(page, job) + 2
            _closing(page, job, BOTTOM_MM - closing_mm if index == 0 else y, plan.spare_mm)
        _footer(page)
        if index < pages - 1:
            page.turn()
    return page.pdf()


def _planned(page: Page, job: Job) -> _Plan:
    count = len(job.layers)
    top = TOP_MM + HEADER_MM + FACTS_MM + HEAD_ROW_MM
    closing = CHECKS_MM + _cautions_mm(page, job) + 2
    free = BOTTOM_MM - top - 4 - (TRIAL_MM if job.trial else 0)
    in_full = max(job.in_full, 1)
    lines = [len(_wrapped(page, job, index, 99 if index < in_full else REMARK_LINES)) for index in range(len(job.remarks))]
    least_mm, wished_mm = (min(room, arranged(job, PICTURE_MM[2]).height_mm) for room in PICTURE_MM[:2])
    room_mm = free - TOTAL_MM - closing - count * ROW_MM[0] - 4.5
    least = sum(lines[:in_full]) + (len(lines) > in_full)  # a line says where the rest is
    one_page = count <= ONE_PAGE_LAYERS and least <= (room_mm - least_mm) // REMARK_MM
    seen = sum(lines[:in_full]) + min(len(lines) - in_full, SEEN_REMARKS)  # a line each
    beside = max(int((room_mm - wished_mm) // REMARK_MM), min(seen, int((room_mm - least_mm) // REMARK_MM)))
    most = max(least, beside) if one_page else max(least, 16)
    remarks = _fitted(page, job, min(most, MOST_REMARKS))
    free -= len(remarks) * REMARK_MM + 4.5 if remarks else 0
    if one_page:
        free -= TOTAL_MM + closing
        row = min(max((free - 48) / count, ROW_MM[0]), ROW_MM[1])
        picture = min(max(free - count * row, least_mm), PICTURE_MM[2])
        picture, scale = (arranged(job, picture).height_mm, arranged(job, picture).scale)
        beside_facts = arranged(job, min(picture + FACTS_MM, PICTURE_MM[2]), NARROW_MM)
        narrow = beside_facts.scale > LARGER * scale and beside_facts.height_mm >= 3 * FACT_MM
        if narrow:
            picture, free = beside_facts.height_mm, free + FACTS_MM
        spare = min(max(free - count * row - picture, 0.0), MOST_SPARE_MM)
        return _Plan(remarks, picture, row, (job.layers,), 0, spare, narrow)
    row, picture = 10.5, arranged(job, 46.0).height_mm
    first = min(max(int((free - picture - TOTAL_MM) // row), 1), count)
    later = int((BOTTOM_MM - TOP_MM - HEADER_MM - HEAD_ROW_MM - TOTAL_MM) // row)
    starts = [0, *range(first, count, later)]
    pages = tuple(job.layers[start:end] for start, end in zip(starts, [*starts[1:], count], strict=True))
    last_mm = TOP_MM + HEADER_MM + HEAD_ROW_MM + len(pages[-1]) * row + TOTAL_MM + 3
    fits = len(pages) > 1 and last_mm + closing <= BOTTOM_MM
    return _Plan(remarks, picture, row, pages, len(pages) - 1 if fits else len(pages))


def _header(page: Page, job: Job, number: int, pages: int) -> float:
    page.text(LEFT_MM, TOP_MM + 3, "JOB SHEET", 7, bold=True, grey=GREY)
    page.text(LEFT_MM, TOP_MM + 11, job.name, 18, bold=True, width_mm=128)
    page.text(RIGHT_MM, TOP_MM + 3, f"{job.date} · page {number} of {pages}", 7.5, align="right")
    beside_mm = WIDTH_MM - min(page.width_mm(page.printable(job.name, True), 18, bold=True), 128) - 6
    for line, text in enumerate(page.wrapped(f"palette {job.palette}", 7.5, beside_mm, 2)):
        page.text(RIGHT_MM, TOP_MM + 7.2 + line * 3.8, text, 7.5, align="right", grey=GREY)
    page.line(LEFT_MM, TOP_MM + 14, RIGHT_MM, TOP_MM + 14, 1.2)
    return TOP_MM + HEADER_MM


def _wrapped(page: Page, job: Job, index: int, most: int) -> list[str]:
    """Lines of a remark, at most so many."""
    remark = job.remarks[index]
    told = remark if index else f"READ FIRST: {remark}"
    return page.wrapped(told, REMARK_PT, WIDTH_MM - 6, most, _bold(index, remark))


def _bold(index: int, remark: str) -> bool:
    return index == 0 or remark.startswith(OTHER_MACHINE)


def _fitted(page: Page, job: Job, most: int) -> tuple[tuple[str, bool], ...]:
    """Lines of the remarks and whether bold, at most so many: before one is left out, all that may be are shortened."""
    in_full = max(job.in_full, 1)
    lines: list[tuple[str, bool, int]] = []
    cut = False
    whole = [_wrapped(page, job, index, 99) for index in range(len(job.remarks))]
    for limit in range(REMARK_LINES, 0, -1):
        some = [each if i < in_full else _wrapped(page, job, i, limit) for i, each in enumerate(whole)]
        lines = [(line, _bold(i, job.remarks[i]), i) for i, each in enumerate(some) for line in each]
        cut = some != whole or len(lines) > most
        if len(lines) <= most:
            break
    lines = lines[:most]
    if cut and lines and lines[-1][2] >= in_full:  # the last line says where the rest is
        text, bold, _ = lines[-1]
        free_mm = WIDTH_MM - 6 - page.width_mm(REST, REMARK_PT, bold) - 1
        head = page.wrapped(text, REMARK_PT, free_mm, 1, bold)[0].rstrip(" ,;.…")
        lines[-1] = (f"{head}{REST}", bold, lines[-1][2])
    return tuple((line, bold) for line, bold, _ in lines)


def _remarks(page: Page, y: float, lines: tuple[tuple[str, bool], ...]) -> float:
    if not lines:
        return y
    height = len(lines) * REMARK_MM + 2
    _barred(page, y, height)
    for index, (line, bold) in enumerate(lines):
        page.text(LEFT_MM + 4, y + 3.7 + index * REMARK_MM, line, REMARK_PT, bold=bold)
    return y + height + 2.5


def _barred(page: Page, y: float, height: float) -> None:
    page.box(LEFT_MM, y, WIDTH_MM, height, frame_pt=0.8)
    page.box(LEFT_MM, y, 1.6, height, fill=0.0)


def _trial(page: Page, job: Job, y: float) -> float:
    trial = job.trial
    if trial is None:
        return y
    _barred(page, y, TRIAL_MM - 2.5)
    count = "1 square" if len(job.layers) == 1 else f"{len(job.layers)} squares"
    where = f"{trial.at_mm[0]:g} mm from the left, {trial.at_mm[1]:g} mm from the top of the blank, {trial.edge} edge"
    what = f"TRIAL FIRST: folder trial, {count} of {trial.square_mm:g} mm, {where}, about {clock(trial.time_s)}."
    how = "Same order and settings as below, same clamping. Let them cool, compare with the swatches, then the piece."
    page.text(LEFT_MM + 4, y + 3.7, what, 7, bold=True, width_mm=WIDTH_MM - 6)
    page.text(LEFT_MM + 4, y + 7.0, how, 7, width_mm=WIDTH_MM - 6)
    return y + TRIAL_MM


def _facts(page: Page, job: Job, y: float, narrow: bool) -> float:
    """Stock, machine and piece side by side, or one below the other in the column right of proof and key."""
    stock, machine = job.stock, job.machine
    lens = f"lens {machine.lens_focal_mm:g} mm, " if machine.lens_focal_mm else ""
    blocks = (
        ("STOCK", (
            stock.name, f"{stock.grade}, {stock.finish}",
            f"{stock.thickness_mm:g} mm thick, blank {stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm",
            f"batch {stock.batch}" if stock.batch else "batch not stated: note it below",
        )),
        ("MACHINE", (
            machine.name, f"{machine.max_power_w:g} W, {machine.wavelength_nm:g} nm",
            f"{lens}spot {spot_mm(machine) * 1e3:.0f} µm (1/e²)",
            f"field {machine.field_mm[0]:g} × {machine.field_mm[1]:g} mm",
        )),
        ("PIECE", (
            f"{job.width_mm:g} × {job.height_mm:g} mm, {len(job.layers)} {'layer' if len(job.layers) == 1 else 'layers'}",
            f"from left edge {job.at_mm[0]:g} mm, from top edge {job.at_mm[1]:g} mm",
            f"masks {job.pitch_mm:.4g} mm per pixel, black is marked",
            f"about {clock(job.total_s)} ({'h:min:s' if job.total_s > 3599 else 'min:s'})",
        )),
    )  # fmt: skip
    column = WIDTH_MM / 3
    for index, (title, lines) in enumerate(blocks):
        x = LEFT_MM + (NARROW_MM + 8 if narrow else index * column)
        y += FACT_MM if narrow and index else 0
        page.text(x, y + (2.3 if narrow else 2.5), title, 6, bold=True, grey=GREY)
        for row, line in enumerate(lines):
            line_y = y + (5.7 + row * 3.3 if narrow else 6.6 + row * 3.8)
            page.text(x, line_y, line, 7.5, bold=row == 0, width_mm=column - 4)
    return y + FACTS_MM


def _table(page: Page, layers: Layers, rows: tuple[JobLayer, ...], y: float, row_mm: float) -> float:
    edges = [LEFT_MM]
    for _, _, width in COLUMNS:
        edges.append(edges[-1] + width)
    page.box(LEFT_MM, y, WIDTH_MM, HEAD_ROW_MM - 0.4, fill=0.88)
    for index, (heading, unit, width) in enumerate(COLUMNS):
        align, x = ("left", edges[index] + 1) if index == 2 else ("centre", edges[index] + width / 2)
        page.text(x, y + 3.2, heading, 6, bold=True, align=align, width_mm=width - 0.6)
        page.text(x, y + 6.2, unit, 5.6, align=align, grey=0.2, width_mm=width - 0.6)
    y += HEAD_ROW_MM
    for row in rows:
        _row(page, layers, row, edges, y, row_mm)
        y += row_mm
        page.line(LEFT_MM, y - 0.2, RIGHT_MM, y - 0.2, 0.35, grey=0.6)
    return y


def _row(page: Page, layers: Layers, row: JobLayer, edges: list[float], y: float, height: float) -> None:
    centre = [(low + high) / 2 for low, high in pairwise(edges)]
    middle = y + height / 2
    page.text(centre[0], middle + 1.6, str(row.order), 12, bold=True, align="centre")
    _swatch(page, row, edges[1] + 0.8, y + 1.0, COLUMNS[1][2] - 1.6, height - 2.4)
    lines = page.wrapped(row.name, 7.5, COLUMNS[2][2] - 2, 2, bold=True)
    size_pt = 7.5 if len(lines) == 1 else 6.5
    name_y = middle - (1.3 if len(lines) == 1 else 2.3)
    for line in page.wrapped(row.name, size_pt, COLUMNS[2][2] - 2, 2, bold=True):
        page.text(edges[2] + 1, name_y, line, size_pt, bold=True)
        name_y += 0.38 * size_pt
    page.text(edges[2] + 1, name_y, mask_name(row), 5.4, grey=0.2, width_mm=COLUMNS[2][2] - 2)
    page.text(edges[2] + 1, name_y + 2.2, f"palette no. {row.number}", 5, grey=GREY)
    values_y = middle + (0.9 if not row.remark else -0.5)
    for index, value in enumerate(_setting_words(row), 3):
        page.text(centre[index], values_y, value, 8.2, align="centre", width_mm=COLUMNS[index][2] - 0.8, least=0.45)
    if row.remark:
        page.text(edges[3] + 1, y + height - 1.7, row.remark, 6, bold=True, width_mm=edges[11] - edges[3] - 2)
    for index, (axis, number) in enumerate(zip("Lab", row.lab, strict=True)):
        page.text(edges[11] + 1.4, middle - 2.0 + index * 2.9, axis, 5.8, grey=GREY)
        page.text(edges[12] - 1.2, middle - 2.0 + index * 2.9, f"{number:.1f}".replace("-", "−"), 6.3, align="right")
    for index, pair in (
        (12, (f"±{row.de00_90:.1f}", f"{row.sensitivity_de00:.1f}")),
        (13, (_area(row.area_mm2), clock(row.time_s))),
    ):
        for place, word in enumerate(pair):
            page.text(
                centre[index], middle - 0.6 + place * 3.2, word, 7, align="centre", width_mm=COLUMNS[index][2] - 0.8
            )
    width, tall = _inside(layers, COLUMNS[14][2] - 1, height - 1.6)
    x, top = edges[15] - width, y + (height - tall) / 2 - 0.2
    page.picture(thumbnail_picture(layers, row.number), x, top, width, tall)
    page.box(x, top, width, tall, frame_pt=0.3, grey=0.5)


def _swatch(page: Page, row: JobLayer, x: float, y: float, width: float, height: float) -> None:
    page.box(x, y, width, height, fill=srgb1_from_lab(row.lab), frame_pt=0.4, grey=0.25)
    label = f"{row.order}"
    wide = max(page.width_mm(label, 7.5, bold=True) + 1.8, 4.2)
    page.box(x + width / 2 - wide / 2, y + height / 2 - 2.1, wide, 4.2, fill=1.0, frame_pt=0.5, round_mm=2.1)
    page.text(x + width / 2, y + height / 2 + 0.97, label, 7.5, bold=True, align="centre")


def _setting_words(row: JobLayer) -> list[str]:
    words = [f"{float(value):.6g}" for value in row.setting.table()[:7]]  # no machine takes more digits
    hatch = row.setting.as_dict()["hatch_deg"]
    return [word.replace("-", "−") for word in [*words, "–" if hatch is None else f"{hatch:.6g}"]]


def _area(area_mm2: float) -> str:
    return f"{area_mm2:.0f} mm²" if area_mm2 >= 100 else f"{area_mm2:.3g} mm²"


def _inside(layers: Layers, width: float, height: float) -> tuple[float, float]:
    scale = min(width / layers.width_mm, height / layers.height_mm)
    return layers.width_mm * scale, layers.height_mm * scale


def _totals(page: Page, job: Job, y: float) -> None:
    area = sum(layer.area_mm2 for layer in job.layers)
    waits = f" + cooling waits {clock(job.wait_s)} = {clock(job.total_s)}" if job.wait_s else ""
    page.text(LEFT_MM, y + 3.8, f"Marking {clock(job.marking_s)}{waits}, estimated. Area {area:.0f} mm².", 8, bold=True)
    jitter = job.jitter or "the machine's usual straying"
    hatch = (
        ""
        if all(layer.setting.as_dict()["hatch_deg"] is not None for layer in job.layers)
        else "Hatch –: not noted, use 0°. "
    )
    page.paragraph(
        LEFT_MM, y + 7,
        f"L, a, b: predicted, CIELAB D50/2°. 90 %: nine of ten fresh marks land within this ∆E00. {hatch}{POLARITY} "
        f"Jitter: mean shift (∆E00) under {jitter}. Order: what shifts most under jitter first (in steps of 0.5), while the plate is cold.",
        5.8, WIDTH_MM, max_lines=3, grey=GREY,
    )  # fmt: skip


def _closing(page: Page, job: Job, y: float, spare_mm: float) -> None:
    page.text(LEFT_MM, y + 2, "CAUTIONS", 6, bold=True)
    half = (WIDTH_MM - 6) / 2
    columns = _caution_columns(page, job)
    for index, lines in enumerate(columns):
        for row, line in enumerate(lines):
            page.text(LEFT_MM + index * (half + 6), y + 5 + row * CAUTION_LEAD_MM, line, CAUTION_PT)
    _checks(page, job, y + _cautions_mm(page, job) + 2, CHECKS_MM + spare_mm)


def _checks(page: Page, job: Job, y: float, height: float) -> None:
    page.text(LEFT_MM, y + 2, "BEFORE START", 6, bold=True)
    wavelength = job.machine.wavelength_nm
    trial = f"trial {'squares' if job.trial else 'on scrap'} marked, cooled, compared"
    checks = (
        f"eyewear for {wavelength:.0f} nm on", "enclosure closed, interlocks work",
        "extraction on, filter good", "someone stays with it, cooling waits included",
        f"plate is of batch {job.stock.batch or '________'}", trial,
        "plate degreased, flat, clamped in the fixture", "lens clean, focus gauged, focus offsets set",
        f"size on the machine {job.width_mm:g} × {job.height_mm:g} mm", "settings of every layer read back aloud",
    )  # fmt: skip
    wide = 132.0
    for index, text in enumerate(checks):
        x, top = LEFT_MM + (index % 2) * wide / 2, y + 4.6 + (index // 2) * 5.6
        page.box(x, top - 0.2, 3.2, 3.2, frame_pt=0.7)
        page.text(x + 4.8, top + 2.4, text, 7, width_mm=wide / 2 - 7)
    x = LEFT_MM + wide + 2
    page.text(x, y + 2, "NOTES", 6, bold=True)
    page.box(x, y + 4, RIGHT_MM - x, height - 7, frame_pt=0.5, grey=0.3)
    for index, text in enumerate(("trial agreed by", "marked by, date")):
        line_y = y + height - 4.4 - (1 - index) * 6.4
        page.text(x + 1.5, line_y - 0.7, text, 6, grey=GREY)
        page.line(x + 1.5, line_y, RIGHT_MM - 1.5, line_y, 0.4, grey=0.5)


def _caution_columns(page: Page, job: Job) -> tuple[list[str], list[str]]:
    half = (WIDTH_MM - 6) / 2
    blocks = [page.wrapped(caution, CAUTION_PT, half, 9) for caution in job.cautions]
    splits = [
        ([line for block in blocks[:cut] for line in block], [line for block in blocks[cut:] for line in block])
        for cut in range(1, len(blocks) + 1)
    ]
    return min(splits, key=lambda columns: max(len(lines) for lines in columns), default=([], []))


def _cautions_mm(page: Page, job: Job) -> float:
    return 4 + max(len(lines) for lines in _caution_columns(page, job)) * CAUTION_LEAD_MM


def _footer(page: Page) -> None:
    words = "tint plans; it never drives a machine. Times, temperatures and colours are predictions."
    if page.replaced:
        words = "Some characters cannot be printed here (shown as ?): see job.json. " + words
    page.text(LEFT_MM, A4_MM[1] - 7, words, 5.8, grey=GREY)
