"""`tint batch`: a folder of artworks into job folders."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, on_command_line, output, refuse_swapped, remark, typed
from tint.cli.separating import separating, separating_words
from tint.cli.workers import at_work, engine_of, on_workers


@main.command(short_help="Many artworks into jobs, or onto plates.")
@examples(
    "tint batch name-plates palette.json --machine machine.toml -o name-plates-jobs",
    "tint batch trail-markers palette.json --machine machine.toml --width-mm 40 --workers 2 -o markers",
    "tint batch season palette.json --width-mm 60 --tonal --sizes sizes.csv -o season-jobs",
    "tint batch name-plates palette.json --machine machine.toml --pack --gap-mm 4 -o plates",
    "tint batch name-plates palette.json --machine machine.toml --scheduler tcp://10.0.0.5:8786 -o jobs",
)
@click.argument("folder", type=PATH)
@click.argument("palette", type=PATH)
@click.option("--machine", type=PATH, help="machine.toml to mark them on  [default: the palette's]")
@click.option(
    "--stock", type=PATH, metavar="STOCK.TOML", help="The piece, or with --pack the plate  [default: the palette's]"
)
@separating
@click.option(
    "--sizes", type=PATH, metavar="SIZES.CSV", help="Own widths of some, and with --pack copies: columns file, width_mm, copies."
)
@click.option("--trial", is_flag=True, help="Add a row of small squares to each job, one per layer.")
@click.option("--hatch", is_flag=True, help="Add every scan line, for machines that follow lines.")
@click.option("--pack", is_flag=True, help="Put the pieces side by side on plates, and write a job per plate.")
@click.option("--gap-mm", type=float, default=3.0, show_default=True, help="With --pack: free metal between pieces [mm].")
@click.option(
    "--edge-mm", type=float, default=3.0, show_default=True, help="With --pack: free metal along the plate's edge [mm]."
)
@click.option("--turn", is_flag=True, help="With --pack: pieces may be turned by 90°.")
@on_workers
@output("batch")
@FORCE
@click.pass_context
def batch(ctx: click.Context, folder: Path, palette: Path, machine: Path | None, stock: Path | None, sizes: Path | None,
          trial: bool, hatch: bool, pack: bool, gap_mm: float, edge_mm: float, turn: bool, workers: int | None,
          scheduler: str | None, output: Path, force: bool, **said: Any) -> None:  # fmt: skip
    """Make the job of every artwork in FOLDER with one PALETTE.

    Stopped? Run the same command again: what is done is kept, what changed or failed is made again. One bad file never stops
    the rest. Beside the jobs are a summary (CSV) and contact sheets.
    """
    from tint.batch.run import Packing, run_batch
    from tint.batch.task import LOAD_FIRST, Order
    from tint.palette.palette import read_palette
    from tint.setting import read_machine, read_stock

    idle = "" if pack else on_command_line(ctx, "gap_mm", "edge_mm", "turn")
    if idle:
        raise click.UsageError(f"{idle}: pieces lie side by side with --pack only; add it, or leave {idle} away.")
    refuse_swapped(folder, palette, "the folder of artworks comes first, then the palette")
    with typed():
        packing = Packing(gap_mm, edge_mm, turn) if pack else None
    engine = engine_of(workers, scheduler, LOAD_FIRST)
    chosen = read_palette(palette)
    laser = read_machine(machine) if machine else chosen.machine
    piece = read_stock(stock) if stock else None
    separating_as, writing = separating_words(chosen, said), {"trial": trial, "hatch": hatch}
    order = Order(
        chosen, laser, piece, separating_as, said["width_mm"], said["pitch_mm"], writing, layers_only=pack
    )  # fmt: skip
    with at_work(engine):
        done = run_batch(folder, output, order, engine=engine, packing=packing, sizes=sizes, force=force, progress=remark)  # fmt: skip
    _tell(done, output)
    if done.failed:
        raise click.exceptions.Exit(1)


def _tell(done: Any, output: Path) -> None:
    from tint.job.order import clock

    for record in done.failed:
        remark(f"FAILED {record.file_name}: {record.problem}")
    good = sum(record.ok for record in done.records)
    kept = f", {done.kept} of them from before" if done.kept else ""
    click.echo(f"{good} of {len(done.records)} artworks done{kept}, in {clock(done.elapsed_s)}")
    for record in done.plates:
        number = int(record.name.rpartition("-")[2])
        pieces = sum(one.plate == number for one in done.placed)
        time = f", marking and cooling {clock(record.facts['marking_s'] + record.facts['wait_s'])}" if record.ok else ""
        click.echo(f"{record.name}: {pieces} piece{'s' * (pieces != 1)}, {100 * done.use[number]:.0f} % of the stock used{time}")
    remark(f"{output / 'summary.csv'} lists them, {output / 'contact-sheet-01.png'} shows them")
    remark(SHORT)
