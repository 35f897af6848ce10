"""CxF/X-3 files (ISO 17972-3): reflectance spectra or CIELAB of named objects; the only door to colour-cxf."""

from __future__ import annotations

import dataclasses
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.parsers import expat

import numpy as np

from tint.errors import FileError
from tint.measure.conditions import WHITES, Conditions, same_geometry
from tint.measure.instrument import BARE, MAX_ROWS, Reading, read_bytes
from tint.measure.spectrum import colours

MAX_ELEMENTS = 500_000  # 20,000 objects of 25 elements each
MAX_ATTRIBUTES = 50  # of one element; the standard has up to six
MAX_DEPTH = 60  # the standard nests some ten deep; Python's own stack ends below 1000
# ISO 17972-3 keeps reflectances below 3, where 1 is white; above they are percent against the standard
MOST_OF_ONE = 2.99


@dataclass(frozen=True, eq=False)
class Value:
    """One colour value of one object: where it stands, the names it goes by, and how it was measured."""

    place: str
    labels: tuple[str, ...]
    numbers: tuple[float, ...]
    first_nm: float
    step_nm: float
    conditions: Conditions


def read_cxf(path: str | Path, said: Conditions | None = None) -> Reading:
    """Reading of a CxF/X-3 file: one row per reflectance spectrum, or per CIELAB value where there are no spectra.

    Parameters
    ----------
    said : what the operator says of the measurement; where objects were measured under several conditions, it chooses

    Raises
    ------
    FileError
        Not CxF, a document type or entities in it, damaged, transmission or emission, several conditions to choose from,
        or a geometry nobody states.
    """
    source, said = str(path), said or Conditions()
    data = read_bytes(path)
    refuse_hostile(data, source)
    document = _document(data, source)
    specs = _specifications(document)
    objects = _objects(document, source)
    spectra = [value for item in objects for value in _values(source, item, specs, "ReflectanceSpectrum")]
    values = spectra or [value for item in objects for value in _values(source, item, specs, "ColorCielab")]
    if not values:
        raise FileError(
            f"{source} holds no reflectance spectra and no CIELAB values. Export the readings with one of them."
        )
    if spectra:
        scale = "" if max(max(value.numbers) for value in spectra) > MOST_OF_ONE else "one"
        values = [
            dataclasses.replace(value, conditions=dataclasses.replace(value.conditions, scale=scale))
            for value in spectra
        ]
    chosen, conditions = _choose(source, values, said, spectral=bool(spectra))
    return _reading(source, document, chosen, conditions, spectral=bool(spectra))


def refuse_hostile(data: bytes, source: str) -> None:
    """Nothing; raises `FileError` where XML is not well formed, declares a document type or entities, or is beyond any reading.

    Notes
    -----
    CxF/X has no document type, so the first sign of one ends the reading: nothing is expanded or fetched. Elements are
    counted as they stream by, before any tree is built.
    """
    counted, depth = 0, 0

    def start(name: str, attributes: Any) -> None:
        nonlocal counted, depth
        counted, depth = counted + 1, depth + 1
        if counted > MAX_ELEMENTS or depth > MAX_DEPTH or len(attributes) > MAX_ATTRIBUTES:
            raise FileError(
                f"{source} has more elements, or deeper ones, than readings of a plate ever have. Is it the right file?"
            )

    def end(name: str) -> None:
        nonlocal depth
        depth -= 1

    def doctype(*_: Any) -> None:
        raise FileError(
            f"{source} declares a document type, which CxF/X has not: it is not read. Export the readings again."
        )

    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = doctype
    try:
        parser.Parse(data, True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise FileError(
            f"{source} is not well-formed XML ({str(error)[:80]}): damaged or cut short? Export it again."
        ) from None


def _document(data: bytes, source: str) -> Any:
    """The parsed document; elements the package does not know are passed over, wrong numbers stay texts and are told later."""
    try:
        from colour_cxf.cxf3 import CxF
        from xsdata.exceptions import ParserError
        from xsdata.formats.dataclass.parsers import XmlParser
        from xsdata.formats.dataclass.parsers.config import ParserConfig
        from xsdata.formats.dataclass.parsers.handlers import XmlEventHandler
    except ImportError:
        raise FileError(
            f"{source} is CxF; reading it needs the package colour-cxf: pip install colour-cxf. Or export CGATS or CSV."
        ) from None
    config = ParserConfig(fail_on_unknown_properties=False, fail_on_unknown_attributes=False)
    with _quiet(), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a word where a number belongs: `_values` refuses it where it matters
        try:
            document = XmlParser(config=config, handler=XmlEventHandler).from_bytes(data, CxF)
        except (
            ParserError,
            ValueError,
            TypeError,
            AttributeError,
            LookupError,
            ArithmeticError,
            RecursionError,
        ) as error:
            raise FileError(
                f"{source} is not CxF/X-3 ({str(error)[:80]}). Export the readings again, or as CGATS or CSV."
            ) from None
    if not isinstance(document, CxF) or document.resources is None:
        raise FileError(
            f"{source} is not CxF/X-3, or holds no resources. Export the readings again, or as CGATS or CSV."
        )
    return document


@contextmanager
def _quiet() -> Iterator[None]:
    """Block in which the parser's own log stays silent: what matters is refused in one line of tint's."""
    log = logging.getLogger("xsdata")
    before = log.level
    log.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        log.setLevel(before)


def _specifications(document: Any) -> dict[str, Any]:
    collection = document.resources.color_specification_collection
    return {str(spec.id): spec for spec in (collection.color_specification if collection else [])}


def _objects(document: Any, source: str) -> list[Any]:
    collection = document.resources.object_collection
    objects = list(collection.object_value) if collection else []
    if len(objects) > MAX_ROWS:
        raise FileError(f"{source} has {len(objects)} objects; a reading has up to {MAX_ROWS}.")
    return objects


def _values(source: str, item: Any, specs: dict[str, Any], kind: str) -> list[Value]:
    found = []
    labels = tuple(dict.fromkeys(str(text).strip() for text in (item.id, item.name) if text and str(text).strip()))
    if item.object_type == "Substrate":
        labels = (*labels, BARE)  # what was printed on, or here: marked on
    place = f"object {(labels or ('without a name',))[0][:40]!r}"
    for choice in item.color_values.choice if item.color_values else []:
        if type(choice).__name__ != kind:
            continue
        spec = specs.get(str(choice.color_specification))
        if spec is None:
            raise FileError(
                f"{source} {place}: its colour specification {str(choice.color_specification)[:40]!r} is not in the file. Export it again."
            )
        conditions = _conditions(source, spec)
        first, step = _range(source, place, choice, spec) if kind == "ReflectanceSpectrum" else (0.0, 0.0)
        raw = choice.value if kind == "ReflectanceSpectrum" else (choice.l, choice.a, choice.b)
        numbers = tuple(raw)
        if not numbers or not all(isinstance(value, (int, float)) and np.isfinite(value) for value in numbers):
            wrong = next(
                (value for value in numbers if not isinstance(value, (int, float)) or not np.isfinite(value)), None
            )
            raise FileError(
                f"{source} {place}: {str(wrong)[:40]!r} stands where a number is needed. Numbers of CxF have a point."
            )
        found.append(Value(place, labels, numbers, first, step, conditions))
    return found


def _range(source: str, place: str, spectrum: Any, spec: Any) -> tuple[float, float]:
    stated = spec.measurement_spec.wavelength_range if spec.measurement_spec else None
    first = spectrum.start_wl if spectrum.start_wl is not None else getattr(stated, "start_wl", None)
    step = getattr(stated, "increment", None)
    if not isinstance(first, int) or not isinstance(step, int) or step <= 0:
        raise FileError(
            f"{source} {place}: its specification states no wavelength range (StartWL, Increment). Export it again."
        )
    return float(first), float(step)


def _conditions(source: str, spec: Any) -> Conditions:
    """Conditions of a colour specification; "" where it is silent. What is not reflection is refused."""
    measured, weighed = spec.measurement_spec, spec.tristimulus_spec
    kind = _word(getattr(measured, "measurement_type", None))
    if kind and "Reflectance" not in kind:
        raise FileError(f"{source} holds {kind}; a plate is measured in reflection. Export the reflectance readings.")
    light = getattr(getattr(measured, "device", None), "device_illumination", None)
    mode = _word(light)[:2]
    illuminant = _word(getattr(weighed, "illuminant_or_custom_illuminant", None))
    observer = _word(getattr(weighed, "observer", None))
    return Conditions(
        geometry=_geometry(source, measured), mode=mode if mode in ("M0", "M1", "M2", "M3") else "",
        illuminant=illuminant, observer=observer.split("_")[0],
    )  # fmt: skip


def _word(thing: Any) -> str:
    """Text of an element that holds a word of a list, as the standard writes it; "" where it is not there."""
    value = getattr(thing, "value", thing)
    return str(getattr(value, "value", value) or "")


def _geometry(source: str, measured: Any) -> str:
    choice: Any = getattr(getattr(measured, "geometry_choice", None), "choice", None)
    name = type(choice).__name__
    if name == "EsphereType":
        return {"Specular_Included": "d/8 SCI", "Specular_Excluded": "d/8 SCE"}.get(_word(choice), "")
    if name == "SingleAngleType":
        angles = [choice.illumination_angle, choice.measurement_angle]
        if all(isinstance(angle, (int, float)) for angle in angles) and {abs(a) for a in angles} == {0, 45}:
            ring = {"Annular": " annular", "Uniplanar": " one side"}.get(_word(choice.single_angle_configuration), "")
            return f"{abs(angles[0]):g}/{abs(angles[1]):g}{ring}"
        raise FileError(
            f"{source} was measured at {angles[0]}°/{angles[1]}°; tint knows 45/0, 0/45 and the sphere d/8."
        )
    if name == "MultiAngleType":
        raise FileError(f"{source} was measured at several angles at once; export the 45/0 or sphere readings alone.")
    return ""


def _choose(source: str, values: list[Value], said: Conditions, *, spectral: bool) -> tuple[list[Value], Conditions]:
    """The values measured alike, and how: by what the operator says where there are several ways."""
    usable = [
        value for value in values
        if (not said.geometry or not value.conditions.geometry or same_geometry(value.conditions.geometry, said.geometry))
        and (not said.mode or value.conditions.mode in ("", said.mode))
    ] or values  # fmt: skip
    if not spectral:
        wanted = (said.illuminant or "D50", said.observer or "2")
        fitting = [v for v in usable if (v.conditions.illuminant, v.conditions.observer) == wanted]
        usable = fitting or [v for v in usable if v.conditions.observer == "2"] or usable
    else:
        usable = [
            dataclasses.replace(v, conditions=dataclasses.replace(v.conditions, illuminant="", observer=""))
            for v in usable
        ]
    ways = list(
        dict.fromkeys(
            (v.conditions, v.first_nm if spectral else 0, v.step_nm if spectral else 0, len(v.numbers)) for v in usable
        )
    )
    if len({way[0] for way in ways}) > 1:
        told = "; ".join(dict.fromkeys(_told(way[0], spectral) for way in ways))
        raise FileError(
            f"{source} holds readings of several kinds: {told[:200]}. Say which with --geometry, --mode or --illuminant, or export one kind."
        )
    if len(ways) > 1:
        raise FileError(f"{source}: its spectra have different wavelengths or lengths. Export all with the same.")
    conditions = ways[0][0]
    if conditions.illuminant and conditions.illuminant not in WHITES:
        raise FileError(
            f"{source}: illuminant {conditions.illuminant[:40]!r} is not known; export Lab under D50, D55, D65, D75, A or C, or spectra."
        )
    if conditions.observer not in ("", "2", "10"):
        raise FileError(
            f"{source}: observer {conditions.observer[:40]!r} is not known; export Lab of the 2° observer, or spectra."
        )
    return usable, conditions.filled(
        said if not spectral else dataclasses.replace(said, illuminant="", observer=""), source
    )


def _told(conditions: Conditions, spectral: bool) -> str:
    words = [conditions.geometry or "geometry unsaid", conditions.mode]
    words += (
        [conditions.scale and f"scale {conditions.scale}"]
        if spectral
        else [conditions.illuminant, f"{conditions.observer}°"]
    )
    return " ".join(word for word in words if word)


def _reading(source: str, document: Any, values: list[Value], conditions: Conditions, *, spectral: bool) -> Reading:
    conditions.demand(["geometry", "scale"] if spectral else ["geometry", "illuminant", "observer"], source)
    places = tuple(value.place for value in values)
    numbers = np.array([value.numbers for value in values], dtype=float)
    nm = values[0].first_nm + values[0].step_nm * np.arange(numbers.shape[1])
    lab, made = colours(
        source,
        places,
        None if spectral else numbers,
        nm if spectral else None,
        numbers if spectral else None,
        conditions,
    )
    about = document.file_information
    facts = {name: str(text).strip() for name, text in (
        ("originator", getattr(about, "creator", None)), ("description", getattr(about, "description", None)),
    ) if text and str(text).strip()}  # fmt: skip
    facts |= {
        "geometry": conditions.geometry,
        **({"mode": conditions.mode} if conditions.mode else {}),
        "illuminant": "D50",
        **made,
    }
    n = len(values)
    return Reading(source, tuple(value.labels for value in values), places, lab, np.full(n, np.nan), ("",) * n, facts)
