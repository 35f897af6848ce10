"""Light and heavy: how a palette's colours move with heat."""

import dataclasses

import numpy as np
import pytest
from invented import palette

from tint.errors import DataError, LimitError
from tint.lab import delta_e00
from tint.layers.heated import heated
from tint.model.model import predict, read_model
from tint.palette.palette import read_palette


@pytest.fixture(scope="module")
def known(shop):
    return read_palette(shop / "simulated" / "palette.json"), read_model(shop / "simulated" / "model.json")


def test_without_model_or_record_each_colour_moves_by_its_radius_in_lightness_alone():
    mine = palette()
    moved = heated(mine)
    for lab, up in ((moved.light_lab, 1), (moved.heavy_lab, -1)):
        np.testing.assert_allclose(delta_e00(mine.lab[1:], lab[1:]), 2.0, atol=1e-4)  # de00_90 of the invented palette
        np.testing.assert_array_equal(lab[:, 1:], mine.lab[:, 1:])
        assert (up * (lab[1:, 0] - mine.lab[1:, 0]) > 0).all()
        np.testing.assert_array_equal(lab[0], mine.bare_lab)
    assert "radius" in moved.words


def test_a_radius_wider_than_the_way_to_black_stops_there():
    mine = palette("dark")
    wide = dataclasses.replace(mine, colours=(dataclasses.replace(mine.colours[0], de00_90=60.0),))
    assert heated(wide).heavy_lab[1, 0] == pytest.approx(0, abs=1e-6)


def test_a_model_moves_colours_as_it_predicts_them_at_that_power(known):
    mine, model = known
    moved = heated(mine, 5, model)
    hot = predict(model, mine.setting.replace(power_pct=mine.setting.power_pct * 1.05)).lab
    here = predict(model, mine.setting).lab
    np.testing.assert_allclose(moved.heavy_lab[1:] - mine.lab[1:], hot - here, atol=1e-9)
    assert "5 % less and more power, by the colour model" == moved.words


def test_the_palettes_own_record_says_nearly_what_the_model_says(known):
    mine, model = known
    assert all(colour.along is not None for colour in mine.colours)
    by_record, by_model = heated(mine, 5), heated(mine, 5, model)
    assert delta_e00(by_record.heavy_lab, by_model.heavy_lab).max() < 0.5
    assert delta_e00(by_record.light_lab, by_model.light_lab).max() < 0.5


def test_more_heat_moves_more(known):
    mine, model = known
    small, large = (delta_e00(mine.lab, heated(mine, pct, model).heavy_lab).mean() for pct in (1, 6))
    assert 0 < small < large


@pytest.mark.parametrize("pct", [0, -2, 25, float("nan")])
def test_heat_that_cannot_be_is_refused(pct):
    with pytest.raises(LimitError, match="it lies above 0 and up to 20 %"):
        heated(palette(), pct)


def test_a_model_of_another_stock_is_refused(known):
    with pytest.raises(DataError, match="the layers' palette is of stock 'plate', the model of"):
        heated(palette(), 5, known[1])
