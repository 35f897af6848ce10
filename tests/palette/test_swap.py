"""A colour exchanged: the others stay, names stay unique, the file keeps it."""

import pytest

from tint.errors import LimitError
from tint.model.find import find_setting
from tint.palette.along import along_of
from tint.palette.choose import choose_palette
from tint.palette.palette import read_palette, write_palette
from tint.palette.swap import swap_colour
from tint.setting import Setting


def test_one_number_gets_another_setting_and_the_file_keeps_it(model, tmp_path):
    palette = choose_palette(model, 5)
    candidate = find_setting(model, palette.lab[3], n=2).candidates[1]
    along = along_of(model, Setting.from_table([candidate.setting.table()]))[0]
    swapped = swap_colour(palette, 3, candidate, along=along)
    assert swapped.colours[2].setting == candidate.setting and swapped.colours[2].patch == candidate.patch
    for k in (0, 1, 3, 4):
        assert swapped.colours[k] is palette.colours[k]
    write_palette(swapped, tmp_path / "palette.json")
    assert read_palette(tmp_path / "palette.json").colours[2].setting == candidate.setting


def test_a_name_is_never_given_twice(model):
    palette = choose_palette(model, 4)
    candidate = find_setting(model, palette.lab[1], n=1).candidates[0]
    swapped = palette
    for number in range(1, 5):
        swapped = swap_colour(swapped, number, candidate)
    names = [colour.name for colour in swapped.colours]
    assert len(set(names)) == 4 and names[1:] == [f"{names[0]} ({count})" for count in (2, 3, 4)]
    assert any("near twins: 6 pairs" in line for line in swapped.remarks)
    with pytest.raises(LimitError, match="twice"):
        swap_colour(palette, 1, candidate, name=palette.colours[1].name)
    with pytest.raises(LimitError, match="it has 1 to 4"):
        swap_colour(palette, 5, candidate)
