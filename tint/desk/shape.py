"""Shapes of what the page may send: JSON Schema, checked here and handed out as the description of the desk's interface."""

from __future__ import annotations

import math
from typing import Any

from tint.errors import DataError

Schema = dict[str, Any]

NAME: Schema = {
    "type": "string",
    "maxLength": 64,
    "pattern": "^[a-z0-9-]*$",
}  # of a file on the desk, as the desk gave it
TEXT: Schema = {"type": "string", "maxLength": 80}


def number(low: float, high: float) -> Schema:
    """Schema of a number from `low` to `high`."""
    return {"type": "number", "minimum": low, "maximum": high}


def whole(low: int, high: int) -> Schema:
    """Schema of a whole number from `low` to `high`."""
    return {"type": "integer", "minimum": low, "maximum": high}


def one_of(*words: str) -> Schema:
    """Schema of one of some words."""
    return {"type": "string", "enum": list(words)}


def many(item: Schema, most: int, least: int = 0) -> Schema:
    """Schema of a list."""
    return {"type": "array", "items": item, "minItems": least, "maxItems": most}


def maybe(schema: Schema) -> Schema:
    """The schema, or null."""
    return {"anyOf": [schema, {"type": "null"}]}


def record(required: dict[str, Schema] | None = None, optional: dict[str, Schema] | None = None) -> Schema:
    """Schema of an object with these fields and no others."""
    required, optional = required or {}, optional or {}
    return {
        "type": "object",
        "properties": {**required, **optional},
        "required": list(required),
        "additionalProperties": False,
    }


FLAG: Schema = {"type": "boolean"}


def checked(value: Any, schema: Schema, where: str = "the request") -> Any:
    """The value, whole numbers as int; raises where it does not have the shape.

    Raises
    ------
    DataError
        Names the field and what is allowed.

    Examples
    --------
    >>> checked({"n": 3.0}, record({"n": whole(1, 9)}))
    {'n': 3}
    """
    if "anyOf" in schema:
        return None if value is None else checked(value, schema["anyOf"][0], where)
    return _CHECKS[schema["type"]](value, schema, where)


def _number(value: Any, schema: Schema, where: str) -> float | int:
    a_whole = schema["type"] == "integer"
    if (
        isinstance(value, bool)
        or not isinstance(value, (int, float))
        or not abs(value) < math.inf
        or (a_whole and value % 1)
    ):
        raise DataError(f"{where} needs a {'whole ' if a_whole else ''}number.")
    if not schema["minimum"] <= value <= schema["maximum"]:
        raise DataError(
            f"{where} {str(value)[:20]} cannot be; it lies between {schema['minimum']:g} and {schema['maximum']:g}."
        )
    return int(value) if a_whole else float(value)


def _string(value: Any, schema: Schema, where: str) -> str:
    if not isinstance(value, str):
        raise DataError(f"{where} needs a text.")
    if "enum" in schema and value not in schema["enum"]:
        raise DataError(f"{where} is one of: {', '.join(schema['enum'])}.")
    if len(value) > schema.get("maxLength", math.inf):
        raise DataError(f"{where} is too long; {schema['maxLength']} signs at most.")
    if "pattern" in schema and not all(sign in "abcdefghijklmnopqrstuvwxyz0123456789-" for sign in value):
        raise DataError(f"{where} is not a name the desk gave.")
    return value


def _boolean(value: Any, schema: Schema, where: str) -> bool:
    if not isinstance(value, bool):
        raise DataError(f"{where} is true or false.")
    return value


def _array(value: Any, schema: Schema, where: str) -> list[Any]:
    if not isinstance(value, list):
        raise DataError(f"{where} needs a list.")
    if not schema["minItems"] <= len(value) <= schema["maxItems"]:
        raise DataError(f"{where} holds {schema['minItems']} to {schema['maxItems']} things.")
    return [checked(item, schema["items"], f"{where} {i + 1}") for i, item in enumerate(value)]


def _object(value: Any, schema: Schema, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise DataError(f"{where} needs fields by name.")
    known = schema["properties"]
    if missing := [name for name in schema["required"] if name not in value]:
        raise DataError(f"{missing[0]} is missing from {where}.")
    if unknown := sorted(set(value) - set(known)):
        raise DataError(f"{unknown[0][:40]!r} is not known here; known are {', '.join(known)}.")
    return {name: checked(value[name], known[name], name) for name in value}


_CHECKS = {
    "number": _number,
    "integer": _number,
    "string": _string,
    "boolean": _boolean,
    "array": _array,
    "object": _object,
}
