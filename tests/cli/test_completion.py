"""Shells complete commands, options, choices and file names of `tint`, and wait for no slow library while they do."""

import os
import shutil
import stat
import subprocess
import sys

import pytest
from click.testing import CliRunner

from tint.cli import main

SHELLS = ("bash", "zsh", "fish")
SLOW = ("numpy", "scipy", "PIL", "matplotlib", "shapely", "sklearn", "colour")
PROGRAM = f"#!{sys.executable}\nfrom tint.cli import main\nmain(prog_name='tint')\n"


def asked(shell, line):
    """What a shell asks `tint` with; `line` is what was typed so far, its last word the unfinished one."""
    words = line.split(" ")
    at = words[-1] if shell == "fish" else str(len(words) - 1)
    return {"_TINT_COMPLETE": f"{shell}_complete", "COMP_WORDS": line, "COMP_CWORD": at}


def answer(shell, line):
    """Words of the answer: kinds, completions and what they mean."""
    done = CliRunner(env=asked(shell, line)).invoke(main, [], prog_name="tint")
    assert done.exit_code == 0 and isinstance(done.exception, (SystemExit, type(None)))
    return done.stdout.replace(",", "\n").replace("\t", "\n").split("\n")


@pytest.mark.parametrize("shell", SHELLS)
def test_each_shell_gets_a_script_that_asks_tint(shell):
    if shutil.which("bash") is None:
        pytest.skip("bash is not installed, and its version decides about its script")
    script = CliRunner(env={"_TINT_COMPLETE": f"{shell}_source"}).invoke(main, [], prog_name="tint").stdout
    assert f"_TINT_COMPLETE={shell}_complete" in script and "COMP_WORDS" in script


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize(
    ("line", "wanted", "not_wanted"),
    [
        ("tint se", {"separate"}, {"job"}),
        ("tint separate --to", {"--tonal"}, {"--thin", "--map"}),
        ("tint separate --thin wi", {"widen"}, {"keep"}),
        ("tint measure --chart before", {"before-nov-2014"}, set()),
    ],
)
def test_commands_options_and_choices_are_completed(shell, line, wanted, not_wanted):
    found = set(answer(shell, line))
    assert wanted <= found and not not_wanted & found


@pytest.mark.parametrize("shell", SHELLS)
@pytest.mark.parametrize("line", ["tint separate sig", "tint separate sign.svg pal", "tint job sign machine.toml -o sig"])
def test_where_a_file_belongs_the_shell_is_told_to_complete_file_names(shell, line):
    assert answer(shell, line)[0] == "file"


def test_completion_loads_no_slow_library():
    ask = f"import sys\nfrom tint.cli import main\ntry:\n    main(prog_name='tint')\nfinally:\n    print(*(set({SLOW}) & set(sys.modules)))"
    told = subprocess.run(
        [sys.executable, "-c", ask], env={**os.environ, **asked("bash", "tint separate --")}, capture_output=True, text=True, check=True
    ).stdout  # fmt: skip
    assert "--width-mm" in told and told.splitlines()[-1] == ""


def test_bash_itself_completes_a_command_an_option_and_a_file(tmp_path):
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("bash is not installed")
    program = tmp_path / "tint"
    program.write_text(PROGRAM, encoding="utf-8")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    ask = """
    eval "$(_TINT_COMPLETE=bash_source tint)"
    compopt() { echo "compopt $1 $2"; }  # the real one works at a prompt only
    try() { COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=(); _tint_completion tint; echo "${COMPREPLY[*]}"; }
    try tint hist
    try tint separate --back
    try tint separate sign
    complete -p tint
    """
    told = subprocess.run(
        [bash, "--norc", "-c", ask], env={**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}"}, capture_output=True, text=True,
        check=True,
    ).stdout.splitlines()  # fmt: skip
    assert told[:4] == ["history", "--background", "compopt -o default", ""]
    assert "-F _tint_completion tint" in told[4]
