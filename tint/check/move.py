"""Another batch or stock: the few patches worth marking, and a palette moved over to the new model."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from tint.lab import delta_e00
from tint.model.find import REACH_DE00, expected_de00, find_setting
from tint.model.jitter import sensitivity
from tint.model.model import ColourModel, predict
from tint.palette.along import along_of
from tint.palette.lineage import Lineage
from tint.palette.palette import Palette
from tint.palette.twins import twins_told
from tint.setting import Setting

KEPT, MOVED, LOST = "kept", "moved", "lost"
# Another batch shifts the film by a tenth or so (as on simulated lasers); patches with this much more and less power beside each
# setting show which way a colour turns.
BESIDE = 0.12
MOST_PATCHES, LEAST_PATCHES = 24, 12  # what carrying a model over needs, and what a person marks in ten minutes
WORTH_DE00 = 0.5  # a setting is left only where another should come nearer by this much


@dataclass(frozen=True, eq=False)
class Move:
    """What became of one colour: "kept", "moved" or "lost"; ΔE00 to the old promise with the old and with the new setting."""

    name: str
    what: str
    old_de00: float
    new_de00: float
    setting: Setting


def patches_for_move(palette: Palette, model: ColourModel) -> Setting:
    """Settings (n,) worth marking on a new batch: every colour's own, then more and less power beside the loudest.

    Notes
    -----
    At most 24, or one per colour where there are more; at least 12.
    """
    own, (low, high) = palette.setting.table(), palette.machine.power_range_pct
    loud = np.argsort(-sensitivity(model, palette.setting), kind="stable")
    count = max(min(MOST_PATCHES, 3 * len(own)), LEAST_PATCHES, len(own))
    rows, ring = [*own], 1
    while len(rows) < count and ring < 5:
        for step in (BESIDE * ring, -BESIDE * ring):
            for k in loud:
                row = own[k].copy()
                row[0] = float(f"{row[0] * np.exp(step):.3g}")
                if low <= row[0] <= high and len(rows) < count:
                    rows.append(row)
        ring += 1
    return Setting.from_table(rows)


def move_palette(palette: Palette, model: ColourModel, version: int, date: str) -> tuple[Palette, tuple[Move, ...]]:
    """The palette on the stock of another model, and what became of each colour.

    Notes
    -----
    A colour is kept where its old setting should come within 2.3 ΔE00 of its promise and no other setting comes nearer by half
    a unit, moved where another does, lost where none comes within 2.3; lost colours are left out. The new colours are what the
    model predicts, to be accepted with a strip.
    """
    guess = predict(model, palette.setting)
    old_de00 = delta_e00(guess.lab, palette.lab[1:])
    moves, colours = [], []
    for k, colour in enumerate(palette.colours):
        best = find_setting(model, colour.lab, n=1).candidates[0]
        keep = (
            old_de00[k] <= REACH_DE00
            and guess.outside[k] == 0
            and expected_de00(old_de00[k], guess.de00_90[k]) - best.expected_de00 < WORTH_DE00
        )
        setting = colour.setting if keep else best.setting
        new = float(old_de00[k]) if keep else best.de00
        what = KEPT if keep else MOVED if new <= REACH_DE00 else LOST
        moves.append(Move(colour.name, what, float(old_de00[k]), new, setting))
        if what == LOST:
            continue
        here = predict(model, setting)
        colours.append(
            dataclasses.replace(
                colour, setting=setting, lab=here.lab.round(3), de00_90=round(float(here.de00_90), 2), patch="", marks=0, scatter=None,
                sensitivity_de00=round(float(sensitivity(model, setting)), 2), along=None,
            )
        )  # fmt: skip
    if not colours:
        return palette, tuple(moves)
    along = along_of(model, Setting.from_table([colour.setting.table() for colour in colours]))
    colours = [dataclasses.replace(colour, along=own) for colour, own in zip(colours, along, strict=True)]
    bare = model.patches.bare_lab
    remark = model.patches.facts.get("remark")
    moved = twins_told(dataclasses.replace(
        palette, machine=model.machine, stock=model.stock, colours=tuple(colours), bare_lab=palette.bare_lab if bare is None else bare,
        remarks=tuple(dict.fromkeys([*([remark] if remark else []), *palette.remarks])), repeatability=None, edited=(),
        lineage=Lineage(version, palette.line, palette.digest, f"moved to {model.stock.name} {model.stock.batch}".strip(), date, ""),
    ))  # fmt: skip
    return moved, tuple(moves)


def moves_text(moves: tuple[Move, ...]) -> str:
    """Table of what became of each colour."""
    lines = [f"{'colour':24s} {'':6s} {'ΔE00 as it was':>15s} {'now':>6s}   setting"]
    for move in moves:
        lines.append(
            f"{move.name:24s} {move.what:6s} {move.old_de00:15.1f} {move.new_de00:6.1f}   "
            f"{move.setting if move.what != LOST else 'no setting comes near'}"
        )
    count = {what: sum(move.what == what for move in moves) for what in (KEPT, MOVED, LOST)}
    return "\n".join(
        [*lines, ", ".join(f"{number} {what}" for what, number in count.items()) + " (ΔE00 to the old promise)"]
    )
