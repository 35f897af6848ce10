"""Commands that keep a palette's promise: `tint check`, `tint history`."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, JSON, PATH, examples, remark


@main.command(short_help="Has a palette drifted? Judges a strip, finds the cause, corrects.")
@examples(
    "tint check palette.json strip.csv",
    "tint check palette.json first-strip.csv --accept -o palette-2.json",
    "tint check palette-2.json strip.csv --correct --model model.json -o palette-3.json",
    "tint check palette.json strip.csv --tolerance 2.5",
)
@click.argument("palette", type=PATH)
@click.argument("patches", type=PATH)
@click.option(
    "--tolerance",
    type=float,
    metavar="DE00",
    help="Judge every colour by this ΔE00, such as 2.5, instead of by the palette's own repeatability.",
)
@click.option("--accept", is_flag=True, help="Write a new version whose promise is this strip's colours.")
@click.option("--correct", is_flag=True, help="Write a new version whose settings bring the colours back.")
@click.option(
    "--model", type=PATH, help="Model of the stock: for palettes of older tint, and for settings colour by colour."
)
@click.option("--remap", is_flag=True, help="Take rows that look swapped as they seem to belong.")
@click.option("--no-record", is_flag=True, help="Only look: nothing is added to the history beside the palette.")
@click.option(
    "-o", "--output", type=PATH, help="New version to write, with --accept or --correct  [default: NAME-vN.json]"
)
@JSON
@FORCE
@click.pass_context
def check(ctx: click.Context, palette: Path, patches: Path, tolerance: float | None, accept: bool, correct: bool, model: Path | None,
          remap: bool, no_record: bool, output: Path | None, as_json: bool, force: bool) -> None:  # fmt: skip
    """Judge the strip in PATCHES against the promise of PALETTE, name the likely cause, and offer a correction.

    The palette is never changed: --accept and --correct write a new version with its parent, reason, date and strip. Every
    check is added to the history beside the palette. Leaves with 1 where the palette is out.
    """
    from tint.check.check import check_strip
    from tint.check.history import history_path, now, read_history, record_check, recorded_palettes
    from tint.check.judged import OUT
    from tint.check.text import check_dict, check_text, correction_text
    from tint.files.text import read_text
    from tint.files.write import refuse_overwrite
    from tint.measure.patches import read_patches
    from tint.model.model import read_model
    from tint.palette.palette import read_palette

    if accept and correct:
        raise click.UsageError("--accept and --correct exclude each other.")
    if (accept or correct) and no_record:
        raise click.UsageError("a new version is always recorded; leave --no-record away.")
    if output is not None and not (accept or correct):
        raise click.UsageError("-o goes with --accept or --correct.")
    chosen, strip, readings = read_palette(palette), read_patches(patches), read_text(patches)
    known = read_model(model) if model is not None else None
    if known is not None and known.stock.name != chosen.stock.name:
        remark(f"CHECK: {chosen.name} was made for stock {chosen.stock.name!r}, the model is of {known.stock.name!r}.")
    target = output or palette.with_name(f"{_stem(palette)}-v{chosen.lineage.version + 1}.json")
    if accept or correct:
        refuse_overwrite(target, force)
    place = history_path(palette)
    history = read_history(place, chosen)
    found = check_strip(chosen, strip, model=known, tolerance_de00=tolerance, earlier_heat_pct=history.heat_pct(chosen, readings),
                        others=recorded_palettes(place, chosen), remap=remap)  # fmt: skip
    offered, refused = _offer(found, strip, known, correct)
    date = now()
    if not no_record:
        record_check(place, found, readings, date)
    written = _write(found, offered, correct, target, palette, force, date) if accept or correct else None
    if as_json:
        click.echo(json.dumps(check_dict(found, offered), indent=1, ensure_ascii=False))
    else:
        click.echo(check_text(found))
        if offered is not None:
            click.echo("\n" + correction_text(found, offered))
    set_back = not no_record and read_history(place, chosen).clock_set_back
    for line in (*chosen.remarks, *_said(found, offered, refused, written, accept, set_back)):
        remark(line)
    remark(SHORT)
    if found.verdict == OUT and written is None:
        ctx.exit(1)


def _offer(found: Any, strip: Any, known: Any, correct: bool) -> tuple[Any, str]:
    """Correction, None where none is called for or can be found, and why it cannot.

    Raises
    ------
    DataError
        A correction is asked for and cannot be.
    """
    from tint.check.correct import find_correction, refuse_correction, worth_correcting
    from tint.errors import DataError

    if correct:
        refuse_correction(found)
        return find_correction(found, strip, known), ""
    if not worth_correcting(found):
        return None, ""
    try:
        return find_correction(found, strip, known), ""
    except DataError as error:
        return None, str(error)


def _said(found: Any, offered: Any, refused: str, written: str | None, accept: bool, set_back: bool) -> list[str]:
    """Remarks on what was accepted, refused and written."""
    from tint.check.judged import WITHIN

    lines = []
    if accept and found.verdict != WITHIN and found.measured:
        lines.append(
            f"CHECK: this strip is {found.verdict}; pieces marked from now on are matched to it, not to those already delivered."
        )
    if refused:
        lines.append(refused)
    if set_back:
        lines.append(
            "the clock of this computer was set back between two checks; the history keeps the order in which they came."
        )
    if written is not None:
        lines.append(written)
    elif offered is not None:
        lines.append("nothing was changed; --correct writes the corrected palette as a new version")
    return lines


def _write(found: Any, offered: Any, correct: bool, target: Path, palette: Path, force: bool, date: str) -> str:
    """Sentence on the new version written and recorded."""
    from tint.check.correct import accepted, corrected
    from tint.check.history import add_version, history_path
    from tint.palette.palette import write_palette

    make = (
        (lambda version: corrected(found, offered, version, date))
        if correct
        else (lambda version: accepted(found, version, date))
    )
    new = add_version(history_path(palette), found.palette, make, date)
    write_palette(new, target, force=force)
    away = (
        ""
        if target.absolute().parent == palette.absolute().parent
        else "; its history stays beside the old file, keep them in one folder"
    )
    return f"version {new.lineage.version} ({new.lineage.reason}) written to {target}; {palette} is as it was{away}"


def _stem(palette: Path) -> str:
    """Name of a palette's file without its ending and the -vN of an earlier version."""
    return re.sub(r"-v\d+$", "", palette.stem)


@main.command(short_help="Every strip and version of a palette, with a chart.")
@examples(
    "tint history palette.json",
    "tint history palette.json --chart drift.png --csv drift.csv",
    "tint history palette-3.json --restore 2 -o palette-again.json",
)
@click.argument("palette", type=PATH)
@click.option("--chart", type=PATH, help="Draw the drift over time (.png or .svg).")
@click.option("--csv", "table", type=PATH, help="Write every colour of every strip as CSV.")
@click.option("--restore", type=int, metavar="N", help="Write version N as it was, to -o.")
@click.option("-o", "--output", type=PATH, help="Where --restore writes.")
@FORCE
def history(
    palette: Path, chart: Path | None, table: Path | None, restore: int | None, output: Path | None, force: bool
) -> None:
    """Show the strips and versions recorded beside PALETTE, of it and all it descends from; nothing is ever removed."""
    from tint.check.history import history_csv, history_path, read_history, recorded_version
    from tint.check.text import history_text
    from tint.files.write import write_file
    from tint.palette.palette import read_palette, write_palette

    if (restore is None) != (output is None):
        raise click.UsageError("--restore N goes with -o FILE.")
    chosen = read_palette(palette)
    place = history_path(palette)
    if restore is not None and output is not None:
        write_palette(recorded_version(place, chosen, restore), output, force=force)
        click.echo(f"version {restore} of {chosen.name} written to {output}, as it was recorded")
        remark(SHORT)
        return
    found = read_history(place, chosen)
    click.echo(history_text(found))
    if found.clock_set_back:
        remark("the clock was set back between two checks; they stand in the order in which they came.")
    if table is not None:
        remark(f"table in {write_file(table, history_csv(found), force=force)}")
    if chart is not None:
        from tint.check.plot import write_chart

        remark(f"chart in {write_chart(found, chosen, chart, force=force)}")
