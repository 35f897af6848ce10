"""The job folder: everything the person at the machine needs, written whole or not at all."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tint.caution import SHORT, cautions
from tint.errors import DataError, LimitError
from tint.files.write import new_folder, refuse_folder
from tint.job.drawing import dxf_text, svg_text
from tint.job.hatch import hatch_bands, write_hatch_svg
from tint.job.heat import HeatInputs
from tint.job.inset import Inset, inset_layers, inset_remark
from tint.job.masks import hatch_name, mask_name, mask_png, pitch_remark, pitch_seen
from tint.job.order import JobLayer, Timing, heat_remarks, plan_order
from tint.job.readme import readme_text
from tint.job.record import FILE_NAME, Job, job_text, read_job
from tint.job.remarks import machine_remark, split_remarks, stock_remark
from tint.job.thin import thin_places, thin_remark
from tint.job.timing import timing_of
from tint.job.trial import Trial, place_trial, trial_grid, trial_layers, trial_order
from tint.layers.layers import Layers
from tint.measure.patches import settings_table
from tint.plan.grid import write_grid
from tint.plan.plate import blank_reading
from tint.process import spot_mm
from tint.setting import Machine, Setting, Stock

__all__ = ["Job", "plan_job", "read_job", "write_job"]

SLACK_MM = 1e-6  # rounding of sizes; a nanometre


def write_job(
    layers: Layers, machine: Machine, folder: str | Path, *, force: bool = False, at_mm: tuple[float, float] | None = None,
    date: str | None = None, timing: Timing | None = None, heat: HeatInputs | None = None, inset_spot: float = 0.0,
    hatch: bool = False, trial: bool = False, stock: Stock | None = None,
) -> Job:  # fmt: skip
    """Job of the layers, written as a folder: drawings, masks, settings, proof, sheet and a README.

    Parameters
    ----------
    layers : the separation
    machine : what marks it; it need not be the one the palette was made on, but its limits hold
    folder : where; it appears only when complete
    force : replace a job that is there
    at_mm : place of the artwork's top left corner from the blank's top left corner [mm]; None centres it
    date : ISO date; None takes today
    timing, heat : what times and temperatures are computed with; None takes what the machine states, else the defaults
    inset_spot : how far the drawings' borders move inwards, as a share of the spot; 0.5 is half a spot, 0 none: a
        border's true width is narrower than the 1/e² spot, and an inset too large leaves bare hairlines
    hatch : write every scan line of every layer too
    trial : write a row of small squares, one of each layer, for the blank's edge too
    stock : the piece, where it is another blank of the same metal; None takes what the palette was made on

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    DataError
        No layer is used.
    LimitError
        A setting outside the machine, artwork larger than the machine's field or the blank, an inset that leaves nothing, a
        spacing that makes too many scan lines, no room for the trial, a piece of another metal.
    """
    refuse_folder(folder, "job", force)
    with new_folder(folder, "job", force=force) as place:
        return fill_job(
            place, layers, machine, at_mm=at_mm, date=date, timing=timing, heat=heat, inset_spot=inset_spot, hatch=hatch,
            trial=trial, stock=stock,
        )  # fmt: skip


def fill_job(
    place: Path, layers: Layers, machine: Machine, *, at_mm: tuple[float, float] | None = None, date: str | None = None,
    timing: Timing | None = None, heat: HeatInputs | None = None, inset_spot: float = 0.0, hatch: bool = False,
    trial: bool = False, stock: Stock | None = None,
) -> Job:  # fmt: skip
    """Job of the layers, its files put into an empty folder that is there; parameters and errors as `write_job`."""
    from tint.job.sheet import sheet_pdf
    from tint.layers.proof import proof_image

    made_on, layers = layers.palette.stock, _on_stock(layers, stock)
    inset = inset_layers(layers, machine, inset_spot) if inset_spot else None
    job = _planned(layers, machine, made_on, inset, at_mm, date, timing, heat, inset_spot, hatch, trial)
    _write_layers(place, layers, job.layers, inset, hatch)
    if job.trial is not None:
        (place / "trial").mkdir()
        squares, small, planned = _trial(layers, machine, job.trial, job.layers, job.timing, inset_spot)
        _write_layers(place / "trial", squares, planned, small, hatch, "trial")
        grid = trial_grid(squares, job.trial, planned, machine)
        write_grid(grid, place / "trial" / "grid.json")
        (place / "trial" / "reading.csv").write_bytes(blank_reading(grid).encode("utf-8"))
    proof_image(layers).save(place / "proof.png", compress_level=3)
    for name, text in ((FILE_NAME, job_text(job)), ("README.txt", readme_text(job))):
        (place / name).write_bytes(text.encode("utf-8"))
    (place / "sheet.pdf").write_bytes(sheet_pdf(job, layers))
    return job


def _write_layers(
    place: Path, layers: Layers, planned: tuple[JobLayer, ...], inset: Inset | None, hatch: bool, name: str = "layers"
) -> None:
    """Drawings, masks, settings and, on request, scan lines of layers, into a folder that is there."""
    (place / "masks").mkdir()
    for layer in planned:
        (place / "masks" / mask_name(layer)).write_bytes(mask_png(layers.labels, layer.number, layers.pitch_mm))
    (place / f"{name}.svg").write_bytes(svg_text(layers, planned, inset).encode("utf-8"))
    (place / f"{name}.dxf").write_bytes(dxf_text(layers, planned, inset).encode("utf-8"))
    (place / "settings.csv").write_bytes(settings_text(planned).encode("utf-8"))
    if hatch:
        (place / "hatch").mkdir()
    for layer in planned if hatch else ():
        outline = inset.regions[layer.number - 1] if inset else layers.outlines[layer.number - 1]
        bands = hatch_bands(outline, float(layer.setting.spacing_mm), float(layer.setting.hatch_deg), layers.pitch_mm)
        with (place / "hatch" / hatch_name(layer)).open("w", encoding="utf-8", newline="\n") as stream:
            centre_lines = inset.centre_lines[layer.number - 1] if inset else None
            write_hatch_svg(stream, layer, bands, (layers.width_mm, layers.height_mm), centre_lines)


def _trial(
    layers: Layers, machine: Machine, trial: Trial, planned: tuple[JobLayer, ...], timing: Timing, inset_spot: float
) -> tuple[Layers, Inset | None, tuple[JobLayer, ...]]:
    squares = trial_layers(layers, trial, [layer.number for layer in planned])
    inset = inset_layers(squares, machine, inset_spot) if inset_spot else None
    return squares, inset, trial_order(squares, planned, machine, timing, inset)


def plan_job(
    layers: Layers, machine: Machine, *, at_mm: tuple[float, float] | None = None, date: str | None = None,
    timing: Timing | None = None, heat: HeatInputs | None = None, inset_spot: float = 0.0, hatch: bool = False,
    trial: bool = False, stock: Stock | None = None,
) -> Job:  # fmt: skip
    """Job of the layers, nothing written; parameters and errors as `write_job`."""
    made_on, layers = layers.palette.stock, _on_stock(layers, stock)
    inset = inset_layers(layers, machine, inset_spot) if inset_spot else None
    return _planned(layers, machine, made_on, inset, at_mm, date, timing, heat, inset_spot, hatch, trial)


def _on_stock(layers: Layers, stock: Stock | None) -> Layers:
    """The same layers on another piece; `_planned` remarks on it and refuses another metal."""
    if stock is None or stock == layers.palette.stock:
        return layers
    return dataclasses.replace(layers, palette=dataclasses.replace(layers.palette, stock=stock))


def _planned(
    layers: Layers, machine: Machine, made_on: Stock, inset: Inset | None, at_mm: tuple[float, float] | None, date: str | None,
    timing: Timing | None, heat: HeatInputs | None, inset_spot: float, hatch: bool, trial: bool,
) -> Job:  # fmt: skip
    if not layers.used:
        raise DataError(f"{layers.name} uses no colour of the palette: nothing to mark. Separate other artwork.")
    timing, heat = timing or timing_of(machine), heat or HeatInputs()
    palette = layers.palette
    first = (
        *palette.remarks,
        palette.edited_remark,
        machine_remark(palette.machine, machine),
        stock_remark(made_on, palette.stock),
        inset_remark(inset, inset_spot) if inset else "",
    )
    size_mm = (round(layers.width_mm, 6), round(layers.height_mm, 6))
    place_mm = _place_mm(layers, machine, at_mm)
    planned = plan_order(layers, machine, timing, heat, inset)
    squares = None
    if trial:
        squares = place_trial(len(planned), layers.palette.stock, machine, place_mm, size_mm)
        time_s = sum(layer.time_s for layer in _trial(layers, machine, squares, planned, timing, inset_spot)[2])
        squares = dataclasses.replace(squares, time_s=round(time_s, 2))
    thin = thin_places(layers, spot_mm(machine))
    height_px, width_px = layers.labels.shape
    said, notes = split_remarks((thin_remark(thin, spot_mm(machine)), *layers.remarks))
    pitch = pitch_remark(width_px, height_px, layers.pitch_mm)
    if pitch and not pitch_seen(width_px, height_px, layers.pitch_mm, spot_mm(machine)):
        pitch, notes = "", (*notes, pitch)
    later = [*heat_remarks(layers, planned, heat), pitch, *said]
    first, remarks = (tuple(dict.fromkeys(line for line in lines if line)) for lines in (first, later))
    return Job(
        layers.name, _iso_date(date), *size_mm, place_mm, layers.pitch_mm,
        machine, palette.stock, palette.name, planned, (*first, *(line for line in remarks if line not in first)),
        cautions(machine.wavelength_nm, palette.stock.grade), timing, heat, palette.jitter, thin, float(inset_spot),
        inset.vanished if inset else (), hatch, squares, len(first), notes, palette.lineage.version,
        dataclasses.replace(palette, stock=made_on).digest,
    )  # fmt: skip


def settings_text(planned: Sequence[JobLayer]) -> str:
    """CSV text of the settings in marking order: order, layer (palette number), name, the fields of a setting; caution first."""
    extra: dict[str, list[Any]] = {
        "order": [layer.order for layer in planned],
        "layer": [layer.number for layer in planned],
        "name": [layer.name for layer in planned],
    }
    table = settings_table(Setting.from_table([layer.setting.table() for layer in planned]), extra)
    return f"# caution: {SHORT}\n{table}"


def _place_mm(layers: Layers, machine: Machine, at_mm: tuple[float, float] | None) -> tuple[float, float]:
    size = (layers.width_mm, layers.height_mm)
    blank = layers.palette.stock.size_mm
    for what, limit in (("field of the machine", machine.field_mm), ("blank", blank)):
        if any(side > most + SLACK_MM for side, most in zip(size, limit, strict=True)):
            turned = " Turned by 90° it fits." if size[0] <= limit[1] and size[1] <= limit[0] else ""
            raise LimitError(
                f"artwork of {size[0]:g} × {size[1]:g} mm is larger than the {what} ({limit[0]:g} × {limit[1]:g} mm). "
                f"Separate it again at a smaller width.{turned}"
            )
    if at_mm is None:
        return round((blank[0] - size[0]) / 2, 3), round((blank[1] - size[1]) / 2, 3)
    x, y = (float(value) for value in at_mm)
    if not (x >= 0 and y >= 0 and x + size[0] <= blank[0] + SLACK_MM and y + size[1] <= blank[1] + SLACK_MM):
        raise LimitError(
            f"artwork at {x:g}, {y:g} mm does not lie on the blank; its corner can be at 0 to {blank[0] - size[0]:g}, "
            f"0 to {blank[1] - size[1]:g} mm."
        )
    return x, y


def _iso_date(date: str | None) -> str:
    if date is None:
        return datetime.date.today().isoformat()
    try:
        return datetime.date.fromisoformat(date).isoformat()
    except ValueError:
        raise LimitError(f"date {date!r} is not a date; write it as 2026-03-14.") from None
