"""Columns of wavelengths, and spectra to Lab: against a published set and against colour-science itself."""

from importlib.resources import files

import numpy as np
import pytest

from tint.errors import FileError
from tint.lab import delta_e00, lab_d50_from
from tint.measure.conditions import Conditions
from tint.measure.spectrum import colours, lab_columns, wavelength_of

NM = np.arange(380.0, 731, 10)
GREY = np.full((1, len(NM)), 0.5)


def colour_of(spectra, scale="one", nm=NM, lab=None, **conditions):
    places = [f"line {i + 1}" for i in range(len(spectra))]
    return colours("x.csv", places, lab, nm, np.asarray(spectra, float), Conditions(scale=scale, **conditions))


@pytest.mark.parametrize(
    "name", ["nm400", "400", "400nm", "400 nm", "SPECTRAL_NM400", "SPECTRAL_NM_400", "SPECTRAL_400", "NM_400", "nm400.0", "R_400", "r400", "400,0"]
)
def test_a_wavelength_is_known_by_the_ways_instruments_write_it(name):
    assert wavelength_of(name) == 400


@pytest.mark.parametrize("name", ["", "L", "12", "299", "1101", "x400", "SAMPLE_400", "RGB_R", "4000", "nm", "2026", "power_pct"])
def test_other_columns_are_no_wavelengths(name):
    assert wavelength_of(name) is None


def test_lab_columns_go_by_several_names_and_a_blue_is_no_b():
    assert lab_columns(["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"]) == ("LAB_L", "LAB_A", "LAB_B")
    assert lab_columns(["L*", "a*", "b*", "sd"]) == ("L*", "a*", "b*") and lab_columns(["L", "a", "b", "LAB_L"]) == ("L", "a", "b")
    assert lab_columns(["L", "a", "B"]) is None and lab_columns(["R", "G", "B"]) is None


def test_the_lab_that_a_published_set_states_is_met():
    # 144 reflectances and their Lab (D50/2°, ASTM E308 table 5) in the sample file that the package colour-cxf carries.
    # The spectra end at 680 nm there: the last value read stands for what is missing, as E308 says.
    from colour_cxf import read_cxf

    document = read_cxf((files("colour_cxf") / "tests" / "resources" / "sample.cxf").read_bytes())
    values = [item.color_values.choice for item in document.resources.object_collection.object_value]
    spectra = np.array([next(v.value for v in one if type(v).__name__ == "ReflectanceSpectrum") for one in values])
    lab = np.array([next((v.l, v.a, v.b) for v in one if type(v).__name__ == "ColorCielab") for one in values])
    longer = np.concatenate([spectra, np.repeat(spectra[:, -1:], 2, axis=1)], axis=1)
    found, _ = colour_of(longer, nm=np.arange(380.0, 701, 10))
    away = delta_e00(found, lab)
    assert len(away) == 144 and np.median(away) < 0.1 and away.max() < 0.2  # measured 0.05 and 0.15


@pytest.mark.parametrize("step", [1, 5, 10, 20])
def test_the_chart_that_colour_science_carries_is_met_at_every_step(step):
    # Reflectances of the 24-patch chart and their published xyY (D50), both as colour-science carries them.
    import colour

    chart = colour.CCS_COLOURCHECKERS["BabelColor Average"]
    lab = colour.XYZ_to_Lab(colour.xyY_to_XYZ(np.array(list(chart.data.values()))), chart.illuminant)
    nm = np.arange(380.0, 721 if step == 20 else 731, step)
    spectra = [
        np.interp(nm, spectrum.wavelengths, spectrum.values)
        if step >= 10
        else spectrum.copy().interpolate(colour.SpectralShape(380, 730, step)).values
        for spectrum in colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
    ]
    found, facts = colour_of(spectra, nm=nm)
    assert delta_e00(found, lab).max() < 0.25  # measured 0.17 to 0.18
    assert facts["spectra"].startswith(f"380–{nm[-1]:g} nm in steps of {step} nm, white is 1; weighted by ASTM E308")


def test_percent_and_factors_and_any_order_of_columns_give_one_colour():
    one, _ = colour_of(GREY)
    np.testing.assert_allclose(colour_of(100 * GREY, "percent")[0], one)
    spectrum = np.linspace(0.1, 0.9, len(NM))[None]
    np.testing.assert_allclose(colour_of(spectrum[:, ::-1], nm=NM[::-1])[0], colour_of(spectrum)[0])
    wide = np.arange(340.0, 1051, 10)
    np.testing.assert_allclose(colour_of(np.full((1, len(wide)), 0.5), nm=wide)[0], one, atol=1e-9)


@pytest.mark.parametrize(
    ("spectra", "scale", "said"),
    [
        (50 * np.ones((1, 36)), "one", "line 1: reflectance 50 cannot be on the scale 'one'. Values of a white of 100"),
        (0.5 * np.ones((1, 36)), "percent", "too dark for any plate on the scale 'percent'. Values of a white of 1"),
        (170 * np.ones((1, 36)), "percent", "reflectance 170 cannot be"),
        (np.linspace(-0.3, 0.6, 36)[None], "one", "below 0"),
        (np.where(np.arange(36) == 2, np.nan, 0.5)[None], "one", "line 1: the spectrum has no value at 400 nm"),
    ],
)
def test_spectra_that_cannot_be_on_the_scale_stated_are_refused_and_never_rescaled(spectra, scale, said):
    with pytest.raises(FileError, match=said):
        colour_of(spectra, scale)


@pytest.mark.parametrize(
    "nm",
    [np.arange(420.0, 701, 10), np.arange(380.0, 681, 10), np.arange(380.0, 741, 15), np.array([400, 410, 430.0, 700]), np.arange(384.0, 731, 10)],
)
def test_a_range_that_leaves_out_light_or_steps_nobody_weights_is_refused(nm):
    with pytest.raises(FileError, match="needed are 400–700 nm or more in steps of 1, 5, 10 or 20 nm"):
        colour_of(np.full((1, len(nm)), 0.5), nm=nm)


def test_a_row_without_a_spectrum_is_not_read_and_the_others_are():
    found, _ = colour_of(np.concatenate([np.full((1, 36), np.nan), GREY]))
    assert np.isnan(found[0]).all() and np.isfinite(found[1]).all()


def test_spectra_decide_and_a_lab_of_another_light_beside_them_is_refused_only_where_it_claims_to_be_the_same():
    lab, _ = colour_of(GREY)
    other = lab + np.array([3.0, 0, 0])
    found, facts = colour_of(GREY, lab=other, illuminant="D65", observer="10")
    np.testing.assert_allclose(found, lab)
    assert "adapted" not in facts
    with pytest.raises(FileError, match="its spectra and its Lab differ by"):
        colour_of(GREY, lab=other, illuminant="D50", observer="2")


def test_lab_under_another_white_is_adapted_and_said():
    found, facts = colours("x", ["line 1"], np.array([[50.0, 10, -20]]), None, None, Conditions(illuminant="D65", observer="2"))
    np.testing.assert_allclose(found[0], lab_d50_from([50, 10, -20], "D65"))
    assert facts == {"adapted": "from D65 to D50 (Bradford)"}
    with pytest.raises(FileError, match="line 1: L, a and b are needed"):
        colours("x", ["line 1"], np.array([[50.0, np.nan, -20]]), None, None, Conditions())
