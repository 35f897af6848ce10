"""Where a version of a palette comes from, how well its colours repeat, and whether its file was edited by hand."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any

from tint.files.own import number_of

DIGEST_SIGNS = 12  # of 64: two versions of one shop's palettes never share them by chance


@dataclass(frozen=True)
class Lineage:
    """Where a version of a palette comes from.

    Parameters
    ----------
    version : 1 for the palette as chosen; each correction or accepted strip is one more
    line : digest of version 1, the same for all that descend from it; "" for a version 1 not written yet
    parent : digest of the version it was made from, "" for none
    reason : why it was made, in words
    date : ISO date and time
    strip : what the strip it was made from calls itself, "" for none
    """

    version: int = 1
    line: str = ""
    parent: str = ""
    reason: str = ""
    date: str = ""
    strip: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Contents as plain values for JSON."""
        return asdict(self)


@dataclass(frozen=True)
class Repeatability:
    """How well a palette's colours repeat from mark to mark, as replicates on a strip showed.

    Parameters
    ----------
    de00 : standard deviation of one mark in any direction of colour [ΔE00], instrument included
    heat_pct : standard deviation of the heat of one mark, as a change of power [%]
    dof : degrees of freedom behind both: replicates less colours
    """

    de00: float
    heat_pct: float
    dof: float

    def __post_init__(self) -> None:
        if not (self.de00 > 0 and self.heat_pct >= 0 and self.dof > 0):
            raise ValueError("repeatability needs positive numbers")

    def as_dict(self) -> dict[str, float]:
        """Contents as plain values for JSON."""
        return asdict(self)


def lineage_from(body: dict[str, Any]) -> Lineage:
    """Lineage from the mapping `Lineage.as_dict` gives."""
    version = whole_of(body["version"])
    if version < 1:
        raise ValueError("versions count from 1")
    return Lineage(version, *(str(body[name]) for name in ("line", "parent", "reason", "date", "strip")))


def whole_of(value: Any) -> int:
    """A count of a JSON file; raises `ValueError` or `TypeError` for a text, a negative number or a broken one."""
    number = number_of(value)
    if number < 0 or not number.is_integer():
        raise ValueError(f"{value!r} is no count")
    return int(number)


def digest(content: Any) -> str:
    """Twelve signs that tell plain content from any other; 2 and 2.0 are the same.

    Examples
    --------
    >>> digest({"a": 1.0, "b": [2.0]}) == digest({"b": [2], "a": 1}) != digest({"a": 1.5, "b": [2.0]})
    True
    """
    text = json.dumps(_floats(content), sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST_SIGNS]


def _floats(content: Any) -> Any:
    """The content with every whole number as a float: a file read back holds 2.0 where a program wrote 2."""
    if isinstance(content, dict):
        return {key: _floats(value) for key, value in content.items()}
    if isinstance(content, (list, tuple)):
        return [_floats(value) for value in content]
    return float(content) if isinstance(content, int) and not isinstance(content, bool) else content


def parts(body: dict[str, Any]) -> dict[str, str]:
    """Digests of the parts of a palette's mapping, by what a person would call them, and of the whole."""
    out = {"machine": digest(body["machine"]), "stock": digest(body["stock"]), "bare metal": digest(body["bare_lab"])}
    for item in body["colours"]:
        out[f"{item['number']} setting"] = digest(item["setting"])
        out[f"{item['number']} colour"] = digest([item["lab"], item["de00_90"], item["marks"]])
    names = [body["name"], *(item["name"] for item in body["colours"])]
    lineage = {name: value for name, value in body["lineage"].items() if name != "line"}
    out["whole"] = digest([out, names, lineage, body["repeatability"], body["remarks"], body["jitter"]])
    return out


def edited(stated: dict[str, str], body: dict[str, Any]) -> tuple[str, ...]:
    """What of a palette's mapping no longer fits the digests its file states, in words; () where all fits."""
    now = parts(body)
    if stated == now:
        return ()
    names = {str(item["number"]): item["name"] for item in body["colours"]}
    words = []
    for key in now:
        if key == "whole" or stated.get(key) == now[key]:
            continue
        number, _, what = key.partition(" ")
        words.append(f"{what} of {names[number]!r}" if number in names else key)
    gone = [key for key in stated if key not in now and key.endswith("setting")]
    words += [f"colour {key.split()[0]}, taken out" for key in gone]
    return tuple(words) or ("a name, remark or the lineage",)
