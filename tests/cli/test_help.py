"""Help texts are what a manual would say: units in brackets, defaults that are so, an example for each command."""

import re

import click
import pytest

from tint.cli import main
from tint.plan.first import USUAL
from tint.words import UNITS

BRACKETS = {"mm2": "mm²", "mm_s": "mm/s", "mm": "mm", "pct": "%", "khz": "kHz", "ns": "ns", "deg": "°"}
OPTIONS = [(name, option) for name, command in sorted(main.commands.items()) for option in command.params if isinstance(option, click.Option)]


def unit_of(option):
    """Unit that an option's name wears, such as "mm" of --width-mm; "" where it wears none."""
    words = max(option.opts, key=len).lstrip("-").replace("-", "_")
    return next((unit for ending, unit in BRACKETS.items() if words.endswith(f"_{ending}")), "")


def plain_help(name):
    command = main.commands[name]
    return " ".join(command.get_help(click.Context(command, info_name=f"tint {name}", terminal_width=200)).split())


@pytest.mark.parametrize(("name", "option"), OPTIONS, ids=[f"{name} {max(option.opts, key=len)}" for name, option in OPTIONS])
def test_an_option_whose_name_wears_a_unit_states_it_in_brackets(name, option):
    unit = unit_of(option)
    assert not unit or f"[{unit}]" in option.help, f"tint {name} {option.opts[-1]}: {option.help}"


def test_units_are_found_in_the_names_of_options():
    assert {unit_of(option) for _, option in OPTIONS} >= {"mm", "mm²", "mm/s", "%", "kHz", "ns", "°"}
    assert set(BRACKETS.values()) >= {unit for unit in UNITS.values() if unit}


def test_the_help_of_grid_states_the_ranges_that_are_taken():
    said = plain_help("grid")
    for field, (low, high) in USUAL.items():
        assert f"{low:g}–{high:g} {UNITS[field]}" in said, field


@pytest.mark.parametrize("name", sorted(main.commands))
def test_a_commands_help_begins_with_what_it_does_and_its_line_in_the_list_is_short(name):
    command = main.commands[name]
    assert re.match(r"[A-Z]", command.help) and command.short_help.endswith((".", "?")) and len(command.short_help) <= 70
