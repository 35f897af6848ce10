"""README.txt of a job folder: every file in shop words, and how to use it at the machine."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from tint.job.masks import POLARITY, hatch_name, mask_name
from tint.job.order import RULE, clock
from tint.job.record import Job
from tint.job.remarks import MORE
from tint.job.thin import MOST_PLACES, PLACES, Thin
from tint.lab import hex_from_lab
from tint.layers.layers import pixels_of

COLUMNS = 100


def readme_text(job: Job) -> str:
    """Text of README.txt for a job."""
    stock, machine = job.stock, job.machine
    head = (
        f"{job.width_mm:g} × {job.height_mm:g} mm on {stock.name} ({_stock_words(job)}), marked on {machine.name} "
        f"({machine.max_power_w:g} W, {machine.wavelength_nm:g} nm). Written {job.date} from palette {job.palette}."
    )
    parts = [_title(f"Job: {job.name}", "="), *_wrap(head), ""]
    if job.remarks:
        parts += [_title("Read this first"), *_list([_here(line) for line in job.remarks]), ""]
    if job.notes:
        parts += [_title("Good to know"), *_list(job.notes), ""]
    parts += [_title("Files"), *_files(job), "", _title("At the machine"), *_steps(job), ""]
    parts += [_title("Layers in marking order"), *_layers(job), ""]
    parts += [_title("Times and heat"), *_times(job), ""]
    parts += [_title("Cautions"), *_list(job.cautions)]
    return "\n".join(parts) + "\n"


def _here(line: str) -> str:
    """A remark as README.txt itself says it."""
    return line.replace(PLACES, "places below.").replace(MORE, "more below")


def _files(job: Job) -> list[str]:
    first = mask_name(job.layers[0])
    high_px, wide_px = pixels_of((job.width_mm, job.height_mm), job.pitch_mm)
    extra: list[tuple[str, str]] = []
    if job.hatched:
        extra.append(
            (
                f"hatch/{hatch_name(job.layers[0])}",
                "and so on: every scan line of a layer, in the order and direction it is "
                "marked, in millimetres from the artwork's top left corner. For machines that follow lines: mark each line "
                "once, with no filling; use it INSTEAD of the drawing or the masks",
            )
        )
    if job.trial:
        extra.append(
            (
                "trial/",
                "the trial: a small square of every layer for the edge of the blank, with drawings (trial.svg, trial.dxf), "
                "masks and settings of its own"
                + (" and scan lines" if job.hatched else "")
                + ", in the same marking order. To check the palette by it, fill in its reading.csv, join it (tint measure; "
                "its grid.json says which square is which) and judge it (tint check)",
            )
        )
    return _table(
        ("sheet.pdf", "the job sheet: print it and keep it at the machine"),
        ("settings.csv", "the settings of every layer, one line each, in marking order; units stand in the column names; opens "
         "in any spreadsheet. Column order is the number used in this whole folder; column layer is the colour's number in the palette"),
        ("layers.svg", "the drawing in millimetres, one group per layer in marking order; open it in a drawing program or load it as vector artwork"),
        ("layers.dxf", "the same drawing for CAD programs: millimetres, one drawing layer per colour, closed polylines, holes as "
         "polylines inside (fill even-odd); its origin is the bottom left corner of the artwork"),
        (f"masks/{first}", f"and so on: one black-and-white picture per layer at {job.pitch_mm:.4g} mm per pixel, each the whole "
         f"artwork, {wide_px * job.pitch_mm:.4f} × {high_px * job.pitch_mm:.4f} mm in whole pixels: all lie exactly on each other. "
         f"{POLARITY}"),
        *extra,
        ("proof.png", "what the piece should look like, in the predicted colours (a screen shows them roughly)"),
        ("job.json", "all of the above in numbers, for programs: layers, settings, predicted colours, times, temperatures"),
        ("README.txt", "this text"),
        (".tint", "tint's own list of the files in this folder (many file browsers hide it)"),
    )  # fmt: skip


def _steps(job: Job) -> list[str]:
    x_mm, y_mm = job.at_mm
    hatch = " OR the hatch" if job.hatched else ""
    steps = (
        _trial_step(job),
        "Clean the plate (no grease, no fingerprints), clean the lens, set the focus, clamp the plate flat.",
        f"Place the artwork: its top left corner {x_mm:g} mm from the left edge and {y_mm:g} mm from the top edge of the blank.",
        f"Load the drawing (layers.svg or layers.dxf) OR the masks{hatch}, never two of them. Check the size on the machine's screen: "
        f"{job.width_mm:g} × {job.height_mm:g} mm.",
        "For each layer, in the order below: choose only this layer or mask, fill it with scan lines at the spacing and hatch "
        f"angle given, without an outline pass, enter its settings exactly, mark it. {_centre_words(job)}Do not "
        "move the plate between layers, and never mark a place twice: a second pass changes the colour.",
        "Keep to the cooling waits. Wipe the residue off when the piece is cold; do not blow it.",
        "Note on the sheet what you saw: it is the start of the next palette.",
    )
    return _list(steps, numbered=True)


def _trial_step(job: Job) -> str:
    batch, trial = job.stock.batch or "note it", job.trial
    if trial is None:
        return (
            f"Trial first. On scrap of the same batch ({batch}), in the same fixture, mark a small square with the settings of each "
            "layer. Let it cool, compare it with the swatches. Do not mark the piece before they agree."
        )
    squares = "square" if len(job.layers) == 1 else f"{len(job.layers)} squares"
    return (
        f"Trial first. Mark the {squares} of the folder trial, {trial.square_mm:g} mm each, on the {trial.edge} edge of "
        f"the blank: their top left corner {trial.at_mm[0]:g} mm from its left edge and {trial.at_mm[1]:g} mm from its top edge, about "
        f"{clock(trial.time_s)}. Settings and order are those of the piece (trial/settings.csv). Without moving the plate, piece and "
        f"trial need {trial.field_mm[0]:g} × {trial.field_mm[1]:g} mm of the field. Let the squares cool, compare them with the swatches. "
        f"Do not mark the piece before they agree. Where the edge must stay clean, mark them on scrap of the same batch ({batch})."
    )


def _centre_words(job: Job) -> str:
    if not job.inset_spot:
        return ""
    return (
        "Centre lines (drawing layers named centre) are followed once, not filled, with the settings of their layer. "
    )


def _layers(job: Job) -> list[str]:
    out = [*_wrap(f"The numbers are the marking order, the same in every file. {_jitter_words(job)}"), ""]
    for layer in job.layers:
        hatch = layer.setting.as_dict()["hatch_deg"]
        lab = " ".join(f"{value:.1f}" for value in layer.lab)
        facts = [
            f"settings: {layer.setting} · hatch {'not noted: use 0°' if hatch is None else f'{hatch:g}°'}",
            f"colour: L a b {lab} (screen {hex_from_lab(layer.lab)}); 9 of 10 marks within ΔE00 {layer.de00_90:.1f}; "
            f"jitter {layer.sensitivity_de00:.1f} ΔE00",
            f"area {layer.area_mm2:.1f} mm², about {clock(layer.time_s)}; mask masks/{mask_name(layer)}"
            + (f"; scan lines hatch/{hatch_name(layer)}" if job.hatched else ""),
        ]
        if layer.remark:
            facts.append(f"heat: {layer.remark}")
        facts += [f"narrower than the spot: {_thin_words(item)}" for item in job.thin if item.number == layer.number]
        facts += _vanished_words(job, layer.number)
        out += _wrap(f"{layer.order}. {layer.name}", "", "   ")
        out += [line for fact in facts for line in _wrap(fact, "     ", "       ")]
    for item in job.thin:
        if item.number == 0:
            out += [
                "bare metal",
                *_wrap(f"gaps narrower than the spot, which may close: {_thin_words(item)}", "     ", "       "),
            ]
    return out


def _jitter_words(job: Job) -> str:
    what = job.jitter or "the machine's usual straying from its dials"
    return f"Jitter is the mean shift of a colour (ΔE00) under {what}: the larger, the more a small fault shows."


def _thin_words(item: Thin) -> str:
    rest = ", …" if item.count > len(item.at_mm) else ""
    return f"{item.area_mm2:.3g} mm² in {item.count} {'place' if item.count == 1 else 'places'}, {_places(item.at_mm)}{rest}"


def _vanished_words(job: Job, number: int) -> list[str]:
    lost = [item for item in job.vanished if item.number == number]
    if not lost:
        return []
    rest = ", …" if len(lost) > MOST_PLACES else " mm"
    places = ", ".join(f"{item.area_mm2:.2g} mm² at {item.x_mm:.2f} {item.y_mm:.2f}" for item in lost[:MOST_PLACES])
    return [f"too small to mark after the inset, {len(lost)}: {places}{rest} (all are listed in job.json)"]


def _places(at_mm: tuple[tuple[float, float], ...]) -> str:
    return "at " + ", ".join(f"{x:.2f} {y:.2f}" for x, y in at_mm) + " mm from the left and top of the artwork"


def _times(job: Job) -> list[str]:
    return _list((
        f"Marking about {clock(job.marking_s)}, cooling waits {clock(job.wait_s)}, together {clock(job.total_s)} (min:s or h:min:s), "
        "handling not included.",
        f"Times count scan lines, {job.timing.turn_ms:g} ms per turn-round and {job.timing.jump_ms:g} ms per jump ({job.timing.source}). "
        "Time one layer with a watch before you promise a date; two whole jobs timed (tint job --timed) give the machine's own numbers.",
        f"Heat: the plate as one body, {100 * job.heat.absorptivity:.0f} % of the laser's power absorbed, {job.heat.loss_w_m2_k:g} W/(m² K) "
        f"lost to the air; a wait is asked for until it is {job.heat.warm_start_k:g} K above the room. The spot being marked is hotter.",
        f"Order: {RULE} Jitter is the machine straying a little from its dials; it shows most in such colours, and a warm plate "
        "would add to it.",
    ))  # fmt: skip


def _stock_words(job: Job) -> str:
    stock = job.stock
    batch = f", batch {stock.batch}" if stock.batch else ""
    return f"{stock.grade} {stock.finish}, {stock.thickness_mm:g} mm, blank {stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm{batch}"


def _title(text: str, line: str = "-") -> str:
    lines = _wrap(text)
    return "\n".join([*lines, line * max(len(each) for each in lines)])


def _table(*rows: tuple[str, str]) -> list[str]:
    width = max(len(name) for name, _ in rows) + 2
    return [line for name, text in rows for line in _wrap(text, name.ljust(width), " " * width)]


def _list(lines: Sequence[str], numbered: bool = False) -> list[str]:
    heads = [f"{i}. " if numbered else "- " for i in range(1, len(lines) + 1)]
    return [part for head, line in zip(heads, lines, strict=True) for part in _wrap(line, head, " " * len(head))]


def _wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    lines = textwrap.wrap(
        text, COLUMNS, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )  # file names
    return lines or [first]
