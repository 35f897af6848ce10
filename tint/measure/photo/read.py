"""Photographs of a plate beside a chart, read: patches with colours, uncertainty and flags, and a picture of what was read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tint.errors import DataError
from tint.lab import AB_LIMIT, CHART_EDITIONS, L_RANGE, chart_xyz100, delta_e00, lab_from_xyz100
from tint.measure.patches import Patches
from tint.measure.photo.chart import ChartView, find_chart
from tint.measure.photo.correct import KINDS, Scene, fit_scene, held_out
from tint.measure.photo.judge import SOFT_SHARE, flags_of, ring_changes, uncertainty
from tint.measure.photo.light import Evidence
from tint.measure.photo.marks import PlateView, find_plate, plate_from_corners, read_contrast
from tint.measure.photo.picture import Photo, open_photo
from tint.measure.photo.sample import Squares, read_squares, softness
from tint.measure.photo.vision import mapped, square
from tint.plan.grid import Grid
from tint.threads import one_thread

KEEP = 0.6  # of a patch's side is read: edges are burnt, and a lens smears them
CHART_KEEP = 0.5
STRIP = (0.6, 0.5)  # of patch side and of gap: the bare metal looked at on each side of a patch
LEAST_STRIP_PX = 2.0
LEAST_PATCH_PX = 10.0  # a patch is read from at least six by six pixels
# The editions differ by 1 ΔE00 on average, less than a camera errs, so that a photo tells them apart now and then only.
# On simulated photos the true one never lost by more than a factor of 0.95; the other lost by 0.88 in a fifth of them.
WRONG_EDITION, DOUBTED_EDITION = 0.88, 0.95
CLEAR = 0.02  # share of clipped pixels above which chart and bare metal are not used
LEAST_BARE = 12  # places of bare metal
MOST_CLIPPED = 0.7  # of the patches
LEAST_LIGHT = 0.02  # of what a photo can show: below, eight bits leave a few steps for all colours
MANY_FLAGGED = 0.5  # of the patches
APART_DE = 3.5  # two photos of a patch that differ by more than this (beyond their grain) do not show the same colour


@dataclass(frozen=True, eq=False)
class OnePhoto:
    """What one photograph says of a grid's n patches, and where it was read.

    Parameters
    ----------
    lab : (n, 3); lasting, passing : (n,) uncertainties as ΔE00; flags : n reasons, "" good
    """

    photo: Photo
    plate: PlateView
    chart: ChartView
    scene: Scene
    lab: np.ndarray
    lasting: np.ndarray
    passing: np.ndarray
    flags: tuple[str, ...]
    bare_lab: np.ndarray | None
    ringed: bool  # bare metal was seen about the patches, and with it glare and shade on them
    doubt: str  # an edition of the chart that fits a little better than the stated one; "" none

    @property
    def remarks(self) -> tuple[str, ...]:
        """What to know of how it was read, each a line."""
        name = self.photo.name
        lines = [
            f"{name}: {self.scene.kind} correction, chart patches held out are off by about {self.scene.held_out:.1f} ΔE"
        ]
        reasons = Counter(reason for flag in self.flags if flag for reason in flag.split(", "))
        if reasons:
            lines.append(
                f"{name}: flagged for {', '.join(f'{reason} {number}' for reason, number in reasons.most_common())}"
            )
        if sum(1 for flag in self.flags if flag) > MANY_FLAGGED * len(self.flags):
            lines.append(
                f"CHECK: {name}: most patches are flagged; does the picture of what was read show them where they are?"
            )
        if not self.ringed:
            lines.append(
                f"{name}: glare and shadow could not be looked for: no gaps between the patches, or too few pixels of them"
            )
        if self.doubt:
            lines.append(
                f"CHECK: {name}: the chart fits {self.doubt} a little better; is the edition what its back says?"
            )
        return tuple(lines)


@one_thread
def read_photo(
    grid: Grid, paths: str | Path | Sequence[str | Path], *, chart: str, corners_px: np.ndarray | None = None
) -> tuple[Patches, list[OnePhoto]]:
    """Patches of a grid as photographs show them, and what each photograph said (`overlay_png` draws it).

    Parameters
    ----------
    paths : one photograph, or several of the same plate, turned or lit from elsewhere
    chart : edition of the 24-patch chart beside the plate, of `CHART_EDITIONS`
    corners_px : (4, 2) corners of the plate [px] in a single photograph, top left first, clockwise as the grid is drawn;
        None: it is found by its registration marks

    Raises
    ------
    FileError
        A file is missing or no picture.
    DataError
        Plate or chart not found, mirrored, out of focus, clipped, of another grid or edition; the message says which.

    Notes
    -----
    Values are made linear by the embedded profile (else sRGB) and by a tone curve that the chart shows; light is
    evened out by chart and bare metal; colours are corrected by a 3 × 3 matrix, or by a root-polynomial of the second
    degree where that predicts chart patches held out better. They stay camera colours: a metal looks different to an
    instrument.
    """
    several = [paths] if isinstance(paths, (str, Path)) else list(paths)
    if not several:
        raise DataError("no photo is given.")
    if corners_px is not None and len(several) > 1:
        raise DataError("--corners belong to one photo; read several one by one.")
    reference = chart_xyz100(chart)
    read = [_one(open_photo(path), grid, reference, chart, corners_px) for path in several]
    return _joined(grid, read, chart), read


def _one(photo: Photo, grid: Grid, reference: np.ndarray, edition: str, corners_px: np.ndarray | None) -> OnePhoto:
    plate = find_plate(photo, grid) if corners_px is None else plate_from_corners(photo, grid, corners_px)
    patches, soft = _read_patches(photo, plate, grid)
    view = find_chart(photo, reference, plate.outline_px(grid))
    chart = read_squares(photo, view.to_px, view.centres, (CHART_KEEP * view.side, CHART_KEEP * view.side))
    strips = _strips(photo, plate, grid)
    metal = [*strips, _bare_squares(photo, plate, grid)]
    clear = [part.high < CLEAR for part in metal]
    bare1 = np.concatenate([photo.linear1(part.level[use]) for part, use in zip(metal, clear, strict=True)])
    bare_px = np.concatenate([part.px[use] for part, use in zip(metal, clear, strict=True)])
    usable = (chart.high < CLEAR) & (chart.odd < 0.2)
    marks = read_contrast(photo, plate, grid)
    scene = fit_scene(
        Evidence(photo.linear1(chart.level), chart.px, usable, reference, bare1, bare_px, photo.size_px, *marks)
    )
    doubt = _doubt_of_edition(photo, scene, edition)
    rgb = scene.light.evened(photo.linear1(patches.level), patches.px)
    ring = np.full((len(grid), 4, 3), np.nan)
    for side, strip in enumerate(strips):
        ring[:, side] = scene.light.evened(photo.linear1(strip.level), strip.px)
    seen = len(bare1) >= LEAST_BARE
    ringed = seen and len(strips) > 0
    mean, worst = ring_changes(scene, rgb, ring) if ringed else (np.zeros(len(grid)), np.zeros(len(grid)))
    inside = np.all((patches.px > 0) & (patches.px < np.array(photo.size_px)), axis=1)
    flags = flags_of(scene, patches, rgb, photo.full, mean, worst, soft, inside)
    lasting, passing = uncertainty(scene, patches, rgb, photo.full, mean)
    bare = lab_from_xyz100(scene.xyz100(scene.light.bare_rgb)) if seen else None
    lab = np.clip(lab_from_xyz100(scene.xyz100(rgb)), [0, -AB_LIMIT, -AB_LIMIT], [L_RANGE[1], AB_LIMIT, AB_LIMIT])
    return OnePhoto(photo, plate, view, scene, lab, lasting, passing, tuple(flags), bare, ringed, doubt)


def _read_patches(photo: Photo, plate: PlateView, grid: Grid) -> tuple[Squares, np.ndarray]:
    """What the patches show, and how soft their edges are (n,) [share of a patch]; refused where nothing can come of it."""
    side_px = _side_px(plate, grid)
    if side_px < LEAST_PATCH_PX:
        raise DataError(
            f"{photo.name}: a patch is only {side_px:.0f} pixels wide; {LEAST_PATCH_PX:.0f} are needed. Go closer, or use more pixels."
        )
    patches = read_squares(photo, plate.to_px, grid.xy_mm, (KEEP * grid.patch_mm, KEEP * grid.patch_mm))
    gap = min(gap_mm(grid), grid.patch_mm)
    soft = softness(photo, plate.to_px, grid.xy_mm, grid.patch_mm, gap) / grid.patch_mm
    if np.isfinite(soft).sum() >= 5 and np.nanmedian(soft) > SOFT_SHARE:
        raise DataError(
            f"{photo.name} is out of focus: edges are {np.nanmedian(soft) * grid.patch_mm:.1f} mm soft on the plate. Photograph it sharp."
        )
    over = float((patches.high > 0.5).mean())
    if over > MOST_CLIPPED:
        raise DataError(f"{photo.name} is over-exposed: {100 * over:.0f} % of the patches are clipped. Expose less.")
    brightest = float(photo.linear1(np.percentile(patches.level, 90, axis=0)).max())
    if brightest < LEAST_LIGHT:
        raise DataError(
            f"{photo.name} is under-exposed: the brighter patches reach {100 * brightest:.1f} % of the light it can show. Expose more."
        )
    return patches, soft


def gap_mm(grid: Grid) -> float:
    """Bare metal [mm] between neighbouring patches of a grid; a third of a patch where there is one patch only."""
    if len(grid) < 2:
        return grid.patch_mm / 3
    away = np.abs(grid.xy_mm[:, None] - grid.xy_mm[None]).max(axis=-1)
    return float(max(0.0, away[away > 1e-6].min() - grid.patch_mm))


def _side_px(plate: PlateView, grid: Grid) -> float:
    corners = mapped(plate.to_px, np.array([square(xy, grid.patch_mm) for xy in grid.xy_mm]))
    return float(np.linalg.norm(corners[:, 1:] - corners[:, :-1], axis=-1).min())


def _strips(photo: Photo, plate: PlateView, grid: Grid) -> list[Squares]:
    """Bare metal left, right, above and below every patch; nothing where the gap is too narrow to be seen."""
    gap = gap_mm(grid)
    if STRIP[1] * gap / grid.patch_mm * _side_px(plate, grid) < LEAST_STRIP_PX:
        return []
    away, long, thin = (grid.patch_mm + gap) / 2, STRIP[0] * grid.patch_mm, STRIP[1] * min(gap, grid.patch_mm)
    sides = (
        ((-away, 0), (thin, long)),
        ((away, 0), (thin, long)),
        ((0, -away), (long, thin)),
        ((0, away), (long, thin)),
    )
    return [read_squares(photo, plate.to_px, grid.xy_mm + np.array(step), size) for step, size in sides]


def _bare_squares(photo: Photo, plate: PlateView, grid: Grid) -> Squares:
    places = grid.registration.bare_xy_mm if grid.registration is not None else np.zeros((0, 2))
    return read_squares(photo, plate.to_px, places, (KEEP * grid.patch_mm, KEEP * grid.patch_mm))


def _doubt_of_edition(photo: Photo, scene: Scene, edition: str) -> str:
    """The edition that fits a little better than the stated one, or "".

    Raises
    ------
    DataError
        Another edition fits clearly better.
    """
    rgb = scene.chart_rgb[scene.light.used]
    miss = {
        name: min(held_out(rgb, chart_xyz100(name)[scene.light.used], kind) for kind in KINDS)
        for name in CHART_EDITIONS
    }
    best = min(miss, key=lambda name: miss[name])
    if miss[best] < WRONG_EDITION * miss[edition]:
        raise DataError(
            f"{photo.name}: the chart looks like {best} (off by {miss[best]:.1f} ΔE), not {edition} ({miss[edition]:.1f}). "
            "Read the date on the back of the chart and state that edition."
        )
    return best if miss[best] < DOUBTED_EDITION * miss[edition] else ""


def _joined(grid: Grid, read: Sequence[OnePhoto], edition: str) -> Patches:
    lab, lasting, passing = (np.stack([getattr(one, name) for one in read]) for name in ("lab", "lasting", "passing"))
    good = np.array([[not flag for flag in one.flags] for one in read])
    colours, sd, flags = np.empty((len(grid), 3)), np.empty(len(grid)), []
    for i in range(len(grid)):
        colours[i], sd[i], flag = _one_patch(
            lab[:, i], lasting[:, i], passing[:, i], good[:, i], [one.flags[i] for one in read]
        )
        flags.append(flag)
    bare = [one.bare_lab for one in read if one.bare_lab is not None]
    facts = {
        "remark": "camera colours: compare them with each other, not with an instrument's",
        "instrument": _camera(read),
        "geometry": "photo",
        "illuminant": "D50",
        "chart": edition,
        "photos": ", ".join(one.photo.name for one in read),
        "correction": ", ".join(f"{one.scene.kind}, chart held out {one.scene.held_out:.1f} ΔE" for one in read),
        "stock": grid.stock.name,
        "machine": grid.machine.name,
        "grid": grid.name,
        "plate": grid.mark,
    }
    if bare:
        facts["bare_lab"] = " ".join(f"{value:.3f}" for value in np.mean(bare, axis=0))
    return Patches(
        grid.ids, grid.setting, colours.round(3), sd.round(3), grid.order.astype(float), grid.xy_mm, tuple(flags), facts
    )


def _one_patch(
    lab: np.ndarray, lasting: np.ndarray, passing: np.ndarray, good: np.ndarray, flags: Sequence[str]
) -> tuple[np.ndarray, float, str]:
    """Colour (3,), uncertainty and flag of one patch from several photos: the good ones, if they agree."""
    use = good if good.any() else np.ones(len(good), dtype=bool)
    flag = "" if good.any() else max(flags, key=lambda text: (list(flags).count(text), text))
    kept, spread = lab[use], 0.0
    middle = np.median(kept, axis=0) if len(kept) > 2 else kept.mean(axis=0)
    away = delta_e00(kept, middle)
    if len(kept) > 2:  # one photo that stands apart is dropped
        near = away <= max(APART_DE, 3 * float(np.median(away)))
        kept, use = kept[near], np.flatnonzero(use)[near]
        middle = kept.mean(axis=0)
        away = delta_e00(kept, middle)
    if len(kept) > 1:
        spread = float(np.sqrt(np.sum(away**2) / (len(kept) - 1) / len(kept)))
        if not flag and float(away.max()) > APART_DE:
            flag = "photos disagree: glare or shadow in one of them"
    mean_passing = float(np.sqrt(np.mean(passing[use] ** 2) / len(kept)))
    return middle, float(np.sqrt(np.mean(lasting[use] ** 2) + max(mean_passing, spread) ** 2)), flag


def _camera(read: Sequence[OnePhoto]) -> str:
    named = list(dict.fromkeys(one.photo.camera for one in read if one.photo.camera))
    return f"camera {', '.join(named)}" if named else "camera, not named in the file"
