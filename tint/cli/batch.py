"""`tint batch`: a folder of artworks into job folders."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, remark


@main.command(short_help="Many artworks into jobs, or onto plates.")
@examples(
    "tint batch name-plates palette.json --machine machine.toml -o name-plates-jobs",
    "tint batch trail-markers palette.json --machine machine.toml --width-mm 40 --workers 2 -o markers",
    "tint batch name-plates palette.json --machine machine.toml --pack --gap-mm 4 -o plates",
    "tint batch name-plates palette.json --machine machine.toml --scheduler tcp://10.0.0.5:8786 -o jobs",
)
@click.argument("folder", type=PATH)
@click.argument("palette", type=PATH)
@click.option("--machine", type=PATH, help="machine.toml to mark them on  [default: the palette's]")
@click.option(
    "--stock", type=PATH, metavar="STOCK.TOML", help="The piece, or with --pack the plate  [default: the palette's]"
)
@click.option("--width-mm", type=float, help="Width of each on the metal; a drawing may state its own.")
@click.option("--pitch-mm", type=float, help="Pixel size on the metal; a picture keeps its own pixels unless stated.")
@click.option("--trial", is_flag=True, help="Add a row of small squares to each job, one per layer.")
@click.option("--hatch", is_flag=True, help="Add every scan line, for machines that follow lines.")
@click.option("--pack", is_flag=True, help="Put the pieces side by side on plates, and write a job per plate.")
@click.option("--gap-mm", type=float, default=3.0, show_default=True, help="With --pack: free metal between pieces.")
@click.option(
    "--edge-mm", type=float, default=3.0, show_default=True, help="With --pack: free metal along the plate's edge."
)
@click.option("--turn", is_flag=True, help="With --pack: pieces may be turned by 90°.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes  [default: one per core]")
@click.option(
    "--scheduler", metavar="ADDRESS", help="Dask scheduler of a cluster you trust; the same work is done there."
)
@output("batch")
@FORCE
def batch(folder: Path, palette: Path, machine: Path | None, stock: Path | None, width_mm: float | None, pitch_mm: float | None,
          trial: bool, hatch: bool, pack: bool, gap_mm: float, edge_mm: float, turn: bool, workers: int | None,
          scheduler: str | None, output: Path, force: bool) -> None:  # fmt: skip
    """Make the job of every artwork in FOLDER with one PALETTE.

    Stopped? Run the same command again: what is done is kept, what changed or failed is made again. One bad file never stops
    the rest. Beside the jobs are a summary (CSV) and contact sheets.
    """
    from tint.batch.run import Packing, run_batch
    from tint.batch.task import Order
    from tint.palette.palette import read_palette
    from tint.setting import read_machine, read_stock

    if scheduler and workers:
        raise click.UsageError("--workers are this computer's; with --scheduler the cluster has its own.")
    chosen = read_palette(palette)
    laser = read_machine(machine) if machine else chosen.machine
    writing = {"trial": trial, "hatch": hatch}
    order = Order(
        chosen, laser, read_stock(stock) if stock else None, {}, width_mm, pitch_mm, writing, layers_only=pack
    )
    engine = _engine(workers, scheduler)
    try:
        done = run_batch(folder, output, order, engine=engine, packing=Packing(gap_mm, edge_mm, turn) if pack else None,
                         force=force, progress=remark)  # fmt: skip
    except KeyboardInterrupt:
        remark("stopped; what is done is kept. Run the same command again to go on.")
        raise click.exceptions.Exit(130) from None
    finally:
        getattr(engine, "close", lambda: None)()
    _tell(done, output)
    if done.failed:
        raise click.exceptions.Exit(1)


def _engine(workers: int | None, scheduler: str | None) -> Any:
    if scheduler:
        from tint.batch.cluster import Cluster

        return Cluster(scheduler)
    from tint.batch.engine import Local

    return Local(workers)


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
        time = f", marking {clock(record.facts['marking_s'] + record.facts['wait_s'])}" if record.ok else ""
        click.echo(f"{record.name}: {pieces} pieces, {done.use[number]:.0%} of the stock used{time}")
    remark(f"{output / 'summary.csv'} lists them, {output / 'contact-sheet-01.png'} shows them")
    remark(SHORT)
