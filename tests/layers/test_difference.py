"""The fast formulas against published pairs and colour-science."""

import colour
import numpy as np
import pytest

from tint.lab import lab_from_srgb1
from tint.layers.difference import delta_e00_of, lab_of_srgb255, nearest_number

# Sharma, Wu, Dalal (2005), doi 10.1002/col.20070, table 1: pairs that exercise every branch of the formula; ΔE00 to four digits
PAIRS = """
50 2.6772 -79.7751 50 0 -82.7485 2.0425
50 3.1571 -77.2803 50 0 -82.7485 2.8615
50 -1.3802 -84.2814 50 0 -82.7485 1.0000
50 0 0 50 -1 2 2.3669
50 2.4900 -0.0010 50 -2.4900 0.0009 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0011 7.2195
50 -0.0010 2.4900 50 0.0009 -2.4900 4.8045
50 2.5 0 73 25 -18 27.1492
50 2.5 0 56 -27 -3 31.9030
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""


def test_published_pairs_come_out_to_their_four_digits():
    for line in PAIRS.strip().splitlines():
        *numbers, wanted = (float(value) for value in line.split())
        one, other = np.array(numbers[:3]), np.array(numbers[3:])
        assert float(delta_e00_of(one[:, None], other[:, None])[0]) == pytest.approx(wanted, abs=0.5001e-4)


@pytest.mark.parametrize("seed", range(3))
def test_differences_are_those_of_colour_science(seed):
    rng = np.random.default_rng(seed)
    wide = (90, 30, 3)[seed]
    one, other = (rng.uniform([0, -wide, -wide], [100, wide, wide], (50_000, 3)) for _ in range(2))
    wanted = colour.delta_E(one, other, method="CIE 2000")
    np.testing.assert_allclose(delta_e00_of(one.T, other.T), wanted, atol=1e-7)
    single = delta_e00_of(one.T.astype(np.float32), other.T.astype(np.float32))
    assert single.dtype == np.float32
    assert np.quantile(np.abs(single - wanted), 0.99) < 1e-4  # nearly opposite hues jump, so not all of them


def test_greys_have_a_difference_without_a_hue():
    grey, other = np.array([[50.0, 50.0], [0.0, 0.0], [0.0, 0.0]]), np.array([[60.0, 50.0], [0.0, 20.0], [0.0, -10.0]])
    np.testing.assert_allclose(delta_e00_of(grey, other), colour.delta_E(grey.T, other.T, method="CIE 2000"), atol=1e-9)


def test_lab_of_bytes_is_that_of_colour_science():
    bytes_ = np.random.default_rng(0).integers(0, 256, (3, 50_000), dtype=np.uint8)
    bytes_[:, :256] = np.arange(256)
    bytes_[:2, 256:400] = 0
    wanted = lab_from_srgb1(bytes_.T / 255).T
    np.testing.assert_allclose(lab_of_srgb255(*bytes_), wanted, atol=1e-10)
    np.testing.assert_allclose(lab_of_srgb255(*bytes_, np.float32), wanted, atol=5e-4)


def test_the_nearest_number_is_that_of_looking_at_every_pair():
    rng = np.random.default_rng(8)
    many, few = rng.uniform([0, -60, -60], [100, 60, 60], (300, 3)), rng.uniform([0, -60, -60], [100, 60, 60], (7, 3))
    wanted = colour.delta_E(many[:, None], few[None], method="CIE 2000").argmin(axis=1)
    np.testing.assert_array_equal(nearest_number(many, few, pairs_at_once=100), wanted)
    assert nearest_number(few[:1], few[[2, 0, 0]]).tolist() == [1]  # equals go to the lower number
