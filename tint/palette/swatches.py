"""A picture of a palette: swatches with number, name, setting and how sure each is."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from tint.caution import SHORT
from tint.errors import FileError
from tint.files.write import refuse_overwrite, write_files
from tint.lab import srgb255_from_lab
from tint.palette.lettering import drawable, fitting, wrapped
from tint.palette.palette import Palette, palette_text
from tint.palette.swatch_text import doubt_words

_ROW_PX, _SWATCH_PX, _WIDTH_PX, _TOP_PX = 84, 150, 1100, 132


def palette_picture(palette: Palette) -> Any:
    """Pillow picture (RGB) of a palette on a neutral grey surround, one row per colour, the bare metal first."""
    from PIL import Image, ImageDraw, ImageFont

    big, small = ImageFont.load_default(26), ImageFont.load_default(19)
    said = f"{doubt_words(palette)} Screens differ, and metal shifts with the angle."
    foot = [line for text in (said, SHORT) for line in wrapped(text, small, _WIDTH_PX - 60)]
    remarks = [line for remark in palette.remarks for line in wrapped(remark, small, _WIDTH_PX - 60)]
    top = _TOP_PX + 26 * len(remarks)
    picture = Image.new("RGB", (_WIDTH_PX, top + _ROW_PX * (len(palette) + 1) + 44 + 26 * len(foot)), (119, 119, 119))
    draw = ImageDraw.Draw(picture)
    draw.text((30, 24), fitting(palette.name, big, _WIDTH_PX - 60), font=big, fill="white")
    draw.text(
        (30, 62),
        fitting(f"{palette.machine.name} · {palette.stock.grade} {palette.stock.finish}", small, _WIDTH_PX - 60),
        font=small,
        fill=(240, 240, 240),
    )
    for i, line in enumerate(remarks):
        draw.text((30, 94 + 26 * i), line, font=small, fill=(255, 226, 150))
    colours = srgb255_from_lab(palette.lab)
    for number in range(len(palette) + 1):
        y = top + _ROW_PX * number
        draw.rectangle([30, y, 30 + _SWATCH_PX, y + _ROW_PX - 10], fill=tuple(colours[number].tolist()))
        x = 60 + _SWATCH_PX
        lab = "L {:.0f}  a {:+.0f}  b {:+.0f}".format(*(palette.lab[number].round() + 0.0))
        if number == 0:
            draw.text((x, y + 6), "0  bare metal", font=big, fill="white")
            draw.text((x, y + 42), lab, font=small, fill=(240, 240, 240))
            continue
        colour = palette.colours[number - 1]
        draw.text((x, y + 2), fitting(f"{number}  {colour.name}", big, 420), font=big, fill="white")
        draw.text(
            (x + 430, y + 7),
            f"{lab}   ±{colour.de00_90:.1f}   jitter {colour.sensitivity_de00:.1f}",
            font=small,
            fill="white",
        )
        draw.text((x, y + 40), str(colour.setting), font=small, fill=(240, 240, 240))
    under = top + _ROW_PX * (len(palette) + 1) + 10
    for i, line in enumerate(foot):
        draw.text((30, under + 26 * i), drawable(line, small), font=small, fill="white")
    return picture


def write_palette_and_picture(palette: Palette, path: str | Path, *, force: bool = False) -> Path:
    """Path of the PNG written beside the palette file, `NAME.swatches.png` for `NAME.json`; neither where one is in the way.

    Raises
    ------
    FileError
        A name that does not end in .json, a file that is there and `force` is not set, or a place that cannot be written.
    """
    path = Path(path)
    refuse_palette(path, force=force)
    out = io.BytesIO()
    palette_picture(palette).save(out, "PNG")
    picture = path.with_name(f"{path.stem}.swatches.png")
    write_files({path: palette_text(palette), picture: out.getvalue()}, force=force)
    return picture


def refuse_palette(path: str | Path, *, force: bool = False, curve: bool = False) -> Path:
    """Path of the error curve's picture that stands beside the palette file, `NAME.curve.png` for `NAME.json`.

    Parameters
    ----------
    curve : refuse also where that picture is in the way

    Raises
    ------
    FileError
        A palette, or a picture beside it, may not be written there.
    """
    path = Path(path)
    if path.suffix.lower() != ".json":
        raise FileError(
            f"{path}: a palette is written as .json, with its picture beside it; choose a name such as {path.stem}.json."
        )
    curve_path = path.with_name(f"{path.stem}.curve.png")
    for each in (path, path.with_name(f"{path.stem}.swatches.png"), *([curve_path] if curve else [])):
        refuse_overwrite(each, force)
    return curve_path
