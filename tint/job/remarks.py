"""Remarks of a job: what differs from what the palette was made on, and what a separation had to say, in few lines."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from tint.errors import LimitError
from tint.metal import metal_of
from tint.process import spot_mm
from tint.setting import Machine, Stock

OTHER_MACHINE = "Other machine"  # first words of the remark; the sheet prints it bold
SAME_SPOT = 0.01  # relative; a spot is known no better (no source), and 1 % is 2 % of the energy density
MOST_NAMED = 3  # of a list: all of a plate's far colours took the sheet's whole room, and other warnings found none
MORE = "more in README.txt"  # how a shortened list ends; README.txt itself says "more below"
_PIECE = r"(?:(?P<piece>[^:]+): )?"  # whose line it is, on a plate of many
_FAR = re.compile(_PIECE + r"(?P<name>.+) stands in for colours that are (?P<off>\d+) ΔE00 away")
_ONE = re.compile(
    _PIECE + r"colours that come out as one: (?P<what>[^;]+), (?:up to )?(?P<off>\d+) ΔE00 apart in the artwork, "
    r"(?P<are>are \w+ [^;]+?)(?:, and colours of .+ likewise|; .+)?\. (?P<advice>(?:A|This) palette .+)"
)
_NOTES = re.compile(_PIECE + r"(?:\d+ specks smaller than |tonal: from \d+ mm it looks )")  # nothing to do at the machine about


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
    """Remarks of a separation for every reader, kinds in one short line each; and what README.txt alone says, in full.

    Examples
    --------
    >>> split_remarks(["teal stands in for colours that are 15 ΔE00 away on average", "3 specks smaller than 1 mm² joined"])
    (('Far from the wished colour (ΔE00): teal 15.',), ('3 specks smaller than 1 mm² joined',))
    """
    notes = [line for line in lines if _NOTES.match(line)]
    far = sorted((found for line in lines if (found := _FAR.match(line))), key=lambda found: -int(found["off"]))
    one = sorted((found for line in lines if (found := _ONE.match(line))), key=lambda found: -int(found["off"]))
    one = one if len(one) > 1 else []
    told = {found.string for found in (*far, *one)}
    said = []
    if far:
        worst = _by_piece((found["name"], found) for found in far)
        entries = [f"{name} {group[0]['off']}{_pieces(group)}" for name, group in worst.items()]
        said.append(f"Far from the wished colour (ΔE00): {_first(entries, ', ')}.")
        if len(far) > min(len(entries), MOST_NAMED):
            every = (f"{found['piece'] + ': ' if found['piece'] else ''}{found['name']} {found['off']}" for found in far)
            notes.append(f"Far from the wished colour, all (ΔE00): {', '.join(every)}.")
    if one:
        worst = _by_piece((f"{found['what']} {found['are']}", found) for found in one)
        entries = [f"{what}{_pieces(group)}" for what, group in worst.items()]
        advice = min(found["advice"] for found in one)  # "A palette …" before "This palette …", which holds for one piece
        said.append(f"colours that come out as one: {_first(entries, '; ')}. {advice}")
        notes += [found.string for found in one]
    owners: dict[str, list[str]] = {}  # pieces by what is said alike of them; [] where it is said of none
    for line in dict.fromkeys(lines):
        if line not in told and not _NOTES.match(line):
            piece, colon, text = line.partition(": ")
            owners.setdefault(text if colon else line, []).extend([piece] if colon else [])
    for text, pieces in owners.items():
        said.append(f"{_first(pieces, ', ')}: {text}" if pieces else text)
        if len(pieces) > MOST_NAMED:
            notes.append(f"{', '.join(pieces)}: {text}")
    return tuple(said), tuple(notes)


def _by_piece(found: Iterable[tuple[str, re.Match[str]]]) -> dict[str, list[re.Match[str]]]:
    """What is said alike of several pieces of a plate, together, in the order found."""
    groups: dict[str, list[re.Match[str]]] = {}
    for text, match in found:
        groups.setdefault(text, []).append(match)
    return groups


def _pieces(group: Sequence[re.Match[str]]) -> str:
    """Whose it is, in brackets; "" where there is one piece only."""
    if not group[0]["piece"]:
        return ""
    return f" ({group[0]['piece']}{f' and {len(group) - 1} more' if len(group) > 1 else ''})"


def _first(entries: Sequence[str], between: str) -> str:
    more = f"{between}and {len(entries) - MOST_NAMED} {MORE}" if len(entries) > MOST_NAMED else ""
    return between.join(entries[:MOST_NAMED]) + more


def _said(value: str) -> str:
    return value or "not stated"
