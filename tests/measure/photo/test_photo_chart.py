"""The chart is found at any turn and size, told from other squares, and nothing else is taken for it (SIMULATED)."""

import numpy as np
import pytest
from photo_scene import View, _apply, _chart_frames

from tint.errors import DataError
from tint.lab import chart_xyz100
from tint.measure.photo.chart import find_chart
from tint.measure.photo.marks import find_plate
from tint.measure.photo.picture import open_photo
from tint.measure.photo.vision import mapped

REFERENCE = chart_xyz100("before-nov-2014")
CORNERS = np.array([[0, 0], [5, 0], [5, 3], [0, 3]], dtype=float)


def found(grid, path):
    photo = open_photo(path)
    return find_chart(photo, REFERENCE, find_plate(photo, grid).outline_px(grid))


@pytest.mark.parametrize(
    "view",
    [
        View(light="LED-B3", size_px=(1200, 800), chart_turn_deg=180, chart_gap_mm=1.0),
        View(
            light="A",
            size_px=(1200, 800),
            chart_turn_deg=-37,
            tilt=(0.15, 0.1),
            to_srgb=False,
            camera="Sigma SDMerill (NPL)",
        ),
        View(light="FL11", size_px=(1200, 800), turn_deg=100, chart_turn_deg=90, chart_gap_mm=5.5, noise=0.02, jpeg=60),
        View(light="D65", size_px=(1200, 800), chart_mm=9, chart_gap_mm=1.5, fall_off=0.3, exposure=0.4),
    ],
    ids=["upside down, narrow gaps", "raw colours, tungsten, tilted", "wide gaps, noisy", "small, dark"],
)
def test_the_chart_is_found_where_it_is(grid, photo_of, view):
    path, shot = photo_of(view, name="a.jpg")
    chart = found(grid, path)
    (middle, axes), step = _chart_frames(grid, view)[0], view.chart_mm + view.chart_gap_mm
    true = _apply(shot.to_px, middle + ((CORNERS - [2.5, 1.5]) * step) @ axes)
    side_px = np.linalg.norm(true[1] - true[0]) / 5
    assert np.abs(mapped(chart.to_px, CORNERS) - true).max() < 0.12 * side_px
    assert chart.side == pytest.approx(view.chart_mm / step, abs=0.1)


def test_six_by_four_squares_of_other_colours_are_no_chart(grid, photo_of):
    def recoloured(pixels):  # dark and light become alike: squares stay, no camera sees the chart so
        return np.where(np.arange(pixels.shape[1])[None, :, None] >= 620, np.abs(2 * pixels - 0.8), pixels)

    path, _ = photo_of(View(light="D65", size_px=(1200, 800)), recoloured)
    with pytest.raises(DataError, match="no 24-patch chart is seen"):
        found(grid, path)


def test_a_chart_turned_over_in_print_is_called_mirrored(grid, photo_of):
    # the plate is left as it is, the right part with the chart is flipped
    def flipped(pixels):
        changed = pixels.copy()
        changed[:, 620:] = pixels[:, 620:][::-1]
        return changed

    path, _ = photo_of(View(light="D65", size_px=(1200, 800)), flipped)
    with pytest.raises(DataError, match="is mirrored: the chart's colours run the wrong way"):
        found(grid, path)
