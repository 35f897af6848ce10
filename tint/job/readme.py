"""README.txt of a job folder: every file in shop words, and how to use it at the machine."""

from __future__ import annotations

import textwrap

from tint.job.masks import POLARITY, mask_name
from tint.job.order import RULE, clock
from tint.job.record import Job
from tint.lab import hex_from_lab

COLUMNS = 100


def readme_text(job: Job) -> str:
    """Text of README.txt for a job."""
    stock, machine = job.stock, job.machine
    parts = [
        _title(f"Job: {job.name}", "="),
        f"{job.width_mm:g} × {job.height_mm:g} mm on {stock.name} ({_stock_words(job)}),",
        f"marked on {machine.name} ({machine.max_power_w:g} W, {machine.wavelength_nm:g} nm).",
        f"Written {job.date} from palette {job.palette}.",
        "",
    ]
    if job.remarks:
        parts += [_title("Read this first"), *_list(job.remarks), ""]
    parts += [_title("Files"), *_files(job), "", _title("At the machine"), *_steps(job), ""]
    parts += [_title("Layers in marking order"), *_layers(job), ""]
    parts += [_title("Times and heat"), *_times(job), ""]
    parts += [_title("Cautions"), *_list(job.cautions)]
    return "\n".join(parts) + "\n"


def _files(job: Job) -> list[str]:
    first = mask_name(job.layers[0])
    return _table(
        ("sheet.pdf", "the job sheet: print it and keep it at the machine"),
        ("settings.csv", "the settings of every layer, one line each, in marking order; units stand in the column names; opens "
         "in any spreadsheet"),
        ("layers.svg", "the drawing in millimetres, one group per layer; open it in a drawing program or load it as vector artwork"),
        ("layers.dxf", "the same drawing for CAD programs: millimetres, one drawing layer per colour, closed polylines, holes as "
         "polylines inside (fill even-odd); its origin is the bottom left corner of the artwork"),
        (f"masks/{first}", f"and so on: one black-and-white picture per layer at {job.pitch_mm:.6g} mm per pixel, each the whole "
         f"artwork of {job.width_mm:.4f} × {job.height_mm:.4f} mm, so that all lie exactly on each other. {POLARITY}"),
        ("proof.png", "what the piece should look like, in the predicted colours (a screen shows them roughly)"),
        ("job.json", "all of the above in numbers, for programs: layers, settings, predicted colours, times, temperatures"),
        ("README.txt", "this text"),
    )  # fmt: skip


def _steps(job: Job) -> list[str]:
    x_mm, y_mm = job.at_mm
    steps = (
        f"Trial first. On scrap of the same batch ({job.stock.batch or 'note it'}), in the same fixture, mark a small square with the "
        "settings of each layer. Let it cool, compare it with the swatches. Do not mark the piece before they agree.",
        "Clean the plate (no grease, no fingerprints), clean the lens, set the focus, clamp the plate flat.",
        f"Place the artwork: its top left corner {x_mm:g} mm from the left edge and {y_mm:g} mm from the top edge of the blank.",
        "Load the drawing (layers.svg or layers.dxf) OR the masks, not both. Check the size on the machine's screen: "
        f"{job.width_mm:g} × {job.height_mm:g} mm.",
        "For each layer, in the order below: choose only this layer or mask, fill it with scan lines at the spacing and hatch "
        "angle given, without an outline pass, enter its settings exactly, mark it. Do not "
        "move the plate between layers, and never mark a place twice: a second pass changes the colour.",
        "Keep to the cooling waits. Wipe the residue off when the piece is cold; do not blow it.",
        "Note on the sheet what you saw: it is the start of the next palette.",
    )
    return _list(steps, numbered=True)


def _layers(job: Job) -> list[str]:
    out = []
    for layer in job.layers:
        hatch = layer.setting.as_dict()["hatch_deg"]
        lab = " ".join(f"{value:.1f}" for value in layer.lab)
        facts = [
            f"settings: {layer.setting} · hatch {'not noted: use 0°' if hatch is None else f'{hatch:g}°'}",
            f"colour: L a b {lab} (screen {hex_from_lab(layer.lab)}); 9 of 10 marks within ΔE00 {layer.de00_90:.1f}; "
            f"sensitivity {layer.sensitivity_de00:.1f} ΔE00",
            f"area {layer.area_mm2:.1f} mm², about {clock(layer.time_s)}; mask masks/{mask_name(layer)}",
        ]
        if layer.remark:
            facts.append(f"heat: {layer.remark}")
        out.append(f"{layer.order}. layer {layer.number}, {layer.name}")
        out += [line for fact in facts for line in _wrap(fact, "     ", "       ")]
    return out


def _times(job: Job) -> list[str]:
    return _list((
        f"Marking about {clock(job.marking_s)}, cooling waits {clock(job.wait_s)}, together {clock(job.total_s)} (min:s or h:min:s), "
        "handling not included.",
        f"Times count scan lines, {job.timing.turn_ms:g} ms per turn-round and {job.timing.jump_ms:g} ms per jump ({job.timing.source}). "
        "Time one layer with a watch before you promise a date.",
        f"Heat: the plate as one body, {job.heat.absorptivity:.0%} of the laser's power absorbed, {job.heat.loss_w_m2_k:g} W/(m² K) "
        f"lost to the air; a wait is asked for until it is {job.heat.warm_start_k:g} K above the room. The spot being marked is hotter.",
        f"Order: {RULE}",
    ))  # fmt: skip


def _stock_words(job: Job) -> str:
    stock = job.stock
    batch = f", batch {stock.batch}" if stock.batch else ""
    return f"{stock.grade} {stock.finish}, {stock.thickness_mm:g} mm, blank {stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm{batch}"


def _title(text: str, line: str = "-") -> str:
    return f"{text}\n{line * len(text)}"


def _table(*rows: tuple[str, str]) -> list[str]:
    width = max(len(name) for name, _ in rows) + 2
    return [line for name, text in rows for line in _wrap(text, name.ljust(width), " " * width)]


def _list(lines: tuple[str, ...], numbered: bool = False) -> list[str]:
    heads = [f"{i}. " if numbered else "- " for i in range(1, len(lines) + 1)]
    return [part for head, line in zip(heads, lines, strict=True) for part in _wrap(line, head, " " * len(head))]


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, COLUMNS, initial_indent=first, subsequent_indent=rest, break_long_words=False) or [first]
