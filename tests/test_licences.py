"""Nothing that tint needs at run time binds those who use it: no GPL, LGPL or AGPL among the packages."""

from pathlib import Path

import pytest
from licences import EXTRAS, Package, packages

DEVELOPERS = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_package_of_the_run_time_states_a_licence_that_binds_nobody():
    found = packages()
    print(*(f"{one.name} {one.version}: {one.licence or 'not stated'}" for one in found), sep="\n")
    assert {"numpy", "shapely", "starlette", "distributed", "rawpy"} <= {one.name for one in found}, EXTRAS
    assert not [one for one in found if not one.free_to_build_on]


@pytest.mark.parametrize(
    ("licence", "free"),
    [("MIT", True), ("", False), ("GPL-3.0-or-later", False), ("BSD-3-Clause AND LGPL-2.1", False), ("AGPL", False), ("MIT OR GPL-2.0", True),
     ("BSD-3-Clause AND GPL-3.0-or-later WITH GCC-exception-3.1", True)],
)  # fmt: skip
def test_a_binding_or_unstated_licence_would_be_seen(licence, free):
    assert Package("some", "1", licence, "tint").free_to_build_on is free


def test_developers_name_every_package_tint_asks_for():
    asked = {one.name for one in packages() if one.needed_by == "tint"}
    text = DEVELOPERS.lower()
    assert not [name for name in asked if name not in text]
