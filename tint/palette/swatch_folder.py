"""The folder of swatches for design programs: `palette.gpl`, `palette.css`, `swatches.svg`, `palette.icc`, `README.txt`."""

from __future__ import annotations

import textwrap
from pathlib import Path

from tint.caution import SHORT
from tint.files.write import new_folder, refuse_folder
from tint.palette.palette import Palette
from tint.palette.profile import palette_profile
from tint.palette.swatch_sheet import swatch_sheets
from tint.palette.swatch_text import beyond_screen, css_text, gpl_text


def write_swatches(
    palette: Palette, folder: str | Path, *, date: str | None = None, force: bool = False
) -> tuple[str, ...]:
    """Names of the files written into a new folder.

    Parameters
    ----------
    date : ISO date that stands in the ICC profile; None today

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    """
    refuse_folder(folder, "swatches", force)  # before the profile, which takes a second
    sheets = swatch_sheets(palette)
    contents: dict[str, str | bytes] = {"palette.gpl": gpl_text(palette), "palette.css": css_text(palette)}
    for number, sheet in enumerate(sheets, 1):
        contents["swatches.svg" if len(sheets) == 1 else f"swatches-{number}.svg"] = sheet
    contents["palette.icc"] = palette_profile(palette, date)
    contents["README.txt"] = _readme(palette, tuple(contents))
    with new_folder(folder, "swatches", force=force) as place:
        for name, content in contents.items():
            (place / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return tuple(contents)


def _readme(palette: Palette, names: tuple[str, ...]) -> str:
    sheets = ", ".join(name for name in names if name.endswith(".svg"))
    dull = int(beyond_screen(palette.lab).sum())
    lines = [
        f"Swatches of the palette {palette.name}",
        f"{palette.stock.name} on {palette.machine.name}; number 0 is the bare metal",
        "",
        "palette.gpl    the colours by number and name, sRGB, as a GIMP palette; many drawing programs read it",
        "palette.css    the same as CSS variables, in sRGB and in CIELAB",
        f"{sheets:14s} to print: true size in millimetres, with settings; check the 50 mm ruler",
        "palette.icc    ICC v4 output profile for soft proofing in any colour-managed editor",
        "",
        "The profile",
        *textwrap.wrap(
            "Choose palette.icc as the profile to proof with, relative colorimetric, and turn black point compensation off. The "
            "picture then shows each colour as the nearest that marks side by side (a tonal separation) can come to; colours of "
            "this palette stay as they are. Places that change are out of reach. Perceptual instead stretches lightness first: "
            "white becomes bare metal, black the darkest colour. White in the profile is a perfect white, so bare metal shows "
            "as the grey it is. Many editors pin pure white to the screen's white all the same, and what is nearly white runs into "
            "it: paint what is to stay bare in colour 0 to see it as metal. A flat "
            "separation shows less: only the swatches themselves. For that use `tint separate`.",
            110,
        ),
        *([f"{dull} of the colours lie outside sRGB: screens and the sRGB values show them duller than they are."] if dull else []),
        "",
        *(line for remark in palette.remarks for line in textwrap.wrap(remark, 110)),
        "Screens and printers differ, and metal shifts with the angle: a guide, not a promise.",
        *textwrap.wrap(SHORT, 110),
        "",
    ]  # fmt: skip
    return "\n".join(lines)
