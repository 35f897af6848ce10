"""Where the plate is in a photograph: by its registration marks, or by four corners that a person states."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.errors import DataError
from tint.measure.photo.picture import Photo
from tint.measure.photo.sample import read_squares
from tint.measure.photo.vision import mapped, opencv
from tint.plan.grid import Grid
from tint.plan.marks import MODULES, PLACES, Mark, mark_cells

SEARCH_PX = 2400  # longest side marks are looked for at: larger costs time and finds no more
NEEDED = 3  # marks; two leave the far side of the plate uncertain
# share of a patch by which marks may miss their place: a bent plate, another drawing, a lens that bends
MAX_MISS = 0.12

DARK_CELLS = 6  # of a mark are read: those farthest from bright ones, so that blur leaks the least light into them
CELL_KEEP = 0.4  # of a module's side
# bare metal about a mark: how far out, and the strip looked at [modules]
RIM_MODULES, RIM_LONG, RIM_THIN = 0.6, 5.0, 0.5


@dataclass(frozen=True, eq=False)
class PlateView:
    """Where the plate is: a homography (3, 3) from plate [mm] to pixels, and how it was found."""

    to_px: np.ndarray
    found: tuple[int, ...]  # numbers of the marks; () where corners were stated

    def outline_px(self, grid: Grid) -> np.ndarray:
        """(4, 2) corners of the plate [px]."""
        return mapped(self.to_px, np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(grid.plate_mm))


def find_plate(photo: Photo, grid: Grid) -> PlateView:
    """Where the plate of a grid is in a photograph, by its registration marks.

    Raises
    ------
    DataError
        The grid has no marks; none or too few are seen; they are another grid's; the photo is mirrored or blurred.
    """
    if grid.registration is None:
        raise DataError(
            f"{grid.name} has no registration marks; state the plate's four corners in the photo with --corners."
        )
    grey = _grey(photo)
    own = {mark.number: mark for mark in grid.registration.marks}
    seen = _seen(grey)
    if len(own.keys() & seen.keys()) < len(own) and max(grey.shape) <= SEARCH_PX:  # marks may be too small to be seen
        cv2 = opencv()
        seen = {**seen, **_seen(cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC))}
    found = {number: places[0] for number, places in seen.items() if number in own and len(places) == 1}
    others = [number for number in seen if number not in own]
    if len(found) < NEEDED:
        if sum(1 for number in own if len(seen.get(number, ())) > 1) >= NEEDED:
            raise DataError(f"{photo.name} shows {grid.name} twice: the same marks are seen in two places. Leave one.")
        _say_why_not(photo, grid, grey, found, others)
    at_mm = np.concatenate([own[number].corners_mm for number in found])
    at_px = np.concatenate([_sharpened(photo, found[number]) for number in found])
    side = float(np.median([mark.side_mm for mark in own.values()]))
    cv2 = opencv()
    to_mm, good = cv2.findHomography(at_px, at_mm, cv2.RANSAC, 0.08 * side)
    if to_mm is None or good.sum() < 4 * NEEDED - 2:
        raise DataError(
            f"{photo.name}: the registration marks do not stand as on {grid.name}; is the plate flat, and marked from this grid?"
        )
    good = good.ravel().astype(bool)
    to_px, _ = cv2.findHomography(at_mm[good], at_px[good], 0)
    miss_mm = np.linalg.norm(mapped(np.linalg.inv(to_px), at_px[good]) - at_mm[good], axis=1)
    if np.sqrt(np.mean(miss_mm**2)) > MAX_MISS * grid.patch_mm:
        raise DataError(
            f"{photo.name}: the registration marks are {np.sqrt(np.mean(miss_mm**2)):.1f} mm off the places of {grid.name}; "
            "lay the plate flat, step back, and photograph it again."
        )
    return PlateView(to_px, tuple(sorted(found)))


def plate_from_corners(photo: Photo, grid: Grid, corners_px: np.ndarray) -> PlateView:
    """Where the plate is by its four corners (4, 2) [px]: top left, top right, bottom right, bottom left, as the grid is drawn.

    Raises
    ------
    DataError
        Not four points inside the photo that go round the plate clockwise.
    """
    corners = np.asarray(corners_px, dtype=np.float32)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise DataError(
            "--corners needs four points x,y [px]: top left, top right, bottom right, bottom left of the plate."
        )
    if (corners < -1).any() or (corners > photo.size_px).any():
        raise DataError(
            f"--corners: a point lies outside {photo.name}, which is {photo.size_px[0]} × {photo.size_px[1]} pixels."
        )
    edges = np.roll(corners, -1, axis=0) - corners
    turns = edges[:, 0] * np.roll(edges, -1, axis=0)[:, 1] - edges[:, 1] * np.roll(edges, -1, axis=0)[:, 0]
    if not (turns > 0).all():
        raise DataError(
            "--corners do not go round the plate clockwise: top left, top right, bottom right, bottom left as the grid is drawn."
        )
    outline = (np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * np.array(grid.plate_mm)).astype(np.float32)
    return PlateView(opencv().getPerspectiveTransform(outline, corners).astype(float), ())


def read_contrast(photo: Photo, view: PlateView, grid: Grid) -> tuple[np.ndarray, np.ndarray]:
    """Light 0..1 (k, 2, 3) of the bare metal about each mark found and of the mark itself, and the marks' middles (k, 2) [px].

    Notes
    -----
    All marks are made alike, and glare lies on metal and mark alike, so that the difference of the two goes with the
    light on the plate alone.
    """
    marks = [mark for mark in (grid.registration.marks if grid.registration else ()) if mark.number in view.found]
    light = np.full((len(marks), 2, 3), np.nan)
    for i, mark in enumerate(marks):
        module = mark.side_mm / MODULES
        away = mark.side_mm / 2 + RIM_MODULES * module
        long, thin = RIM_LONG * module, RIM_THIN * module
        rims = [
            read_squares(photo, view.to_px, np.array(mark.xy_mm) + np.array(steps), size).level
            for steps, size in (
                ([(-away, 0), (away, 0)], (thin, long)),
                ([(0, -away), (0, away)], (long, thin)),
            )
        ]
        cells = read_squares(photo, view.to_px, _dark_cells(mark), (CELL_KEEP * module, CELL_KEEP * module))
        light[i] = [np.median(photo.linear1(level), axis=0) for level in (np.concatenate(rims), cells.level)]
    return light, mapped(view.to_px, np.array([mark.xy_mm for mark in marks]).reshape(-1, 2))


def _dark_cells(mark: Mark) -> np.ndarray:
    """Centres (`DARK_CELLS`, 2) [mm] of a mark's dark modules with the most dark ones about them."""
    dark = np.pad(mark_cells(mark.number), 1)
    near = sum(np.roll(dark, (down, right), (0, 1)) for down in (-1, 0, 1) for right in (-1, 0, 1)) * dark
    rows, columns = np.unravel_index(np.argsort(-near, axis=None, kind="stable")[:DARK_CELLS], near.shape)
    return np.array(mark.xy_mm) + (np.stack([columns, rows], axis=1) - 0.5 - MODULES / 2) * mark.side_mm / MODULES


def _say_why_not(photo: Photo, grid: Grid, grey: np.ndarray, found: dict[int, np.ndarray], others: list[int]) -> None:
    all_marks = len(grid.registration.marks) if grid.registration else 0
    needed = f"{len(found)} of {all_marks} registration marks of {grid.name} are seen; {NEEDED} are needed"
    if len({number % PLACES for number in others}) >= NEEDED and len(found) < 2:
        raise DataError(
            f"{photo.name} shows another plate: its registration marks are not those of {grid.name} ({grid.mark}). Name the grid it was marked from."
        )
    own = {mark.number for mark in grid.registration.marks} if grid.registration else set()
    if len(own & set(_seen(np.ascontiguousarray(grey[:, ::-1])))) >= 2:
        raise DataError(
            f"{photo.name} is mirrored: {grid.name}'s marks read only in a mirror. Turn off mirroring in the camera and photograph again."
        )
    bright, dark = float((grey >= 250).mean()), float((grey <= 8).mean())
    if bright > 0.5 or dark > 0.9:
        raise DataError(
            f"{photo.name} is {'over' if bright > 0.5 else 'under'}-exposed: {100 * max(bright, dark):.0f} % of it is clipped. Expose again."
        )
    if blurred(grey):
        raise DataError(
            f"{photo.name} is out of focus, or the plate too small in it: {needed}. Photograph it sharp and closer."
        )
    raise DataError(
        f"{photo.name}: {needed}. Show the whole plate, sharp and without glare on the marks, or state --corners."
    )


def blurred(grey: np.ndarray) -> bool:
    """Whether a picture (h, w) has no sharp edge: blurring it further takes away little of its steepest steps."""
    cv2 = opencv()
    soft = cv2.GaussianBlur(grey, (0, 0), 2.0)
    steep = [
        np.percentile(np.abs(cv2.Laplacian(image, cv2.CV_32F)), 99.7)
        for image in (cv2.GaussianBlur(grey, (0, 0), 1.0), soft)
    ]
    return bool(steep[0] < 1.8 * steep[1] + 1)


def _grey(photo: Photo) -> np.ndarray:
    cv2 = opencv()
    pixels = photo.pixels
    scale = min(1.0, SEARCH_PX / max(photo.size_px))
    if scale < 1:
        pixels = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    if photo.full > 255:  # raw light is dark to the eye: look at it as a screen shows it
        grey = np.round(255 * photo.light1[1][grey.astype(int)] ** (1 / 2.2)).astype(np.uint8)
    return grey


def _seen(grey: np.ndarray) -> dict[int, list[np.ndarray]]:
    """Corners (4, 2) [px of `grey`, as a share of its longest side] of every mark seen, by number, each place once."""
    cv2 = opencv()
    settings: Any = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax, settings.adaptiveThreshWinSizeStep = 5, 53, 12
    settings.minMarkerPerimeterRate = 0.02
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250), settings)
    corners, numbers, _ = finder.detectMarkers(grey)
    if numbers is None:
        return {}
    found: dict[int, list[np.ndarray]] = {}
    for number, place in zip(numbers.ravel().tolist(), corners, strict=True):
        found.setdefault(number, []).append((place.reshape(4, 2).astype(float) + 0.5) / max(grey.shape))
    return found


def _sharpened(photo: Photo, corners: np.ndarray) -> np.ndarray:
    """Corners (4, 2) [px] refined at the photo's own size."""
    cv2 = opencv()
    corners_px = corners * max(photo.size_px) - 0.5
    module = float(np.linalg.norm(corners_px[1] - corners_px[0])) / 7
    reach = int(max(2, min(0.6 * module, 15)))
    low = np.floor(corners_px.min(axis=0)).astype(int) - 4 * reach
    high = np.ceil(corners_px.max(axis=0)).astype(int) + 4 * reach
    low, high = np.maximum(low, 0), np.minimum(high, photo.size_px)
    part = photo.pixels[low[1] : high[1], low[0] : high[0]]
    grey = cv2.cvtColor(part, cv2.COLOR_RGB2GRAY).astype(np.float32) / photo.full
    grey = np.round(255 * np.sqrt(grey) if photo.full > 255 else 255 * grey).astype(np.uint8)
    refined = (corners_px - low).astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.01)
    cv2.cornerSubPix(grey, refined, (reach, reach), (-1, -1), stop)
    moved = np.linalg.norm(refined.reshape(4, 2) + low - corners_px, axis=1, keepdims=True)
    return np.where(moved <= module, refined.reshape(4, 2) + low, corners_px)
