"""Separation: artwork → layers, each place to the palette colour nearest by ΔE00, specks absorbed, borders shared."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from tint.artwork.artwork import Artwork, Drawing, Picture
from tint.artwork.raster import MAX_PITCH_MM, MAX_PIXELS, MIN_PITCH_MM
from tint.errors import DataError, LimitError
from tint.lab import lab_from_srgb1, nearest
from tint.layers.label import label_outlines, label_picture, mean_by_number
from tint.layers.layers import Layers, pixels_of
from tint.palette.palette import Palette
from tint.process import spot_mm

DRAWING_PITCH_MM = 0.05  # pixel of a drawing's label map and proof: just under a usual spot, 4 MP for 100 × 100 mm
SLACK_MM = 1e-6  # rounding of sizes; far below anything a machine can place
FAR_DE00 = 10.0  # farther than this and people call it another colour (ISO 12647-7 proofs, from memory: at most 5)


def separate(
    artwork: Artwork,
    palette: Palette,
    *,
    speck_mm2: float | None = None,
    simplify_px: float = 0.45,
    smooth: bool = False,
    pitch_mm: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> Layers:
    """Layers of the artwork in the palette's colours: one number per pixel and one outline per colour.

    Parameters
    ----------
    speck_mm2 : regions of a picture smaller than this [mm²] join the neighbour of nearest colour; None takes the area
        of the machine's spot, 0 keeps everything
    simplify_px : most an outline of a picture may leave the pixel border [pixels]
    smooth : round the stairs of a picture's outlines; borders stay shared, and six times the points are written
    pitch_mm : pixel of the label map of a drawing [mm], None 0.05; a picture keeps its own
    progress : called with a short text as each step begins

    Raises
    ------
    LimitError
        The artwork is larger than the machine's field; a pitch, speck size or tolerance that cannot be.
    DataError
        Nothing of the artwork is to be marked.

    Notes
    -----
    Nearest is meant by ΔE00 for every different colour of the artwork. Bare metal (number 0) is one of the candidates.
    Transparent places stay bare.
    """
    field = palette.machine.field_mm
    if artwork.width_mm > field[0] + SLACK_MM or artwork.height_mm > field[1] + SLACK_MM:
        raise LimitError(
            f"{artwork.name} is {artwork.width_mm:g} × {artwork.height_mm:g} mm; the field of {palette.machine.name} is "
            f"{field[0]:g} × {field[1]:g} mm. Choose a smaller --width-mm."
        )
    step = progress or (lambda text: None)
    if isinstance(artwork, Picture):
        speck = math.pi / 4 * spot_mm(palette.machine) ** 2 if speck_mm2 is None else speck_mm2
        if not 0 <= speck < math.inf:
            raise LimitError(f"specks below {speck:g} mm² cannot be absorbed; give an area from 0 up.")
        return _separate_picture(artwork, palette, speck, (simplify_px, smooth), step)
    assert isinstance(artwork, Drawing)
    if speck_mm2 is not None:
        raise LimitError("specks are absorbed in pictures only; a drawing keeps every shape. Leave the speck size out.")
    pitch_mm = DRAWING_PITCH_MM if pitch_mm is None else pitch_mm
    if not MIN_PITCH_MM <= pitch_mm <= MAX_PITCH_MM:
        raise LimitError(f"pitch {pitch_mm:g} mm cannot be; it lies between {MIN_PITCH_MM:g} and {MAX_PITCH_MM:g} mm.")
    if math.prod(pixels_of((artwork.width_mm, artwork.height_mm), pitch_mm)) > MAX_PIXELS:
        raise LimitError(
            f"a label map of {pitch_mm:g} mm pixels would be too large ({MAX_PIXELS / 1e6:.0f} million at most); use a coarser pitch."
        )
    return _separate_drawing(artwork, palette, pitch_mm, step)


def _separate_picture(
    picture: Picture, palette: Palette, speck_mm2: float, tracing: tuple[float, bool], step: Callable[[str], None]
) -> Layers:
    from tint.layers.clean import absorb_specks

    step("choosing the nearest colour of every pixel")
    labels, wanted, lost = label_picture(picture, palette)
    remarks = list(_far_remarks(palette, wanted, lost))
    speck_px = math.ceil(speck_mm2 / picture.pitch_mm**2)
    if speck_px > 1:
        step("absorbing specks smaller than the spot")
        cleaned = absorb_specks(labels, speck_px, palette.lab)
        labels = cleaned.labels
        if cleaned.absorbed_regions:
            area_mm2 = cleaned.absorbed_px * picture.pitch_mm**2
            remarks.append(
                f"{cleaned.absorbed_regions} specks smaller than {speck_mm2:.4f} mm² joined a neighbour ({area_mm2:.2f} mm² in all)"
            )
    if not labels.any():
        why = (
            "it is wholly transparent"
            if picture.bare.all()
            else "every place is nearest to the bare metal, or smaller than the spot"
        )
        raise DataError(f"nothing of {picture.name} is to be marked: {why}.")
    return Layers(
        picture.name,
        picture.pitch_mm,
        labels,
        palette,
        wanted,
        lost,
        tuple(remarks),
        simplify_px=tracing[0],
        smooth=tracing[1],
    )


def _separate_drawing(drawing: Drawing, palette: Palette, pitch_mm: float, step: Callable[[str], None]) -> Layers:
    import shapely

    if not drawing.shapes:
        raise DataError(f"nothing of {drawing.name} is to be marked: it has no shape.")
    step("choosing the nearest colour of every shape")
    lab = lab_from_srgb1(np.array([shape.srgb255 for shape in drawing.shapes]) / 255)
    number, lost = nearest(lab, palette.lab)
    outlines = []
    for wanted_number in range(1, len(palette) + 1):
        same = [shape.region for shape, given in zip(drawing.shapes, number, strict=True) if given == wanted_number]
        region = shapely.union_all(same) if same else shapely.MultiPolygon()
        outlines.append(_polygons_of(region))
    if all(outline.is_empty for outline in outlines):
        raise DataError(f"nothing of {drawing.name} is to be marked: every shape is nearest to the bare metal.")
    step("drawing the label map")
    size_mm = (drawing.width_mm, drawing.height_mm)
    labels = label_outlines(outlines, pixels_of(size_mm, pitch_mm), pitch_mm)
    area = np.array([shape.region.area for shape in drawing.shapes])
    wanted, lost = mean_by_number(number, area, lab, lost, len(palette) + 1)
    drawn = np.bincount(labels.ravel(), minlength=len(palette) + 1)
    thin = [
        f"{palette.colours[k].name} is nowhere as wide as a pixel of the masks ({pitch_mm:g} mm): its mask is empty, use the drawing"
        for k, outline in enumerate(outlines)
        if not outline.is_empty and not drawn[k + 1]
    ]
    remarks = (*_far_remarks(palette, wanted, lost), *thin)
    return Layers(
        drawing.name, pitch_mm, labels, palette, wanted, lost, remarks, drawn=tuple(outlines), size_mm=size_mm
    )


def _polygons_of(region: object) -> object:
    import shapely

    parts = [part for part in shapely.get_parts(region) if part.geom_type == "Polygon" and not part.is_empty]
    return shapely.MultiPolygon(parts)


def _far_remarks(palette: Palette, wanted: np.ndarray, lost: np.ndarray) -> list[str]:
    names = ["bare metal", *(colour.name for colour in palette.colours)]
    return [
        f"{names[number]} stands in for colours that are {lost[number]:.0f} ΔE00 away on average; this palette has nothing nearer"
        for number in range(len(names))
        if lost[number] > FAR_DE00
    ]
