"""Mutated inputs of every format: one clear line or a sound answer, never a traceback; `tests/bench/fuzz.py` runs thousands of them."""

import pytest
from formats import FORMATS
from good_shop import Shop
from tried import try_one

SHORT = 8  # inputs of a format in this short run, times its share


@pytest.fixture(scope="module")
def good(shop, tmp_path_factory):
    return Shop(shop, tmp_path_factory.mktemp("good") / "shop")


@pytest.mark.parametrize("form", [form for form in FORMATS if form.share >= 0.5], ids=lambda form: form.name)
def test_whatever_is_done_to_a_file_it_is_refused_in_one_line_or_read_soundly(form, good, tmp_path):
    tried = [try_one(form, good, seed, tmp_path / "try") for seed in range(round(SHORT * form.share))]
    assert not [one for one in tried if one.fault]
    assert (
        any(not one.accepted for one in tried) or form.name == "batch record JSON"
    )  # a damaged record means made again


def test_the_same_seed_makes_the_same_input():
    import random

    from mutated import FAMILIES, mutated

    for family in FAMILIES:
        good = b'{"a": [1, 2.5, "x,y"], "b": "<g><a b=\\"1\\"/></g>"}\n1,2,3\n'
        one, other = (mutated(good, family, random.Random(f"{family} 3")) for _ in range(2))
        assert one == other
    assert len({mutated(b"1,2,3\n4,5,6\n", "table", random.Random(seed)) for seed in range(50)}) > 25


def test_a_fault_would_be_found(good, tmp_path, monkeypatch):
    form = next(form for form in FORMATS if form.name == "stock TOML")
    monkeypatch.setattr("tint.setting.tomllib.loads", lambda text: 1 / 0)
    assert "ZeroDivisionError" in try_one(form, good, 1, tmp_path / "try").fault
