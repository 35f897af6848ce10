"""Good files made bad: bytes, lines, fields, numbers and structure changed by a seeded random choice, the same for the same seed."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from typing import Any

HOSTILE_NUMBERS = (
    "NaN",
    "nan",
    "inf",
    "-inf",
    "Infinity",
    "1e400",
    "-1e400",
    "1e-400",
    "0",
    "-0",
    "0.0",
    "-1",
    "1e308",
    "5e-324",
    "",
    " ",
    "1,5",
    "1_000",
    "٣",
    "１２",
    "½",
    "0x10",
    "1e",
    "--1",
    "+1",
    "1.2.3",
    "9" * 40,
    "9" * 5000,
    "-" + "9" * 5000,
    "0." + "3" * 3000,
    "TRUE",
    "null",
    "=1+1",
)
HOSTILE_WORDS = (
    "",
    " ",
    "\0",
    "\t",
    "'",
    '"',
    "\\",
    "\u202e",
    "\ufeff",
    "\ud7ff",
    "é",
    "e\u0301",
    "𝔸",
    "\u2028",
    "\x85",
    "\r",
    "CON",
    "aux",
    "../up",
    "/etc/x",
    "C:\\x",
    "-o",
    "#",
    "%s%n",
    "{}",
    "$(x)",
    "&amp;",
    "<b>",
    "A" * 300,
    "B" * 20_000,
)
HOSTILE_VALUES: tuple[Any, ...] = (
    None,
    True,
    False,
    0,
    -1,
    1,
    2,
    255,
    256,
    65536,
    10**12,
    10**400,
    -(10**5000),
    0.5,
    -0.5,
    1e308,
    -1e308,
    5e-324,
    1e-9,
    float("nan"),
    float("inf"),
    float("-inf"),
    "",
    "x",
    "1",
    "nan",
    "\ud800",
    "a\nb",
    "\0",
    [],
    [[]],
    {},
    [None],
    [1, 2, 3],
    {"a": 1},
    "9" * 5000,
)
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
LONG_LINE = 300_000  # signs; longer ones are tested one by one


def mutated(good: bytes, family: str, random_: random.Random) -> bytes:
    """A good file with one to four changes; `family` names which kinds of change make sense for it."""
    data = good
    for _ in range(random_.choice((1, 1, 1, 2, 2, 3, 4))):
        data = random_.choice(FAMILIES[family])(data, random_)
    return data


# --- bytes ------------------------------------------------------------------------------------------------------


def _flip(data: bytes, r: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(min(len(out), r.choice((1, 1, 2, 8, 64)))):
        out[r.randrange(len(out))] = r.randrange(256)
    return bytes(out)


def _flip_head(data: bytes, r: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(min(len(out), r.choice((1, 2, 4)))):
        out[r.randrange(min(len(out), 256))] = r.choice((0, 1, 0x7F, 0x80, 0xFF, r.randrange(256)))
    return bytes(out)


def _cut(data: bytes, r: random.Random) -> bytes:
    return data[: r.randrange(len(data) + 1)]


def _take_out(data: bytes, r: random.Random) -> bytes:
    start = r.randrange(len(data) + 1)
    return data[:start] + data[start + r.choice((1, 4, 40, 400)) :]


def _splice(data: bytes, r: random.Random) -> bytes:
    start, place = r.randrange(len(data) + 1), r.randrange(len(data) + 1)
    return data[:place] + data[start : start + r.choice((4, 64, 1000))] + data[place:]


def _insert(data: bytes, r: random.Random) -> bytes:
    place = r.randrange(len(data) + 1)
    return (
        data[:place]
        + r.choice((b"\0", b"\xff", b"\0" * 100, b"\xff\xfe", b"\xc3", b"\r", b"\x1a", b"\x0c"))
        + data[place:]
    )


def _big_endian_number(data: bytes, r: random.Random) -> bytes:
    """Four bytes that may be a size made extreme; checksums of PNG chunks are mended so that the number is looked at."""
    if len(data) < 12:
        return data
    place = r.randrange(min(len(data) - 4, 4000))
    out = (
        data[:place]
        + r.choice((b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\x01", b"\0\1\0\0", b"\1\0\0\0"))
        + data[place + 4 :]
    )
    return _png_sums_mended(out) if out.startswith(b"\x89PNG") else out


def _png_sums_mended(data: bytes) -> bytes:
    import zlib

    out, place = bytearray(data), 8
    while place + 12 <= len(out):
        size = int.from_bytes(out[place : place + 4], "big")
        end = place + 8 + size
        if end + 4 > len(out):
            break
        out[end : end + 4] = zlib.crc32(out[place + 4 : end]).to_bytes(4, "big")
        place = end + 4
    return bytes(out)


# --- text -------------------------------------------------------------------------------------------------------


def _encoding(data: bytes, r: random.Random) -> bytes:
    text = data.decode("utf-8", "replace")
    return r.choice(
        (
            lambda: b"\xef\xbb\xbf" + data,
            lambda: b"\xef\xbb\xbf" * 2 + data,
            lambda: text.encode("utf-16"),
            lambda: text.encode("utf-16-le"),
            lambda: text.encode("utf-32"),
            lambda: text.encode("latin-1", "replace"),
            lambda: data.replace(b"\n", b"\r\n"),
            lambda: data.replace(b"\n", b"\r"),
            lambda: data.replace(b"\n", b"\r\n", 3).replace(b",", b";", 2),
            lambda: data.replace(b"\n", "\u2028".encode()),
            lambda: data.replace(b".", b","),
            lambda: data.replace(b",", b"\t"),
            lambda: b"",
            lambda: b"\n" * 3,
        )
    )()


def _line(data: bytes, r: random.Random) -> bytes:
    lines = data.split(b"\n")
    place, other = r.randrange(len(lines)), r.randrange(len(lines))
    how = r.randrange(7)
    if how == 0:
        del lines[place]
    elif how == 1:
        lines.insert(other, lines[place])
    elif how == 2:
        lines[place], lines[other] = lines[other], lines[place]
    elif how == 3:
        lines[place] = b""
    elif how == 4:
        lines[place] = lines[place][: r.randrange(len(lines[place]) + 1)]
    elif how == 5:
        lines[place] = lines[place] + r.choice((b"a", b",", b" 1", b'"')) * r.choice((1, 3, 2500, LONG_LINE))
    else:
        lines.insert(
            place,
            r.choice(
                (
                    b"#",
                    b"# bare_lab: 1 2",
                    b"# illuminant: D65",
                    b"# scale: one",
                    b'"',
                    b",,,,",
                    b"\0",
                    b"[x]",
                    b"<!-- x",
                    b"END_DATA",
                )
            ),
        )
    return b"\n".join(lines)


def _field(data: bytes, r: random.Random) -> bytes:
    lines = data.split(b"\n")
    place = r.randrange(len(lines))
    sign = max((b",", b" ", b"\t", b";"), key=lines[place].count)
    cells = lines[place].split(sign)
    spot = r.randrange(len(cells))
    how = r.randrange(5)
    if how == 0:
        del cells[spot]
    elif how == 1:
        cells.insert(spot, cells[spot])
    elif how == 2:
        other = r.randrange(len(cells))
        cells[spot], cells[other] = cells[other], cells[spot]
    elif how == 3:
        cells[spot] = r.choice(HOSTILE_NUMBERS).encode()
    else:
        cells[spot] = r.choice(HOSTILE_WORDS).encode("utf-8", "surrogatepass")
    lines[place] = sign.join(cells)
    return b"\n".join(lines)


def _number(data: bytes, r: random.Random) -> bytes:
    found = list(NUMBER.finditer(data[:2_000_000]))
    if not found:
        return data
    hit = r.choice(found)
    return data[: hit.start()] + r.choice(HOSTILE_NUMBERS).encode() + data[hit.end() :]


def _word(data: bytes, r: random.Random) -> bytes:
    found = list(re.finditer(rb"[A-Za-z_]{2,}", data[:2_000_000]))
    if not found:
        return data
    hit, other = r.choice(found), r.choice(found)
    new = r.choice((other.group(), other.group(), r.choice(HOSTILE_WORDS).encode("utf-8", "surrogatepass")))
    return data[: hit.start()] + new + data[hit.end() :]


def _nest(data: bytes, r: random.Random) -> bytes:
    place, depth = r.randrange(len(data) + 1), r.choice((3, 300, 20_000))
    opening, closing = r.choice(((b"[", b"]"), (b'{"a":', b"}"), (b"<g>", b"</g>"), (b"(", b")")))
    return data[:place] + opening * depth + closing * r.choice((0, depth)) + data[place:]


# --- structure --------------------------------------------------------------------------------------------------


def _json(data: bytes, r: random.Random) -> bytes:
    """One place of the tree replaced, taken out, doubled, or moved."""
    try:
        tree = json.loads(data)
    except (ValueError, RecursionError):
        return _flip(data, r)
    places: list[tuple[Any, Any]] = []

    def walk(node: Any) -> None:
        for key in list(node) if isinstance(node, dict) else range(len(node)):
            places.append((node, key))
            if isinstance(node[key], (dict, list)):
                walk(node[key])

    if isinstance(tree, (dict, list)):
        walk(tree)
    if not places:
        return _flip(data, r)
    node, key = r.choice(places)
    how = r.randrange(6)
    if how == 0:
        del node[key]
    elif how == 1 and isinstance(node, list):
        node.insert(key, node[key])
    elif how == 2:
        other, spot = r.choice(places)
        node[key] = json.loads(json.dumps(other[spot])) if _there(other, spot) else None
    elif how == 3 and isinstance(node, dict):
        node[r.choice(HOSTILE_WORDS)] = node.pop(key)
    else:
        node[key] = r.choice(HOSTILE_VALUES)
    return _json_bytes(tree)


def _there(node: Any, key: Any) -> bool:
    return key in node if isinstance(node, dict) else key < len(node)


def _json_bytes(tree: Any) -> bytes:
    import sys

    before = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(0)
    try:
        return json.dumps(tree, ensure_ascii=True).encode()
    finally:
        sys.set_int_max_str_digits(before)


def _xml(data: bytes, r: random.Random) -> bytes:
    """An element doubled, taken out or put into another, or an attribute given a hostile value."""
    tags = list(re.finditer(rb"<[A-Za-z][^<>]*>", data[:2_000_000]))
    values = list(re.finditer(rb'="[^"]*"', data[:2_000_000]))
    if not tags:
        return _flip(data, r)
    tag, other = r.choice(tags), r.choice(tags)
    how = r.randrange(4)
    if how == 0:
        return data[: tag.start()] + data[tag.end() :]
    if how == 1:
        return data[: other.end()] + tag.group() + data[other.end() :]
    if how == 2 or not values:
        return data[: tag.start()] + other.group() + data[tag.end() :]
    value = r.choice(values)
    return (
        data[: value.start()]
        + b'="'
        + r.choice((*HOSTILE_NUMBERS, *HOSTILE_WORDS)).encode("utf-8", "surrogatepass")
        + b'"'
        + data[value.end() :]
    )


Change = Callable[[bytes, random.Random], bytes]
_ANY: tuple[Change, ...] = (_flip, _cut, _take_out, _splice, _insert)
_TEXT: tuple[Change, ...] = (*_ANY, _encoding, _line, _line, _field, _field, _number, _number, _word)
FAMILIES: dict[str, tuple[Change, ...]] = {
    "bytes": (*_ANY, _flip_head, _flip_head, _big_endian_number, _big_endian_number),
    "table": (*_TEXT, _field, _number),
    "json": (*_ANY, _encoding, _nest, *(_json,) * 9),
    "toml": (*_TEXT, _nest, _number),
    "xml": (*_TEXT, _nest, _xml, _xml, _xml, _number),
}
