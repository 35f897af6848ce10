"""The job folder: everything the person at the machine needs, written whole or not at all."""

from __future__ import annotations

import datetime
from pathlib import Path

from tint.caution import cautions
from tint.errors import DataError, LimitError
from tint.files import new_folder, refuse_overwrite
from tint.job.drawing import dxf_text, svg_text
from tint.job.heat import HeatInputs
from tint.job.masks import mask_name, mask_png, pitch_remark
from tint.job.order import Timing, heat_remarks, plan_order
from tint.job.readme import readme_text
from tint.job.record import FILE_NAME, Job, job_text, read_job
from tint.layers.layers import Layers
from tint.measure.patches import settings_table
from tint.setting import Machine, Setting

__all__ = ["Job", "plan_job", "read_job", "write_job"]

SLACK_MM = 1e-6  # rounding of sizes; a nanometre


def write_job(
    layers: Layers, machine: Machine, folder: str | Path, *, force: bool = False, at_mm: tuple[float, float] | None = None,
    date: str | None = None, timing: Timing | None = None, heat: HeatInputs | None = None,
) -> Job:  # fmt: skip
    """Job of the layers, written as a folder: drawings, masks, settings, proof, sheet and a README.

    Parameters
    ----------
    folder : where; it appears only when complete
    force : replace a job that is there
    at_mm : place of the artwork's top left corner from the blank's top left corner [mm]; None centres it
    date : ISO date; None takes today
    timing, heat : what times and temperatures are computed with; None takes the stated defaults

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    DataError
        No layer is used.
    LimitError
        A setting outside the machine, artwork larger than the machine's field or the blank.
    """
    from tint.job.sheet import sheet_pdf
    from tint.layers.proof import proof_image

    refuse_overwrite(folder, force)
    job = plan_job(layers, machine, at_mm=at_mm, date=date, timing=timing, heat=heat)
    with new_folder(folder, force=force) as place:
        (place / "masks").mkdir()
        for layer in job.layers:
            (place / "masks" / mask_name(layer)).write_bytes(mask_png(layers.labels, layer.number, layers.pitch_mm))
        proof_image(layers).save(place / "proof.png", compress_level=3)
        texts = {
            FILE_NAME: job_text(job),
            "settings.csv": settings_text(job),
            "layers.svg": svg_text(layers, job.layers),
            "layers.dxf": dxf_text(layers, job.layers),
            "README.txt": readme_text(job),
        }
        for name, text in texts.items():
            (place / name).write_bytes(text.encode("utf-8"))
        (place / "sheet.pdf").write_bytes(sheet_pdf(job, layers))
    return job


def plan_job(
    layers: Layers, machine: Machine, *, at_mm: tuple[float, float] | None = None, date: str | None = None,
    timing: Timing | None = None, heat: HeatInputs | None = None,
) -> Job:  # fmt: skip
    """Job of the layers, nothing written; parameters and errors as `write_job`."""
    if not layers.used:
        raise DataError(f"{layers.name} uses no colour of the palette: nothing to mark. Separate other artwork.")
    timing, heat = timing or Timing(), heat or HeatInputs()
    place_mm = _place_mm(layers, machine, at_mm)
    planned = plan_order(layers, machine, timing, heat)
    height_px, width_px = layers.labels.shape
    remarks = [
        *layers.palette.remarks,
        *_other_machine(layers, machine),
        *heat_remarks(layers, planned, heat),
        pitch_remark(width_px, height_px, layers.pitch_mm),
        *layers.remarks,
    ]
    return Job(
        layers.name, _iso_date(date), round(layers.width_mm, 6), round(layers.height_mm, 6), place_mm, layers.pitch_mm,
        machine, layers.palette.stock, layers.palette.name, planned, tuple(line for line in dict.fromkeys(remarks) if line),
        cautions(machine.wavelength_nm), timing, heat, layers.palette.jitter,
    )  # fmt: skip


def settings_text(job: Job) -> str:
    """CSV text of the settings in marking order: order, layer, name, then the fields of a setting."""
    extra = {
        "order": [layer.order for layer in job.layers],
        "layer": [layer.number for layer in job.layers],
        "name": [layer.name for layer in job.layers],
    }
    return settings_table(Setting.from_table([layer.setting.table() for layer in job.layers]), extra)


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
        return tuple(round((most - side) / 2, 3) for side, most in zip(size, blank, strict=True))
    x, y = (float(value) for value in at_mm)
    if not (x >= 0 and y >= 0 and x + size[0] <= blank[0] + SLACK_MM and y + size[1] <= blank[1] + SLACK_MM):
        raise LimitError(
            f"artwork at {x:g}, {y:g} mm does not lie on the blank; its corner can be at 0 to {blank[0] - size[0]:g}, "
            f"0 to {blank[1] - size[1]:g} mm."
        )
    return x, y


def _other_machine(layers: Layers, machine: Machine) -> tuple[str, ...]:
    made_on = layers.palette.machine
    if machine == made_on:
        return ()
    if machine.name != made_on.name:
        what = f"the palette was made on {made_on.name}, this job is for {machine.name}"
    else:
        what = f"{machine.name} has changed since the palette was made on it"
    return (f"Other machine: {what}. Colours will shift: mark and compare the trial before the piece.",)


def _iso_date(date: str | None) -> str:
    if date is None:
        return datetime.date.today().isoformat()
    try:
        return datetime.date.fromisoformat(date).isoformat()
    except ValueError:
        raise LimitError(f"date {date!r} is not a date; write it as 2026-03-14.") from None
