"""Properties of a fit; the colours are SIMULATED unless a test says otherwise."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tint.errors import DataError, LimitError
from tint.lab import delta_e00
from tint.measure.patches import Patches
from tint.model.fit import fit
from tint.model.model import predict
from tint.setting import FIELDS, Setting


def changed(patches: Patches, **parts) -> Patches:
    return dataclasses.replace(patches, **parts)


def test_the_order_of_rows_changes_nothing(invented_patches, invented_model, machine, stock):
    shuffled = fit(invented_patches.take(np.random.default_rng(5).permutation(30)), machine, stock)
    one, other = (predict(model, invented_patches.setting) for model in (invented_model, shuffled))
    assert np.array_equal(one.lab, other.lab)
    assert np.array_equal(one.de00_90, other.de00_90)


def test_half_the_dial_on_a_machine_of_twice_the_power_is_the_same_mark(invented_patches, invented_model, machine, stock):
    strong = dataclasses.replace(machine, max_power_w=2 * machine.max_power_w)
    halved = invented_patches.setting.replace(power_pct=invented_patches.setting.power_pct / 2)
    model = fit(changed(invented_patches, setting=halved), strong, stock)
    assert predict(model, halved).lab == pytest.approx(predict(invented_model, invented_patches.setting).lab, abs=0.02)


def test_measuring_a_plate_twice_changes_little(invented_patches, invented_model, machine, stock):
    doubled = Patches(
        (*invented_patches.ids, *(f"again-{name}" for name in invented_patches.ids)),
        Setting.from_table(np.tile(invented_patches.setting.table(), (2, 1))), np.tile(invented_patches.lab, (2, 1)),
        np.tile(invented_patches.sd, 2), np.tile(invented_patches.order, 2), np.tile(invented_patches.xy_mm, (2, 1)),
        invented_patches.flags * 2, invented_patches.facts,
    )  # fmt: skip
    model = fit(doubled, machine, stock)
    after, before = (predict(fitted, invented_patches.setting).lab for fitted in (model, invented_model))
    assert np.median(delta_e00(after, before)) < 1.0


def test_moving_one_patch_a_little_moves_the_model_a_little(invented_patches, invented_model, machine, stock):
    lab = invented_patches.lab.copy()
    lab[7] += [0.3, -0.2, 0.2]
    moved = predict(fit(changed(invented_patches, lab=lab), machine, stock), invented_patches.setting).lab
    shift = delta_e00(moved, predict(invented_model, invented_patches.setting).lab)
    assert np.median(shift) < 0.5 and shift.max() < 2.0


def test_a_patch_the_others_contradict_is_named_and_set_aside(spoilt_pair, invented):
    clean, spoilt = spoilt_pair
    assert "p11" in spoilt.report.outliers and "p11" not in clean.report.outliers
    at = invented(60, seed=4).setting
    assert np.median(delta_e00(predict(spoilt, at).lab, predict(clean, at).lab)) < 1.0


def test_flagged_patches_are_left_out(invented_patches, machine, stock):
    flags = ("scratched",) + ("",) * 29
    model = fit(changed(invented_patches, flags=flags), machine, stock)
    assert invented_patches.ids[0] not in model.patches.ids
    assert (model.report.patches, model.report.flagged) == (29, 1)


def test_few_patches_are_remarked_by_how_many_are_good(invented, machine, stock):
    patches = invented(50, seed=2)
    model = fit(changed(patches, flags=("burnt",) * 20 + ("",) * 30), machine, stock)
    assert any(remark.startswith("30 patches are few") for remark in model.report.remarks)


def test_too_few_patches_are_refused_with_what_to_do(invented_patches, machine, stock):
    with pytest.raises(DataError, match=r"only 7 good patches for polished sheet; a fit needs 12\. Mark at least 5 more"):
        fit(invented_patches.take(np.arange(7)), machine, stock)
    with pytest.raises(DataError, match=r"only 10 good patches .* \(20 are flagged\)"):
        fit(changed(invented_patches, flags=("",) * 10 + ("burnt",) * 20), machine, stock)


def test_patches_of_one_setting_are_refused(invented_patches, machine, stock):
    same = Setting.from_table(np.repeat(invented_patches.setting.table()[:1], 30, axis=0))
    with pytest.raises(DataError, match="all 30 good patches have the same setting"):
        fit(changed(invented_patches, setting=same), machine, stock)
    turned = same.replace(hatch_deg=np.linspace(0, 90, 30))
    with pytest.raises(DataError, match="differ in hatch angle only"):
        fit(changed(invented_patches, setting=turned), machine, stock)
    either_side = same.replace(focus_mm=np.tile([-1.0, 1.0], 15))
    with pytest.raises(DataError, match="differ in the side of focus only"):
        fit(changed(invented_patches, setting=either_side), machine, stock)


def test_patches_of_one_colour_do_not_make_a_model_that_is_sure_of_everything(invented_patches, machine, stock):
    model = fit(changed(invented_patches, lab=np.tile([50.0, 10, 10], (30, 1))), machine, stock)
    assert predict(model, invented_patches.setting).de00_90.min() >= 0.75


def test_a_machine_that_cannot_have_marked_the_patches_is_refused(invented_patches, machine, stock):
    with pytest.raises(LimitError, match=r"outside this machine \(1–300 kHz\)"):
        fit(invented_patches, dataclasses.replace(machine, freq_khz=(1, 300)), stock)


def test_fields_that_never_varied_are_reported_and_marked_in_predictions(invented_patches, invented_model):
    assert {"spacing_mm", "passes", "focus_mm"} <= set(invented_model.report.fixed_fields)
    one = invented_patches.setting[:1]
    assert predict(invented_model, one).unlearned == ()
    assert predict(invented_model, one.replace(spacing_mm=0.005)).unlearned == ("spacing_mm",)
    assert predict(invented_model, one.replace(passes=2, focus_mm=1)).unlearned == ("passes", "focus_mm")


def test_the_radius_grows_outside_the_box(invented_patches, invented_model):
    low = invented_patches.setting.table().min(axis=0)
    middle = np.exp(np.log(invented_patches.setting.table()[:, :6]).mean(axis=0))
    inside = Setting(*middle[:3], 20, *middle[4:], 0, 0)
    fast = [float(low[FIELDS.index("speed_mm_s")]) / factor for factor in (1.0, 1.2, 1.6)]
    guess = predict(invented_model, inside.replace(speed_mm_s=np.array(fast)))
    assert guess.outside[0] == 0 and 0 < guess.outside[1] < guess.outside[2]
    assert guess.de00_90[0] < guess.de00_90[1] < guess.de00_90[2]


def test_a_measured_uncertainty_makes_a_patch_count_less(invented_patches, machine, stock):
    sd = np.where(np.arange(30) == 4, 20.0, 0.3)
    lab = invented_patches.lab.copy()
    lab[4] += [4, 4, 0]
    trusted = fit(changed(invented_patches, lab=lab), machine, stock)
    doubted = fit(changed(invented_patches, lab=lab, sd=sd), machine, stock)
    at = invented_patches.setting[4]
    off = [float(delta_e00(predict(model, at).lab, invented_patches.lab[4])) for model in (trusted, doubted)]
    assert off[1] < 0.5 * off[0]
