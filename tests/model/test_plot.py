"""Pictures of a model: written whole, in both formats, and showing the colours the model predicts."""

import dataclasses
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from tint.errors import FileError
from tint.lab import delta_e00, srgb255_from_lab
from tint.model.fit import fit
from tint.model.model import predict
from tint.model.plot import name_contours, plot_model
from tint.setting import Setting


def test_the_pictures_are_drawn_as_png_and_svg_with_what_they_rest_on(open_model, tmp_path):
    names = plot_model(open_model, tmp_path / "plot")
    for name in names:
        with Image.open(tmp_path / "plot" / f"{name}.png") as picture:
            assert picture.width > 800 and len(picture.convert("RGB").getcolors(10**7)) > 100
        assert ET.parse(tmp_path / "plot" / f"{name}.svg").getroot().tag.endswith("svg")
    readme = (tmp_path / "plot" / "README.txt").read_text(encoding="utf-8")
    assert all(name in readme for name in names) and "camera colours" in readme and "Class 4" in readme


def test_the_map_of_two_settings_shows_the_colour_the_model_predicts_at_its_corner(open_model, tmp_path):
    plot_model(open_model, tmp_path / "plot")
    patches = open_model.patches.setting
    # frequency is the stronger: along x
    corner = Setting(patches.power_pct.max(), 800, patches.freq_khz.max(), 6, 0.002)
    wanted = srgb255_from_lab(predict(open_model, corner).lab)
    with Image.open(tmp_path / "plot" / "loud.png") as picture:
        pixels = np.asarray(picture.convert("RGB")).astype(int)
    rows, columns = np.nonzero(np.abs(pixels - wanted).max(axis=-1) <= 2)
    assert rows.size > 50 and columns.mean() > 0.7 * pixels.shape[1] and rows.mean() < 0.4 * pixels.shape[0]


def test_the_fit_is_drawn_from_what_was_predicted_while_each_patch_was_held_out(spoilt_model, tmp_path):
    assert "fit" in plot_model(spoilt_model, tmp_path / "plot")
    # each text is repeated in a comment beside its outlines
    texts = (tmp_path / "plot" / "fit.svg").read_text(encoding="utf-8")
    error = delta_e00(spoilt_model.held_out_lab, spoilt_model.patches.lab)
    assert f"half within ΔE00 {np.median(error):.1f}, 9 of 10 within {np.quantile(error, 0.9):.1f}" in texts
    assert spoilt_model.report.outliers == ("p11",) and texts.count("<!-- p11 -->") == 3  # once in each of L*, a*, b*
    farthest = spoilt_model.patches.ids[int(np.argsort(-error)[1])]  # the outlier itself is first
    assert f"<!-- {farthest} -->" in texts
    assert "fit     measured against predicted" in (tmp_path / "plot" / "README.txt").read_text(encoding="utf-8")


def test_a_model_file_without_held_out_colours_has_no_picture_of_the_fit(open_model, tmp_path):
    names = plot_model(dataclasses.replace(open_model, held_out_lab=None), tmp_path / "plot")
    assert "fit" not in names and not (tmp_path / "plot" / "fit.png").exists()
    assert "measured against predicted" not in (tmp_path / "plot" / "README.txt").read_text(encoding="utf-8")


def test_listed_pulse_widths_are_drawn_apart_and_other_axes_carry_round_numbers(
    invented_patches, machine, stock, tmp_path
):
    listed = dataclasses.replace(machine, pulse_ns=(6.0, 20.0, 60.0))
    plot_model(fit(invented_patches, listed, stock), tmp_path / "plot")
    texts = (tmp_path / "plot" / "along.svg").read_text(encoding="utf-8")
    assert all(f"<!-- {width} -->" in texts for width in (6, 20, 60)) and "pulse width" in texts
    speed = invented_patches.setting.speed_mm_s
    assert speed.min() < 600 < 1400 < speed.max() and all(
        f"<!-- {value} -->" in texts for value in (600, 800, 1000, 1200, 1400)
    )


def test_a_focus_moved_to_both_sides_is_drawn_from_its_lowest_to_its_highest(invented_patches, machine, stock, tmp_path):
    focus = np.resize([-1.0, -0.5, 0.0, 0.5, 1.0], len(invented_patches))
    patches = dataclasses.replace(invented_patches, setting=invented_patches.setting.replace(focus_mm=focus))
    plot_model(fit(patches, machine, stock), tmp_path / "plot")
    texts = (tmp_path / "plot" / "along.svg").read_text(encoding="utf-8")
    assert "focus [mm]" in texts and all(f"<!-- {value} -->" in texts for value in ("−1", "−0.5", "0", "0.5", "1"))


def test_a_contour_is_named_in_its_middle_and_one_that_hugs_a_corner_not_at_all():
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6, 4))
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    x, y = np.meshgrid(np.geomspace(500, 1500, 40), np.geomspace(15, 45, 40))
    from_corner = np.hypot(np.log(x / 500), np.log(y / 15)) / np.log(3)  # 0 in the lower left corner, 1 at its neighbours
    lines = axes.contour(x, y, from_corner, levels=[0.08, 0.7])
    axes.set(xscale="log", yscale="log", xlim=(500, 1500), ylim=(15, 45))
    name_contours(axes, lines)
    (word,) = [text for text in axes.texts if text.get_text()]
    assert word.get_text() == "0.7"
    at = axes.transAxes.inverted().transform(axes.transData.transform(word.get_position()))
    np.testing.assert_allclose(at, 0.7 / np.sqrt(2), atol=0.06)


def test_nothing_is_replaced_unasked(open_model, tmp_path):
    (tmp_path / "plot").mkdir()
    with pytest.raises(FileError, match="already there"):
        plot_model(open_model, tmp_path / "plot")
