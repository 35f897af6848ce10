"""Tint's own files name their format, and no other is taken for one."""

import json
import re
from pathlib import Path

import pytest

import tint
from tint.cli import main
from tint.errors import FileError
from tint.files.own import WRITTEN_BY, json_text, read_json


def test_json_names_its_format_and_newer_ones_are_refused(tmp_path):
    path = tmp_path / "x.json"
    path.write_text(json_text("palette", 1, {"name": "ä"}), encoding="utf-8")
    assert read_json(path, "palette", 1)["name"] == "ä" and json.loads(path.read_text(encoding="utf-8"))["format"] == "tint-palette/1"
    with pytest.raises(FileError, match="is a tint-palette file; a tint-grid file is needed here, which `tint grid` writes"):
        read_json(path, "grid", 1)
    path.write_text(json_text("palette", 2, {}), encoding="utf-8")
    with pytest.raises(FileError, match="newer than this tint reads"):
        read_json(path, "palette", 1)
    for text in ("", "[1]", '"x"', '{"format": 3}', '{"format": "tint-palette/²"}', "[" * 100_000):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(FileError, match="not a file tint wrote"):
            read_json(path, "palette", 1)


def test_an_empty_file_is_called_empty(tmp_path):
    (tmp_path / "model.json").write_text("\n", encoding="utf-8")
    with pytest.raises(FileError, match="is empty, so not a file tint wrote; a tint-model file is needed here, which `tint fit` writes."):
        read_json(tmp_path / "model.json", "model", 1)


def test_every_kind_of_file_that_is_read_has_the_command_that_writes_it():
    sources = "".join(path.read_text(encoding="utf-8") for path in Path(tint.__file__).parent.rglob("*.py"))
    assert set(re.findall(r'read_json\(\w+, "([a-z-]+)"', sources)) == set(WRITTEN_BY) and set(WRITTEN_BY.values()) <= set(main.commands)
