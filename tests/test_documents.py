"""README and DEVELOPERS say what is so: every command runs, every command and public name appears."""

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import tint
from tint.cli import main
from tint.setting import read_machine, read_stock

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w*)\n(.*?)```", README, re.S)
COMMANDS = [line[2:] for kind, block in BLOCKS if kind == "console" for line in block.splitlines() if line.startswith("$ ")]


@pytest.fixture(scope="module")
def inside_shop(shop, tmp_path_factory):
    import shutil

    folder = tmp_path_factory.mktemp("readme") / "demo-shop"
    shutil.copytree(shop, folder)
    return folder


def test_the_readmes_commands_run_one_after_the_other_inside_the_demo_shop(inside_shop, monkeypatch):
    monkeypatch.chdir(inside_shop)
    assert len(COMMANDS) >= 10
    for line in COMMANDS:
        words = shlex.split(line)
        assert words[0] == "tint"
        done = CliRunner().invoke(main, words[1:])
        out_of_reach = words[1] == "match" and done.exit_code == 1 and "out of reach" in done.output
        drifted = words[1] == "check" and done.exit_code == 1 and "--correct" in words
        assert done.exit_code == 0 or out_of_reach or drifted, f"{line}\n{done.output}"
    for path in ("sign/proof.png", "sign-proof/overview.png", "sign-job/sheet.pdf", "sign-job/README.txt", "sign-job/trial/trial.svg",
                 "plate-2/plate.svg", "palette.swatches.png", "simulated/palette-3.json", "marker-plates/plates/plate-01/job.json"):  # fmt: skip
        assert (inside_shop / path).stat().st_size > 0


def test_the_readmes_python_runs(inside_shop, monkeypatch, capsys):
    monkeypatch.chdir(inside_shop)
    (code,) = [block for kind, block in BLOCKS if kind == "python"]
    exec(compile(code, "README.md", "exec"), {})
    assert (inside_shop / "small-sign-job" / "job.json").exists() and "mm/s" in capsys.readouterr().out


def test_the_readmes_machine_and_stock_are_valid(tmp_path):
    machine, stock = [block for kind, block in BLOCKS if kind == "toml"]
    for name, text in (("machine.toml", machine), ("stock.toml", stock)):
        (tmp_path / name).write_text(re.sub(r"^# (full_energy|power_curve|turn_ms|jump_ms)", r"\1", text, flags=re.M), encoding="utf-8")
    assert read_machine(tmp_path / "machine.toml").power_curve and read_stock(tmp_path / "stock.toml").grade == "304"


def test_the_readmes_two_commands_are_one_line_each():
    lines = [block.strip() for kind, block in BLOCKS if kind == "sh"]
    assert len(lines) == 2 and all("\n" not in line and line.startswith("python3 -m venv") for line in lines)
    assert "tint demo" in lines[0] and "pytest" in lines[1]


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_is_in_the_readme_and_shows_an_example_that_parses(name):
    assert f"tint {name}" in README
    command = main.commands[name]
    help_text = command.get_help(click.Context(command, info_name=f"tint {name}"))
    lines = re.findall(r"^ +tint (.*)$", help_text, re.M)
    assert lines, f"tint {name} --help has no example"
    for line in lines:
        words = shlex.split(line)
        assert words[0] == name
        command.make_context(name, words[1:], resilient_parsing=False)


def test_every_public_name_is_in_the_documents():
    documents = README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    missing = [name for name in tint.__all__ if not re.search(rf"\b{name}\b", documents)]
    assert not missing


def test_every_picture_of_the_readme_is_there():
    pictures = re.findall(r"\]\((\S+\.png)\)|src=\"(\S+?)\"", README)
    assert pictures
    for pair in pictures:
        assert (ROOT / "".join(pair)).stat().st_size > 1000


def test_the_cautions_are_in_the_readme_and_on_the_first_screen():
    for word in ("Class 4", "eyewear", "enclosure", "hexavalent chromium", "nickel", "food", "local codes", "never drives"):
        assert word.lower() in README.lower()
    assert "Class 4" in CliRunner().invoke(main, ["--help"]).output
