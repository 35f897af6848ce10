"""`tint measure`: patches with their uncertainty, from what an instrument or a camera says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, output, refuse_swapped, remark

if TYPE_CHECKING:
    from tint.measure.patches import Patches
    from tint.plan.grid import Grid

# As in tint.measure.reading.KINDS and tint.measure.scan, which are not loaded for a help text.
KINDS = ("csv", "cgats", "cxf", "photo")
ROWS = ("id", "order", "row-wise", "serpentine", "column-wise")
EDITIONS = ("before-nov-2014", "after-nov-2014")  # as in tint.lab.CHART_EDITIONS
STARTS = ("top-left", "top-right", "bottom-left", "bottom-right")


@main.command(short_help="Join readings to a grid.")
@examples(
    "tint measure plate-1 reading.csv -o patches.csv",
    "tint measure plate-1 export.txt --kind cgats --geometry 45/0 --rows serpentine",
    "tint measure plate-1 spectra.csv --scale percent --geometry 'd/8 SCI' --model model.json",
    "tint measure plate-1 monday.cxf tuesday.cxf --merge -o patches.csv",
    "tint measure plate-1 photo-1.jpg photo-2.jpg --kind photo --chart after-nov-2014 -o patches.csv",
    "tint measure settings.csv photo.jpg --kind photo --chart after-nov-2014 --cells 8x12 "
    "--corners '410,322 2960,301 2988,2205 395,2214' --machine machine.toml --stock stock.toml",
)
@click.argument("grid", type=PATH)
@click.argument("files", metavar="FILE...", type=PATH, nargs=-1, required=True)
@click.option("--kind", type=click.Choice(KINDS), help="What FILE is; its contents tell where this is not given.")
@click.option("--rows", type=click.Choice(ROWS), default="id", show_default=True,
              help="How rows find their patch: by id, in the order of marking, or as the plate was gone over.")  # fmt: skip
@click.option("--start", type=click.Choice(STARTS), default="top-left", show_default=True,
              help="Corner of the map where the reading started; bottom-right where the plate lay turned by 180°.")  # fmt: skip
@click.option("--geometry", metavar="G", help="45/0, 0/45, 'd/8 SCI' or 'd/8 SCE', where the file does not say.")
@click.option("--mode", metavar="M", help="M0 to M3 (ISO 13655), where the file does not say or to choose.")
@click.option(
    "--illuminant", metavar="I", help="White that Lab is relative to, such as D65, where the file does not say."
)
@click.option("--observer", metavar="DEG", help="2 or 10 [°], where the file does not say.")
@click.option("--scale", metavar="S", help="Of spectra: percent (a white is 100) or one (a white is 1).")
@click.option("--table", type=click.IntRange(1), metavar="N", help="Which table of a CGATS file that holds several.")
@click.option("--model", type=PATH, help="Model of this machine and stock: checks the places by what it foretells.")
@click.option("--merge", is_flag=True, help="Take several FILEs as measurements of the one plate, and average them.")
@click.option("--sure", is_flag=True, help="Keep the places even where the colours speak for others.")
@click.option("--chart", type=click.Choice(EDITIONS), help="Photo: when the 24-patch chart beside the plate was made.")
@click.option(
    "--corners", metavar="'X,Y X,Y X,Y X,Y'", help="Photo: corners of the plate [px], top left first, clockwise."
)
@click.option(
    "--cells", metavar="ROWSxCOLUMNS", help="Photo: GRID is a settings.csv, marked row by row in equal cells."
)
@click.option("--machine", type=PATH, help="With --cells: machine.toml of the marks.")
@click.option("--stock", type=PATH, help="With --cells: stock.toml of the plate.")
@output("patches.csv")
@FORCE
def measure(grid: Path, files: tuple[Path, ...], kind: str | None, merge: bool, output: Path, force: bool, chart: str | None,
            corners: str | None, cells: str | None, machine: Path | None, stock: Path | None, **how: Any) -> None:  # fmt: skip
    """Join readings in FILE to the patches of GRID.

    FILE is a table (CSV) with the columns patch, L, a, b (CIELAB D50/2°) or one column per wavelength, a CGATS.17 /
    ISO 28178 text file, or CxF/X-3; an earlier patches.csv may be merged too. A row named "bare" is the unmarked metal.
    Whether readings are shifted, mirrored or turned is checked by their colours.

    With --kind photo, FILE is a photo (JPEG, PNG, TIFF, raw) of the plate and a 24-patch chart side by side; several
    photos of one plate are read together. A picture of what was read where is written beside the output.
    """
    from tint.files.write import refuse_overwrite
    from tint.measure.patches import write_patches
    from tint.plan.grid import read_grid

    if kind == "photo":
        _refuse_instrument_options(merge, how)
        _measure_photos(grid, files, chart, corners, cells, machine, stock, output, force)
        return
    if any(value is not None for value in (chart, corners, cells, machine, stock)):
        raise click.UsageError("--chart, --corners, --cells, --machine and --stock go with --kind photo.")
    if len(files) > 1 and not merge:
        raise click.UsageError(f"{len(files)} files: add --merge if all are measurements of this one plate.")
    if len(files) < 2 and merge:
        raise click.UsageError("--merge needs two or more files of one plate.")
    refuse_overwrite(output, force)
    refuse_swapped(grid, files[0], "the folder of the grid comes first, then the readings")
    planned = read_grid(grid)
    patches, said = _from_instrument(planned, files, kind, **how)
    write_patches(patches, output, force=force)
    for line in [*said, *_remarks(planned, patches)]:
        remark(line)
    click.echo(f"{len(patches)} patches in {output}, {int((~patches.good).sum())} flagged")


def _refuse_instrument_options(merge: bool, how: dict[str, Any]) -> None:
    usual = {"rows": "id", "start": "top-left", "sure": False}
    stated = [f"--{name}" for name, value in how.items() if value is not None and value != usual.get(name)]
    if merge or stated:
        named = ", ".join([*stated, *(["--merge"] if merge else [])])
        raise click.UsageError(
            f"{named}: not for photos, whose marks say where each patch is; several are read together anyway."
        )


def _measure_photos(grid: Path, files: tuple[Path, ...], chart: str | None, corners: str | None, cells: str | None, machine: Path | None,
                    stock: Path | None, output: Path, force: bool) -> None:  # fmt: skip
    from tint.files.write import refuse_overwrite, write_file
    from tint.measure.patches import write_patches
    from tint.measure.photo.cells import grid_of_cells
    from tint.measure.photo.overlay import overlay_png
    from tint.measure.photo.read import read_photo
    from tint.plan.grid import read_grid
    from tint.setting import read_machine, read_stock

    if chart is None:
        raise click.UsageError(
            f"--kind photo needs --chart, the edition of the chart: {' or '.join(EDITIONS)} (see its back)."
        )
    if cells is not None and (corners is None or machine is None or stock is None):
        raise click.UsageError("--cells needs --corners, --machine and --stock.")
    if cells is None and (machine is not None or stock is not None):
        raise click.UsageError("--machine and --stock go with --cells; a grid knows its own.")
    overlays = [
        output.with_name(f"{output.stem}.overlay{'' if len(files) == 1 else f'-{number}'}.png")
        for number in range(1, len(files) + 1)
    ]
    for path in (output, *overlays):
        refuse_overwrite(path, force)
    if cells is None:
        refuse_swapped(grid, files[0], "the folder of the grid comes first, then the photo")
    if cells is None or machine is None or stock is None:  # --cells comes with both
        planned = read_grid(grid)
    else:
        planned = grid_of_cells(grid, *_cells(cells), read_machine(machine), read_stock(stock))
    patches, read = read_photo(planned, files, chart=chart, corners_px=None if corners is None else _corners(corners))
    write_patches(patches, output, force=force)
    for one, path in zip(read, overlays, strict=True):
        write_file(path, overlay_png(planned, one), force=force)
        for line in one.remarks:
            remark(line)
        remark(f"{one.photo.name}: {path} shows what was read where: look at it")
    if patches.bare_lab is None:
        remark("no bare metal is seen between the patches: the palette needs bare_lab, add it to the table by hand")
    remark("camera colours: compare them with each other, not with an instrument's")
    click.echo(f"{len(patches)} patches in {output}, {int((~patches.good).sum())} flagged")


def _cells(text: str) -> tuple[int, int]:
    rows, _, columns = text.lower().replace("×", "x").partition("x")
    if not (rows.isdecimal() and columns.isdecimal()):
        raise click.UsageError(f"--cells {text!r} is not rows x columns, such as 8x12.")
    return int(rows), int(columns)


def _corners(text: str) -> Any:
    import numpy as np

    try:
        points = np.array([[float(part) for part in point.split(",")] for point in text.split()])
    except ValueError:
        points = np.zeros(0)
    if points.shape != (4, 2):
        raise click.UsageError(f"--corners {text!r} is not four points, such as '410,322 2960,301 2988,2205 395,2214'.")
    return points


def _from_instrument(grid: Grid, files: tuple[Path, ...], kind: str | None, *, rows: str, start: str, table: int | None,
                     model: Path | None, sure: bool, **said: str | None) -> tuple[Patches, list[str]]:  # fmt: skip
    """Patches of one or several instrument files, each checked for its places, and remarks."""
    from tint.measure.conditions import stated
    from tint.measure.merge import APART_DE00, apart_de00, merge_patches
    from tint.measure.placing import as_forecast, check_placing, refuse_misplaced
    from tint.measure.reading import kind_of, patches_from_reading

    conditions = stated(**{name: text or "" for name, text in said.items()})
    forecast, remarks = _forecast(model, grid) if model else (None, [])
    several: list[Patches] = []
    for file in files:
        found = kind or kind_of(file)
        if not kind:
            remarks.append(f"{file} is taken as {found}, by its contents")
        patches = patches_from_reading(grid, file, found, rows, start, conditions, table)
        known = as_forecast(grid, several[0]) if several and forecast is None else forecast
        placing = check_placing(grid, patches, rows, start, known)
        if not sure:
            refuse_misplaced(placing, str(file))
        elif placing.likely:
            remarks.append(f"CHECK: {file}: the colours fit better {placing.likely}")
        if not placing.checked:
            remarks.append(
                f"{file}: too few readings, or too alike, to tell by their colours whether they are shifted or turned"
            )
        if several and (apart := apart_de00(several[0], patches)) > APART_DE00:
            remarks.append(
                f"CHECK: {files[0]} and {file} differ by {apart:.1f} ΔE00 (median): the same plate, wiped and placed alike?"
            )
        several.append(patches)
    merged = several[0] if len(several) == 1 else merge_patches(several, [str(file) for file in files])
    return merged, remarks


def _forecast(path: Path, grid: Grid) -> tuple[Any, list[str]]:
    """(n, 3) Lab that a model foretells for the patches of a grid, and remarks."""
    from tint.model.model import predict, read_model

    model = read_model(path)
    pairs = (("machine", model.machine.name, grid.machine.name), ("stock", model.stock.name, grid.stock.name))
    remarks = [
        f"CHECK: the model is of {word} {one!r}, the grid of {other!r}; its forecast of places may mislead"
        for word, one, other in pairs if one != other
    ]  # fmt: skip
    return predict(model, grid.setting).lab, remarks


def _remarks(grid: Grid, patches: Patches) -> list[str]:
    lines = []
    missing = [name for name in grid.ids if name not in patches.ids]
    if missing:
        lines.append(
            f"{len(missing)} patches have no reading: {', '.join(missing[:8])}{' …' if len(missing) > 8 else ''}"
        )
    if "adapted" in patches.facts:
        lines.append(f"readings converted {patches.facts['adapted']}")
    if not patches.facts.get("geometry"):
        lines.append(
            "no geometry stated: note it with --geometry, such as 45/0 or 'd/8 SCI'; on metal they see different colours"
        )
    if patches.bare_lab is None:
        lines.append('no row named "bare": measure the unmarked metal too, the palette needs it')
    return lines
