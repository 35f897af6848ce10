"""Locks: colours that stay, by name, patch or wish."""

import dataclasses

import numpy as np
import pytest

from tint.errors import DataError
from tint.lab import delta_e00, hex_from_lab
from tint.palette.choose import choose_palette
from tint.palette.keep import kept_colours, kept_for


@pytest.fixture(scope="module")
def signs(model):
    return choose_palette(model, 5, name="signs")


def test_a_colour_of_an_earlier_palette_stays_with_its_name_and_setting(model, signs):
    old = signs.colours[2]
    palette = choose_palette(model, 6, keep=[old.name.upper()], old=signs)
    (new,) = [colour for colour in palette.colours if colour.setting == old.setting]
    assert new.name == old.name and len(palette) == 6 and len({colour.name for colour in palette.colours}) == 6
    np.testing.assert_allclose(new.lab, old.lab, atol=1e-3)


def test_a_measured_patch_and_a_wished_colour_stay_too(model):
    patch = model.patches.ids[40]
    wish = hex_from_lab(model.patches.lab[7])
    palette = choose_palette(model, 4, keep=[patch, wish, patch])
    assert any(colour.patch == patch and colour.setting == model.patches.setting[40] for colour in palette.colours)
    assert delta_e00(palette.lab[1:], model.patches.lab[7]).min() < 4 and len(palette) == 4


def test_words_that_come_out_as_one_colour_are_told_and_keep_its_name(model):
    repeats = choose_palette(model, 2, keep=[model.patches.ids[40]])
    old = next(colour for colour in repeats.colours if colour.patch == model.patches.ids[40])
    kept, said = kept_colours(model, [old.patch, old.name, old.patch.lower(), old.patch], repeats)
    assert len(kept) == 1 and (kept[0].name, kept[0].patch) == (old.name, old.patch)
    assert kept_for(old.setting, kept) == f"{old.patch}, {old.name}"
    merged = f"'{old.patch}' and '{old.name}' come out as one colour: one setting serves both."
    assert said.count(merged) == 1 and sum("come out as one" in line for line in said) == 1
    palette = choose_palette(model, 4, keep=[old.patch, old.name], old=repeats)
    assert merged in palette.remarks and old.name in {colour.name for colour in palette.colours}


def test_a_wish_out_of_reach_is_kept_as_near_as_can_be_and_said(model):
    palette = choose_palette(model, 3, keep=["#00ff00"])
    assert any(line.startswith("CHECK: #00ff00 is out of reach") for line in palette.remarks)


def test_keeping_makes_the_rest_worse_or_equal_never_better(model):
    from tint.palette.locate import locate
    from tint.palette.offer import offer_of

    free = offer_of(model)
    held = offer_of(model, keep=[model.patches.ids[0]])

    def total(offer):
        fixed = range(len(offer.kept))
        chosen = locate(offer.miss * offer.weight[:, None], 5, offer.bare_miss * offer.weight, fixed)
        return np.minimum(offer.miss[:, chosen].min(axis=1), offer.bare_miss) @ offer.weight

    assert total(held) >= total(free) * 0.985


@pytest.mark.parametrize(
    ("keep", "said"),
    [(["no such blue"], "'no such blue' is no colour to keep: it is neither a colour of palette 'signs', a patch"),
     (["#12"], "write it as '#4466aa'")],
)  # fmt: skip
def test_what_names_nothing_is_one_clear_line(model, signs, keep, said):
    with pytest.raises(DataError, match=said):
        kept_colours(model, keep, signs)


def test_a_near_miss_of_a_name_is_offered_and_without_a_palette_the_way_to_name_one(model, signs):
    name = signs.colours[0].name
    with pytest.raises(DataError, match=f"Did you mean '{name}"):
        kept_colours(model, [name + "x"], signs)
    with pytest.raises(DataError, match="name that palette with --from"):
        kept_colours(model, ["azure"])


def test_a_palette_of_another_stock_or_machine_is_refused(model, signs):
    other = dataclasses.replace(signs, stock=dataclasses.replace(signs.stock, name="brass plate"))
    with pytest.raises(DataError, match="is of stock 'brass plate', the model of"):
        choose_palette(model, 4, keep=[signs.colours[0].name], old=other)
    other = dataclasses.replace(signs, machine=dataclasses.replace(signs.machine, name="old laser"))
    with pytest.raises(DataError, match="is of machine 'old laser'"):
        choose_palette(model, 4, keep=[signs.colours[0].name], old=other)


def test_fewer_colours_than_are_kept_are_refused(model, signs):
    names = [colour.name for colour in signs.colours]
    with pytest.raises(DataError, match="5 colours are to be kept, but only 2 wanted"):
        choose_palette(model, 2, keep=names, old=signs)
