"""A colour model of real marks, fitted once for all tests of palettes."""

import pytest

from tint.demo.shop import open_machine, open_patches, open_stock
from tint.model.fit import fit


@pytest.fixture(scope="session")
def model():
    return fit(open_patches(), open_machine(), open_stock())
