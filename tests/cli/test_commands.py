"""The commands as people call them: answers on stdout, remarks on stderr, one line and exit 1 or 2 where it cannot be."""

import json
import os
import subprocess
import sys

import pytest
from calling import one_line, tint

from tint.demo.laser import demo_machine
from tint.setting import Setting

SETTING = ["--power-pct", 28, "--speed-mm-s", 900, "--freq-khz", 320, "--pulse-ns", 14, "--spacing-mm", 0.002]


def test_predict_answers_in_the_settings_own_columns_and_as_json(shop):
    model = shop / "simulated" / "model.json"
    done = tint("predict", model, *SETTING)
    head, row = done.stdout.splitlines()
    assert head == "power_pct,speed_mm_s,freq_khz,pulse_ns,spacing_mm,passes,focus_mm,hatch_deg,L,a,b,de00_90"
    assert row.startswith("28,900,320,14,0.002,1,0,0,") and "Class 4" in done.stderr
    (answer,) = json.loads(tint("predict", model, *SETTING, "--json").stdout)
    assert answer["power_pct"] == 28 and answer["de00_90"] > 0
    assert abs(answer["L"] - float(row.split(",")[8])) < 0.01


def test_predict_reads_a_table_of_settings(shop):
    done = tint("predict", shop / "simulated" / "model.json", "--settings", shop / "simulated" / "plate-1" / "settings.csv")
    assert done.exit_code == 0 and len(done.stdout.splitlines()) == 97


def test_predict_says_loudly_when_it_guesses(shop):
    far = ["--power-pct", 95, "--speed-mm-s", 300, "--freq-khz", 320, "--pulse-ns", 14, "--spacing-mm", 0.01]
    done = tint("predict", shop / "simulated" / "model.json", *far)
    said = " ".join(done.stderr.split())
    assert done.exit_code == 1 and "FAR OUTSIDE the grid" in said and "line spacing: never varied" in said and "SIMULATED" in said


def test_match_lists_settings_the_machine_can_do_and_leaves_with_1_out_of_reach(shop):
    model = shop / "simulated" / "model.json"
    known = json.loads((shop / "simulated" / "palette.json").read_text(encoding="utf-8"))["colours"][0]["lab"]
    done = tint("match", model, "--lab", ",".join(str(value) for value in known), "--json")
    answer = json.loads(done.stdout)
    assert done.exit_code == 0 and answer["reachable"] and answer["nearest_de00"] < 2.3
    for candidate in answer["candidates"]:
        demo_machine().check(Setting.from_dict(candidate["setting"]))
    far = tint("match", model, "--srgb", "#00ff00")
    assert far.exit_code == 1 and "out of reach; the nearest is" in far.stdout and "Class 4" in far.stderr


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["fit", "nowhere.csv", "--machine", "machine.toml", "--stock", "stock.toml", "-o", "x.json"], 2, "is not there"),
        (["predict", "patches.csv", *SETTING], 2, "not a file tint wrote"),
        (["predict", "palette.json", *SETTING], 2, "is a tint-palette file; a tint-model file is needed here"),
        (["predict", "model.json", *SETTING, "--power-pct", "120"], 1, "power 120 % is outside this machine"),
        (["predict", "model.json", *SETTING, "--pulse-ns", "10"], 1, "4, 8, 14"),
        (["match", "model.json", "--lab", "1,2"], 2, "write three numbers"),
        (["match", "model.json", "--lab", "150,0,0"], 2, "L 150 cannot be"),
        (["match", "model.json", "--srgb", "blue"], 2, "write it as '#4466aa'"),
        (["palette", "model.json", "-n", "0", "-o", "x.json"], 2, "holds 1 to 255"),
        (["palette", "model.json", "--for", "nothing.svg", "-o", "x.json"], 2, "is not there"),
        (["grid", "machine.toml", "--stock", "stock.toml", "--speed-mm-s", "fast", "-o", "x"], 2, "write lowest:highest"),
        (["grid", "stock.toml", "--stock", "stock.toml", "-o", "x"], 2, "is not a field of a machine"),
        (["measure", "plate-1", "patches.toml", "-o", "x.csv"], 2, "is not there"),
        (["separate", "../artwork/kingfisher-shaded.png", "palette.json", "-o", "x"], 1, "--width-mm"),
        (["separate", "../artwork/kingfisher.svg", "palette.json", "--width-mm", "500", "-o", "x"], 1, "the field of"),
        (["job", "palette.json", "machine.toml", "-o", "x"], 2, "is not a folder of layers"),
        (["demo", "."], 2, "already there"),
    ],
)  # fmt: skip
def test_bad_input_is_one_clear_line_and_leaves_nothing_behind(shop, monkeypatch, words, code, said):
    monkeypatch.chdir(shop / "simulated")
    before = sorted(str(path) for path in shop.rglob("*"))
    assert said in one_line(tint(*words), code)
    assert sorted(str(path) for path in shop.rglob("*")) == before


@pytest.mark.parametrize("words", [["predict"], ["match", "model.json"], ["fit"], ["match", "m", "--lab", "1,2,3", "--srgb", "#fff"],
                                   ["predict", "model.json", "--settings", "s.csv", *SETTING], ["nonsense"]])  # fmt: skip
def test_wrong_use_shows_the_usage_and_leaves_with_2(words):
    done = tint(*words)
    assert done.exit_code == 2 and "Usage:" in done.stderr


def test_nothing_is_replaced_without_force(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    model = shop / "simulated" / "model.json"
    assert tint("palette", model, "-n", 3, "-o", "p.json").exit_code == 0
    before = (tmp_path / "p.json").read_bytes()
    assert "already there" in one_line(tint("palette", model, "-n", 4, "-o", "p.json"), 2)
    assert "written as .json" in one_line(tint("palette", model, "-n", 4, "-o", "heron.png", "--force"), 2)
    assert (tmp_path / "p.json").read_bytes() == before
    assert tint("palette", model, "-n", 4, "-o", "p.json", "--force").exit_code == 0
    assert (tmp_path / "p.json").read_bytes() != before


def test_names_that_do_not_belong_together_are_said(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    place = shop / "real-marks"
    facts = "# machine: another laser\n" + (place / "patches.csv").read_text(encoding="utf-8").split("\n", 1)[1].replace("# machine", "# was")
    (tmp_path / "patches.csv").write_text(facts, encoding="utf-8")
    done = tint("fit", "patches.csv", "--machine", place / "machine.toml", "--stock", place / "stock.toml", "-o", "model.json")
    assert done.exit_code == 0 and "CHECK: the patches say machine 'another laser'" in " ".join(done.stderr.split())


@pytest.mark.parametrize("words", [["--help"], ["match", "--help"]])
def test_a_console_without_greek_letters_still_gets_its_text(words):
    code = f"import sys; from tint.cli import main; main({words!r})"
    done = subprocess.run([sys.executable, "-c", code], env={**os.environ, "PYTHONIOENCODING": "cp1252"}, capture_output=True)
    assert done.returncode == 0 and b"Usage" in done.stdout


def test_every_folder_a_command_writes_is_replaced_with_force_and_only_then(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    place = shop / "simulated"
    commands = (
        ["grid", place / "machine.toml", "--stock", place / "stock.toml", "-n", 24, "-o", "plate"],
        ["separate", shop / "artwork" / "kingfisher.svg", place / "palette.json", "-o", "layers"],
        ["job", "layers", place / "machine.toml", "-o", "job"],
        ["plot", place / "model.json", "-o", "pictures"],
        ["borrow", "job/settings.csv", "--from", place / "machine.toml", "--machine", place / "machine.toml", "--stock", place / "stock.toml",
         "-n", 12, "-o", "borrowed"],
    )  # fmt: skip
    for words in commands:
        assert tint(*words).exit_code == 0, words
        assert "already there" in one_line(tint(*words), 2)
        assert tint(*words, "--force").exit_code == 0, words


def test_a_grid_goes_out_and_its_readings_come_back(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    place = shop / "simulated"
    done = tint("grid", place / "machine.toml", "--stock", place / "stock.toml", "-n", 24, "--pulse-ns", "8:30", "-o", "plate")
    assert done.exit_code == 0 and "24 patches in plate" in done.stdout and "Class 4" in done.stderr
    table = (tmp_path / "plate" / "reading.csv").read_text(encoding="utf-8").splitlines()
    filled = [line.replace(",,,,", ",60,5,10,") if line.endswith(",,,,") else line for line in table if not line.startswith("B03")]
    (tmp_path / "reading.csv").write_text("\n".join(filled), encoding="utf-8")
    done = tint("measure", "plate", "reading.csv", "-o", "patches.csv")
    assert done.exit_code == 0 and "23 patches in patches.csv, 0 flagged" in done.stdout and "1 patches have no reading: B03" in done.stderr
    assert "bare_lab: 60.000 5.000 10.000" in (tmp_path / "patches.csv").read_text(encoding="utf-8")


def test_the_version_is_said():
    assert tint("--version").output.strip() == "tint, version 0.1.0"
