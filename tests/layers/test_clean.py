"""Regions and specks, checked against scipy.ndimage and scikit-image on simulated label maps."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from tint.errors import LimitError
from tint.lab import delta_e00
from tint.layers.clean import absorb_specks, find_regions, thin_area_px

LAB = np.array([[72, 0, 2], [60, 8, 30], [45, 25, 5], [35, 10, -35], [50, -20, 10]], dtype=float)  # invented colours

unhurried = settings(deadline=None)  # the first example loads slow libraries
label_maps = arrays(np.uint8, array_shapes(min_dims=2, max_dims=2, max_side=16), elements=st.integers(0, 4))
blobs = label_maps.map(lambda labels: np.kron(labels, np.ones((2, 3), dtype=np.uint8)))
either = label_maps | blobs


def regions_by_scipy(labels):
    """Areas and labels of 4-connected regions by scipy.ndimage.label, one pass per label: the outside oracle."""
    from scipy import ndimage

    found = []
    for number in np.unique(labels):
        numbered, count = ndimage.label(labels == number)
        found += [(int(number), int(area)) for area in np.bincount(numbered.ravel(), minlength=count + 1)[1:]]
    return sorted(found)


@given(either)
@unhurried
def test_regions_are_those_of_scipy(labels):
    regions = find_regions(labels)
    assert sorted(zip(regions.label.tolist(), regions.area_px.tolist(), strict=True)) == regions_by_scipy(labels)


@given(either)
@unhurried
def test_regions_are_those_of_scikit_image_in_the_same_order(labels):
    from skimage.measure import label

    painted = find_regions(labels).paint(np.arange(len(find_regions(labels))))
    oracle = label(labels, background=255, connectivity=1) - 1  # numbered in reading order as well
    np.testing.assert_array_equal(painted, oracle)


@given(either)
@unhurried
def test_borders_between_regions_add_up_to_the_pixel_sides_between_unequal_labels(labels):
    regions = find_regions(labels)
    sides = (labels[1:] != labels[:-1]).sum() + (labels[:, 1:] != labels[:, :-1]).sum()
    assert regions.border_px.sum() == sides
    assert (regions.label[regions.pair[:, 0]] != regions.label[regions.pair[:, 1]]).all()


@given(blobs, st.integers(1, 40), st.integers(1, 9), st.integers(0, 40))
@unhurried
def test_bands_of_rows_and_of_borders_change_nothing(labels, band_px, sorted_at_once, min_area_px):
    whole, cleaned = find_regions(labels), absorb_specks(labels, min_area_px, LAB)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tint.layers.clean._BAND_PX", band_px)
        patch.setattr("tint.layers.clean._SORTED_AT_ONCE", sorted_at_once)
        banded, again = find_regions(labels), absorb_specks(labels, min_area_px, LAB)
    np.testing.assert_array_equal(again.labels, cleaned.labels)
    np.testing.assert_array_equal(banded.run_region, whole.run_region)
    borders = [sorted(np.column_stack([each.pair, each.border_px]).tolist()) for each in (banded, whole)]
    assert borders[0] == borders[1]


@given(either, st.integers(1, 12))
@unhurried
def test_no_region_below_the_limit_is_left(labels, min_area_px):
    cleaned = absorb_specks(labels, min_area_px, LAB)
    areas = [area for _, area in regions_by_scipy(cleaned.labels)]
    assert min(areas) >= min_area_px or len(areas) == 1


@given(either, st.integers(1, 12))
@unhurried
def test_labels_stay_within_those_of_the_map_and_changes_are_counted(labels, min_area_px):
    cleaned = absorb_specks(labels, min_area_px, LAB)
    assert cleaned.labels.dtype == np.uint8 and cleaned.labels.shape == labels.shape
    assert set(np.unique(cleaned.labels)) <= set(np.unique(labels))
    assert cleaned.absorbed_px == (cleaned.labels != labels).sum()
    assert (cleaned.absorbed_regions > 0) == (cleaned.absorbed_px > 0)


@given(either, st.integers(1, 12))
@unhurried
def test_a_clean_map_is_left_as_it_is(labels, min_area_px):
    once = absorb_specks(labels, min_area_px, LAB)
    twice = absorb_specks(once.labels, min_area_px, LAB)
    np.testing.assert_array_equal(twice.labels, once.labels)
    assert twice.absorbed_regions == twice.absorbed_px == 0


@given(either, st.integers(1, 12), st.permutations(range(5)))
@unhurried
def test_numbering_the_colours_otherwise_changes_nothing_but_the_numbers(labels, min_area_px, order):
    new_number = np.array(order, dtype=np.uint8)
    new_lab = np.empty_like(LAB)
    new_lab[new_number] = LAB
    renumbered = absorb_specks(new_number[labels], min_area_px, new_lab)
    original = absorb_specks(labels, min_area_px, LAB)
    np.testing.assert_array_equal(renumbered.labels, new_number[original.labels])
    assert renumbered.absorbed_regions == original.absorbed_regions


@given(either, st.integers(2, 8), st.sampled_from([0.0, 0.1]))
@settings(unhurried, max_examples=60)
def test_merging_one_speck_after_the_other_by_the_plain_rule_gives_the_same_map(labels, min_area_px, kept_share):
    """The rule as written in the docstring, one pixel set at a time: slow, and independent of runs and graphs."""
    from skimage.measure import label

    expected, kept = labels.copy(), np.random.default_rng(labels.size).random(labels.shape) < kept_share
    while True:
        numbered = label(expected, background=255, connectivity=1) - 1
        areas = np.bincount(numbered.ravel())
        areas[numbered[kept]] = labels.size + 99
        speck = int(np.lexsort((np.arange(len(areas)), areas))[0])
        if areas[speck] >= min_area_px or len(areas) == 1:
            break
        border = {}
        for y, x in np.argwhere(numbered == speck):
            for ny, nx in ((y - 1, x), (y + 1, x), (y, x - 1), (y, x + 1)):
                if 0 <= ny < labels.shape[0] and 0 <= nx < labels.shape[1] and numbered[ny, nx] != speck:
                    border[numbered[ny, nx]] = border.get(numbered[ny, nx], 0) + 1
        own = expected[numbered == speck][0]
        given_label = {region: expected[numbered == region][0] for region in border}
        best = min(border, key=lambda r: (float(delta_e00(LAB[own], LAB[given_label[r]])), -border[r], r))
        expected[numbered == speck] = given_label[best]
    np.testing.assert_array_equal(absorb_specks(labels, min_area_px, LAB, kept=kept).labels, expected)


def test_a_speck_takes_the_nearest_colour_not_the_longest_border():
    labels = np.array([[1, 1, 1, 1], [1, 2, 3, 3], [1, 1, 3, 3]], dtype=np.uint8)
    near_three = LAB.copy()
    near_three[2] = LAB[3] + [1, 0, 0]
    assert absorb_specks(labels, 2, near_three).labels[1, 1] == 3


def test_the_longest_border_breaks_a_tie_of_colour():
    labels = np.array([[1, 1, 1, 3], [1, 2, 3, 3], [1, 1, 3, 3]], dtype=np.uint8)
    lab = np.array([[90, 0, 0], [50, 0, 0], [20, 0, 0], [50, 0, 0]], dtype=float)
    assert absorb_specks(labels, 2, lab).labels[1, 1] == 1


def test_bare_metal_absorbs_and_is_absorbed_like_a_colour():
    labels = np.zeros((5, 5), dtype=np.uint8)
    labels[2, 2] = 1
    assert not absorb_specks(labels, 2, LAB).labels.any()
    assert absorb_specks(1 - labels, 2, LAB).labels.all()


@pytest.mark.parametrize("min_area_px", [100, 2**63, 1e300])
def test_a_map_smaller_than_the_limit_becomes_one_region(min_area_px):
    labels = np.array([[1, 2], [3, 4]], dtype=np.uint8)
    cleaned = absorb_specks(labels, min_area_px, LAB)
    assert len(np.unique(cleaned.labels)) == 1
    kept = absorb_specks(labels, min_area_px, LAB, kept=labels == 3)
    assert (kept.labels == 3).all()


def test_a_long_line_one_pixel_wide_is_kept():
    labels = np.zeros((30, 40), dtype=np.uint8)
    labels[15, 2:38] = 2
    labels[3:6, 3] = 2
    cleaned = absorb_specks(labels, 10, LAB)
    assert (cleaned.labels[15, 2:38] == 2).all()
    assert cleaned.absorbed_regions == 1 and cleaned.absorbed_px == 3


def test_another_metric_may_be_given():
    labels = np.array([[1, 1, 3, 3], [1, 2, 3, 3], [1, 1, 3, 3]], dtype=np.uint8)
    lab = np.array([[90, 0, 0], [50, 0, 40], [50, 0, 0], [42, 0, 0]], dtype=float)
    assert absorb_specks(labels, 2, lab).labels[1, 1] == 3

    def chroma_blind(one, two):
        return np.abs(one[..., 0] - two[..., 0])

    assert absorb_specks(labels, 2, lab, metric=chroma_blind).labels[1, 1] == 1


@given(either, st.integers(4, 24).map(lambda quarters: quarters / 4))
@unhurried
def test_thin_area_is_what_the_opening_of_each_label_by_a_disc_loses(labels, width_px):
    """Oracle: scipy.ndimage.binary_opening, label by label."""
    from scipy import ndimage

    size = int(np.ceil(width_px))
    centre = (size - 1) / 2
    y, x = np.mgrid[:size, :size] - centre
    disc = x**2 + y**2 <= (size / 2) ** 2
    for bare_too in (False, True):
        lost = 0
        for number in range(0 if bare_too else 1, 5):
            padded = np.pad(labels == number, size)
            lost += (padded & ~ndimage.binary_opening(padded, disc)).sum()
        assert thin_area_px(labels, width_px, bare_too=bare_too) == lost


@pytest.mark.parametrize("line_px", [1, 2, 3, 4])
@pytest.mark.parametrize("width_px", [1, 1.25, 2, 2.5, 3, 4])
def test_a_line_is_thin_when_it_is_narrower_than_the_spot(line_px, width_px):
    labels = np.zeros((20, 30), dtype=np.uint8)
    labels[5 : 5 + line_px] = 2
    assert thin_area_px(labels, width_px) == (30 * line_px if line_px < width_px else pytest.approx(0, abs=4))


@pytest.mark.parametrize(
    ("labels", "min_area_px", "lab"),
    [
        (np.zeros((2, 2), dtype=int), 2, LAB),
        (np.zeros((0, 2), dtype=np.uint8), 2, LAB),
        (np.zeros(4, dtype=np.uint8), 2, LAB),
        (np.full((2, 2), 5, dtype=np.uint8), 2, LAB),
        (np.zeros((2, 2), dtype=np.uint8), float("nan"), LAB),
        (np.zeros((2, 2), dtype=np.uint8), 2, np.full((1, 3), np.nan)),
    ],
)
def test_what_cannot_be_cleaned_is_refused_in_one_line(labels, min_area_px, lab):
    with pytest.raises(LimitError) as refused:
        absorb_specks(labels, min_area_px, lab)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("width_px", [0, -1, float("nan"), float("inf")])
def test_a_spot_without_width_is_refused(width_px):
    with pytest.raises(LimitError, match="above 0"):
        thin_area_px(np.zeros((2, 2), dtype=np.uint8), width_px)
