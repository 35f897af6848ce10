"""Every file tint writes takes its place whole: nothing but `files/write.py` opens a final path for writing."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "tint"
# What writes elsewhere than into memory or into a folder that has not taken its place yet, and why it may.
ALLOWED = {
    "files/write.py": "the one place that does it",
    "batch/task.py": "the worker's temporary folder, whose files come back as bytes",
    "desk/app.py": "an upload, into the session's temporary folder",
    "desk/labour.py": "results of a worker, into the session's temporary folder",
    "desk/session.py": "the lock of the session's temporary folder",
    "job/page.py": "the state of a canvas, not a file",
}
WRITERS = {"write_text", "write_bytes", "save", "savefig", "saveas", "tofile", "savetxt", "dump", "savez", "to_csv"}


def writes(node):
    """Whether a call writes a file, and to what: the expression of its target."""
    if not isinstance(node, ast.Call):
        return None
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name in ("write_text", "write_bytes"):
        return node.func.value
    if name in WRITERS and isinstance(node.func, ast.Attribute):
        return node.args[0] if node.args else node.func.value
    if name == "open":
        modes = [
            word.value
            for word in (*node.args, *(item.value for item in node.keywords))
            if isinstance(word, ast.Constant)
        ]
        if any(isinstance(mode, str) and len(mode) <= 3 and set(mode) & set("wax+") for mode in modes):
            return node.func.value if isinstance(node.func, ast.Attribute) else node.args[0]
    return None


def root_name(target):
    """Name an expression such as `(place / "masks") / name` begins with."""
    while not isinstance(target, ast.Name):
        if isinstance(target, ast.BinOp):
            target = target.left
        elif isinstance(target, (ast.Attribute, ast.Subscript)):
            target = target.value
        elif isinstance(target, ast.Call) and target.args:
            target = target.args[0]
        else:
            return ""
    return target.id


def not_in_place_yet(function):
    """Names of a function that stand for memory, or for a folder that takes its place when it is full."""
    names = {"place"} & {argument.arg for argument in ast.walk(function.args) if isinstance(argument, ast.arg)}
    for node in ast.walk(function):
        if isinstance(node, ast.With):
            for item in node.items:
                if isinstance(item.optional_vars, ast.Name) and called(item.context_expr) in (
                    "new_folder",
                    "TemporaryDirectory",
                ):
                    names |= {item.optional_vars.id}
        if isinstance(node, ast.Assign) and (
            called(node.value) == "BytesIO" or (called(node.value) == "Path" and root_name(node.value) in names)
        ):
            names |= {target.id for target in node.targets if isinstance(target, ast.Name)}
    return names


def called(node):
    """Name of the function that an expression calls."""
    return getattr(node.func, "attr", getattr(node.func, "id", "")) if isinstance(node, ast.Call) else ""


def found_in(text):
    """Lines of a module's text where a final path is written to."""
    lines = []
    for function in ast.walk(ast.parse(text)):
        if isinstance(function, (ast.FunctionDef, ast.AsyncFunctionDef)):
            safe = not_in_place_yet(function)
            lines += [
                node.lineno
                for node in ast.walk(function)
                if (target := writes(node)) is not None and root_name(target) not in safe
            ]
    return sorted(set(lines))


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_final_path_is_written_by_nobody_but_files(path):
    lines = found_in(path.read_text(encoding="utf-8"))
    name = path.relative_to(ROOT).as_posix()
    if name in ALLOWED:
        assert lines, f"{name} writes nothing itself any more: take it off the list"
    else:
        assert not lines, f"{name} line {lines}: write through tint.files.write (write_file, or new_folder as place)"


def test_the_look_for_writers_finds_each_kind_of_them():
    for line in (
        "open(path, 'w')", "path.open('wb')", "path.open(mode='a')", "path.write_text('x')", "(folder / 'x').write_bytes(b'')", "image.save(path)",
        "figure.savefig(folder / 'x.png')", "np.save(path, x)", "Path(folder).write_text('x')", "drawing.saveas(path)",
    ):  # fmt: skip
        assert found_in(f"def f(path, folder):\n    {line}") == [2], line
    for line in ("open(path)", "path.open('rb')", "open(path, encoding='utf-8')", "(place / 'x').write_text('x')"):
        assert found_in(f"def f(path, place):\n    {line}") == [], line
    assert found_in("def f(image):\n    out = io.BytesIO()\n    image.save(out, 'PNG')") == []
    assert found_in(
        "def f(path):\n    with new_folder(path, 'job') as inside:\n        (inside / 'x').write_text('x')\n        (path / 'x').write_text('x')"
    ) == [4]
