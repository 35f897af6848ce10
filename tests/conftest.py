"""What all tests share: the invented shop, built once, and how hypothesis looks for counter-examples."""

import os

import pytest
from click.testing import CliRunner
from hypothesis import settings

from tint.cli import main

# The same examples every time, so that a landing does not hang on luck. TINT_EXPLORE=1 looks for new ones instead.
settings.register_profile("tint", deadline=None, derandomize="TINT_EXPLORE" not in os.environ)
settings.load_profile("tint")


@pytest.fixture(scope="session")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "demo-shop"
    done = CliRunner().invoke(main, ["demo", str(folder)])
    assert done.exit_code == 0, done.output
    return folder
