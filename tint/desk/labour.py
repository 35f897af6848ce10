"""What long work does, each in a process of its own: plain values in, files written, plain values out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

Progress = Callable[[str], None]


def separate_in_full(progress: Progress, wish: dict[str, Any], folder: str) -> dict[str, Any]:
    """Facts of the layers written at the artwork's full size into `folder`/layers, its own colours beside them."""
    import numpy as np

    from tint.layers.folder import layers_text, write_layers
    from tint.layers.wanted import wanted_image

    progress("reading the artwork")
    artwork, layers = full_layers(wish, progress)
    progress("writing the layers")
    write_layers(layers, Path(folder) / "layers")
    np.save(Path(folder) / "wanted.npy", np.asarray(wanted_image(artwork, layers.pitch_mm)))
    height, width = layers.labels.shape
    return {
        "text": layers_text(layers), "width_px": width, "height_px": height, "pitch_mm": layers.pitch_mm, "remarks": list(layers.remarks),
    }  # fmt: skip


def read_drawing_aside(progress: Progress, path: str, width_mm: float | None) -> dict[str, Any]:
    """Name and size of a drawing, and its shapes: regions as WKB, colours, sources."""
    import shapely

    from tint.artwork.artwork import Drawing, read_artwork

    progress("cutting away what lies hidden under other shapes")
    drawing = read_artwork(path, width_mm)
    shapes = drawing.shapes if isinstance(drawing, Drawing) else ()
    return {
        "name": drawing.name, "width_mm": drawing.width_mm, "height_mm": drawing.height_mm,
        "regions": [shapely.to_wkb(shape.region) for shape in shapes], "srgb255": [shape.srgb255 for shape in shapes],
        "sources": [shape.source for shape in shapes],
    }  # fmt: skip


def write_job_and_zip(progress: Progress, wish: dict[str, Any], folder: str) -> dict[str, Any]:
    """Facts of the job written and zipped in `folder`, at the artwork's full size."""
    from tint.job.job import write_job
    from tint.job.summary import job_summary
    from tint.setting import read_machine, read_stock

    progress("reading the artwork")
    _, layers = full_layers(wish, progress)
    progress("writing drawings, masks, settings and the sheet")
    machine = read_machine(wish["machine"]) if wish["machine"] else layers.palette.machine
    stock = read_stock(wish["stock"]) if wish["stock"] else None
    place = Path(folder) / wish["name"]
    job = write_job(
        layers, machine, place, hatch=wish["hatch"], trial=wish["trial"], inset_spot=wish["inset_spot"], stock=stock
    )
    progress("packing the folder")
    packed = zipped(place)
    return {"text": job_summary(job), "remarks": list(job.remarks), "zip": str(packed), "total_s": job.total_s}


def full_layers(wish: dict[str, Any], progress: Progress) -> tuple[Any, Any]:
    """Artwork and its layers, as the page asked for them."""
    from tint.artwork.artwork import read_artwork
    from tint.desk.separation import separated
    from tint.palette.palette import read_palette

    artwork = read_artwork(wish["artwork"], wish["width_mm"])
    return artwork, separated(artwork, read_palette(wish["palette"]), wish["options"], None, progress)


def fit_patches(
    progress: Progress, patches: str, machine: str, stock: str, base: str | None, path: str
) -> dict[str, Any]:
    """Report of the model fitted and written to `path`."""
    from tint.measure.patches import read_patches
    from tint.model.adapt import adapt
    from tint.model.fit import fit
    from tint.model.model import read_model, write_model
    from tint.model.report import report_text
    from tint.setting import read_machine, read_stock

    rows = read_patches(patches)
    laser, sheet = read_machine(machine), read_stock(stock)
    good = int(rows.good.sum())
    progress(f"fitting colour to the settings of {good} patches, holding some out in turn")
    model = fit(rows, laser, sheet) if base is None else adapt(read_model(base), rows, laser, sheet)
    progress("writing the model")
    write_model(model, path)
    return {"text": report_text(model.report), "path": path}


def read_plate_photo(
    progress: Progress, photo: str, grid: str, chart: str, corners_px: list[list[float]] | None, folder: str
) -> dict[str, Any]:
    """Facts of the patches read from a photo and written to `folder`, with a picture of what was read where."""
    import numpy as np

    from tint.measure.patches import write_patches
    from tint.measure.photo.overlay import overlay_png
    from tint.measure.photo.read import read_photo
    from tint.plan.grid import read_grid

    progress("finding plate and chart, reading every patch")
    planned = read_grid(grid)
    patches, (one,) = read_photo(
        planned, photo, chart=chart, corners_px=None if corners_px is None else np.array(corners_px)
    )
    progress("drawing what was read")
    write_patches(patches, Path(folder) / "patches.csv")
    (Path(folder) / "overlay.png").write_bytes(overlay_png(planned, one))
    said = [
        *one.remarks,
        "camera colours: compare them with each other, not with an instrument's",
    ]
    corners = one.plate.outline_px(planned)
    return {
        "patches": len(patches),
        "size_px": list(one.photo.size_px),
        "corners_px": corners.round(1).tolist(),
        "said": said,
    }


def zipped(folder: Path) -> Path:
    """ZIP beside a folder, holding it under its own name; the mark of tint's own files stays out."""
    import zipfile

    from tint.files.write import LIST_NAME

    path = folder.with_name(f"{folder.name}.zip")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as pack:
        for item in sorted(folder.rglob("*")):
            if item.is_file() and item.name != LIST_NAME:
                stored = zipfile.ZIP_STORED if item.suffix in (".png", ".pdf") else zipfile.ZIP_DEFLATED
                pack.write(item, f"{folder.name}/{item.relative_to(folder).as_posix()}", stored)
    return path
