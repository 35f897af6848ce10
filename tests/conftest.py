"""The invented shop, built once for all tests that look at it."""

import pytest
from click.testing import CliRunner

from tint.cli import main


@pytest.fixture(scope="session")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "demo-shop"
    done = CliRunner().invoke(main, ["demo", str(folder)])
    assert done.exit_code == 0, done.output
    return folder
