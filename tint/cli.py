"""The commands: each parses, calls the library, prints. Results go to stdout, remarks and progress to stderr."""

from __future__ import annotations

import inspect
import json
import shutil
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from tint import __version__
from tint.caution import SHORT
from tint.errors import TintError
from tint.words import FIELDS, UNITS, WORDS

ORDER = ("demo", "grid", "measure", "fit", "plot", "palette", "separate", "job", "predict", "match")  # of the work


class Commands(click.Group):
    """Commands whose `TintError` becomes one line on stderr and the error's exit code."""

    def main(self, *args: Any, **kwargs: Any) -> Any:
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # Δ and ² on a console that lacks them
        return super().main(*args, **kwargs)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except TintError as error:
            click.echo(f"tint: {error}", err=True)
            ctx.exit(error.exit_code)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*[name for name in ORDER if name in self.commands], *sorted(set(self.commands) - set(ORDER))]


PATH = click.Path(path_type=Path)
FORCE = click.option("--force", is_flag=True, help="Replace the output if it is already there.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")


def output(default: str) -> Callable[[Any], Any]:
    return click.option("-o", "--output", type=PATH, default=default, show_default=True, help="Where to write.")


def of_each_field(said: str, **options: Any) -> Callable[[Any], Any]:
    """One option per field of a setting, such as --speed-mm-s; `said` goes before the field's word in its help."""

    def decorate(command: Any) -> Any:
        for field in reversed(FIELDS):
            unit = f" [{UNITS[field]}]" if UNITS[field] else ""
            words = f"{said} {WORDS[field]}{unit}.".strip()
            command = click.option(f"--{field.replace('_', '-')}", field, help=words[0].upper() + words[1:], **options)(
                command
            )
        return command

    return decorate


def examples(*lines: str) -> Callable[[Any], Any]:
    """The command with example lines at the end of its help."""

    def decorate(command: Any) -> Any:
        command.__doc__ = (
            inspect.cleandoc(command.__doc__) + "\n\n\b\nExamples:\n" + "\n".join(f"  {line}" for line in lines)
        )
        return command

    return decorate


def remark(text: str) -> None:
    """Says a remark on stderr, wrapped to the terminal."""
    width = min(shutil.get_terminal_size((100, 24)).columns, 110)
    click.echo(
        "\n".join(textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False, initial_indent=""))
        or text,
        err=True,
    )


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, "--version", prog_name="tint")
def main() -> None:
    """Colour marking on metal with an adjustable-pulse fibre laser.

    \b
    The work, in order:
      grid → (mark it) → measure → fit → palette → separate → job → (mark it)
    Ask any time:  predict (the colour of a setting)  ·  match (settings for a colour)
    New here:      tint demo demo-shop

    Class 4 laser: enclosure, eyewear for the wavelength, fume extraction. tint never drives a machine.
    """


@main.command(short_help="Build the invented shop and run the whole job on it.")
@examples(
    "tint demo demo-shop",
)
@click.argument("folder", type=PATH)
@FORCE
def demo(folder: Path, force: bool) -> None:
    """Build the invented shop in FOLDER and run the whole main job on it.

    A simulated laser marks a grid; tint fits, chooses a palette, separates a kingfisher sign and writes the jobs. Then
    the same on a grid of real marks (open data, camera colours). Takes about a minute.
    """
    from tint.demo.shop import run_demo

    click.echo(run_demo(folder, force=force, progress=remark))


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
    click.echo(f"{len(planned)} patches in {output}, about {planned.time_s / 60:.0f} min of scanning")
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

        model = adapt(read_model(base), joined, laser, sheet, seed=seed)
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
    """Draw what a model learned, as PNG and SVG: its reach, colour along each setting, quiet and loud colours."""
    from tint.files import refuse_folder
    from tint.model.model import read_model
    from tint.model.plot import plot_model

    refuse_folder(output, "plot", force)
    names = plot_model(read_model(model), output, force=force)
    click.echo(f"{', '.join(names)} (png, svg) in {output}")
    remark(SHORT)


@main.command(short_help="The colour of a setting, and how sure.")
@examples(
    "tint predict model.json --power-pct 22 --speed-mm-s 900 --freq-khz 400 --pulse-ns 14 --spacing-mm 0.002",
    "tint predict model.json --settings settings.csv",
)
@click.argument("model", type=PATH)
@click.option("--settings", "settings_file", type=PATH, help="settings.csv with one setting per row.")
@of_each_field("", type=float)
@JSON
@click.pass_context
def predict(ctx: click.Context, model: Path, settings_file: Path | None, as_json: bool, **values: float | None) -> None:
    """Colour of a setting, and how sure: 9 of 10 fresh marks land within de00_90 (ΔE00).

    Leaves with 1 where a setting is so far from the grid that the colour is a guess.
    """
    from tint.measure.patches import read_settings, settings_table
    from tint.model.answer import is_guess, model_remarks, prediction_remarks
    from tint.model.model import predict as predict_colour
    from tint.model.model import read_model
    from tint.setting import Setting

    stated = {field: value for field, value in values.items() if value is not None}
    if settings_file is not None and stated:
        raise click.UsageError("give --settings or single values, not both.")
    if settings_file is not None:
        setting = read_settings(settings_file)
    else:
        missing = [f"--{field.replace('_', '-')}" for field in FIELDS[:5] if field not in stated]
        if missing:
            raise click.UsageError(f"{', '.join(missing)} missing; or give a table with --settings.")
        setting = Setting(**{field: [value] for field, value in stated.items()})
    fitted = read_model(model)
    fitted.machine.check(setting, str(settings_file or ""))
    prediction = predict_colour(fitted, setting)
    for line in (*model_remarks(fitted), *prediction_remarks(prediction)):
        remark(line)
    columns = {
        "L": prediction.lab[:, 0],
        "a": prediction.lab[:, 1],
        "b": prediction.lab[:, 2],
        "de00_90": prediction.de00_90,
    }
    if as_json:
        rows = [
            {**setting[i].as_dict(), **{name: round(float(column[i]), 3) for name, column in columns.items()}}
            for i in range(len(setting))
        ]
        click.echo(json.dumps(rows, indent=1))
    else:
        click.echo(settings_table(setting, after={name: column.round(2) for name, column in columns.items()}), nl=False)
    remark(SHORT)
    if is_guess(prediction):
        ctx.exit(1)


@main.command(short_help="Settings for a colour, safest first.")
@examples(
    "tint match model.json --lab 45,10,-30",
    "tint match model.json --srgb '#4466aa' -n 3",
)
@click.argument("model", type=PATH)
@click.option("--lab", metavar="L,A,B", help="Wished colour, CIELAB D50.")
@click.option("--srgb", metavar="#RRGGBB", help="Wished colour, as on a screen.")
@click.option("-n", "count", type=click.IntRange(1, 50), default=5, show_default=True, help="How many settings.")
@JSON
@click.pass_context
def match(ctx: click.Context, model: Path, lab: str | None, srgb: str | None, count: int, as_json: bool) -> None:
    """Settings for a wished colour, safest first, or for the nearest that this stock can show.

    Leaves with 1 where the wish is out of reach; the nearest is printed all the same.
    """
    from tint.lab import lab_from_hex
    from tint.model.answer import found_dict, found_text, model_remarks
    from tint.model.find import find_setting
    from tint.model.model import read_model

    if (lab is None) == (srgb is None):
        raise click.UsageError("give the wished colour with --lab or with --srgb.")
    wish = _lab(lab) if lab is not None else lab_from_hex(srgb or "")
    fitted = read_model(model)
    found = find_setting(fitted, wish, n=count)
    click.echo(json.dumps(found_dict(found), indent=1) if as_json else found_text(found))
    for line in model_remarks(fitted):
        remark(line)
    remark(SHORT)
    if not found.reachable:
        ctx.exit(1)


def _lab(text: str) -> Any:
    import numpy as np

    from tint.errors import DataError
    from tint.measure.patches import lab_problem

    try:
        lab = np.array([float(part) for part in text.replace(",", " ").split()])
        if lab.shape != (3,):
            raise ValueError
    except ValueError:
        raise DataError(f"--lab {text!r} is not a colour; write three numbers, such as --lab 45,10,-30.") from None
    if problem := lab_problem(lab):
        raise DataError(problem)
    return lab


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


@main.command(short_help="Artwork into layers, with a proof.")
@examples(
    "tint separate kingfisher.svg palette.json -o kingfisher-layers",
    "tint separate heron.png palette.json --width-mm 60 -o heron-layers",
)
@click.argument("artwork", type=PATH)
@click.argument("palette", type=PATH)
@click.option("--width-mm", type=float, help="Width on the metal; a drawing may state its own.")
@click.option("--pitch-mm", type=float, help="Pixel size on the metal; a picture keeps its own pixels unless stated.")
@click.option("--speck-mm2", type=float, help="Smallest region kept of a picture  [default: the area of the spot]")
@output("layers")
@FORCE
def separate(artwork: Path, palette: Path, width_mm: float | None, pitch_mm: float | None, speck_mm2: float | None,
             output: Path, force: bool) -> None:  # fmt: skip
    """Reduce ARTWORK (PNG, JPEG, TIFF, WebP, SVG) to layers in the colours of PALETTE, with a proof."""
    from tint.artwork.artwork import read_artwork
    from tint.files import refuse_overwrite
    from tint.layers.folder import layers_text, write_layers
    from tint.layers.separate import separate as separate_artwork
    from tint.palette.palette import read_palette

    refuse_overwrite(output, force)
    chosen = read_palette(palette)
    layers = separate_artwork(
        read_artwork(artwork, width_mm, pitch_mm), chosen, speck_mm2=speck_mm2, pitch_mm=pitch_mm, progress=remark
    )
    write_layers(layers, output, force=force)
    click.echo(layers_text(layers))
    for line in (*layers.remarks, *chosen.remarks):
        remark(line)
    remark(f"proof in {output / 'proof.png'}: screens differ and metal shifts with the angle")


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
@click.option("--at-mm", metavar="X,Y", help="Artwork's top left corner from the blank's  [default: centred]")
@click.option("--stock", type=PATH, metavar="STOCK.TOML",
              help="The piece, where it is another blank (size, batch) of the same metal  [default: the palette's]")  # fmt: skip
@click.option("--hatch", is_flag=True, help="Add every scan line, for machines that follow lines.")
@click.option("--inset-spot", type=float, default=0.0, show_default=True,
              help="Draw layers smaller on every side by this share of the spot; too much leaves bare hairlines.")  # fmt: skip
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

    laser, piece = read_machine(machine), read_stock(stock) if stock else None
    timing = calibrated_timing([read_timed(text) for text in timed], laser) if timed else None
    written = write_job(read_layers(layers), laser, output, force=force, at_mm=_place(at_mm), timing=timing,
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
    from tint.errors import DataError

    if text is None:
        return None
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise DataError(f"--at-mm {text!r} is not a place; write two numbers, such as --at-mm 20,10.") from None
    return x, y


if __name__ == "__main__":
    sys.exit(main())
