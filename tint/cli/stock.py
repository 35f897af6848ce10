"""Commands of a new stock: from test grid to palette."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, of_each_field, output, remark


@main.command(short_help="Plan a test grid inside the limits.")
@examples(
    "tint grid machine.toml --stock stock.toml -n 60 -o plate-1",
    "tint grid machine.toml --stock stock.toml -n 48 --power-pct 15:40 --pulse-ns 6:6 -o plate-2",
    "tint grid machine.toml --stock stock.toml --after model.json -n 24 --toward '#4466aa' -o plate-3",
    "tint grid machine.toml --stock stock.toml --verify palette.json -o plate-4",
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
@click.option("--name", default="plate 1", show_default=True, help="What to call the plate.")
@click.option("--patch-mm", type=float, default=6.0, show_default=True, help="Side of a patch.")
@click.option("--gap-mm", type=float, default=1.5, show_default=True, help="Bare metal between patches.")
@click.option("--seed", type=int, default=0, show_default=True, help="Another seed, another grid.")
@output("grid")
@FORCE
def grid(machine: Path, stock: Path, count: int, name: str, patch_mm: float, gap_mm: float, seed: int,
         output: Path, force: bool, after: Path | None, toward: tuple[str, ...], verify: Path | None, **ranges: str | None) -> None:  # fmt: skip
    """Plan a test grid inside the limits of MACHINE and the stock.

    Ranges are lowest:highest; what is not stated takes what usually colours steel. The folder holds grid.json (for
    `tint measure`), settings.csv, plate.svg (what to mark), map.svg (to print) and reading.csv (to fill in).
    """
    from tint.metal import metal_of
    from tint.plan.first import plan_grid
    from tint.plan.layout import lay_out
    from tint.plan.plate import write_plate
    from tint.setting import read_machine, read_stock

    stated = {field: _range(field, text) for field, text in ranges.items() if text}
    laser, sheet = read_machine(machine), read_stock(stock)
    if sum((bool(stated), after is not None, verify is not None)) > 1 or (toward and after is None):
        raise click.UsageError("ranges, --after and --verify exclude each other; --toward goes with --after.")
    size = {"name": name, "patch_mm": patch_mm, "gap_mm": gap_mm, "seed": seed}
    if after is not None:
        planned = lay_out(_next_settings(after, count, toward, seed), laser, sheet, **size)
    elif verify is not None:
        planned = lay_out(_twice(verify), laser, sheet, **size)
    else:
        planned = plan_grid(laser, sheet, count, ranges=stated, **size)
    write_plate(planned, output, force=force)
    metal = metal_of(planned.stock.grade)
    if not (stated or after or verify) and (metal is None or "stainless" not in metal.name):
        remark(
            f"the ranges are those that usually colour stainless steel; for {planned.stock.grade} scout with a small plate first"
        )
    click.echo(
        f"{len(planned)} patches in {output}: about {planned.time_s / 60:.0f} min of scanning, {planned.turn_s / 60:.0f} of turn-round"
    )
    remark(SHORT)


def _next_settings(model: Path, count: int, toward: tuple[str, ...], seed: int) -> Any:
    from tint.lab import lab_from_hex
    from tint.model.model import read_model
    from tint.model.propose import propose

    return propose(read_model(model), count, toward=[lab_from_hex(text) for text in toward] or None, seed=seed)


def _twice(palette: Path) -> Any:
    import numpy as np

    from tint.palette.palette import read_palette
    from tint.setting import Setting

    return Setting.from_table(np.repeat(read_palette(palette).setting.table(), 2, axis=0))


def _range(field: str, text: str) -> tuple[float, float]:
    from tint.errors import DataError

    low, _, high = text.partition(":")
    try:
        return float(low), float(high or low)
    except ValueError:
        option = "--" + field.replace("_", "-")
        raise DataError(f"{option} {text!r} is not a range; write lowest:highest, such as {option} 400:1600.") from None


@main.command(short_help="Join instrument readings to a grid.")
@examples(
    "tint measure plate-1 reading.csv --kind csv -o patches.csv",
)
@click.argument("grid", type=PATH)
@click.argument("file", type=PATH)
@click.option("--kind", type=click.Choice(["csv"]), default="csv", show_default=True, help="What FILE is.")
@output("patches.csv")
@FORCE
def measure(grid: Path, file: Path, kind: str, output: Path, force: bool) -> None:
    """Join instrument readings in FILE to the patches of GRID.

    FILE is a table with the columns patch, L, a, b (CIELAB D50/2°), optionally sd and flag. A row named "bare" is the
    unmarked metal.
    """
    from tint.measure.patches import write_patches
    from tint.measure.reading import patches_from_reading
    from tint.plan.grid import read_grid

    planned = read_grid(grid)
    patches = patches_from_reading(planned, file)
    write_patches(patches, output, force=force)
    missing = [name for name in planned.ids if name not in patches.ids]
    if missing:
        remark(f"{len(missing)} patches have no reading: {', '.join(missing[:8])}{' …' if len(missing) > 8 else ''}")
    if "adapted" in patches.facts:
        remark(f"readings converted {patches.facts['adapted']}")
    if patches.bare_lab is None:
        remark('no row named "bare": measure the unmarked metal too, the palette needs it')
    click.echo(f"{len(patches)} patches in {output}, {int((~patches.good).sum())} flagged")


@main.command(short_help="Fit colour to settings; say how far off it is.")
@examples(
    "tint fit patches.csv --machine machine.toml --stock stock.toml -o model.json",
    "tint fit monday.csv tuesday.csv --machine machine.toml --stock stock.toml -o model.json",
    "tint fit new-batch.csv --base model.json --machine machine.toml --stock new-stock.toml -o new-model.json",
)
@click.argument("patches", type=PATH, nargs=-1, required=True)
@click.option("--machine", type=PATH, required=True, help="machine.toml the patches were marked on.")
@click.option("--stock", type=PATH, required=True, help="stock.toml of the plate.")
@click.option("--base", type=PATH, help="Model of a stock or machine not too far away; 8 to 24 patches then do.")
@click.option("--seed", type=int, default=0, show_default=True, help="Splits the patches held out.")
@output("model.json")
@FORCE
def fit(
    patches: tuple[Path, ...], machine: Path, stock: Path, base: Path | None, seed: int, output: Path, force: bool
) -> None:
    """Fit colour to settings, and say how far off it is on patches held out.

    With --base a model of another batch, grade or machine is carried over; the base as it is, the base refitted and a fit
    from scratch are judged on held-out patches, and the better weigh more.
    """
    from tint.files import refuse_overwrite
    from tint.measure.patches import join_patches, read_patches
    from tint.model.fit import fit as fit_model
    from tint.model.model import write_model
    from tint.model.report import report_text
    from tint.setting import read_machine, read_stock

    refuse_overwrite(output, force)
    joined = join_patches([read_patches(path) for path in patches])
    laser, sheet = read_machine(machine), read_stock(stock)
    for word, said, given in (
        ("machine", joined.facts.get("machine"), laser.name),
        ("stock", joined.facts.get("stock"), sheet.name),
    ):
        if said and said != given:
            remark(
                f"CHECK: the patches say {word} {said!r}, your file says {given!r}. A model of the wrong {word} is worthless."
            )
    remark(f"fitting {int(joined.good.sum())} patches …")
    if base is None:
        model = fit_model(joined, laser, sheet, seed=seed)
    else:
        from tint.model.adapt import adapt
        from tint.model.model import read_model

        known = read_model(base)
        seen = {row.tobytes() for row in known.patches.lab}
        again = sum(row.tobytes() in seen for row in joined.lab)
        if again:
            remark(
                f"CHECK: {again} of these patches are already in the base: the errors below are too good, nothing was held out from it."
            )
        model = adapt(known, joined, laser, sheet, seed=seed)
    write_model(model, output, force=force)
    click.echo(report_text(model.report))
    remark(f"model written to {output}")


@main.command(short_help="Pictures of what a model learned.")
@examples(
    "tint plot model.json -o model-pictures",
)
@click.argument("model", type=PATH)
@output("plot")
@FORCE
def plot(model: Path, output: Path, force: bool) -> None:
    """Draw what a model learned, as PNG and SVG: measured against predicted, its reach, colour along each setting, quiet and loud colours."""
    from tint.files import refuse_folder
    from tint.model.model import read_model
    from tint.model.plot import plot_model

    refuse_folder(output, "plot", force)
    names = plot_model(read_model(model), output, force=force)
    click.echo(f"{', '.join(names)} (png, svg) in {output}")
    remark(SHORT)


@main.command(short_help="Settings from another machine, rescaled to yours.")
@examples(
    "tint borrow settings.csv --from their-machine.toml --machine machine.toml --stock stock.toml -n 18 -o plate-5",
)
@click.argument("settings", type=PATH)
@click.option("--from", "source", type=PATH, required=True, help="machine.toml the settings are from.")
@click.option("--machine", type=PATH, required=True, help="machine.toml of yours.")
@click.option("--stock", type=PATH, required=True, help="stock.toml of the plate to try them on.")
@click.option("-n", "count", type=int, help="Patches  [default: 9 for each setting]")
@click.option("--name", default="borrowed", show_default=True, help="What to call the plate.")
@output("borrowed")
@FORCE
def borrow(
    settings: Path, source: Path, machine: Path, stock: Path, count: int | None, name: str, output: Path, force: bool
) -> None:
    """Rescale settings from another machine to yours, and plan a small plate to tune them.

    Machines agree on what the metal feels, not on dials: kept are the heat of a pulse, the energy per area, overlaps and the
    heat that builds up, as near as yours can. Without a measurement that is a place to start; the plate tells the rest.
    """
    from tint.measure.patches import read_settings
    from tint.model.borrow import borrow as rescale
    from tint.model.borrow import borrowed_text, tuning_settings
    from tint.plan.layout import lay_out
    from tint.plan.plate import write_plate
    from tint.setting import read_machine, read_stock

    laser = read_machine(machine)
    found = rescale(read_settings(settings), read_machine(source), laser)
    around = tuning_settings(found, 9 * len(found) if count is None else count)
    write_plate(lay_out(around, laser, read_stock(stock), name=name), output, force=force)
    click.echo(borrowed_text(found))
    remark(f"a plate of {len(around)} patches around them is in {output}: mark it, measure it, fit")
    remark(SHORT)


@main.command(short_help="Choose the handful of colours, and draw them.")
@examples(
    "tint palette model.json -n 8 -o palette.json",
    "tint palette model.json -n 6 --for kingfisher.svg -o kingfisher-palette.json",
)
@click.argument("model", type=PATH)
@click.option("-n", "count", type=int, default=8, show_default=True, help="Colours, the bare metal not counted.")
@click.option(
    "--for", "artwork", type=PATH, help="Serve this artwork's colours instead of everything the stock can show."
)
@click.option("--name", help="What to call the palette.")
@output("palette.json")
@FORCE
def palette(model: Path, count: int, artwork: Path | None, name: str | None, output: Path, force: bool) -> None:
    """Choose the handful of colours to work with, and draw them (a PNG beside the palette)."""
    from tint.model.model import read_model
    from tint.palette.choose import choose_palette, read_wishes
    from tint.palette.swatches import write_palette_and_picture

    wishes = read_wishes(artwork) if artwork is not None else None
    chosen = choose_palette(read_model(model), count, artwork=wishes, name=name)
    picture = write_palette_and_picture(chosen, output, force=force)
    for number, colour in enumerate(chosen.colours, 1):
        click.echo(
            f"{number:3d}  {colour.name:24s} ±{colour.de00_90:4.1f}  jitter {colour.sensitivity_de00:4.1f}   {colour.setting}"
        )
    for line in chosen.remarks:
        remark(line)
    remark(f"palette in {output}, picture in {picture}")
    remark(SHORT)
