"""Values as the page gets them: plain numbers, screen colours, settings in words."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tint.lab import hex_from_lab
from tint.palette.palette import Palette
from tint.setting import Setting, Stock


def rounded(value: Any, digits: int = 3) -> float | None:
    """The number, None where it is not known."""
    number = float(value)
    return round(number, digits) if math.isfinite(number) else None


def lab_plain(lab: Any) -> list[float]:
    """L, a, b with two decimals."""
    return [round(float(value), 2) + 0.0 for value in lab]


def hexes(lab: np.ndarray) -> list[str]:
    """Screen colours of Lab (n, 3)."""
    return [hex_from_lab(each) for each in lab.reshape(-1, 3)]


def setting_plain(setting: Setting) -> dict[str, Any]:
    """A single setting by field and in words."""
    return {"fields": setting.as_dict(), "words": str(setting)}


def stock_words(stock: Stock) -> str:
    """Stock in a few words."""
    parts = (stock.name, f"{stock.grade} {stock.finish}", f"{stock.thickness_mm:g} mm", stock.batch)
    return " · ".join(part for part in parts if part)


def palette_plain(palette: Palette) -> dict[str, Any]:
    """A palette for swatches."""
    return {
        "name": palette.name,
        "machine": palette.machine.name,
        "stock": stock_words(palette.stock),
        "remarks": list(palette.remarks),
        "jitter": palette.jitter,
        "bare": hex_from_lab(palette.bare_lab),
        "colours": [
            {
                "number": number,
                "name": colour.name,
                "hex": hex_from_lab(colour.lab),
                "lab": lab_plain(colour.lab),
                "de00_90": rounded(colour.de00_90, 2),
                "sensitivity_de00": rounded(colour.sensitivity_de00, 2),
                "setting": setting_plain(colour.setting),
            }
            for number, colour in enumerate(palette.colours, 1)
        ],
    }
