"""What all tests share: the invented shop, built once, and how hypothesis looks for counter-examples."""

import os
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import settings

from tint.cli import main

# The same examples every time, so that a landing does not hang on luck. TINT_EXPLORE=1 looks for new ones instead.
settings.register_profile("tint", deadline=None, derandomize="TINT_EXPLORE" not in os.environ)
settings.load_profile("tint")

# A conftest.py holds fixtures, no doctests; collected for these, two of that name clash when several folders are given.
collect_ignore_glob = ["*conftest.py"]

SIDE_BY_SIDE = "PYTEST_XDIST_WORKER" in os.environ
SHOP_WAIT_S = 600  # on a busy machine the shop takes a minute; beyond this the worker that builds it has died


def pytest_configure() -> None:
    """One thread for linear algebra, before numpy loads: small matrices spread over busy cores take four times as long."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


@pytest.fixture(scope="session", autouse=True)
def page_width():
    """Remarks are wrapped at 100 characters, whatever the terminal."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "100")
        yield


@pytest.fixture(scope="session")
def shop(tmp_path_factory):
    """The invented shop, not to be changed; workers side by side share the one that the first of them builds."""
    base = tmp_path_factory.getbasetemp()
    if not SIDE_BY_SIDE:
        return built(base / "demo" / "demo-shop")
    place = base.parent / "demo"
    try:
        place.mkdir()
    except FileExistsError:
        return awaited(place / "demo-shop")
    try:
        return built(place / "demo-shop")
    except BaseException:
        (place / "failed").touch()
        raise


def built(folder: Path) -> Path:
    """The shop in that folder, which appears whole."""
    done = CliRunner().invoke(main, ["demo", str(folder)])
    assert done.exit_code == 0, done.output
    return folder


def awaited(folder: Path) -> Path:
    """The shop in that folder, once another worker has built it."""
    end = time.monotonic() + SHOP_WAIT_S
    while not folder.exists():
        if (folder.parent / "failed").exists() or time.monotonic() > end:
            pytest.fail("another worker could not build the invented shop")
        time.sleep(0.2)
    return folder
