"""An ICC profile of a palette, for soft proofing: a design seen through it shows what marks side by side can come to."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterable

import numpy as np

from tint.lab import delta_e00
from tint.palette.icc import CURVE_STEPS, D50_XYZ, profile_bytes, table_element, text_element, xyz_element
from tint.palette.palette import Palette
from tint.palette.reach import Reach, lab_from_light, light_from_lab

NODES = 33  # per axis: a file under 1 MB; 17 let colours between the palette's be 2–3 times as far off
_CLOSEST = 1 / 512  # nodes nearer than this count as one: half a Lab unit, which nobody sees
_DENSER = 3.0  # nodes stand this much closer where the palette's colours lie than beyond
# Light over white to the three channels of ROMM RGB, whose white is D50 and which holds nearly every surface colour.
# ISO 22028-2, from memory: XYZ to linear RGB; here for X, Y, Z over those of white.
_CHANNELS = np.array([[1.3460, -0.2556, -0.0511], [-0.5446, 1.5082, 0.0205], [0.0, 0.0, 1.2123]]) * D50_XYZ
_CHANNELS = _CHANNELS / _CHANNELS.sum(axis=1, keepdims=True)  # grey has three equal channels, exactly
PERCEPTUAL_BLACK_L = 3.1373  # L* of the darkest colour of the perceptual intent's reference medium (ICC.1:2022, 6.3.4.3)


def palette_profile(palette: Palette, date: str | None = None) -> bytes:
    """Bytes of an ICC v4 output profile (RGB, tables both ways) whose gamut is what the palette's colours can mix to.

    Parameters
    ----------
    date : ISO date of creation; None today

    Notes
    -----
    Colorimetric intents map each colour to the nearest mixture and leave a colour that can be mixed as it is; the white is
    that of the perfect diffuser, so the bare metal appears as grey as it is, with or without paper simulation. Perceptual
    and saturation stretch lightness first: white becomes bare metal, black the darkest colour. Table nodes are placed on the
    palette's own colours, so these pass unchanged as long as the axes have nodes enough (about 25 colours).

    References
    ----------
    ICC.1:2022, Image technology colour management: Architecture, profile format and data structure.
    """
    reach = Reach(palette.lab)
    lab_axes = [axis_nodes(scaled, NODES) for scaled in _scaled_lab(palette.lab).T]
    device_axes = [axis_nodes(channel, NODES) for channel in device_from_lab(palette.lab).T]
    lab, device = _lab_of_scaled(_grid(lab_axes)), _grid(device_axes)
    nearest = reach.nearest(lab)
    shape = (NODES,) * 3
    dark, light = float(palette.lab[:, 0].min()), float(palette.bare_lab[0])
    light = max(light, dark + 1.0)  # a palette with nothing darker than its metal
    stretched = reach.nearest(np.column_stack([_stretched(lab[:, 0], dark, light), lab[:, 1:]]))
    shown = reach.nearest(_lab_of_device(device))
    unstretched = np.column_stack([_unstretched(shown[:, 0], dark, light), shown[:, 1:]])
    to_lab = table_element(device_axes, _scaled_lab(shown).reshape(*shape, 3), from_device=True)
    to_lab_perceptual = table_element(device_axes, _scaled_lab(unstretched).reshape(*shape, 3), from_device=True)
    to_device = table_element(lab_axes, device_from_lab(nearest).reshape(*shape, 3), from_device=False)
    to_device_perceptual = table_element(lab_axes, device_from_lab(stretched).reshape(*shape, 3), from_device=False)
    out_by = delta_e00(lab, nearest)
    beyond = np.where(out_by < 1, 0, np.clip(out_by * 8, 8, 255) / 255).reshape(*shape, 1)
    stock = palette.stock.name
    tags = (
        ("desc", text_element(palette.name if stock in palette.name else f"{palette.name} ({stock})")),
        ("cprt", text_element("Made with tint from the palette of the same name. Free to use; no warranty.")),
        ("wtpt", xyz_element(D50_XYZ)),
        ("A2B0", to_lab_perceptual),
        ("A2B1", to_lab),
        ("A2B2", to_lab_perceptual),
        ("B2A0", to_device_perceptual),
        ("B2A1", to_device),
        ("B2A2", to_device_perceptual),
        ("gamt", table_element(lab_axes, beyond, from_device=False)),
    )
    return profile_bytes(tags, date or datetime.date.today().isoformat())


def device_from_lab(lab: np.ndarray) -> np.ndarray:
    """Device values 0..1 (n, 3) of Lab (n, 3): wide RGB, each channel coded like L*, equal for greys."""
    linear = np.clip(light_from_lab(lab) @ _CHANNELS.T, 0, 1)
    return np.clip(lab_from_light(np.repeat(linear[..., None], 3, axis=-1))[..., 0] / 100, 0, 1)


def axis_nodes(wanted: Iterable[float], count: int) -> np.ndarray:
    """Places (count,) of nodes on an axis 0..1, rising from 0 to 1, on multiples of 1 / 4095.

    Nodes stand on the wanted places as far as they suffice, the others where gaps are widest, gaps between wanted places
    counting more.

    Examples
    --------
    >>> (axis_nodes([0.3, 0.6], 7) * 4095).round().tolist()
    [0.0, 1228.0, 1535.0, 1842.0, 2149.0, 2457.0, 4095.0]
    """
    last = CURVE_STEPS - 1
    places = sorted({round(float(np.clip(value, 0, 1)) * last) for value in wanted})
    apart: list[int] = []
    for place in places:
        if not apart or place - apart[-1] > _CLOSEST * last:
            apart.append(place)
    low, high = apart[0], apart[-1]
    nodes = sorted({0, last, *apart}) if len(apart) <= count - 6 else sorted({0, last, low, high})
    while len(nodes) < count:
        gaps = [
            (end - start) * (_DENSER if low <= start and end <= high else 1.0)
            for start, end in itertools.pairwise(nodes)
        ]
        widest = int(np.argmax(gaps))
        nodes.insert(widest + 1, (nodes[widest] + nodes[widest + 1]) // 2)
    return np.array(nodes) / last


def _grid(axes: list[np.ndarray]) -> np.ndarray:
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _scaled_lab(lab: np.ndarray) -> np.ndarray:
    """Lab as the connection space codes it, 0..1 (ICC.1:2022, 6.3.4.2)."""
    return (np.asarray(lab) + np.array([0, 128, 128])) / (100, 255, 255)


def _lab_of_scaled(scaled: np.ndarray) -> np.ndarray:
    return scaled * (100, 255, 255) - (0, 128, 128)


def _lab_of_device(device: np.ndarray) -> np.ndarray:
    linear = light_from_lab(np.stack([device * 100, 0 * device, 0 * device], axis=-1))[..., 1]
    return lab_from_light(linear @ np.linalg.inv(_CHANNELS).T)


def _stretched(lightness: np.ndarray, dark: float, light: float) -> np.ndarray:
    return dark + (lightness - PERCEPTUAL_BLACK_L) / (100 - PERCEPTUAL_BLACK_L) * (light - dark)


def _unstretched(lightness: np.ndarray, dark: float, light: float) -> np.ndarray:
    return PERCEPTUAL_BLACK_L + (lightness - dark) / (light - dark) * (100 - PERCEPTUAL_BLACK_L)
