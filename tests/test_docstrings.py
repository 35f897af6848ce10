"""Every public name says what it is; the API names its parameters, units, shapes and errors; whoever takes or gives an array states its shape.

The rules are read off the source, so that nothing is imported for them, and each is tried on a planted example that breaks it.
"""

import ast
import re
import textwrap
from pathlib import Path

import pytest

import tint

ROOT = Path(__file__).parents[1] / "tint"
ITEM = r"(?:\.\.\.|[a-z]\w*|\d+(?: or \d+)?)(?: ?[+*·] ?(?:\d+|[a-z]))?"  # n, 3, k + 1, count, or ... for any
SHAPE = re.compile(rf"\({ITEM}(?:, {ITEM})+\)|\({ITEM},\)|\(\.\.\.\)|\bshape\b")
UNIT = re.compile(r"\[[^\]]+\]")
# endings of names that carry a unit, and signs one of which its entry must hold
UNITS = ("_mm", "_mm_s", "_pct", "_ns", "_khz", "_nm", "_um", "_ms", "_s", "_w", "_deg", "_px")


def public(body):
    """(node, qualified name) of functions and classes without a leading underscore, methods of public classes too."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node, node.name
            if isinstance(node, ast.ClassDef):
                for inner, name in public(node.body):
                    yield inner, f"{node.name}.{name}"


def arguments(node):
    """Arguments of a function but self and cls, those collected by * and ** too."""
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs, node.args.vararg, node.args.kwarg]
    return [one for one in every if one is not None and one.arg not in ("self", "cls") and not one.arg.startswith("_")]


def fields(node):
    """Annotated fields of a dataclass, or arguments of a class's own __init__."""
    for item in node.body:
        if isinstance(item, ast.FunctionDef) and item.name == "__init__":
            return arguments(item)
    found = [item for item in node.body if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)]
    return [ast.arg(item.target.id, item.annotation) for item in found
            if not item.target.id.startswith("_") and "ClassVar" not in ast.unparse(item.annotation)]  # fmt: skip


def array(annotation):
    return annotation is not None and "ndarray" in ast.unparse(annotation)


def property_of_a_class(node):
    return any("property" in ast.unparse(one) for one in node.decorator_list)


def section(text, *heads):
    """Lines below a numpydoc heading, as one string; "" where there is none."""
    found = [match for head in heads if (match := re.search(rf"^{head}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, re.S | re.M))]
    return "\n".join(match.group(1) for match in found)


def entries(text):
    """Name to what is said of it, of a section of parameters: `a, b : words` and lines indented below."""
    found = {}
    for match in re.finditer(r"^([*\w, ]+?)(?: :[ \n](.*?))?$((?:\n[ ]+.*|\n(?=\n))*)", text, re.M):
        for name in match.group(1).split(","):
            found[name.strip(" *")] = f"{match.group(2) or ''} {match.group(3)}"
    return found


def undocumented(source):
    """Names of a module's source that have no docstring."""
    tree = ast.parse(source)
    return [*([] if ast.get_docstring(tree) else ["the module"]), *(name for node, name in public(tree.body) if not ast.get_docstring(node))]


def shapeless(source):
    """Names of functions that take or give an array and state no shape."""
    wrong = []
    for node, name in public(ast.parse(source).body):
        if isinstance(node, ast.ClassDef):
            if any(array(one.annotation) for one in fields(node)) and not SHAPE.search(ast.get_docstring(node) or ""):
                wrong.append(name)
        elif (array(node.returns) or any(array(one.annotation) for one in arguments(node))) and not SHAPE.search(ast.get_docstring(node) or ""):
            wrong.append(name)
    return wrong


def unfinished(source, api):
    """What the docstrings of these names of a module leave out, one line each."""
    wrong = []
    for node, name in public(ast.parse(source).body):
        if name.partition(".")[0] not in api:
            continue
        text = ast.get_docstring(node) or ""
        if isinstance(node, ast.ClassDef):
            wrong += lacking(name, fields(node), entries(section(text, "Parameters", "Attributes")))
            continue
        takes = arguments(node)
        if "." not in name or len(takes) > 1:  # a method with one argument tells of it in its first line
            wrong += lacking(name, takes, entries(section(text, "Parameters")))
        if "." not in name and not section(text, "Raises") and "raises nothing" not in text:
            wrong.append(f"{name}: no section Raises")
        if node.returns is None:
            wrong.append(f"{name}: what it returns is not annotated")
        if "." not in name and not (section(text, "Returns") or says_what_comes_back(text)):
            wrong.append(f"{name}: neither a section Returns nor a first line that says what comes back")
        raised = {one.func.id for part in ast.walk(node) if isinstance(part, ast.Raise) and isinstance(one := part.exc, ast.Call)
                  and isinstance(one.func, ast.Name)}  # fmt: skip
        wrong += [f"{name}: raises {error} and does not say so" for error in sorted(raised) if error not in text]
    return wrong


def says_what_comes_back(text):
    """True where the first line begins with a thing or "Nothing", not with a deed such as "Compute" or "Returns"."""
    first = text.split(maxsplit=1)[0] if text.split() else ""
    return first != "" and first not in DEEDS


DEEDS = {"Compute", "Computes", "Return", "Returns", "Get", "Gets", "Read", "Reads", "Write", "Writes", "Make", "Makes", "Find", "Finds",
         "Fits", "Choose", "Chooses", "Checks", "Predict", "Predicts", "Run", "Runs", "Do", "Does", "Calculate", "Calculates"}  # fmt: skip


def lacking(name, wanted, said):
    for one in wanted:
        if one.arg not in said:
            yield f"{name}: parameter {one.arg} is not explained"
        elif array(one.annotation) and not SHAPE.search(said[one.arg]):
            yield f"{name}: parameter {one.arg} is an array and states no shape"
        elif one.arg.endswith(UNITS) and not UNIT.search(said[one.arg]):
            yield f"{name}: parameter {one.arg} is a quantity and states no unit in brackets"


MODULES = sorted(ROOT.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_public_name_says_what_it_is_and_arrays_have_a_shape(path):
    source = path.read_text(encoding="utf-8")
    assert undocumented(source) == []
    assert shapeless(source) == []


@pytest.mark.parametrize("place", sorted(set(tint._PLACES.values())))
def test_the_api_names_parameters_units_shapes_and_errors(place):
    source = (ROOT.parent / (place.replace(".", "/") + ".py")).read_text(encoding="utf-8")
    assert unfinished(source, {name for name, where in tint._PLACES.items() if where == place}) == []


PLANTED = '''
"""A module."""
import numpy as np

class Square:
    def area(self) -> float:
        """Area [mm²]."""

def bare(side_mm):
    pass

def mean(lab: np.ndarray) -> float:
    """Mean lightness of a colour (any)."""

def wide(width_mm: float, lab: np.ndarray) -> float:
    """Computes a width.

    Parameters
    ----------
    width_mm : how wide
    lab : the colours
    """
    raise LimitError("no")

def right(width_mm: float, lab: np.ndarray) -> float:
    """Width of colours (n, 3).

    Parameters
    ----------
    width_mm : how wide
        it is [mm]
    lab : (n, 3) the colours

    Raises
    ------
    LimitError
        Never.
    """
    raise LimitError("no")
'''


def test_planted_examples_that_break_the_rules_are_found():
    source = textwrap.dedent(PLANTED)
    assert undocumented(source) == ["Square", "bare"]
    assert undocumented("x = 1\n") == ["the module"]
    assert shapeless(source) == ["mean", "wide"]
    assert unfinished(source, {"right", "Square"}) == []
    assert unfinished(source, {"wide"}) == [
        "wide: parameter width_mm is a quantity and states no unit in brackets",
        "wide: parameter lab is an array and states no shape",
        "wide: no section Raises",
        "wide: neither a section Returns nor a first line that says what comes back",
        "wide: raises LimitError and does not say so",
    ]
    assert unfinished(source, {"mean"})[0] == "mean: parameter lab is not explained"
