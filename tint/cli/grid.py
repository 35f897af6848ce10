"""`tint grid`: a plate to mark."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, SEED, examples, of_each_field, on_command_line, output, remark, typed

# a range of each field, for the message that asks for one
LIKELY = {
    "power_pct": "15:40", "speed_mm_s": "400:1600", "freq_khz": "200:600", "pulse_ns": "6:60", "spacing_mm": "0.002:0.004",
    "passes": "1:3", "focus_mm": "-0.5:0.5", "hatch_deg": "0:90",
}  # fmt: skip


@main.command(short_help="Plan a test grid inside the limits.")
@examples(
    "tint grid machine.toml --stock stock.toml -n 60 -o plate-1",
    "tint grid machine.toml --stock stock.toml -n 48 --power-pct 15:40 --pulse-ns 6:6 -o plate-2",
    "tint grid machine.toml --stock stock.toml --after model.json -n 24 --toward '#4466aa' -o plate-3",
    "tint grid machine.toml --stock stock.toml --verify palette.json -o plate-4",
    "tint grid machine.toml --stock stock.toml --strip palette.json -o strip-1",
)
@click.argument("machine", type=PATH)
@click.option("--stock", type=PATH, required=True, help="stock.toml of the plate.")
@click.option("-n", "count", type=int, default=60, show_default=True, help="Patches; 48 or more make a good fit.")
@of_each_field("range of", metavar="LOW:HIGH")
@click.option("--after", type=PATH, help="Model: mark what shows colours not seen yet.")
@click.option(
    "--toward", multiple=True, metavar="#RRGGBB", help="With --after: a colour wanted; half the patches go near it."
)
@click.option("--verify", type=PATH, help="Palette: mark its own settings, each twice.")
@click.option(
    "--strip", type=PATH, help="Palette: a short strip to check it by (`tint check`), each colour a few times."
)
@click.option(
    "--replicates", type=click.IntRange(1, 9), default=3, show_default=True, help="With --strip: marks of each colour."
)
@click.option("--name", default="plate 1", show_default=True, help="What to call the plate.")
@click.option("--patch-mm", type=float, default=6.0, show_default=True, help="Side of a patch [mm].")
@click.option("--gap-mm", type=float, default=1.5, show_default=True, help="Bare metal between patches [mm].")
@click.option("--seed", type=SEED, default=0, show_default=True, help="Another seed, another grid.")
@output("grid")
@FORCE
@click.pass_context
def grid(ctx: click.Context, machine: Path, stock: Path, count: int, name: str, patch_mm: float, gap_mm: float, seed: int,
         output: Path, force: bool, after: Path | None, toward: tuple[str, ...], verify: Path | None, strip: Path | None,
         replicates: int, **ranges: str | None) -> None:  # fmt: skip
    """Plan a test grid inside the limits of MACHINE and the stock.

    Ranges are lowest:highest. What is not stated takes what usually colours stainless steel (15–60 %, 300–2400 mm/s, 150–1500 kHz,
    4–200 ns, a line spacing of 1/25 of the spot, 1 pass), cut to what the machine can do. The folder holds grid.json (for
    `tint measure`), settings.csv, plate.svg and masks (what to mark), map.svg (to print) and reading.csv (to fill in).
    """
    from tint.lab import lab_from_hex
    from tint.metal import metal_of
    from tint.plan.first import plan_grid
    from tint.plan.layout import lay_out
    from tint.plan.plate import time_words, write_plate
    from tint.setting import read_machine, read_stock

    stated = {field: _range(field, text) for field, text in ranges.items() if text}
    if sum((bool(stated), after is not None, verify is not None, strip is not None)) > 1 or (toward and after is None):
        raise click.UsageError("ranges, --after, --verify and --strip exclude each other; --toward goes with --after.")
    if (verify or strip) and (said := on_command_line(ctx, "count")):
        raise click.UsageError(
            f"{said}: does not go with {'--verify' if verify else '--strip'}, whose palette tells how many patches."
        )
    if strip is None and (said := on_command_line(ctx, "replicates")):
        raise click.UsageError(f"{said}: goes with --strip.")
    with typed():
        wishes = [lab_from_hex(text) for text in toward]
    laser, sheet = read_machine(machine), read_stock(stock)
    size: dict[str, Any] = {"name": name, "patch_mm": patch_mm, "gap_mm": gap_mm, "seed": seed}
    if after is not None:
        planned = lay_out(_next_settings(after, count, wishes, seed), laser, sheet, **size)
    elif verify is not None:
        planned = lay_out(_twice(verify), laser, sheet, **size)
    elif strip is not None:
        named = bool(on_command_line(ctx, "name"))
        planned = _strip(strip, laser, sheet, replicates, size if named else {**size, "name": ""})
    else:
        planned = plan_grid(laser, sheet, count, ranges=stated, **size)
    write_plate(planned, output, force=force)
    if planned.registration is None:
        remark("no room for registration marks on this plate: a photo of it will need --corners")
    metal = metal_of(planned.stock.grade)
    if not (stated or after or verify or strip) and (metal is None or "stainless" not in metal.name):
        remark(
            f"the ranges are those that usually colour stainless steel; for {planned.stock.grade} scout with a small plate first"
        )
    click.echo(f"{len(planned)} patches in {output}: {time_words(planned)}")
    remark(SHORT)


def _next_settings(model: Path, count: int, wishes: list[Any], seed: int) -> Any:
    from tint.model.model import read_model
    from tint.model.propose import propose

    return propose(read_model(model), count, toward=wishes or None, seed=seed)


def _twice(palette: Path) -> Any:
    import numpy as np

    from tint.palette.palette import read_palette
    from tint.setting import Setting

    return Setting.from_table(np.repeat(read_palette(palette).setting.table(), 2, axis=0))


def _strip(path: Path, laser: Any, sheet: Any, replicates: int, size: dict[str, Any]) -> Any:
    from tint.check.strip import plan_strip
    from tint.palette.palette import read_palette

    palette = read_palette(path)
    for word, made_for, given in (("machine", palette.machine, laser), ("stock", palette.stock, sheet)):
        if made_for.name != given.name:
            remark(f"CHECK: {palette.name} was made for {word} {made_for.name!r}, your file says {given.name!r}.")
    size["name"] = size["name"] or f"strip of {palette.name}, version {palette.lineage.version}"
    planned = plan_strip(palette, laser, sheet, replicates=replicates, **size)
    width, height = planned.plate_mm
    remark(f"needs a piece of {width:g} × {height:g} mm; mark it on scrap of the batch, then: tint measure, tint check")
    return planned


def _range(field: str, text: str) -> tuple[float, float]:
    from tint.errors import UseError

    first, _, last = text.partition(":")
    try:
        low, high = float(first), float(last or first)
        if not low <= high:
            raise ValueError
        return low, high
    except ValueError:
        option = "--" + field.replace("_", "-")
        raise UseError(
            f"{option} {text!r} is not a range; write lowest:highest, such as {option} {LIKELY[field]}."
        ) from None
