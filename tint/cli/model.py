"""Commands that learn from patches: `tint fit`, `tint plot`, `tint borrow`."""

from __future__ import annotations

from pathlib import Path

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, SEED, examples, output, remark


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
@click.option("--seed", type=SEED, default=0, show_default=True, help="Splits the patches held out.")
@output("model.json")
@FORCE
def fit(
    patches: tuple[Path, ...], machine: Path, stock: Path, base: Path | None, seed: int, output: Path, force: bool
) -> None:
    """Fit colour to settings, and say how far off it is on patches held out.

    With --base a model of another batch, grade or machine is carried over; the base as it is, the base refitted and a fit
    from scratch are judged on held-out patches, and the better weigh more.
    """
    from tint.files.write import refuse_overwrite
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
    from tint.files.write import refuse_folder
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
