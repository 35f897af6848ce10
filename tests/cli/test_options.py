"""Options that would do nothing where they stand are refused, and ranges that cannot be read say how to write them."""

from pathlib import Path

import pytest
from calling import one_line, tint

from tint.words import FIELDS

PALETTE = Path(__file__).parents[2] / "palettes" / "open-6ns" / "palette.json"
GRID = ["grid", "machine.toml", "--stock", "stock.toml"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([*GRID, "--verify", "palette.json", "-n", 24], "-n: does not go with --verify"),
        ([*GRID, "--strip", "palette.json", "-n", 24], "-n: does not go with --strip"),
        ([*GRID, "--replicates", 2], "--replicates: goes with --strip"),
        (["batch", "names", "palette.json", "--gap-mm", 4, "--turn"], "--gap-mm, --turn: pieces lie side by side with --pack only"),
        (["palette", "model.json", "--from", "old.json", "-n", 6], "-n: without --keep"),
        (["palette", "model.json", "--from", "old.json", "--for", "heron.png", "--name", "heron"], "--for, --name: without --keep"),
    ],
)
def test_an_option_that_would_do_nothing_is_refused_before_any_file_is_read(words, said):
    done = tint(*words)
    assert done.exit_code == 2 and said in done.stderr and "is not there" not in done.stderr


@pytest.mark.parametrize("field", FIELDS)
def test_a_range_that_cannot_be_read_shows_one_that_this_field_can_have(tmp_path, field):
    from tint.demo.laser import demo_machine, demo_stock
    from tint.setting import toml_text

    for name, thing in (("machine.toml", demo_machine()), ("stock.toml", demo_stock())):
        (tmp_path / name).write_text(toml_text(thing), encoding="utf-8")
    option = f"--{field.replace('_', '-')}"
    call = ["grid", tmp_path / "machine.toml", "--stock", tmp_path / "stock.toml", "-n", 12, "-o", tmp_path / "plate"]
    said = one_line(tint(*call, option, "much"), 2)
    shown = said.rpartition(f"{option} ")[2].strip(" .\n")
    done = tint(*call, option, shown)
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([*GRID, "--power-pct", "10-40"], "--power-pct '10-40' is not a range"),
        ([*GRID, "--speed-mm-s", "900:400"], "--speed-mm-s '900:400' is not a range"),
        ([*GRID, "--speed-mm-s", "400:nan"], "--speed-mm-s '400:nan' is not a range"),
        ([*GRID, "--after", "model.json", "--toward", "blue"], "'blue' is not a screen colour"),
        (["match", "model.json", "--lab", "46;-10;-26"], "write three numbers"),
        (["match", "model.json", "--lab", "150,0,0"], "L 150 cannot be"),
        (["match", "model.json", "--srgb", "blue"], "'blue' is not a screen colour"),
        (["stocks", "our-stocks", "--toward", "blue"], "'blue' is not a screen colour"),
        (["palette", "model.json", "-n", "0"], "a palette holds 1 to 255"),
        (["palette", "model.json", "--slow-de00", "-1"], "0 leaves it out"),
        (["batch", "names", "palette.json", "--pack", "--gap-mm", "-3"], "a gap of -3 mm"),
        (["job", "layers", "machine.toml", "--at-mm", "here"], "write two numbers"),
        (["guide", "prooof"], "the guide has no page 'prooof'"),
    ],
)
def test_what_cannot_be_read_as_typed_is_wrong_use_before_any_file_is_read(words, said):
    assert said in one_line(tint(*words), 2)


def test_a_file_that_says_what_cannot_be_is_the_data_that_says_no(tmp_path):
    from tint.demo.laser import demo_machine
    from tint.setting import toml_text

    text = toml_text(demo_machine())
    stated = next(line for line in text.splitlines() if line.startswith("max_power_w"))
    (tmp_path / "machine.toml").write_text(text.replace(stated, 'max_power_w = "30 W"'), encoding="utf-8")
    assert "max_power_w needs numbers, found '30 W'" in one_line(tint("grid", tmp_path / "machine.toml", "--stock", "stock.toml"), 1)


@pytest.mark.parametrize(
    ("content", "hint"),
    [('name = "a"\npower = 4,5\n', True), ('{"format": "tint-palette/1", "name": "a"}', False), ("pulse_ns = [1, 2\nname = 3", False)],
)
def test_a_decimal_comma_is_suspected_only_where_one_stands(tmp_path, content, hint):
    (tmp_path / "machine.toml").write_text(content, encoding="utf-8")
    said = one_line(tint("grid", tmp_path / "machine.toml", "--stock", "stock.toml"), 2)
    assert "not valid TOML" in said and ("not a comma" in said) == hint


def test_a_reading_given_for_patches_is_told_from_a_table_that_lacks_a_column(tmp_path):
    (tmp_path / "reading.csv").write_text("patch,L,a,b,flag\nA01,50,1,2,\n", encoding="utf-8")
    said = one_line(tint("check", PALETTE, tmp_path / "reading.csv"), 2)
    assert "power_pct (power) is missing" in said and "tint measure" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["separate", "heron.png", "palette.json", "--width-mm", "4,5"], "'4,5' is not a number; write it with a point and no unit"),
        (["separate", "heron.png", "palette.json", "--width-mm", "45mm"], "'45mm' is not a number; write it with a point"),
        (["predict", "model.json", "--power-pct", "28%"], "'28%' is not a number; write it with a point and no unit"),
        (["measure", "plate", "reading.txt", "--table", "two"], "'two' is not a whole number; write it without unit"),
    ],
)
def test_a_number_that_cannot_be_read_is_answered_in_shop_words(words, said):
    done = tint(*words)
    assert done.exit_code == 2 and said in done.stderr and "float" not in done.stderr and "integer" not in done.stderr


def test_a_name_with_spaces_that_was_not_quoted_is_said_to_need_quotes():
    done = tint("separate", "wren", "sign.svg", "palette.json")
    assert done.exit_code == 2 and "(palette.json). A name with spaces goes in quotes." in done.stderr
    assert "quotes" not in tint("separate", "wren.svg").stderr


@pytest.mark.parametrize(
    ("command", "more", "said"),
    [
        ("job", [], "the folder of layers comes first, then the machine's file"),
        ("measure", [], "the folder of the grid comes first, then the readings"),
        ("measure", ["--kind", "photo", "--chart", "after-nov-2014"], "the folder of the grid comes first, then the photo"),
        ("batch", [], "the folder of artworks comes first, then the palette"),
    ],
)
def test_a_file_and_a_folder_the_wrong_way_round_are_answered_with_the_order(tmp_path, command, more, said):
    (tmp_path / "file.txt").write_text("x", encoding="utf-8")
    (tmp_path / "folder").mkdir()
    told = one_line(tint(command, tmp_path / "file.txt", tmp_path / "folder", *more, "-o", tmp_path / "out"), 2)
    assert said in told and not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", ["grid", "fit", "stocks"])
@pytest.mark.parametrize("seed", ["-1", "1" * 20])
def test_a_seed_no_generator_takes_is_wrong_use(command, seed):
    done = tint(command, "here", "--seed", seed)
    assert done.exit_code == 2 and "--seed" in done.stderr and "Traceback" not in done.stderr and "range" in done.stderr
