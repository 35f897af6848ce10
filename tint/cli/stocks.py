"""`tint stocks`: colour models of many stocks, and which of them reaches which colours."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, SEED, examples, output, remark, typed
from tint.cli.workers import at_work, engine_of, on_workers

BEST = 3  # stocks named for a wished colour; toward.csv has all
REACH, TOWARD = "reach.png", "toward.csv"


@main.command(short_help="Models of many stocks, and what each can show.")
@examples(
    "tint stocks our-stocks -o our-models",
    "tint stocks our-stocks --toward '#4466aa' --toward '#b03a2e' -o our-models",
    "tint stocks our-stocks --scheduler tcp://10.0.0.5:8786 -o our-models",
)
@click.argument("folder", type=PATH)
@click.option("--toward", multiple=True, metavar="COLOUR", help="A wished colour such as '#4466aa': which stock comes nearest?")
@click.option("--seed", type=SEED, default=0, show_default=True, help="Splits the patches held out.")
@on_workers
@output("models")
@FORCE
def stocks(folder: Path, toward: tuple[str, ...], seed: int, workers: int | None, scheduler: str | None, output: Path,
           force: bool) -> None:  # fmt: skip
    """Fit a colour model for every stock in FOLDER, and show what each can reach.

    A folder below FOLDER is a stock: patches.csv (or several patches….csv), stock.toml, and machine.toml unless one beside these
    folders serves them all. Stopped? Run the same command again: what is done is kept. A stock that cannot be fitted is told and
    never stops the rest. summary.csv says how far off each model was on patches held out; reach.png and each reach.csv show its
    colours.
    """
    from tint.batch.stocks import LOAD_FIRST, FitOrder, fit_stocks
    from tint.lab import lab_from_hex

    with typed():
        wishes = {text: lab_from_hex(text) for text in toward}
    engine = engine_of(workers, scheduler, LOAD_FIRST)
    with at_work(engine):
        records, kept = fit_stocks(folder, output, FitOrder(seed), engine=engine, force=force, progress=remark)
    _tell(records, kept)
    written = _show(records, wishes, output) if any(record.ok for record in records) else ()
    for path in (output / name for name in (REACH, TOWARD) if name not in written):
        if path.is_file():  # of an earlier run: it tells of other models, or of wishes that nobody named now
            path.unlink()
            remark(f"{path} was of an earlier run and is removed")
    if not all(record.ok for record in records):
        raise click.exceptions.Exit(1)


def _tell(records: Any, kept: int) -> None:
    good = [record for record in records if record.ok]
    click.echo(f"{len(good)} of {len(records)} stocks fitted{f', {kept} of them before' if kept else ''}")
    if good:
        click.echo(f"{'':32s} {'patches':>8s} {'median':>7s} {'9 of 10':>8s} {'radius':>7s} {'a*b* area':>10s} {'mixed Lab³':>11s}")
    for record in good:
        fact = record.facts
        click.echo(
            f"{record.file_name[:32]:32s} {fact['patches']:8.0f} {fact['median_de00']:7.1f} {fact['p90_de00']:8.1f} "
            f"{fact['radius_de00']:7.1f} {fact['area_ab']:10.0f} {fact['mixed_lab3']:11.0f}"
        )
    for record in records:
        if not record.ok:
            remark(f"FAILED {record.file_name}: {record.problem}")
        for line in record.remarks:
            if line.startswith("CHECK"):
                remark(f"{record.file_name}: {line}")


def _show(records: Any, wishes: dict[str, Any], output: Path) -> tuple[str, ...]:
    """Names of the files written: the picture of all reaches, and where there are wishes the table of who serves them."""
    from tint.batch.extent import REACH_NAME, ranked, read_extent
    from tint.batch.plot import reach_png
    from tint.batch.toward import toward_text
    from tint.files.write import write_file

    read = {record.file_name: read_extent(output / "models" / record.name / REACH_NAME) for record in records if record.ok}
    extents = {name: extent for name, (extent, _) in read.items()}
    said = sorted({told for _, told in read.values() if told})
    write_file(output / REACH, reach_png(extents, list(wishes.values()), "; ".join(said)), force=True)
    best = {text: ranked(extents, lab) for text, lab in wishes.items()}
    for text, served in best.items():
        click.echo(f"{text}: " + "; ".join(f"{one.stock} off by ΔE00 {one.away_de00:.1f} (±{one.de00_90:.1f})" for one in served[:BEST]))
    if best:
        write_file(output / TOWARD, toward_text(best, said), force=True)
    remark(f"{output / 'summary.csv'} lists them, {output / REACH} shows their colours" + "".join(f"; {told}" for told in said))
    return (REACH, TOWARD) if best else (REACH,)
