"""Contact sheets: every artwork of a batch as a small proof with its name, to look over at a glance."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from tint.batch.folder import Record
from tint.palette.lettering import fitting, wrapped

ACROSS, DOWN = 5, 6
CELL_PX, PICTURE_PX, FAILED_PX, FOOT_PX, GAP_PX, MARGIN_PX = 276, 240, 120, 48, 24, 30
GREY, DARK, LOUD = (119, 119, 119), (60, 60, 60), (255, 205, 120)  # a neutral surround: colours look as they are


def contact_sheets(records: Iterable[tuple[Record, bytes]], title: str, remark: str = "") -> Iterator[Any]:
    """Pillow pictures (RGB), thirty artworks on each.

    Parameters
    ----------
    records : each with the PNG of its proof, b"" where it failed
    title : stands on top of each
    remark : below it, what a reader must know of the colours, such as "simulated"
    """
    from PIL import Image, ImageDraw, ImageFont

    rows = list(records)
    big, small = ImageFont.load_default(24), ImageFont.load_default(16)
    per = ACROSS * DOWN
    pages = max(1, -(-len(rows) // per))
    for page in range(pages):
        here = rows[page * per : (page + 1) * per]
        tops = _tops(here)
        height = tops[-1] + 46
        sheet = Image.new("RGB", (2 * MARGIN_PX + ACROSS * CELL_PX, height), GREY)
        draw = ImageDraw.Draw(sheet)
        draw.text((MARGIN_PX, 26), fitting(title, big, ACROSS * CELL_PX - 150), font=big, fill="white")
        draw.text((MARGIN_PX, 57), fitting(remark, small, ACROSS * CELL_PX), font=small, fill=LOUD)
        if pages > 1:
            draw.text((MARGIN_PX + ACROSS * CELL_PX - 90, 30), f"{page + 1} of {pages}", font=small, fill="white")
        for i, (record, png) in enumerate(here):
            x, foot = MARGIN_PX + i % ACROSS * CELL_PX, tops[i // ACROSS + 1] - FOOT_PX - GAP_PX
            if png:
                with Image.open(io.BytesIO(png)) as proof:
                    sheet.paste(proof.convert("RGB"), (x, foot - proof.height))
                size = f"{record.facts.get('width_mm', 0):.4g} × {record.facts.get('height_mm', 0):.4g} mm"
                layers = round(record.facts.get("layers", 0))
                told = f"{size}, {layers} layer{'s' * (layers != 1)}"
                told, fill = (told, (235, 235, 235)) if record.ok else (f"FAILED: {record.problem}", LOUD)
                draw.text((x, foot + 28), fitting(told, small, PICTURE_PX), font=small, fill=fill)
            else:
                draw.rectangle([x, foot - FAILED_PX, x + PICTURE_PX - 1, foot - 1], outline=DARK, width=2)
                for row, line in enumerate(wrapped(f"FAILED: {record.problem}", small, PICTURE_PX - 24)[:5]):
                    draw.text((x + 12, foot - FAILED_PX + 9 + 21 * row), line, font=small, fill=LOUD)
            draw.text((x, foot + 7), fitting(record.file_name, small, PICTURE_PX), font=small, fill="white")
        note = "Predicted colours: screens differ, and metal shifts with the angle. Mark a trial on scrap of the same batch."
        draw.text((MARGIN_PX, height - 40), note, font=small, fill="white")
        yield sheet


def _tops(records: Sequence[tuple[Record, bytes]]) -> list[int]:
    """Tops of the rows [pixels] and the end of the last: a row is as high as its highest picture."""
    from PIL import Image

    heights = []
    for _, png in records:
        if png:
            with Image.open(io.BytesIO(png)) as proof:
                heights.append(proof.height)
        else:
            heights.append(FAILED_PX)
    tops = [86]
    for start in range(0, len(heights), ACROSS):
        tops.append(tops[-1] + max(heights[start : start + ACROSS]) + FOOT_PX + GAP_PX)
    return tops
