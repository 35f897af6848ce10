"""Licences of all that tint stands on at run time, as the installed packages state them: `python tests/licences.py`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata

from packaging.requirements import Requirement

EXTRAS = ("photo", "raw", "desk", "cluster")  # those of `test` and `bench` are for developers and never handed out
BY_HAND = {"colour-cxf": "BSD-3-Clause"}  # by the licence file in its wheel; its metadata state none
# Shared libraries with conditions that wheels carry as files of their own, which may be replaced: name in the file -> what it is
CARRIED = {
    "libgeos": "GEOS, LGPL-2.1", "libav": "FFmpeg, LGPL-2.1", "libsw": "FFmpeg, LGPL-2.1", "libquadmath": "GCC, LGPL-2.1",
    "libgfortran": "GCC, GPL-3.0 with runtime exception", "libgomp": "GCC, GPL-3.0 with runtime exception",
    "libraw": "LibRaw, LGPL-2.1 or (as tint takes it) CDDL-1.0",
}  # fmt: skip
SHORT_NAMES = (
    (r"\bMIT No Attribution\b", "MIT-0"), (r"\bMIT-CMU\b|\bHPND\b", "MIT-CMU"), (r"\bMIT\b", "MIT"),
    (r"\bBSD-?3\b|3-Clause", "BSD-3-Clause"), (r"\bBSD-?2\b|2-Clause", "BSD-2-Clause"), (r"\bBSD\b", "BSD"),
    (r"\bApache\b", "Apache-2.0"), (r"\bMozilla\b|\bMPL\b", "MPL-2.0"), (r"\bPython Software Foundation\b|\bPSF\b", "PSF-2.0"),
    (r"\bISC\b", "ISC"), (r"\bCC0\b", "CC0-1.0"), (r"\bAffero\b|\bAGPL", "AGPL"), (r"\bLesser\b|\bLGPL", "LGPL"), (r"\bGPL|\bGNU General", "GPL"),
)  # fmt: skip


@dataclass(frozen=True)
class Package:
    """A package tint needs, and what its metadata say of its licence."""

    name: str
    version: str
    licence: str
    needed_by: str

    @property
    def free_to_build_on(self) -> bool:
        """Whether the licence is known and asks nothing of programs that use it: no GPL, LGPL or AGPL.

        Of two to choose from one will do; GCC's own libraries except programs that use them.
        """
        choices = re.sub(r"L?GPL\S* WITH GCC-exception\S*", "GCC", self.licence).split(" OR ")
        return any(choice.strip() != "" and "GPL" not in choice for choice in choices)


def packages() -> tuple[Package, ...]:
    """Every package of the run-time closure that is installed, by name."""
    found: dict[str, Package] = {}
    waiting = [(line, "tint") for line in _needed("tint", ("", *EXTRAS))]
    while waiting:
        requirement, needed_by = waiting.pop()
        name = re.sub(r"[-_.]+", "-", requirement.name).lower()
        if name in found:
            continue
        facts = metadata.metadata(name)
        found[name] = Package(name, facts["Version"], BY_HAND.get(name) or licence_of(name), needed_by)
        waiting += [(line, name) for line in _needed(name, ("", *requirement.extras))]
    return tuple(sorted(found.values(), key=lambda package: package.name))


def carried(name: str) -> tuple[str, ...]:
    """Libraries of `CARRIED` in an installed package's files."""
    files = [path.name for path in metadata.files(name) or () if ".so" in path.name or path.suffix in (".dll", ".dylib")]
    found = [what for start, what in CARRIED.items() if any(file.startswith(start) and not file.startswith("libavif") for file in files)]
    return tuple(dict.fromkeys(found))


def _needed(name: str, extras: tuple[str, ...]) -> Iterator[Requirement]:
    for text in metadata.requires(name) or ():
        requirement = Requirement(text)
        if requirement.marker is None or any(requirement.marker.evaluate({"extra": extra}) for extra in extras):
            yield requirement


def licence_of(name: str) -> str:
    """Short names of the licences a package states, "" where it states none; "AND" and "OR" as it writes them."""
    facts = metadata.metadata(name)
    if facts.get("License-Expression"):  # another finder of packages than Python's own raises where `[]` finds none
        return str(facts["License-Expression"])
    classified = [line.rpartition("::")[2] for line in facts.get_all("Classifier") or () if line.startswith("License ::")]
    first_line = next(iter((facts.get("License") or "").splitlines()), "")
    stated = [short_name(line) for line in (*classified, first_line)]
    return " · ".join(dict.fromkeys(name for name in stated if name))


def short_name(said: str) -> str:
    """Short name of a licence called so, "" for none that is known.

    >>> short_name(" GNU Lesser General Public License v2 (LGPLv2)"), short_name("OSI Approved"), short_name("BSD 3-Clause License")
    ('LGPL', '', 'BSD-3-Clause')
    """
    return next((short for pattern, short in SHORT_NAMES if re.search(pattern, said)), "")


if __name__ == "__main__":
    for one in packages():
        beside = "".join(f"; carries {what}" for what in carried(one.name))
        print(f"{one.name:26s} {one.version:12s} {one.licence or 'NOT STATED'}, for {one.needed_by}{beside}")
