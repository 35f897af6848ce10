"""The commands: each parses, calls the library, prints. Results go to stdout, remarks and progress to stderr."""

from __future__ import annotations

import inspect
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from tint import __version__
from tint.caution import SHORT
from tint.errors import TintError
from tint.words import FIELDS, UNITS, WORDS


class Commands(click.Group):
    """Commands whose `TintError` becomes one line on stderr and the error's exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except TintError as error:
            click.echo(f"tint: {error}", err=True)
            ctx.exit(error.exit_code)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)  # in the order of the work, not of the alphabet


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
    click.echo(text, err=True)


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


@main.command()
@examples(
    "tint demo demo-shop",
)
@click.argument("folder", type=PATH)
@FORCE
def demo(folder: Path, force: bool) -> None:
    """Build the invented shop in FOLDER and run the whole main job on it.

    A simulated laser marks a grid; tint fits, chooses a palette, separates a kingfisher sign and writes the jobs. Then
    the same on a grid of real marks (open data, camera colours). Takes about half a minute.
    """
    from tint.demo.shop import run_demo

    click.echo(run_demo(folder, force=force, progress=remark))


@main.command()
@examples(
    "tint grid machine.toml --stock stock.toml -n 60 -o plate-1",
    "tint grid machine.toml --stock stock.toml -n 48 --power-pct 15:40 --pulse-ns 6:6 -o plate-2",
)
@click.argument("machine", type=PATH)
@click.option("--stock", type=PATH, required=True, help="stock.toml of the plate.")
@click.option("-n", "count", type=int, default=60, show_default=True, help="Patches; 48 or more make a good fit.")
@of_each_field("range of", metavar="LOW:HIGH")
@click.option("--name", default="plate 1", show_default=True, help="What to call the plate.")
@click.option("--patch-mm", type=float, default=6.0, show_default=True, help="Side of a patch.")
@click.option("--gap-mm", type=float, default=1.5, show_default=True, help="Bare metal between patches.")
@click.option("--seed", type=int, default=0, show_default=True, help="Another seed, another grid.")
@output("grid")
@FORCE
def grid(machine: Path, stock: Path, count: int, name: str, patch_mm: float, gap_mm: float, seed: int,
         output: Path, force: bool, **ranges: str | None) -> None:  # fmt: skip
    """Plan a test grid inside the limits of MACHINE and the stock.

    Ranges are lowest:highest; what is not stated takes what usually colours steel. The folder holds grid.json (for
    `tint measure`), settings.csv, plate.svg (what to mark, and a map to print) and reading.csv (to fill in).
    """
    from tint.plan import plan_grid, write_plate
    from tint.setting import read_machine, read_stock

    stated = {field: _range(field, text) for field, text in ranges.items() if text}
    planned = plan_grid(
        read_machine(machine),
        read_stock(stock),
        count,
        ranges=stated,
        name=name,
        patch_mm=patch_mm,
        gap_mm=gap_mm,
        seed=seed,
    )
    write_plate(planned, output, force=force)
    click.echo(f"{len(planned)} patches in {output}, about {planned.time_s / 60:.0f} min of scanning")
    remark(SHORT)


def _range(field: str, text: str) -> tuple[float, float]:
    from tint.errors import DataError

    low, _, high = text.partition(":")
    try:
        return float(low), float(high or low)
    except ValueError:
        option = "--" + field.replace("_", "-")
        raise DataError(f"{option} {text!r} is not a range; write lowest:highest, such as {option} 400:1600.") from None


@main.command()
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
    from tint.plan import read_grid

    planned = read_grid(grid)
    patches = patches_from_reading(planned, file)
    write_patches(patches, output, force=force)
    missing = [name for name in planned.ids if name not in patches.ids]
    if missing:
        remark(f"{len(missing)} patches have no reading: {', '.join(missing[:8])}{' …' if len(missing) > 8 else ''}")
    if patches.bare_lab is None:
        remark('no row named "bare": measure the unmarked metal too, the palette needs it')
    click.echo(f"{len(patches)} patches in {output}, {int((~patches.good).sum())} flagged")


@main.command()
@examples(
    "tint fit patches.csv --machine machine.toml --stock stock.toml -o model.json",
    "tint fit monday.csv tuesday.csv --machine machine.toml --stock stock.toml -o model.json",
)
@click.argument("patches", type=PATH, nargs=-1, required=True)
@click.option("--machine", type=PATH, required=True, help="machine.toml the patches were marked on.")
@click.option("--stock", type=PATH, required=True, help="stock.toml of the plate.")
@click.option("--seed", type=int, default=0, show_default=True, help="Splits the patches held out.")
@output("model.json")
@FORCE
def fit(patches: tuple[Path, ...], machine: Path, stock: Path, seed: int, output: Path, force: bool) -> None:
    """Fit colour to settings, and say how far off it is on patches held out."""
    from tint.files import refuse_overwrite
    from tint.measure.patches import join_patches, read_patches
    from tint.model.fit import fit as fit_model
    from tint.model.model import write_model
    from tint.model.report import report_text
    from tint.setting import read_machine, read_stock

    refuse_overwrite(output, force)
    joined = join_patches([read_patches(path) for path in patches])
    model = fit_model(joined, read_machine(machine), read_stock(stock), seed=seed)
    write_model(model, output, force=force)
    click.echo(report_text(model.report))
    remark(f"model written to {output}")


@main.command()
@examples(
    "tint predict model.json --power-pct 22 --speed-mm-s 900 --freq-khz 400 --pulse-ns 14 --spacing-mm 0.002",
    "tint predict model.json --settings settings.csv",
)
@click.argument("model", type=PATH)
@click.option("--settings", "settings_file", type=PATH, help="settings.csv with one setting per row.")
@of_each_field("", type=float)
@JSON
def predict(model: Path, settings_file: Path | None, as_json: bool, **values: float | None) -> None:
    """Colour of a setting, and how sure: 9 of 10 fresh marks land within de00_90 (ΔE00)."""
    from tint.measure.patches import read_settings, settings_table
    from tint.model.answer import prediction_remarks
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
    for line in prediction_remarks(prediction):
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


@main.command()
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
    from tint.model.answer import found_dict, found_text
    from tint.model.find import find_setting
    from tint.model.model import read_model

    if (lab is None) == (srgb is None):
        raise click.UsageError("give the wished colour with --lab or with --srgb.")
    wish = _lab(lab) if lab is not None else lab_from_hex(srgb or "")
    found = find_setting(read_model(model), wish, n=count)
    click.echo(json.dumps(found_dict(found), indent=1) if as_json else found_text(found))
    remark(SHORT)
    if not found.reachable:
        ctx.exit(1)


def _lab(text: str) -> Any:
    import numpy as np

    from tint.errors import DataError
    from tint.measure.patches import lab_problem

    try:
        lab = np.array([float(part) for part in text.split(",")])
        if lab.shape != (3,):
            raise ValueError
    except ValueError:
        raise DataError(f"--lab {text!r} is not a colour; write three numbers, such as --lab 45,10,-30.") from None
    if problem := lab_problem(lab):
        raise DataError(problem)
    return lab


@main.command()
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


@main.command()
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


@main.command()
@examples(
    "tint job kingfisher-layers machine.toml -o kingfisher-job",
)
@click.argument("layers", type=PATH)
@click.argument("machine", type=PATH)
@output("job")
@FORCE
def job(layers: Path, machine: Path, output: Path, force: bool) -> None:
    """Write the job folder of LAYERS: drawings, masks, settings, order, time and a sheet."""
    from tint.job.job import write_job
    from tint.job.record import job_text
    from tint.layers.folder import read_layers
    from tint.setting import read_machine

    written = write_job(read_layers(layers), read_machine(machine), output, force=force)
    click.echo(job_text(written))
    remark(f"start with {output / 'README.txt'} and {output / 'sheet.pdf'}")
    remark(SHORT)


if __name__ == "__main__":
    sys.exit(main())
