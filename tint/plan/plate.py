"""The folder of a plate: its grid, settings, drawing, map, a table for the readings, and how to go about it."""

from __future__ import annotations

import io
import itertools
import textwrap
from pathlib import Path

import numpy as np

from tint.caution import SHORT, cautions
from tint.errors import LimitError
from tint.files.write import new_folder
from tint.plan.grid import Grid, write_grid
from tint.plan.marks import mark_outline, mark_squares
from tint.setting import FIELDS

# squares stand within 0.05 mm of their place; a whole number of pixels per metre, as PNG states it
MASK_PITCH_MM = 0.1
# height of the map's caption: it stands in the rim, `tint.plan.layout.EDGE_MM` wide, that holds no mark
CAPTION_MM = 2.4
MARKS_MASK = "registration.png"
MOST_MASK_PX = 400_000_000  # a sheet of 2 × 2 m: half a gigabyte while one mask is drawn


def write_plate(grid: Grid, folder: str | Path, *, force: bool = False) -> Path:
    """Path of the plate's folder, written whole: grid, settings, drawing, masks, map, a table for the readings, how to go about it.

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    """
    columns = ["order", "patch", *FIELDS]
    rows = [
        [str(int(grid.order[i])), grid.ids[i], *(f"{value:.10g}" for value in grid.setting.table()[i])]
        for i in np.argsort(grid.order)
    ]  # fmt: skip
    texts = {
        "settings.csv": "\n".join(
            [f"# caution: {SHORT}", *_marks_fact(grid), *(",".join(row) for row in [columns, *rows]), ""]
        ),
        "plate.svg": plate_svg(grid),
        "map.svg": plate_svg(grid, names=True),
        "reading.csv": blank_reading(grid),
        "README.txt": _plate_readme(grid),
    }
    with new_folder(folder, "grid", force=force) as place:
        write_grid(grid, place / "grid.json")
        for name, text in texts.items():
            (place / name).write_text(text, encoding="utf-8")
        (place / "masks").mkdir()
        for name, content in _masks(grid).items():
            (place / "masks" / name).write_bytes(content)
    return Path(folder)


def time_words(grid: Grid) -> str:
    """How long a plate takes, in words and minutes, with a digit behind the point below ten."""
    parts = [f"about {_minutes(grid.time_s)} min of scanning", f"{_minutes(grid.turn_s)} of turn-round"]
    if grid.registration is not None:
        parts.append(f"{_minutes(grid.marks_time_s)} for registration marks")
    return ", ".join(parts)


def _minutes(time_s: float) -> str:
    return f"{time_s / 60:.{1 if time_s < 600 else 0}f}"


def blank_reading(grid: Grid) -> str:
    """CSV text to fill in with readings: a row for the bare metal and one per patch; `tint measure` reads it."""
    head = (
        f"# plate: {grid.mark}",
        "# illuminant: D50",
        "# instrument: ",
        "# geometry: ",
        "patch,L,a,b,flag",
        "bare,,,,",
    )
    return "\n".join([*head, *(f"{name},,,," for name in grid.ids), ""])


def _marks_fact(grid: Grid) -> list[str]:
    if grid.registration is None:
        return []
    return [f"# registration marks: any dark, even mark; a start: {grid.registration.setting}"]


def _masks(grid: Grid) -> dict[str, bytes]:
    """PNG masks by file name: one per patch, numbered in marking order, and one of all registration marks."""
    from PIL import Image, ImageDraw

    width_mm, height_mm = grid.plate_mm
    if width_mm * height_mm / MASK_PITCH_MM**2 > MOST_MASK_PX:
        raise LimitError(
            f"a plate of {width_mm:g} × {height_mm:g} mm is too large for its masks (up to {MOST_MASK_PX * MASK_PITCH_MM**2 / 1e6:g} m²). "
            "State the size of the piece that lies in the machine as size_mm of the stock."
        )
    width_px, height_px = (max(1, round(length / MASK_PITCH_MM)) for length in grid.plate_mm)

    def png(polygons: list[np.ndarray]) -> bytes:
        picture = Image.new("1", (width_px, height_px), 1)
        draw = ImageDraw.Draw(picture)
        for polygon in polygons:  # a corner at pixel k means pixels k, k + 1, … are inside: the far edge is not
            low, high = np.round(polygon.min(axis=0) / MASK_PITCH_MM), np.round(polygon.max(axis=0) / MASK_PITCH_MM) - 1
            draw.rectangle([*low.astype(int).tolist(), *high.astype(int).tolist()], fill=0)
        out = io.BytesIO()
        picture.save(out, "PNG", dpi=(25.4 / MASK_PITCH_MM, 25.4 / MASK_PITCH_MM), compress_level=3)
        return out.getvalue()

    half, digits = grid.patch_mm / 2, len(str(len(grid)))
    masks = {
        f"{grid.order[i]:0{digits}d}-{grid.ids[i]}.png": png([grid.xy_mm[i] + np.array([[-half, -half], [half, half]])])
        for i in np.argsort(grid.order)
    }
    if grid.registration is not None:
        masks[MARKS_MASK] = png([cell for mark in grid.registration.marks for cell in mark_squares(mark)])
    return masks


def _plate_readme(grid: Grid) -> str:
    title = f"{grid.name} ({grid.mark}): {len(grid)} patches on {grid.stock.name}, for {grid.machine.name}"
    files = (
        "settings.csv  one row per patch, in the order to mark them. Keep to this order: it is shuffled so that a drift",
        "              of the laser is not mistaken for an effect of a setting.",
        "plate.svg     the squares at their places [mm], each in a group named by its patch. This is what to mark.",
        f"masks/        the same as pictures, one per patch, numbered in marking order. Black is marked; a pixel is {MASK_PITCH_MM:g} mm.",
        "map.svg       the same with names and order numbers, to print and tick off. Not to be marked.",
        "reading.csv   fill in L, a, b (CIELAB D50) as the instrument gives them; 'bare' is the unmarked metal. A patch that",
        "              is scratched or uneven gets a word in the column flag. Rows left empty count as not read.",
        "grid.json     what tint needs to join the readings: tint measure THIS-FOLDER reading.csv -o patches.csv",
    )
    marks: tuple[str, ...] = ()
    if grid.registration is not None:
        marks = (
            "Mark the group 'registration' first, with any setting that gives a dark, even mark (black, brown or dark grey,",
            f"   not shiny): a start is {grid.registration.setting}.",
            f"   About {grid.marks_time_s / 60:.1f} min. A camera finds the plate by them; keep the metal about each of them bare.",
        )
    steps = (
        "Clean the plate (no grease, no fingerprints) and the lens, clamp the plate flat, set the focus.",
        "The drawing's top left corner is the plate's top left corner; its size is the plate's size.",
        *marks,
        "For each row of settings.csv: choose that patch's square alone, enter its settings exactly, fill it with scan lines at",
        "   the stated spacing, no outline. Mark no place more often than its passes say: heating again changes the colour.",
        "Let the plate cool when it gets warm to the hand; a hot plate shifts colours.",
        "Wipe when cold, measure each square in its middle and the bare metal beside, always turned the same way.",
        *_photo_step(grid),
    )
    heads = (("FILES", files), ("AT THE MACHINE", _numbered(steps)))
    said = textwrap.wrap(
        f"{time_words(grid)}; entering {len(grid)} settings not counted",
        110,
    )
    lines = [*textwrap.wrap(title, 110), *said]
    for head, body in heads:
        lines += ["", head, *body]
    lines += ["", "BEFORE YOU START"]
    for line in cautions(grid.machine.wavelength_nm, grid.stock.grade):
        lines += textwrap.wrap(line, 110, initial_indent="- ", subsequent_indent="  ")
    return "\n".join([*lines, ""])


def _numbered(lines: tuple[str, ...]) -> tuple[str, ...]:
    """The lines with a number before each that is not indented: an indented one goes on with the step above."""
    count = itertools.count(1)
    return tuple(line if line.startswith(" ") else f"{next(count)}. {line}" for line in lines)


def _photo_step(grid: Grid) -> tuple[str, ...]:
    how = (
        "   Or photograph it: plate and a 24-patch colour chart side by side, flat in one plane, filling the picture, sharp, the",
        "   camera straight above in even daylight or under two lamps from the sides, nothing bright mirrored in the metal,",
        "   nothing over-exposed. Two or three photos with the plate turned a quarter each show up glare:",
        "   tint measure THIS-FOLDER photo.jpg --kind photo --chart EDITION -o patches.csv",
    )
    if grid.registration is None:
        return (
            *how,
            "   This plate has no room for registration marks: state its four corners in the picture with --corners.",
        )
    return how


def plate_svg(grid: Grid, *, names: bool = False) -> str:
    """SVG drawing of the plate in mm: one square per patch in a group named by its id, its setting as the title.

    Parameters
    ----------
    names : add the plate's edge, patch names and order numbers: a map to print, not to mark
    """
    width, height = grid.plate_mm
    half = grid.patch_mm / 2
    squares, words = [], []
    for i in np.argsort(grid.order):
        x, y = grid.xy_mm[i]
        squares.append(
            f'  <g id="patch-{grid.ids[i]}"><title>{grid.ids[i]}, number {grid.order[i]} in order: {grid.setting[i]}</title>'
            f'<rect x="{x - half:.4f}" y="{y - half:.4f}" width="{grid.patch_mm:g}" height="{grid.patch_mm:g}"/></g>'
        )
        size = grid.patch_mm / 3
        words.append(
            f'  <text x="{x:.3f}" y="{y - 0.05 * size:.3f}" font-size="{size:.3f}" font-weight="bold">{grid.ids[i]}</text>'
        )
        words.append(
            f'  <text x="{x:.3f}" y="{y + 1.05 * size:.3f}" font-size="{0.8 * size:.3f}">{grid.order[i]}</text>'
        )
    edge = f'<rect x="0.1" y="0.1" width="{width - 0.2:g}" height="{height - 0.2:g}" fill="none" stroke="#777777" stroke-width="0.2"/>'
    extra = (
        f'<g id="map-only" fill="#111111" font-family="sans-serif" text-anchor="middle">\n{edge}\n'
        + "\n".join(words)
        + "\n"
        + "".join(_bare_on_map(grid))
        + _map_caption(grid)
        + "</g>\n"
        if names
        else ""
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">\n'
        f"<title>{_escape(grid.name)} ({grid.mark}): {len(grid)} patches on {_escape(grid.stock.name)}</title>\n<desc>{SHORT}</desc>\n"
        '<g id="patches" fill="#d5d5d5" stroke="none">\n'
        + "\n".join(squares)
        + f"\n</g>\n{_registration_group(grid)}{extra}</svg>\n"
    )


def _map_caption(grid: Grid) -> str:
    """Which plate the map is of, at its bottom edge, which also tells its top."""
    width, height = grid.plate_mm
    words = f"{grid.name} ({grid.mark}): {len(grid)} patches on {grid.stock.name}. A map, not to be marked."
    size = min(CAPTION_MM, (width - 4) / (0.55 * len(words)))  # a sans-serif letter is about half as wide as it is high
    return f'  <text id="caption" x="{width / 2:.3f}" y="{height - 1.3:.3f}" font-size="{size:.3f}">{_escape(words)}</text>\n'


def _registration_group(grid: Grid) -> str:
    """Registration marks as one group of the drawing, each mark one shape; "" where there are none."""
    if grid.registration is None:
        return ""
    shapes = []
    for mark in grid.registration.marks:
        rings = (" L".join(f"{x:.4f} {y:.4f}" for x, y in ring) for ring in mark_outline(mark))
        shapes.append(f'  <path id="mark-{mark.number}" d="{" ".join(f"M{ring} Z" for ring in rings)}"/>')
    title = f"<title>registration marks: any dark, even mark, such as {grid.registration.setting}</title>"
    return (
        '<g id="registration" fill="#333333" fill-rule="evenodd" stroke="none">'
        + title
        + "\n"
        + "\n".join(shapes)
        + "\n</g>\n"
    )


def _bare_on_map(grid: Grid) -> list[str]:
    if grid.registration is None:
        return []
    half, size = grid.patch_mm / 2, grid.patch_mm / 4
    return [
        f'  <rect x="{x - half:.4f}" y="{y - half:.4f}" width="{grid.patch_mm:g}" height="{grid.patch_mm:g}" fill="none" '
        f'stroke="#777777" stroke-width="0.15" stroke-dasharray="0.8 0.5"/><text x="{x:.3f}" y="{y + size / 3:.3f}" '
        f'font-size="{size:.3f}">bare</text>\n'
        for x, y in grid.registration.bare_xy_mm
    ]


def _escape(text: str) -> str:
    text = "".join(c for c in text if c.isprintable())
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
