"""Remarks of a job: what differs from what the palette was made on, and what a separation had to say, in few lines."""

from __future__ import annotations

import re
from collections.abc import Sequence

from tint.errors import LimitError
from tint.metal import metal_of
from tint.process import spot_mm
from tint.setting import Machine, Stock

OTHER_MACHINE = "Other machine"  # first words of the remark; the sheet prints it bold
SAME_SPOT = 0.01  # relative; a spot is known no better (no source), and 1 % is 2 % of the energy density
_FAR = re.compile(r"(?P<name>.+) stands in for colours that are (?P<off>\d+) ΔE00 away")
_NOTES = re.compile(r"\d+ specks smaller than |tonal: from \d+ mm it looks ")  # nothing to do at the machine about


def machine_remark(made_on: Machine, machine: Machine) -> str:
    """One line where the job's machine is not the one the palette was made on, "" where it is."""
    if machine == made_on:
        return ""
    if machine.name != made_on.name:
        what = f"the palette was made on {made_on.name}, this job is for {machine.name}"
    else:
        what = f"{machine.name} has changed since the palette was made on it"
    watts = made_on.max_power_w, machine.max_power_w
    spots_um = [1e3 * spot_mm(each) for each in (machine, made_on)]
    if abs(spots_um[0] / spots_um[1] - 1) <= SAME_SPOT and (
        abs(watts[1] / watts[0] - 1) > SAME_SPOT or machine.power_curve != made_on.power_curve
    ):
        return (
            f"{OTHER_MACHINE}, other power ({watts[1]:g} W at 100 %, not {watts[0]:g} W): the same percentage is another power, and these "
            f"settings may burn; fit this machine first. {what[0].upper()}{what[1:]}."
        )
    if abs(spots_um[0] / spots_um[1] - 1) <= SAME_SPOT:
        return f"{OTHER_MACHINE}: {what}. Colours will shift: mark and compare the trial before the piece."
    return (
        f"{OTHER_MACHINE}, other spot ({spots_um[0]:.3g} µm, not {spots_um[1]:.3g} µm): another spot means another energy "
        f"density, and these settings may burn; fit this machine first. {what[0].upper()}{what[1:]}."
    )


def stock_remark(made_on: Stock, stock: Stock) -> str:
    """One line where the piece's grade, finish, thickness or batch is not the palette's, "" where they agree.

    Raises
    ------
    LimitError
        The piece is of another metal.
    """
    made, here = metal_of(made_on.grade), metal_of(stock.grade)
    if made is not None and here is not None and made.name != here.name:
        raise LimitError(
            f"the palette was made on {made_on.grade} ({made.name}), {stock.name} is {stock.grade} ({here.name}): "
            "its settings do not carry over. Take a palette of this metal."
        )
    differs = [
        f"{word} {_said(ours)} instead of {_said(theirs)}"
        for word, ours, theirs in (
            ("grade", stock.grade, made_on.grade),
            ("finish", stock.finish, made_on.finish),
            ("thickness", f"{stock.thickness_mm:g} mm", f"{made_on.thickness_mm:g} mm"),
            ("batch", stock.batch, made_on.batch),
        )
        if ours != theirs
    ]
    if not differs:
        return ""
    return f"Other stock: palette was made on {made_on.name}; {', '.join(differs)}; colours may shift: trial first."


def split_remarks(lines: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Remarks of a separation for every reader, colours far from the wished ones in one line; and those for README.txt only.

    Examples
    --------
    >>> split_remarks(["teal stands in for colours that are 15 ΔE00 away on average", "3 specks smaller than 1 mm² joined"])
    (('Far from the wished colour (ΔE00): teal 15.',), ('3 specks smaller than 1 mm² joined',))
    """
    far = [found.group("name", "off") for line in lines if (found := _FAR.match(line))]
    far.sort(key=lambda pair: -int(pair[1]))
    merged = [f"Far from the wished colour (ΔE00): {', '.join(f'{name} {off}' for name, off in far)}."] if far else []
    rest = [line for line in lines if not _FAR.match(line)]
    notes = tuple(line for line in rest if _NOTES.match(line))
    return (*merged, *(line for line in rest if line not in notes)), notes


def _said(value: str) -> str:
    return value or "not stated"
