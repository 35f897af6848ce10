"""`tint palette`: choose the handful of colours, and draw them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, on_command_line, output, remark, typed


class Count(click.ParamType):
    """A whole number, or "auto" as None."""

    name = "number|auto"

    def convert(self, value: Any, param: Any, ctx: Any) -> int | None:
        """The number, None for "auto"."""
        if value is None or isinstance(value, int):
            return value
        if value == "auto":
            return None
        try:
            return int(value)
        except ValueError:
            self.fail(f"{value!r} is neither a whole number nor 'auto'.", param, ctx)


@main.command(short_help="Choose the handful of colours, and draw them.")
@examples(
    "tint palette model.json -n 8 -o palette.json",
    "tint palette model.json -n auto --for kingfisher.svg -o kingfisher-palette.json",
    "tint palette model.json -n 6 --for heron.png --keep '#27527f' --keep B07 -o heron-palette.json",
    "tint palette model.json -n 6 --from palette.json --keep 'dark blue' -o next-palette.json",
    "tint palette model.json --from palette.json --stock new-batch.toml -o batch-plate",
    "tint palette model.json --from palette.json --stock new-batch.toml --patches new-batch.csv -o palette-batch.json",
)
@click.argument("model", type=PATH)
@click.option("-n", "count", type=Count(), default="8", show_default=True, help="Colours, the bare metal not counted; "
              "auto: as many as pay, with a picture of the error curve beside the palette.")  # fmt: skip
@click.option(
    "--for", "artwork", type=PATH, help="Serve this artwork's colours instead of everything the stock can show."
)
@click.option("--background", default="#ffffff", show_default=True,
              help="With --for: the artwork's colour that stays bare metal and asks for none, or none.")  # fmt: skip
@click.option("--keep", multiple=True, metavar="NAME|#RRGGBB|PATCH", help="A colour that must stay: its name in the palette "
              "named by --from, a screen colour, or the id of a measured patch. May be said again.")  # fmt: skip
@click.option(
    "--from",
    "old",
    type=PATH,
    help="Earlier palette: for the names in --keep; without --keep it is moved over whole, colour by colour.",
)
@click.option(
    "--stock", type=PATH, help="With --from: stock.toml of another batch; plans the few patches worth marking on it."
)
@click.option(
    "--patches",
    type=PATH,
    multiple=True,
    help="With --stock: those patches, measured; the model and the palette are moved over.",
)
@click.option("--sensitive", type=float, default=1.0, show_default=True,
              help="How heavily a colour's shift under jitter counts; 0 leaves it out.")  # fmt: skip
@click.option("--slow-de00", type=float, default=0.5, show_default=True,
              help="How much nearer [ΔE00] a setting must come for each doubling of scan time beyond the stock's median.")  # fmt: skip
@click.option("--name", help="What to call the palette  [default: the stock's name, and the artwork's]")
@output("palette.json", "File to write; with --stock and without --patches, the folder of the plate.")
@FORCE
@click.pass_context
def palette(ctx: click.Context, model: Path, count: int | None, artwork: Path | None, background: str, keep: tuple[str, ...], old: Path | None,
            stock: Path | None, patches: tuple[Path, ...], sensitive: float, slow_de00: float, name: str | None, output: Path,
            force: bool) -> None:  # fmt: skip
    """Choose the handful of colours to work with, and draw them (a PNG beside the palette).

    Colours are weighed by how far fresh marks should land from what is wanted: distance, shift under jitter and the model's
    own doubt, by area of the artwork; slow settings are charged on top.

    Another batch: --from OLD with --stock plans the patches worth marking (MODEL is of the old batch); with --patches too they
    carry the model over, and the palette follows. It tells which colours kept their settings, moved, or were lost.
    """
    if (stock is not None and (old is None or keep)) or (patches and stock is None):
        raise click.UsageError("--stock goes with --from and without --keep, --patches goes with --stock.")
    if old is not None and not keep:
        if said := on_command_line(ctx, "count", "artwork", "background", "sensitive", "slow_de00", "name"):
            raise click.UsageError(
                f"{said}: without --keep the palette named by --from is moved over whole, colour by colour."
            )
        _move(model, old, stock, patches, output, force)
        return
    from tint.layers.paper import colour_or_none
    from tint.model.model import read_model
    from tint.palette.choose import check_count, choose_from
    from tint.palette.curve import error_curve
    from tint.palette.keep import kept_for
    from tint.palette.missed import missed_remark
    from tint.palette.offer import offer_of
    from tint.palette.palette import read_palette
    from tint.palette.penalty import Penalty
    from tint.palette.swatches import refuse_palette, write_palette_and_picture
    from tint.palette.wishes import read_wishes

    if artwork is None and on_command_line(ctx, "background"):
        raise click.UsageError("--background goes with --for.")
    with typed():
        if count is not None:
            check_count(count)
        weighed = Penalty(sensitive, slow_de00)
        paper = colour_or_none(background, "--background")
    curve_path = refuse_palette(output, force=force, curve=count is None)
    wishes = read_wishes(artwork) if artwork is not None else None
    known = read_model(model)
    earlier = read_palette(old) if old is not None else None
    offer = offer_of(known, wishes, background=paper, keep=keep, old=earlier, penalty=weighed)
    curve = None
    if count is None:
        curve = error_curve(offer)
        count = curve.suggested
    title = name or (f"{known.stock.name} for {wishes.name}" if wishes is not None else known.stock.name)
    chosen = choose_from(offer, count, title)
    picture = write_palette_and_picture(chosen, output, force=force)
    wide = max(24, *(len(colour.name) for colour in chosen.colours))
    for number, colour in enumerate(chosen.colours, 1):
        asked = kept_for(colour.setting, offer.kept)
        click.echo(
            f"{number:3d}  {colour.name:{wide}s} ±{colour.de00_90:4.1f}  jitter {colour.sensitivity_de00:4.1f}   {colour.setting}"
            + f"   (kept: {asked})" * bool(asked)
        )
    if curve is not None:
        from tint.files.write import write_file
        from tint.palette.plot import curve_picture

        write_file(
            curve_path, curve_picture(curve, "\n".join([f"Colours of {chosen.name}", *chosen.remarks[:1]])), force=force
        )
        remark(f"{curve.words()} Curve in {curve_path}")
    if wishes is not None and (missed := missed_remark(wishes, chosen, offer.pool.lab, paper)):
        remark(missed)
    for line in (*(wishes.remarks if wishes is not None else ()), *chosen.remarks):
        remark(line)
    remark(weighed.words())
    remark(f"palette in {output}, picture in {picture}")
    remark(SHORT)


def _move(model: Path, old: Path, stock: Path | None, patches: tuple[Path, ...], output: Path, force: bool) -> None:
    """Plans the patches for another batch, or moves a palette over to it."""
    from tint.check.history import add_version, history_path, now
    from tint.check.move import LOST, move_palette, moves_text, patches_for_move
    from tint.errors import DataError
    from tint.measure.patches import join_patches, read_patches
    from tint.model.model import read_model
    from tint.palette.palette import read_palette
    from tint.palette.swatches import refuse_palette, write_palette_and_picture
    from tint.setting import read_stock

    earlier, known = read_palette(old), read_model(model)
    if stock is not None and not patches:
        from tint.plan.layout import lay_out
        from tint.plan.plate import write_plate

        planned = lay_out(
            patches_for_move(earlier, known), known.machine, read_stock(stock), name=f"for {earlier.name}"
        )
        write_plate(planned, output, force=force)
        click.echo(f"{len(planned)} patches in {output}: mark and measure them, then the same command with --patches")
        remark(SHORT)
        return
    refuse_palette(output, force=force, curve=False)
    if stock is not None:
        from tint.model.adapt import adapt

        known = adapt(known, join_patches([read_patches(path) for path in patches]), known.machine, read_stock(stock))
    date = now()
    moved, moves = move_palette(earlier, known, earlier.lineage.version + 1, date)
    click.echo(moves_text(moves))
    if all(move.what == LOST for move in moves):
        raise DataError(
            f"no colour of {earlier.name} comes within reach on {known.stock.name}; choose a palette of its own."
        )
    moved = add_version(
        history_path(old), earlier, lambda version: move_palette(earlier, known, version, date)[0], date
    )
    picture = write_palette_and_picture(moved, output, force=force)
    if lost := [move.name for move in moves if move.what == LOST]:
        remark(
            f"left out, so the numbers behind them change: {', '.join(lost)}. Separate artwork again that used them."
        )
    remark(
        f"version {moved.lineage.version} in {output}, picture in {picture}; mark a strip of it and accept it before work"
    )
    if history_path(output) != history_path(old):
        remark(f"its history stays in {history_path(old).parent}; keep the versions of a palette in one folder")
    remark(SHORT)
