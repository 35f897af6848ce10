"""Locks: colours that must stay in a palette, named as people name them."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.lab import delta_e00, lab_from_hex
from tint.model.answer import FAR_OUTSIDE
from tint.model.find import find_setting
from tint.model.jitter import USUAL_JITTER, Jitter
from tint.model.model import ColourModel, predict
from tint.palette.palette import Palette
from tint.setting import Setting


@dataclass(frozen=True, eq=False)
class Kept:
    """A colour that must stay.

    Parameters
    ----------
    setting : the setting that makes it
    name : its name in the earlier palette; "" where it gets a new one
    patch : id of the measured patch it repeats, "" for none
    asked : the words it was named by, parted by commas
    """

    setting: Setting
    name: str = ""
    patch: str = ""
    asked: str = ""


def kept_colours(
    model: ColourModel,
    words: Sequence[str],
    old: Palette | None = None,
    *,
    jitter: Jitter = USUAL_JITTER,
    seed: int = 0,
) -> tuple[tuple[Kept, ...], tuple[str, ...]]:
    """The colours that words name, each setting once, and what is to be said about them: out of reach, moved, or become one.

    Parameters
    ----------
    words : each the name of a colour of `old`, the id of a patch of the model, or a wished screen colour "#4466aa"
    old : an earlier palette of the same stock and machine

    Raises
    ------
    DataError
        A word that names nothing, or an earlier palette of another stock or machine.
    """
    if old is not None:
        refuse_other_stock(model, old)
    kept: list[Kept] = []
    remarks: list[str] = []
    for word in words:
        one, said = _kept(model, word.strip(), old, jitter, seed)
        remarks += said
        same = next((i for i, other in enumerate(kept) if one.setting == other.setting), None)
        if same is None:
            kept.append(one)
        elif one.asked.casefold() not in (each.casefold() for each in kept[same].asked.split(", ")):
            first = kept[same]
            remarks.append(f"'{first.asked}' and '{one.asked}' come out as one colour: one setting serves both.")
            kept[same] = Kept(one.setting, first.name or one.name, first.patch or one.patch, f"{first.asked}, {one.asked}")
    return tuple(kept), tuple(remarks)


def kept_for(setting: Setting, kept: Sequence[Kept]) -> str:
    """The words that a setting is kept for; "" for none."""
    return next((one.asked for one in kept if one.setting == setting), "")


def refuse_other_stock(model: ColourModel, old: Palette) -> None:
    """Nothing; raises `DataError` where a palette is of another metal or machine than the model."""
    for field, word in (("name", "stock"), ("grade", "stock of grade"), ("finish", "stock finished")):
        have, want = getattr(old.stock, field), getattr(model.stock, field)
        if have != want:
            raise DataError(
                f"palette '{old.name}' is of {word} {have!r}, the model of {want!r}: the same settings give other colours "
                "there. Name a palette of this stock, or give the colour as '#4466aa'."
            )
    if old.machine.name != model.machine.name:
        raise DataError(
            f"palette '{old.name}' is of machine {old.machine.name!r}, the model of {model.machine.name!r}: the same settings "
            "give other colours there. Name a palette of this machine, or give the colour as '#4466aa'."
        )


def _kept(
    model: ColourModel, word: str, old: Palette | None, jitter: Jitter, seed: int
) -> tuple[Kept, tuple[str, ...]]:
    if word.startswith("#"):
        return _wished(model, word, jitter, seed)
    for colour in old.colours if old is not None else ():
        if colour.name.casefold() == word.casefold():
            return Kept(colour.setting, colour.name, colour.patch, word), _moved(
                model, colour.name, colour.setting, colour.lab
            )
    for i, patch in enumerate(model.patches.ids):
        if patch.casefold() == word.casefold():
            odd = f"patch {patch} was set aside as an outlier when the model was fitted; its colour may not come again."
            return Kept(model.patches.setting[i], "", patch, word), (odd,) * (patch in model.report.outliers)
    names = [colour.name for colour in old.colours] if old is not None else []
    near = difflib.get_close_matches(word, [*names, *model.patches.ids], 3, 0.6)
    where = f"a colour of palette '{old.name}', " if old is not None else ""
    raise DataError(
        f"{word!r} is no colour to keep: it is neither {where}a patch of the model nor a screen colour such as '#4466aa'."
        + (f" Did you mean {' or '.join(repr(name) for name in near)}?" if near else "")
        + (" For a colour of an earlier palette, name that palette with --from." if old is None and not near else "")
    )


def _wished(model: ColourModel, word: str, jitter: Jitter, seed: int) -> tuple[Kept, tuple[str, ...]]:
    found = find_setting(model, lab_from_hex(word), n=1, jitter=jitter, seed=seed)
    best = found.candidates[0]
    said = (
        ()
        if found.reachable
        else (
            f"CHECK: {word} is out of reach of {model.stock.name}; what is kept for it is {best.de00:.1f} ΔE00 away "
            f"(the nearest is {found.nearest_de00:.1f}).",
        )
    )
    return Kept(best.setting, "", best.patch, word), said


def _moved(model: ColourModel, name: str, setting: Setting, lab: np.ndarray) -> tuple[str, ...]:
    """What to say where the model no longer sees an earlier colour where it was."""
    guess = predict(model, setting)
    if guess.unlearned or float(guess.outside) > FAR_OUTSIDE:
        return (f"CHECK: the setting of '{name}' lies far outside this model's grid; its colour is a guess.",)
    away = float(delta_e00(guess.lab, lab))
    if away > max(float(guess.de00_90), 1.0):
        return (f"CHECK: '{name}' keeps its setting, but this model expects it {away:.1f} ΔE00 from what it was.",)
    return ()
