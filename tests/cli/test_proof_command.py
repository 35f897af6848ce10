"""`tint proof`: what the piece will look like, in numbers and pictures."""

import pytest
from calling import one_line, tint


def test_a_sign_is_proofed_by_its_model_against_its_artwork(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    place = shop / "simulated"
    words = [
        "proof",
        place / "layers-sign",
        "--model",
        place / "model.json",
        "--artwork",
        shop / "artwork" / "kingfisher.svg",
        "-o",
        "proof",
    ]
    done = tint(*words)
    assert done.exit_code == 0, done.output
    first, second = done.stdout.splitlines()
    assert (
        first.startswith("light ")
        and "by the colour model" in first
        and second.startswith("lost against the artwork: ")
    )
    assert "a proof is not exact" in done.stderr and "SIMULATED" in done.stderr
    assert "already there" in one_line(tint(*words), 2)
    assert tint(*words, "--force").exit_code == 0


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["palette.json"], 2, "is not a folder of layers"),
        (["layers-sign", "--model", "../real-marks/model.json"], 1, "the layers' palette is of stock"),
        (["layers-sign", "--model", "palette.json"], 2, "a tint-model file is needed"),
        (["layers-sign", "--heat-pct", "50"], 1, "it lies above 0 and up to 20 %"),
        (["layers-sign", "--artwork", "nothing.png"], 2, "is not there"),
        (["layers-sign", "--artwork", "../side-by-side.png"], 1, "not the artwork they were made from"),
        (["layers-sign", "--background", "white"], 2, "is not a colour"),
        (["layers-sign", "--compare"], 1, "name it with --artwork"),
    ],
)
def test_what_does_not_belong_together_is_one_clear_line(shop, monkeypatch, tmp_path, words, code, said):
    monkeypatch.chdir(shop / "simulated")
    assert said in one_line(tint("proof", *words, "-o", tmp_path / "proof"), code)
    assert not list(tmp_path.iterdir())
