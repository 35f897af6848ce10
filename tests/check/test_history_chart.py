"""The chart of a history opens as what its ending says."""

import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import pytest
from marked import palette, promised, strip
from PIL import Image

from tint.check.check import check_strip
from tint.check.history import read_history, record_check
from tint.check.plot import side_steps, write_chart
from tint.errors import DataError, FileError


@pytest.fixture(scope="module")
def history(tmp_path_factory):
    path = tmp_path_factory.mktemp("chart") / "h.sqlite"
    first = palette()
    record_check(path, check_strip(first, strip(first, 1)), "", "2026-03-14T09:00:00+01:00")
    ours = promised()
    for seed, power in ((2, 1.0), (3, 0.99), (4, 0.95)):
        record_check(path, check_strip(ours, strip(ours, seed, power)), "", f"2026-03-{14 + seed}T09:00:00+01:00")
    return read_history(path, ours)


def test_a_png_and_an_svg_are_drawn_and_name_the_version(history, tmp_path):
    assert len(history.checks) == 4
    with Image.open(write_chart(history, promised(), tmp_path / "drift.png")) as image:
        assert image.format == "PNG" and image.width > 1000
    root = ElementTree.parse(write_chart(history, promised(), tmp_path / "drift.svg")).getroot()
    assert root.tag.endswith("svg") and "version 2" in (tmp_path / "drift.svg").read_text(encoding="utf-8")


def test_discs_of_colours_with_like_differences_stand_beside_each_other():
    # three alike, one far above, one just clear of the lowest
    lanes = side_steps([1.0, 1.05, 1.1, 5.0, 1.4], apart=0.3)
    assert sorted(lanes[:3]) == [-1, 0, 1] and lanes[3] == 0
    placed = sorted((lane, value) for lane, value in zip(lanes, (1.0, 1.05, 1.1, 5.0, 1.4), strict=True))
    assert all(b - a >= 0.3 for (lane, a), (other, b) in pairwise(placed) if lane == other)


def test_another_ending_a_file_in_the_way_and_an_empty_history_are_refused(history, tmp_path):
    with pytest.raises(FileError, match=r"written as \.png or \.svg"):
        write_chart(history, promised(), tmp_path / "drift.pdf")
    (tmp_path / "drift.png").write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match="already there"):
        write_chart(history, promised(), tmp_path / "drift.png")
    with pytest.raises(DataError, match="no strip of"):
        write_chart(read_history(tmp_path / "none.sqlite", promised()), promised(), tmp_path / "x.png")
