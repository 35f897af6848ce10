"""How colours were measured: geometry, mode, illuminant, observer and scale, as a file or the operator states them.

Nothing here is taken from the numbers: the file says it, the caller says it, or the reading is refused.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable
from dataclasses import dataclass

from tint.errors import FileError

# smooth lights: a change of white between them is near enough to one of light
WHITES = ("D50", "D55", "D65", "D75", "A", "C")
MODES = ("M0", "M1", "M2", "M3")  # ISO 13655: tungsten, daylight, without UV, polarised
SCALES = ("percent", "one")  # a perfect white is 100, or 1
PHOTO = "photo"
GEOMETRIES = "45/0, 0/45, d/8 SCI, d/8 SCE"
SPHERE = {"sci": "SCI", "spin": "SCI", "rsin": "SCI", "included": "SCI", "di": "SCI",
          "sce": "SCE", "spex": "SCE", "rsex": "SCE", "excluded": "SCE", "de": "SCE"}  # fmt: skip
RING = {"annular": "annular", "circumferential": "annular", "uniplanar": "one side", "one side": "one side"}


@dataclass(frozen=True)
class Conditions:
    """How colours were measured; "" where nobody says.

    Parameters
    ----------
    geometry : such as "45/0", "45/0 annular", "d/8 SCI", "d/8 SCE", "photo" (ISO 13655, CIE 15)
    mode : "M0" to "M3" (ISO 13655)
    illuminant : one of `WHITES`; what Lab is relative to
    observer : "2" or "10" [°]
    scale : of spectra, one of `SCALES`
    """

    geometry: str = ""
    mode: str = ""
    illuminant: str = ""
    observer: str = ""
    scale: str = ""

    def filled(self, said: Conditions, source: str) -> Conditions:
        """These conditions of a file, completed by what the operator says.

        Raises
        ------
        FileError
            The operator says one thing and the file another.
        """
        values = {}
        for item in dataclasses.fields(self):
            found, stated = getattr(self, item.name), getattr(said, item.name)
            same = same_geometry(found, stated) if item.name == "geometry" else found == stated
            if found and stated and not same:
                raise FileError(
                    f"{source} says {item.name} {found}, --{item.name} says {stated}. Drop the option, or mend the file."
                )
            values[item.name] = max(found, stated, key=len) if same else found or stated
        return Conditions(**values)

    def demand(self, names: Iterable[str], source: str) -> None:
        """Nothing; raises one `FileError` that names everything among `names` that nobody stated."""
        examples = {"geometry": "45/0", "illuminant": "D50", "observer": "2", "scale": "percent", "mode": "M1"}
        missing = [name for name in names if not getattr(self, name)]
        if missing:
            options = " ".join(f"--{name} {examples[name]}" for name in missing)
            raise FileError(f"{source} states no {' or '.join(missing)}. Say how it was measured, such as {options}.")


def stated(
    geometry: str = "", mode: str = "", illuminant: str = "", observer: str = "", scale: str = "", where: str = "the options"
) -> Conditions:  # fmt: skip
    """Conditions from the words of a file or of the operator, each brought to its one way of writing.

    Parameters
    ----------
    where : the file, or "the options", for messages
    illuminant : may carry the observer, such as "D50/2" or "D65/10"

    Raises
    ------
    FileError
        A word tint does not know; what is allowed is named.

    Examples
    --------
    >>> stated(geometry="45°:0°", illuminant="d65/2")
    Conditions(geometry='45/0', mode='', illuminant='D65', observer='2', scale='')
    >>> stated(geometry="de:8").geometry
    'd/8 SCE'
    """
    white, angle = _white_and_observer(illuminant, where) if illuminant.strip() else ("", "")
    angle2 = _observer(observer, where)
    if angle and angle2 and angle != angle2:
        raise FileError(f"{where}: illuminant {illuminant!r} and observer {observer!r} contradict each other.")
    return Conditions(geometry_of(geometry, where), _mode(mode, where), white, angle or angle2, _scale(scale, where))


def from_facts(facts: dict[str, str], where: str) -> Conditions:
    """Conditions that the `key: value` facts on top of a table state."""
    known = {item.name: facts.get(item.name, "") for item in dataclasses.fields(Conditions)}
    return stated(**known, where=where)


def geometry_of(text: str, where: str = "the options") -> str:
    """Geometry in its one way of writing, "" for an empty text; a remark in brackets behind it is left out.

    Raises
    ------
    FileError
        Not a geometry tint knows, or a sphere without the word whether the mirror reflection is included.
    """
    plain = re.sub(r"\(.*\)\s*$", "", text.strip()[:200]).strip()
    low = plain.lower().replace("°", "").replace("degrees", "").replace("deg", "").replace(":", "/")
    low = re.sub(r"\s*/\s*", "/", low)
    if not low:
        return ""
    if re.match(rf"{PHOTO}\b", low):
        return PHOTO
    words = re.findall(r"[a-z]+", low)
    ring = next((RING[key] for key in RING if key in low), "")
    if match := re.match(r"(45|0)([acx]?)/(45|0)([acx]?)(?![\d.])", low):
        sides = {match[1], match[3]}
        if sides == {"45", "0"}:
            ring = ring or {"a": "annular", "c": "annular", "x": "one side"}.get(match[2] + match[4], "")
            return f"{match[1]}/{match[3]} {ring}".strip()
    if re.match(r"(d[ie]?/[08]|[08]/d[ie]?)(?![\d.])", low) or "sphere" in words or low in SPHERE:
        kinds = {SPHERE[word] for word in words if word in SPHERE}
        if len(kinds) == 1:
            return f"d/8 {kinds.pop()}"
        raise FileError(
            f"{where}: geometry {plain[:60]!r} leaves open whether the mirror reflection counts, which decides on metal: d/8 SCI or d/8 SCE?"
        )
    raise FileError(f"{where}: geometry {plain[:60]!r} is not known; known are {GEOMETRIES}.")


def same_geometry(one: str, other: str) -> bool:
    """True where two geometries of `geometry_of` measure alike: light and eye may change places, a detail may be unsaid."""
    if not one or not other:
        return False
    (base1, _, detail1), (base2, _, detail2) = one.partition(" "), other.partition(" ")
    alike = base1 == base2 or {base1, base2} == {"45/0", "0/45"}
    return alike and (detail1 == detail2 or (base1 != "d/8" and "" in (detail1, detail2)))


def white_of(facts: dict[str, str], where: str) -> str:
    """White that a table's Lab is relative to, by its facts `illuminant` and `observer`; D50 where nothing is said.

    Raises
    ------
    FileError
        An illuminant tint does not know, or another observer than 2°.
    """
    conditions = stated(illuminant=facts.get("illuminant", ""), observer=facts.get("observer", ""), where=where)
    refuse_observer(conditions, where)
    return conditions.illuminant or "D50"


def refuse_observer(conditions: Conditions, where: str) -> None:
    """Nothing; raises where Lab is of another observer than 2°."""
    if conditions.observer not in ("", "2"):
        raise FileError(
            f"{where} holds Lab of the {conditions.observer}° observer, and only spectra could turn it into 2° (ISO 13655). "
            "Set the instrument to D50/2°, or export spectra."
        )


def _white_and_observer(text: str, where: str) -> tuple[str, str]:
    white, _, angle = text.strip().replace("-", "/").partition("/")
    white = (white.split() or [""])[0].upper()
    if white not in WHITES:
        raise FileError(f"{where}: illuminant {text.strip()[:40]!r} is not known; state D50, D55, D65, D75, A or C.")
    return white, _observer(angle, where)


def _observer(text: str, where: str) -> str:
    text = text.strip()
    if not text:
        return ""
    found = re.match(r"(\d+)\s*(°|º|deg|degrees?|_degree)?(?![\w.])", text.lower())
    if not found or found[1] not in ("2", "10"):
        raise FileError(f"{where}: observer {text[:40]!r} is not known; it is 2 or 10 degrees.")
    return found[1]


def _mode(text: str, where: str) -> str:
    text = text.strip()
    if text and text.upper()[:2] not in MODES:
        raise FileError(f"{where}: mode {text[:40]!r} is not known; it is M0, M1, M2 or M3 (ISO 13655).")
    return text.upper()[:2]


def _scale(text: str, where: str) -> str:
    word = text.strip().lower()
    names = {"": "", "percent": "percent", "%": "percent", "0..100": "percent", "0-100": "percent", "100": "percent",
             "one": "one", "0..1": "one", "0-1": "one", "1": "one", "factor": "one"}  # fmt: skip
    if word not in names:
        raise FileError(
            f"{where}: scale {text.strip()[:40]!r} is not known; it is percent (white is 100) or one (white is 1)."
        )
    return names[word]
