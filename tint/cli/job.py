"""`tint job`: the folder for the bench."""

from __future__ import annotations

from pathlib import Path

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, refuse_swapped, remark, typed


@main.command(short_help="Write the job folder for the bench.")
@examples(
    "tint job kingfisher-layers machine.toml -o kingfisher-job",
    "tint job kingfisher-layers machine.toml --trial --at-mm 20,10 -o kingfisher-job",
    "tint job trail-layers machine.toml --hatch --inset-spot 0.25 -o trail-job",
    "tint job kingfisher-layers machine.toml --stock small-plate.toml -o small-job",
    "tint job heron-layers machine.toml --timed kingfisher-job=25:20 --timed trail-job=4:05 -o heron-job",
)
@click.argument("layers", type=PATH)
@click.argument("machine", type=PATH)
@click.option(
    "--trial", is_flag=True, help="Add a row of small squares, one per layer, for the blank's edge: mark it first."
)
@click.option("--at-mm", metavar="X,Y", help="Artwork's top left corner from the blank's [mm]  [default: centred]")
@click.option("--stock", type=PATH, metavar="STOCK.TOML",
              help="The piece, where it is another blank (size, batch) of the same metal  [default: the palette's]")  # fmt: skip
@click.option("--hatch", is_flag=True, help="Add every scan line, for machines that follow lines.")
@click.option("--inset-spot", type=float, default=0.0, show_default=True,
              help="Draw layers smaller on every side by this share of the spot, 0 to 1; too much leaves bare hairlines.")  # fmt: skip
@click.option("--timed", metavar="JOB=TIME", multiple=True,
              help="Job folder and how long its marking took, two or more: sets turn_ms and jump_ms.")  # fmt: skip
@output("job")
@FORCE
def job(layers: Path, machine: Path, trial: bool, at_mm: str | None, stock: Path | None, hatch: bool, inset_spot: float,
        timed: tuple[str, ...], output: Path, force: bool) -> None:  # fmt: skip
    """Write the job folder of LAYERS: drawings, masks, settings, order, time and a sheet.

    With --timed the times come from jobs you timed with a watch (first to last pulse, waits not counted; seconds, min:s
    or h:min:s), and the two lines for machine.toml are printed.
    """
    from tint.job.job import write_job
    from tint.job.summary import job_summary
    from tint.job.timing import calibrated_timing, read_timed, timing_lines
    from tint.layers.folder import read_layers
    from tint.setting import read_machine, read_stock

    refuse_swapped(layers, machine, "the folder of layers comes first, then the machine's file")
    place = _place(at_mm)
    laser, piece = read_machine(machine), read_stock(stock) if stock else None
    with typed():
        clocked = [read_timed(text) for text in timed]
    timing = calibrated_timing(clocked, laser) if clocked else None
    written = write_job(read_layers(layers), laser, output, force=force, at_mm=place, timing=timing,
                        inset_spot=inset_spot, hatch=hatch, trial=trial, stock=piece)  # fmt: skip
    click.echo(job_summary(written))
    for line in written.remarks:
        remark(f"note: {line}")
    if timing is not None:
        for line in (f"put into machine.toml ({timing.source}):", *timing_lines(timing)):
            remark(line)
    remark(f"start with {output / 'README.txt'} and {output / 'sheet.pdf'}")
    remark(SHORT)


def _place(text: str | None) -> tuple[float, float] | None:
    from tint.errors import UseError

    if text is None:
        return None
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise UseError(f"--at-mm {text!r} is not a place; write two numbers, such as --at-mm 20,10.") from None
    return x, y
