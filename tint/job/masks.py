"""Masks: one black-and-white picture per layer, for machines that mark pictures."""

from __future__ import annotations

import io
import re
import unicodedata

import numpy as np

from tint.job.order import JobLayer

MAX_NAME_LENGTH = 32  # characters of a colour's name kept in a file name
SEEN_SPOT = 0.1  # of the spot: less than its own border's roughness (common practice, no source)
POLARITY = "Black is marked, white stays bare."


def safe_name(text: str) -> str:
    """Name for files and drawing layers: small letters a–z, digits and single dashes; "colour" where nothing is left.

    Examples
    --------
    >>> safe_name("Dark Blue / Nº 2"), safe_name("grün"), safe_name("青")
    ('dark-blue-no-2', 'grun', 'colour')
    """
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:MAX_NAME_LENGTH].rstrip("-") or "colour"


def layer_name(order: int, name: str) -> str:
    """Name of a layer in every file of the job, such as "04-dark-blue"; its place in the marking order makes it unique.

    Examples
    --------
    >>> layer_name(4, "Dark blue")
    '04-dark-blue'
    """
    return f"{order:02d}-{safe_name(name)}"


def mask_name(layer: JobLayer) -> str:
    """File name of a layer's mask, such as "04-dark-blue.png"."""
    return f"{layer_name(layer.order, layer.name)}.png"


def hatch_name(layer: JobLayer) -> str:
    """File name of a layer's scan lines, such as "04-dark-blue.svg"."""
    return f"{layer_name(layer.order, layer.name)}.svg"


def mask_png(labels: np.ndarray, number: int, pitch_mm: float) -> bytes:
    """PNG (1 bit per pixel) of a layer: black where `labels` (h, w) equals `number`, with the pitch [mm] in its pHYs chunk.

    Notes
    -----
    PNG states whole pixels per metre only; `pitch_remark` says what that costs.

    References
    ----------
    W3C, Portable Network Graphics (PNG) Specification, section 11.3.4.3 (pHYs).
    """
    from PIL import Image

    picture = Image.fromarray(labels != number)  # one bit a pixel, False is black
    dots_per_inch = _pixels_per_m(pitch_mm) * 0.0254  # Pillow turns it back into the same whole number
    out = io.BytesIO()
    picture.save(out, "PNG", dpi=(dots_per_inch, dots_per_inch))
    return out.getvalue()


def pitch_remark(width_px: int, height_px: int, pitch_mm: float) -> str:
    """What to do where a PNG cannot state this pitch exactly; "" where it can.

    Examples
    --------
    >>> pitch_remark(1200, 800, 0.05)
    ''
    >>> pitch_remark(1200, 800, 0.03)[:66]
    'Masks: a PNG cannot state 0.03 mm per pixel exactly; loaded by its'
    """
    per_m = _pixels_per_m(pitch_mm)
    if abs(per_m * pitch_mm / 1e3 - 1) < 1e-9:
        return ""
    width_mm, height_mm = width_px * pitch_mm, height_px * pitch_mm
    off_um = 1e3 * _off_mm(max(width_px, height_px), pitch_mm)
    side = "width" if width_px >= height_px else "height"
    return (
        f"Masks: a PNG cannot state {pitch_mm:.4g} mm per pixel exactly; loaded by its own pitch a mask is {off_um:+.2g} µm "
        f"off in {side}. Type in the size: {width_mm:.4f} × {height_mm:.4f} mm."
    )


def pitch_seen(width_px: int, height_px: int, pitch_mm: float, spot_mm: float) -> bool:
    """Whether a mask loaded by its own pitch [mm] would be off by what can be seen beside a spot of this size [mm].

    Examples
    --------
    >>> pitch_seen(1332, 888, 0.03, 0.06), pitch_seen(300, 200, 0.37, 0.06)
    (False, True)
    """
    return abs(_off_mm(max(width_px, height_px), pitch_mm)) >= SEEN_SPOT * spot_mm


def _off_mm(side_px: int, pitch_mm: float) -> float:
    """How much longer a side of a mask comes out by its own pitch than it is [mm]."""
    return side_px / _pixels_per_m(pitch_mm) * 1e3 - side_px * pitch_mm


def _pixels_per_m(pitch_mm: float) -> int:
    return max(1, round(1e3 / pitch_mm))
