"""Bytes of an ICC v4 output profile: header, tag table, text, white point, curves with a colour table.

Written from the specification ICC.1:2022 (profile version 4.4); the comments carry its clause numbers. Big-endian
throughout. Knows nothing of palettes.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence

import numpy as np

D50_XYZ = (0.9642, 1.0, 0.8249)  # white of the connection space, clause 7.2.16
CURVE_STEPS = 4096  # samples of an input curve: the table's nodes lie on them exactly
_VERSION = 0x04400000


def profile_bytes(tags: Sequence[tuple[str, bytes]], date: str) -> bytes:
    """An RGB output profile with connection space Lab.

    Parameters
    ----------
    tags : pairs (signature, element); equal elements are stored once
    date : ISO date of creation

    Notes
    -----
    Header: clause 7.2; tag table: 7.3; the profile ID is the MD5 of the profile with flags, intent and ID zeroed (7.2.18).
    """
    table, body, offsets = b"", b"", {}
    start = 128 + 4 + 12 * len(tags)
    for signature, element in tags:
        if element not in offsets:
            offsets[element] = start + len(body)
            body += element + bytes(-len(element) % 4)
        table += signature.encode("ascii") + struct.pack(">II", offsets[element], len(element))
    year, month, day = (int(part) for part in date.split("-"))
    head = struct.pack(">I4sI4s4s4s", start + len(body), bytes(4), _VERSION, b"prtr", b"RGB ", b"Lab ")
    head += struct.pack(">6H4s4sI4s4sQ", year, month, day, 0, 0, 0, b"acsp", bytes(4), 0, bytes(4), bytes(4), 0)
    head += struct.pack(">I", 1) + b"".join(fixed(value) for value in D50_XYZ) + bytes(4)  # intent: media-relative
    rest = bytes(28) + struct.pack(">I", len(tags)) + table + body
    for_id = head[:44] + bytes(4) + head[48:64] + bytes(4) + head[68:] + bytes(16) + rest
    return head + hashlib.md5(for_id, usedforsecurity=False).digest() + rest


def fixed(value: float) -> bytes:
    """Signed number with 16 binary places, s15Fixed16Number (clause 4.6)."""
    return struct.pack(">i", round(value * 65536))


def text_element(text: str) -> bytes:
    """Text in English, multiLocalizedUnicodeType (clause 10.15)."""
    words = text.encode("utf-16-be", "replace")
    return b"mluc" + struct.pack(">4xIIHHII", 1, 12, 0x656E, 0x5553, len(words), 28) + words


def xyz_element(xyz: Sequence[float]) -> bytes:
    """One XYZ value, XYZType (clause 10.31)."""
    return b"XYZ " + bytes(4) + b"".join(fixed(value) for value in xyz)


def table_element(nodes: Sequence[np.ndarray], values: np.ndarray, *, from_device: bool) -> bytes:
    """A colour table behind one curve per input, lutAToBType or lutBToAType (clauses 10.12, 10.13).

    Parameters
    ----------
    nodes : per input the places of the table's nodes, 0..1, rising from 0 to 1, multiples of 1 / (CURVE_STEPS − 1)
    values : (n₁, n₂, n₃, outputs) outputs 0..1 at the nodes, the first input varying slowest
    from_device : True device → connection space, False back

    Notes
    -----
    The input curves spread the nodes evenly, so that nodes may stand where they are needed. 16 bits for several outputs, 8
    for a single one.
    """
    inputs, outputs = len(nodes), values.shape[-1]
    curves_in = b"".join(_curve(each) for each in nodes)
    straight = (b"curv" + bytes(8)) * outputs
    depth = 1 if outputs == 1 else 2
    scaled = np.round(np.clip(values, 0, 1) * (255 if depth == 1 else 65535))
    data = scaled.astype(">u1" if depth == 1 else ">u2").tobytes()
    counts = bytes(values.shape[:-1]) + bytes(16 - inputs)
    table = counts + struct.pack(">B3x", depth) + data + bytes(-len(data) % 4)
    curves_b, curves_a = (straight, curves_in) if from_device else (curves_in, straight)
    at_b = 32
    at_table = at_b + len(curves_b)
    at_a = at_table + len(table)
    head = (b"mAB " if from_device else b"mBA ") + struct.pack(
        ">4xBB2xIIIII", inputs, outputs, at_b, 0, 0, at_table, at_a
    )
    return head + curves_b + table + curves_a


def _curve(nodes: np.ndarray) -> bytes:
    """Sampled curve that takes node i to i / (n − 1), curveType (clause 10.6)."""
    samples = np.interp(np.linspace(0, 1, CURVE_STEPS), nodes, np.linspace(0, 1, len(nodes)))
    data = np.round(samples * 65535).astype(">u2").tobytes()
    return b"curv" + struct.pack(">4xI", CURVE_STEPS) + data + bytes(-len(data) % 4)
