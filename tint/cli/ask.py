"""Commands that answer: the colour of a setting, the settings of a colour."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from tint.caution import SHORT
from tint.cli.group import Command, main
from tint.cli.options import JSON, PATH, examples, of_each_field, remark, typed
from tint.words import FIELDS


@main.command(short_help="The colour of a setting, and how sure.")
@examples(
    "tint predict model.json --power-pct 22 --speed-mm-s 900 --freq-khz 400 --pulse-ns 14 --spacing-mm 0.002",
    "tint predict model.json --settings settings.csv",
)
@click.argument("model", type=PATH)
@click.option("--settings", "settings_file", type=PATH, help="settings.csv with one setting per row.")
@of_each_field("", type=float)
@JSON
@click.pass_context
def predict(ctx: click.Context, model: Path, settings_file: Path | None, as_json: bool, **values: float | None) -> None:
    """Colour of a setting, and how sure: 9 of 10 fresh marks land within de00_90 (ΔE00).

    Power, speed, frequency, pulse width and line spacing are needed; passes is 1, focus 0 mm and hatch angle 0° unless stated.
    Leaves with 1 where a setting is so far from the grid that the colour is a guess.
    """
    from tint.measure.patches import read_settings, settings_table
    from tint.model.answer import is_guess, model_remarks, prediction_remarks
    from tint.model.model import predict as predict_colour
    from tint.model.model import read_model
    from tint.setting import Setting

    stated = {field: value for field, value in values.items() if value is not None}
    if settings_file is not None and stated:
        raise click.UsageError("give --settings or single values, not both.")
    if settings_file is not None:
        setting = read_settings(settings_file)
    else:
        missing = [f"--{field.replace('_', '-')}" for field in FIELDS[:5] if field not in stated]
        if missing:
            raise click.UsageError(f"{', '.join(missing)} missing; or give a table with --settings.")
        setting = Setting(**{field: [value] for field, value in stated.items()})
    fitted = read_model(model)
    fitted.machine.check(setting, str(settings_file or ""))
    prediction = predict_colour(fitted, setting)
    for line in (*model_remarks(fitted), *prediction_remarks(prediction)):
        remark(line)
    columns = {
        "L": prediction.lab[:, 0],
        "a": prediction.lab[:, 1],
        "b": prediction.lab[:, 2],
        "de00_90": prediction.de00_90,
    }
    if as_json:
        rows = [
            {**setting[i].as_dict(), **{name: round(float(column[i]), 3) for name, column in columns.items()}}
            for i in range(len(setting))
        ]
        click.echo(json.dumps(rows, indent=1))
    else:
        click.echo(settings_table(setting, after={name: column.round(2) for name, column in columns.items()}), nl=False)
    remark(SHORT)
    if is_guess(prediction):
        ctx.exit(1)


class _WithLab(Command):
    """A command whose --lab takes its three numbers in one word or in three, negative ones too."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Arguments left over, after the numbers behind --lab were put into one word."""
        return super().parse_args(ctx, _joined(args))


@main.command(cls=_WithLab, short_help="Settings for a colour, safest first.")
@examples(
    "tint match model.json --lab 45,10,-30",
    "tint match model.json --lab 45 10 -30",
    "tint match model.json --srgb '#4466aa' -n 3",
)
@click.argument("model", type=PATH)
@click.option("--lab", metavar="L,A,B", help="Wished colour, CIELAB D50, 2°; commas or spaces between.")
@click.option("--srgb", metavar="#RRGGBB", help="Wished colour, as on a screen.")
@click.option("-n", "count", type=click.IntRange(1, 50), default=5, show_default=True, help="How many settings.")
@JSON
@click.pass_context
def match(ctx: click.Context, model: Path, lab: str | None, srgb: str | None, count: int, as_json: bool) -> None:
    """Settings for a wished colour, safest first, or for the nearest that this stock can show.

    Leaves with 1 where the wish is out of reach; the nearest is printed all the same.
    """
    from tint.lab import lab_from_hex
    from tint.model.answer import found_dict, found_text, model_remarks
    from tint.model.find import find_setting
    from tint.model.model import read_model

    if (lab is None) == (srgb is None):
        raise click.UsageError("give the wished colour with --lab or with --srgb.")
    with typed():
        wish = _lab(lab) if lab is not None else lab_from_hex(srgb or "")
    fitted = read_model(model)
    found = find_setting(fitted, wish, n=count)
    click.echo(json.dumps(found_dict(found), indent=1) if as_json else found_text(found))
    for line in model_remarks(fitted):
        remark(line)
    remark(SHORT)
    if not found.reachable:
        ctx.exit(1)


def _joined(args: list[str]) -> list[str]:
    """Arguments with up to three numbers behind each --lab joined by commas."""
    out, rest = [], list(args)
    while rest:
        out.append(rest.pop(0))
        numbers: list[str] = []
        while out[-1] == "--lab" and rest and len(numbers) < 3 and _is_number(rest[0].strip(",")):
            numbers.append(rest.pop(0).strip(","))
        if numbers:
            out.append(",".join(numbers))
    return out


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _lab(text: str) -> Any:
    import numpy as np

    from tint.errors import DataError
    from tint.lab import lab_problem

    try:
        lab = np.array([float(part) for part in text.replace(",", " ").split()])
        if lab.shape != (3,):
            raise ValueError
    except ValueError:
        raise DataError(f"--lab {text!r} is not a colour; write three numbers, such as --lab 45,10,-30.") from None
    if problem := lab_problem(lab):
        raise DataError(problem)
    return lab
