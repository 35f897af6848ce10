"""Process quantities against a published table of settings and textbook formulas."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tint.process import process, rayleigh_mm, spot_mm, spot_out_of_focus_mm
from tint.setting import Machine, Setting

DATA = Path(__file__).parent / "data"
LASER = Machine("bench", 100, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)


def named_colours():
    with (DATA / "named_colours.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


@pytest.mark.parametrize("row", named_colours(), ids=lambda row: row["colour"])
def test_pulse_and_areal_energy_of_the_named_colours_match_their_published_values(row):
    setting = Setting(*(float(row[name]) for name in ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm")))
    quantities = process(setting, LASER)
    assert quantities.pulse_energy_uj == pytest.approx(float(row["pulse_energy_uj"]), rel=0.005)  # printed to three digits
    assert quantities.areal_energy_j_mm2 == pytest.approx(float(row["areal_energy_j_mm2"]), abs=0.00501)  # to two decimals


def test_four_hues_of_the_named_colours_share_one_areal_energy():
    rows = [row for row in named_colours() if row["colour"] in ("purple", "blue", "green", "red")]
    assert {row["areal_energy_j_mm2"] for row in rows} == {"11.25"}


def test_spot_and_rayleigh_range_follow_the_gaussian_beam_formulas():
    # Siegman, Lasers (1986), chapter 17: w0 = M² λ F / (π W), zR = π w0² / (M² λ), with w = d / 2
    laser = Machine("lens", 60, [2, 500], [1, 4000], 10000, [175, 175], lens_focal_mm=254, beam_mm=7.5, m2=1.3)
    waist = 1.3 * 1.064e-6 * 0.254 / (np.pi * 0.00375)
    assert spot_mm(laser) == pytest.approx(2 * waist * 1e3, rel=1e-12)
    assert rayleigh_mm(laser) == pytest.approx(np.pi * waist**2 / (1.3 * 1.064e-6) * 1e3, rel=1e-12)
    assert spot_out_of_focus_mm(laser, rayleigh_mm(laser)) == pytest.approx(2**0.5 * spot_mm(laser))


def test_peak_fluence_is_that_of_a_gaussian_beam():
    # peak of a Gaussian of energy E and 1/e² radius w is 2 E / (π w²)
    quantities = process(Setting(20, 1000, 200, 10, 0.01), LASER)
    assert quantities.fluence_j_cm2 == pytest.approx(2 * 100e-6 / (np.pi * 0.003**2), rel=1e-12)
    assert quantities.peak_power_kw == pytest.approx(100e-6 / 10e-9 / 1e3)


@given(
    st.floats(1, 100), st.floats(10, 10000), st.floats(1, 4000), st.floats(2, 500), st.floats(0.0005, 0.2), st.integers(1, 9)
)  # fmt: skip
def test_quantities_of_one_setting_agree_with_each_other(power, speed, freq, pulse, spacing, passes):
    q = process(Setting(power, speed, freq, pulse, spacing, passes), LASER)
    assert q.areal_energy_j_mm2 == pytest.approx(passes * q.pulse_energy_uj * 1e-6 / (q.pulse_pitch_mm * spacing))
    assert q.pulse_overlap == pytest.approx(1 - 1 / q.pulses_per_spot)
    assert q.linear_energy_j_mm == pytest.approx(q.average_power_w / speed)


def test_quantities_keep_the_shape_of_the_settings():
    setting = Setting(np.full((2, 3), 20.0), 800, 300, 6, 0.002)
    assert process(setting, LASER).fluence_j_cm2.shape == (2, 3)
