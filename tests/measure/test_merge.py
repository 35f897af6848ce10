"""Several measurements of one plate become one; the uncertainty stated is held against the true error of SIMULATED readings."""

import dataclasses

import numpy as np
import pytest
from small_plates import GRID

from tint.errors import FileError
from tint.lab import delta_e00
from tint.measure.merge import apart_de00, merge_patches
from tint.measure.patches import Patches
from tint.setting import Setting


def table(lab, index=None, sd=np.nan, flags=None, **facts):
    index = np.arange(len(lab)) if index is None else np.asarray(index)
    n = len(index)
    return Patches(
        tuple(GRID.ids[i] for i in index), GRID.setting[index], np.asarray(lab, float), np.full(n, sd), GRID.order[index].astype(float),
        GRID.xy_mm[index], tuple(flags or [""] * n), {"plate": GRID.mark, **facts},
    )  # fmt: skip


GREYS = np.stack([np.linspace(30, 80, 12), np.zeros(12), np.zeros(12)], axis=1)
LIGHTER = np.array([2.0, 0, 0])


def test_means_order_and_places_are_kept_and_a_patch_may_be_missing_from_one():
    merged = merge_patches([table(GREYS[:3], [0, 1, 2]), table(GREYS[1:4] + LIGHTER, [1, 2, 3])])
    assert merged.ids == GRID.ids[:4] and merged.order.tolist() == GRID.order[:4].tolist()
    np.testing.assert_allclose(merged.lab[:, 0] - GREYS[:4, 0], [0, 1, 1, 2])
    np.testing.assert_array_equal(merged.xy_mm, GRID.xy_mm[:4])
    assert merged.facts["merged"] == "2 measurements: table 1, table 2"
    several = dataclasses.replace(table(GREYS[:3], [0, 1, 2]), plates=("1", "1", "2"))
    assert merge_patches([several, several]).plates == ("1", "1", "2")


def test_flagged_readings_do_not_count_while_a_good_one_is_there():
    merged = merge_patches([table(GREYS[:2], flags=["hair", "hair"]), table(GREYS[:2] + 2 * LIGHTER, flags=["", "dull"])])
    assert merged.flags == ("", "hair | dull")
    np.testing.assert_allclose(merged.lab[:, 0] - GREYS[:2, 0], [4, 2])


def test_bare_metal_is_averaged_and_every_fact_stays():
    one, other = table(GREYS[:1], bare_lab="80 0 2", date="Monday"), table(GREYS[:1], bare_lab="82 0 4", date="Tuesday")
    merged = merge_patches([one, other], ["a.csv", "b.csv"])
    assert merged.bare_lab.tolist() == [81, 0, 3] and merged.facts["date"] == "Monday | Tuesday"


@pytest.mark.parametrize("times", [2, 4])
def test_the_uncertainty_stated_is_the_error_that_is_there(times):
    # SIMULATED readings: noise whose size differs from patch to patch by a factor of about two either way
    rng, ratio, worst = np.random.default_rng(times), [], []
    for _ in range(30):
        noise = 0.5 * np.exp(rng.normal(0, 0.35, 12))
        merged = merge_patches([table(GREYS + rng.normal(0, 1, (12, 3)) * noise[:, None]) for _ in range(times)])
        error = delta_e00(merged.lab, GREYS)
        ratio.append(np.mean(error**2) / np.mean(merged.sd**2))
        worst.append((error / merged.sd).max())
    assert 1 / 1.3 < np.sqrt(np.mean(ratio)) < 1.3  # within the factor 1.3 that is asked of sd
    assert np.median(worst) < 3.0  # no patch wildly sure of itself: of twelve, the worst lies near two sd


def test_equal_readings_keep_what_was_stated_and_otherwise_say_nothing():
    assert np.isnan(merge_patches([table(GREYS), table(GREYS)]).sd).all()
    np.testing.assert_allclose(merge_patches([table(GREYS, sd=0.4), table(GREYS, sd=0.4)]).sd, 0.4 / 2**0.5)
    np.testing.assert_allclose(merge_patches([table(GREYS, sd=2.0, geometry="photo"), table(GREYS, sd=2.0, geometry="photo")]).sd, 2.0)


@pytest.mark.parametrize(
    ("facts1", "facts2", "said"),
    [
        ({"geometry": "45/0"}, {"geometry": "d/8 SCI"}, "a.csv was measured 45/0 and b.csv d/8 SCI: on metal they see different colours"),
        ({"geometry": "photo"}, {"geometry": "45/0"}, "photo and b.csv 45/0"),
        ({"mode": "M3"}, {"mode": "M1"}, "polarisers"),
        ({"plate": "ffff"}, {}, "of different plates"),
        ({"machine": "x"}, {"machine": "y"}, "of different machines"),
    ],
)
def test_measurements_that_are_not_of_one_thing_are_refused(facts1, facts2, said):
    with pytest.raises(FileError, match=said):
        merge_patches([table(GREYS, **facts1), table(GREYS, **facts2)], ["a.csv", "b.csv"])


def test_the_same_name_with_other_settings_is_another_plate():
    other = dataclasses.replace(table(GREYS), setting=Setting.from_table(GRID.setting.table()[::-1]))
    with pytest.raises(FileError, match="patch A02 has other settings in table 2"):
        merge_patches([table(GREYS), other])


def test_alike_geometries_merge_and_the_fuller_word_stays():
    assert merge_patches([table(GREYS, geometry="0/45"), table(GREYS, geometry="45/0 annular")]).facts["geometry"] == "45/0 annular"
    assert merge_patches([table(GREYS), table(GREYS, geometry="45/0")]).facts["geometry"] == "45/0"


def test_how_far_two_measurements_lie_apart_is_told_by_their_good_patches():
    one, other = table(GREYS), table(GREYS + LIGHTER)
    assert apart_de00(one, other) == pytest.approx(np.median(delta_e00(one.lab, other.lab)))
    assert np.isnan(apart_de00(table(GREYS[:1], [0]), table(GREYS[1:2], [1])))
