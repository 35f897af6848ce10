"""`tint swatches`: a palette for design programs."""

import pytest
from calling import one_line, tint


def test_the_folder_holds_what_the_command_names(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    words = ["swatches", shop / "simulated" / "palette.json", "-o", "swatches"]
    done = tint(*words)
    assert done.exit_code == 0, done.output
    assert done.stdout.strip().endswith("swatches: palette.gpl, palette.css, swatches.svg, palette.icc, README.txt")
    assert (
        "SIMULATED" in done.stderr
        and "Class 4" in done.stderr
        and "black point compensation off" in " ".join(done.stderr.split())
    )
    assert "already there" in one_line(tint(*words), 2)
    assert tint(*words, "--force").exit_code == 0


@pytest.mark.parametrize(
    ("name", "said"),
    [("model.json", "is a tint-model file; a tint-palette file is needed"), ("nowhere.json", "is not there")],
)
def test_anything_but_a_palette_is_refused_in_one_line(shop, monkeypatch, tmp_path, name, said):
    monkeypatch.chdir(shop / "simulated")
    assert said in one_line(tint("swatches", name, "-o", tmp_path / "out"), 2)
    assert not list(tmp_path.iterdir())
