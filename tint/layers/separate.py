"""Separation: artwork → layers, each place to the palette colour nearest by ΔE00, specks absorbed, borders shared."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from tint.artwork.alike import WHITE, Srgb255, alike
from tint.artwork.artwork import Artwork, Drawing, Picture
from tint.artwork.raster import MAX_PITCH_MM, MAX_PIXELS, MIN_PITCH_MM
from tint.errors import DataError, LimitError
from tint.lab import lab_from_srgb1
from tint.layers.difference import delta_e00_of, nearest_number
from tint.layers.flat_map import number_by_map
from tint.layers.gamut import MAPS
from tint.layers.label import label_outlines, label_picture, mean_by_number, means_of
from tint.layers.layers import Layers, pixels_by_number, pixels_of
from tint.layers.merged import merged_in_picture, merged_remark
from tint.layers.paper import BLACK, darkest_of, number_of, without_background
from tint.layers.tonal import Tonal, cell_for, tonal_layers
from tint.layers.wanted import drawn
from tint.palette.palette import Palette
from tint.palette.twins import FAR_DE00
from tint.process import spot_mm

DRAWING_PITCH_MM = 0.05  # pixel of a drawing's label map and proof: just under a usual spot, 4 MP for 100 × 100 mm
SLACK_MM = 1e-6  # rounding of sizes; far below anything a machine can place
TONAL_MAP = "nearest"  # least spatial error on pictures it was not scored on (tests/bench/gamut_table.py)
DRAWN_PER_CELL = 4  # pixels of a drawing along a tonal cell's side, which is then the mean of 16
THIN = ("absorb", "keep", "widen", "refuse")  # what can become of lines thinner than the spot
_NAMED = 3  # colours named in a remark before "and more"


def separate(
    artwork: Artwork,
    palette: Palette,
    *,
    speck_mm2: float | None = None,
    simplify_px: float = 0.45,
    smooth: bool = False,
    pitch_mm: float | None = None,
    how: str | None = None,
    tonal: Tonal | None = None,
    background: Srgb255 | None = WHITE,
    ink: Srgb255 | None = BLACK,
    thin: str = "absorb",
    soft_edges: bool = False,
    progress: Callable[[str], None] | None = None,
) -> Layers:
    """Layers of the artwork in the palette's colours: one number per pixel and one outline per colour.

    Parameters
    ----------
    artwork : a picture or drawing at its size
    palette : the colours, and the machine whose field and spot count
    speck_mm2 : regions of a picture smaller than this [mm²] join the neighbour of nearest colour; None takes the area
        of the machine's spot, 0 keeps everything
    simplify_px : most an outline of a picture may leave the pixel border [pixels]
    smooth : round the stairs of a picture's outlines; borders stay shared, and six times the points are written
    pitch_mm : pixel of the label map of a drawing [mm], None 0.05; a picture keeps its own
    how : what counts most where a colour is out of reach, one of `tint.layers.gamut.MAPS`; None: flat layers take the nearest
        colour by ΔE00, tonal ones are mapped by `TONAL_MAP`
    tonal : show tones by cells side by side; None gives flat layers
    background : sRGB bytes of the colour that stays bare like transparency, None: no colour does
    ink : sRGB bytes of the colour that becomes the darkest mark, None: no colour is singled out
    thin : what becomes of a picture's lines thinner than the spot, one of `THIN`: "absorb" treats them like other regions (only
        area counts, and diagonal ones fall into specks), "keep" keeps them as thin as drawn, "widen" makes them a spot wide,
        "refuse" stops and lists them
    soft_edges : leave the mixed pixels on soft edges of flat artwork as they are; else they go to one side
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
    Transparent places stay bare. Nearest by ΔE00 is right for every place by itself; seen together, a picture may look
    better by a map ("hue", "tone") or tonal, which `tint.layers.compare` shows.
    """
    field = palette.machine.field_mm
    if artwork.width_mm > field[0] + SLACK_MM or artwork.height_mm > field[1] + SLACK_MM:
        raise LimitError(
            f"{artwork.name} is {artwork.width_mm:g} × {artwork.height_mm:g} mm; the field of {palette.machine.name} is "
            f"{field[0]:g} × {field[1]:g} mm. Choose a smaller --width-mm."
        )
    step = progress or (lambda text: None)
    if thin not in THIN:
        raise LimitError(f"thin {thin!r} is not known; use one of {', '.join(THIN)}.")
    if thin != "absorb" and (tonal is not None or not isinstance(artwork, Picture)):
        raise LimitError("lines are looked for in flat pictures only; leave --thin out (`tint job` names thin places of drawings).")
    if tonal is not None:
        if speck_mm2 is not None or smooth or soft_edges:
            raise LimitError("tonal cells are square and none is a speck; leave --speck-mm2, --smooth and --soft-edges out.")
        picture = _as_picture(artwork, palette, tonal)
        if background is not None:
            picture = without_background(picture, background)
        return tonal_layers(picture, palette, how or TONAL_MAP, tonal, ink, step)
    if how is not None and how not in MAPS:
        raise LimitError(f"map {how!r} is not known; use {', '.join(MAPS)}.")
    if isinstance(artwork, Picture):
        speck = math.pi / 4 * spot_mm(palette.machine) ** 2 if speck_mm2 is None else speck_mm2
        if not 0 <= speck < math.inf:
            raise LimitError(f"specks below {speck:g} mm² cannot be absorbed; give an area from 0 up.")
        return _separate_picture(artwork, palette, speck, (simplify_px, smooth), step, how, background, ink, thin, soft_edges)
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
    return _separate_drawing(artwork, palette, pitch_mm, step, how, background, ink)


def _as_picture(artwork: Artwork, palette: Palette, tonal: Tonal) -> Picture:
    """The artwork as pixels; a drawing is drawn with several of them a cell."""
    if isinstance(artwork, Picture):
        return artwork
    pitch_mm = cell_for(palette, tonal.cell_mm)[0] / DRAWN_PER_CELL
    if math.prod(pixels_of((artwork.width_mm, artwork.height_mm), pitch_mm)) > MAX_PIXELS:
        raise LimitError(f"{artwork.name} would have too many cells; choose larger ones with --cell-mm.")
    return drawn(artwork, pitch_mm)


def _labelled(
    picture: Picture, palette: Palette, step: Callable[[str], None], how: str | None, background: Srgb255 | None,
    ink: Srgb255 | None,
) -> tuple[Picture, np.ndarray, np.ndarray, np.ndarray, list[str]]:  # fmt: skip
    """Picture without its background, labels (h, w), mean Lab wanted and ΔE00 lost by number, and remarks."""
    remarks = list(picture.remarks)
    if background is not None and number_of(background, palette, how):
        bare_px = int(picture.bare.sum())
        picture = without_background(picture, background)
        remarks += _background_remarks(palette, background, (int(picture.bare.sum()) - bare_px) * picture.pitch_mm**2)
    step("choosing the nearest colour of every pixel" if how is None else f"choosing the colour of every pixel by the map {how!r}")
    labels, wanted, lost = label_picture(picture, palette, how, background)
    if ink is not None and number_of(ink, palette, how) != darkest_of(palette):
        labels[alike(picture.srgb255, ink) & ~picture.bare] = darkest_of(palette)
        wanted, lost = means_of(picture, labels, palette, background)
    return picture, labels, wanted, lost, remarks


def _separate_picture(
    picture: Picture, palette: Palette, speck_mm2: float, tracing: tuple[float, bool], step: Callable[[str], None],
    how: str | None, background: Srgb255 | None, ink: Srgb255 | None, thin: str, soft_edges: bool,
) -> Layers:  # fmt: skip
    from tint.layers.clean import absorb_specks
    from tint.layers.edges import settled_edges
    from tint.layers.lines import with_lines

    given = picture
    picture, labels, wanted, lost, remarks = _labelled(picture, palette, step, how, background, ink)
    if not soft_edges and settled_edges(picture.srgb255, picture.bare, labels):
        gone = pixels_by_number(labels, len(lost)) == 0  # colours that only soft edges had
        wanted[gone], lost[gone] = np.nan, np.nan
    remarks += _far_remarks(palette, wanted, lost, how)
    kept = None
    if thin != "absorb":
        step("looking for lines thinner than the spot")
        labels, kept, said = with_lines(labels, thin, spot_mm(palette.machine), picture.pitch_mm, palette)
        remarks += said
    speck_px = math.ceil(speck_mm2 / picture.pitch_mm**2)
    if speck_px > 1:
        step("absorbing specks smaller than the spot")
        cleaned = absorb_specks(labels, speck_px, palette.lab, kept=kept)
        if cleaned.absorbed_regions:
            if thin == "absorb":
                remarks += _thinned_remarks(palette, labels, cleaned.labels, picture.pitch_mm)
            area_mm2 = cleaned.absorbed_px * picture.pitch_mm**2
            remarks.append(
                f"{cleaned.absorbed_regions} specks smaller than {speck_mm2:.4f} mm² joined a neighbour ({area_mm2:.2f} mm² in all)"
            )
        labels = cleaned.labels
    if not labels.any():
        why = (
            "it is wholly transparent"
            if picture.bare.all()
            else "every place is nearest to the bare metal, or smaller than the spot"
        )
        raise DataError(f"nothing of {picture.name} is to be marked: {why}.")
    if merged := merged_in_picture(given, labels, palette):
        remarks.append(merged)
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


def _separate_drawing(
    drawing: Drawing, palette: Palette, pitch_mm: float, step: Callable[[str], None],
    how: str | None, background: Srgb255 | None, ink: Srgb255 | None,
) -> Layers:  # fmt: skip
    import shapely

    if not drawing.shapes:
        raise DataError(f"nothing of {drawing.name} is to be marked: it has no shape.")
    step("choosing the nearest colour of every shape")
    srgb255 = np.array([shape.srgb255 for shape in drawing.shapes])
    area = np.array([shape.region.area for shape in drawing.shapes])
    lab = lab_from_srgb1(srgb255 / 255)
    number = nearest_number(lab, palette.lab) if how is None else number_by_map(how, lab, palette.lab)
    remarks = list(drawing.remarks)
    if ink is not None:
        number[alike(srgb255, ink)] = darkest_of(palette)
    if background is not None:
        paper = alike(srgb255, background)
        if number[paper].any():
            remarks += _background_remarks(palette, background, float(area[paper].sum()))
        number[paper] = 0
        area = np.where(paper, 0.0, area)  # what stays bare as asked does not count
    lost = delta_e00_of(lab.T, palette.lab[number].T)
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
    wanted, lost = mean_by_number(number, area, lab, lost, len(palette) + 1)
    drawn = pixels_by_number(labels, len(palette) + 1)
    thin = [
        f"{palette.colours[k].name} is nowhere as wide as a pixel of the masks ({pitch_mm:g} mm): its mask is empty, use the drawing"
        for k, outline in enumerate(outlines)
        if not outline.is_empty and not drawn[k + 1]
    ]
    remarks += [*_far_remarks(palette, wanted, lost, how), *thin]
    if merged := merged_remark(srgb255, area, number, palette, drawing.name):
        remarks.append(merged)
    return Layers(
        drawing.name, pitch_mm, labels, palette, wanted, lost, tuple(remarks), drawn=tuple(outlines), size_mm=size_mm
    )


def _thinned_remarks(palette: Palette, before: np.ndarray, after: np.ndarray, pitch_mm: float) -> list[str]:
    """One line about the colours of which more than half was absorbed, the largest first."""
    was_px, is_px = (pixels_by_number(labels, len(palette) + 1)[1:] for labels in (before, after))
    lost = [int(place) for place in np.argsort(-was_px, kind="stable") if is_px[place] < was_px[place] / 2]
    if not lost:
        return []
    named = [
        f"{palette.colours[place].name} ({(was_px[place] - is_px[place]) * pitch_mm**2:.2f} of {was_px[place] * pitch_mm**2:.2f} mm²)"
        for place in lost
    ]
    more = f" and of {len(lost) - _NAMED} more" if len(lost) > _NAMED else ""
    return [
        f"more than half was thinner or smaller than the spot and joined its neighbours, of {', '.join(named[:_NAMED])}{more}; "
        "--thin keep or widen keeps lines, and a larger piece keeps all"
    ]


def _background_remarks(palette: Palette, background: Srgb255, area_mm2: float) -> list[str]:
    if not area_mm2:
        return []
    name = ("bare metal", *(colour.name for colour in palette.colours))[number_of(background, palette)]
    return [
        f"{area_mm2:.1f} mm² in the background's colour stay bare; with --background none they would be {name}, which is nearer"
    ]


def _polygons_of(region: Any) -> Any:
    import shapely

    parts = [part for part in shapely.get_parts(region) if part.geom_type == "Polygon" and not part.is_empty]
    return shapely.MultiPolygon(parts)


def _far_remarks(palette: Palette, wanted: np.ndarray, lost: np.ndarray, how: str | None) -> list[str]:
    why = "this palette has nothing nearer" if how is None else f"so the map {how!r} has it"
    names = ["bare metal", *(colour.name for colour in palette.colours)]
    return [
        f"{names[number]} stands in for colours that are {lost[number]:.0f} ΔE00 away on average; {why}"
        for number in range(len(names))
        if lost[number] > FAR_DE00
    ]
