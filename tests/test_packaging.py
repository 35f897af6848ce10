"""What is handed out: the wheel is the package and nothing else, the source archive the whole package, extras are named where missing."""

import re
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

import tint
from tint.cli import main
from tint.errors import FileError

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
LIBRARY_OF_EXTRA = {"photo": "cv2", "raw": "rawpy", "desk": "uvicorn", "cluster": "distributed"}
BUILD = "import sys\nfrom setuptools import build_meta\ngetattr(build_meta, sys.argv[1])(sys.argv[2])"
OUR_JUNK = ("__pycache__", "*.pyc", ".*", "*.egg-info", "build", "demo-shop")


def files_under(source, folder):
    """Paths of the files of a folder of the source, as an archive writes them."""
    return {path.relative_to(source).as_posix() for path in (source / folder).rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """A copy of the tree, so that the tree stays clean."""
    copy = tmp_path_factory.mktemp("source") / "tint"
    shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(*OUR_JUNK))
    return copy


@pytest.fixture(scope="module")
def built(source, tmp_path_factory):
    """Folder with the wheel and the source archive."""
    work, out = tmp_path_factory.mktemp("work") / "tint", tmp_path_factory.mktemp("built")
    shutil.copytree(source, work)
    for what in ("build_sdist", "build_wheel"):
        done = subprocess.run([sys.executable, "-c", BUILD, what, str(out)], cwd=work, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    return out


@pytest.fixture(scope="module")
def wheel(built):
    (path,) = built.glob("*.whl")
    return path


def test_the_wheel_holds_every_file_of_the_package_and_nothing_else(source, wheel):
    held = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name and not name.endswith("/")}
    assert held == files_under(source, "tint")


def test_the_source_archive_holds_the_whole_package_and_no_junk(source, built):
    (path,) = built.glob("*.tar.gz")
    with tarfile.open(path) as archive:
        held = {name.partition("/")[2] for name in archive.getnames() if archive.getmember(name).isfile()}
    assert held >= files_under(source, "tint") | {"README.md", "LICENSE", "pyproject.toml"}
    assert not [name for name in held if re.search(r"__pycache__|\.pyc$|\.hypothesis|\.git/|demo-shop", name)]


def test_the_wheel_runs_by_itself(wheel, tmp_path):
    zipfile.ZipFile(wheel).extractall(tmp_path)
    code = (
        f"import sys; sys.path.insert(0, {str(tmp_path)!r}); import tint; print(tint.__file__)\n"
        "from importlib.resources import files\n"
        "assert (files('tint') / 'desk' / 'static' / 'index.html').is_file()\n"
        "from tint.demo.shop import open_patches; print(len(open_patches()), 'patches')\n"
        "from tint.cli import main; main(['--help'], prog_name='tint')"
    )
    done = subprocess.run([sys.executable, "-I", "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.startswith(str(tmp_path)) and "100 patches" in done.stdout and "separate" in done.stdout


def test_the_wheel_says_what_the_project_says(wheel):
    (told,) = (name for name in zipfile.ZipFile(wheel).namelist() if name.endswith("METADATA"))
    text = zipfile.ZipFile(wheel).read(told).decode()
    entries = zipfile.ZipFile(wheel).read(told.replace("METADATA", "entry_points.txt")).decode()
    assert f"Version: {tint.__version__}" in text and "License-Expression: MIT" in text
    needed = [line for line in re.findall(r"^Requires-Dist: (.*)$", text, re.M) if "extra ==" not in line]
    assert len(needed) == len(PROJECT["dependencies"])
    assert set(re.findall(r"^Provides-Extra: (.*)$", text, re.M)) == {*LIBRARY_OF_EXTRA, "test", "bench"}
    assert f"Requires-Python: {PROJECT['requires-python']}" in text and "tint = tint.cli:main" in entries


def test_an_upper_bound_comes_with_its_reason():
    lines = (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    bounded = [line for line in lines if re.search(r'"[\w.\[\],-]+[^"]*(<|==|~=)[^"]*"', line)]
    assert not [line for line in bounded if "#" not in line]


def test_every_extra_is_named_where_it_is_missing_and_no_other():
    named = {}
    for path in (ROOT / "tint").rglob("*.py"):
        for extra in re.findall(r"pip install[^\n]{0,12}tint\[(\w+)\]", path.read_text(encoding="utf-8")):
            named[extra] = path
    assert set(named) == set(LIBRARY_OF_EXTRA)


@pytest.mark.parametrize("extra", LIBRARY_OF_EXTRA)
def test_without_an_extra_one_line_says_what_to_install(extra, tmp_path, monkeypatch):
    from tint.batch.cluster import Cluster
    from tint.measure.photo.picture import open_photo
    from tint.measure.photo.vision import opencv

    monkeypatch.setitem(sys.modules, LIBRARY_OF_EXTRA[extra], None)  # as if it were not installed
    if extra == "desk":
        said = CliRunner().invoke(main, ["desk", str(tmp_path), "--no-browser"]).stderr.rstrip()
    else:
        with pytest.raises(FileError) as refused:
            {
                "photo": opencv,
                "raw": lambda: open_photo(tmp_path / "plate.dng"),
                "cluster": lambda: Cluster("tcp://127.0.0.1:1"),
            }[extra]()
        said = str(refused.value)
    assert f"tint[{extra}]" in said and "\n" not in said
