"""`tint palette`: how many, for what, and what must stay."""

import dataclasses
import json

import pytest
from calling import one_line, tint
from PIL import Image

from tint.palette.palette import read_palette, write_palette


def test_auto_takes_as_many_as_pay_and_draws_the_curve_beside_the_palette(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    words = [
        "palette",
        shop / "simulated" / "model.json",
        "-n",
        "auto",
        "--for",
        shop / "artwork" / "kingfisher.svg",
        "-o",
        "p.json",
    ]
    done = tint(*words)
    assert done.exit_code == 0, done.output
    palette = read_palette("p.json")
    assert f"{len(palette)} colours suggested" in done.stderr and len(done.stdout.splitlines()) == len(palette)
    assert "Curve in p.curve.png" in " ".join(done.stderr.split()) and "for each doubling of scan time" in " ".join(
        done.stderr.split()
    )
    with Image.open("p.curve.png") as picture:
        assert picture.width > 800
    assert "already there" in one_line(tint(*words), 2)


def test_colours_of_the_artwork_with_nothing_near_are_told_once_and_what_was_done_is_not_advised(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    bars = (('#ffffff', 0, 50), ('#1c3f94', 5, 30), ('#c8963c', 36, 12), ('#b5123a', 49, 0.5))
    shapes = "".join(f'<rect width="80" y="{y}" height="{height}" fill="{fill}"/>' for fill, y, height in bars)
    (tmp_path / "logo.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="50mm" viewBox="0 0 80 50">{shapes}</svg>', encoding="utf-8"
    )
    model = shop / "simulated" / "model.json"
    done = tint("palette", model, "-n", "2", "--for", "logo.svg", "-o", "p.json")
    said = " ".join(done.stderr.split())
    assert said.count("colours of logo with nothing near, over 10 ΔE00: #b5123a (1.2 % of the area; dark blue stands in, ") == 1
    assert "this stock can come to" in said and "A larger -n may serve it, --keep '#b5123a' does." in said and "#ffffff" not in said
    made = " ".join(tint("separate", "logo.svg", "p.json", "-o", "layers").stderr.split())
    assert "#b5123a" in made and "This palette was chosen for logo" in made and "--for" not in made
    kept = " ".join(tint("palette", model, "-n", "3", "--for", "logo.svg", "--keep", "#b5123a", "-o", "q.json").stderr.split())
    assert "red stands in" in kept and "nothing noticeably nearer" in kept and "A larger -n" not in kept


def test_a_background_without_an_artwork_or_that_is_no_colour_is_wrong_use(shop, tmp_path):
    model, art = shop / "simulated" / "model.json", shop / "artwork" / "kingfisher.svg"
    done = tint("palette", model, "--background", "none", "-o", tmp_path / "p.json")
    assert done.exit_code == 2 and "--background goes with --for." in done.stderr
    assert "'paper' is not a colour" in one_line(tint("palette", model, "--for", art, "--background", "paper", "-o", tmp_path / "p.json"), 2)
    assert not list(tmp_path.iterdir())


def test_colours_that_must_stay_are_kept_and_marked(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    place = shop / "simulated"
    old = read_palette(place / "palette.json").colours[1]
    done = tint(
        "palette",
        place / "model.json",
        "-n",
        4,
        "--from",
        place / "palette.json",
        "--keep",
        old.name,
        "--keep",
        "#27527f",
        "-o",
        "p.json",
    )
    assert done.exit_code == 0, done.output
    assert f"(kept: {old.name})" in done.stdout and "(kept: #27527f)" in done.stdout
    assert any(colour.setting == old.setting and colour.name == old.name for colour in read_palette("p.json").colours)


def test_a_long_name_moves_no_column(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    old = read_palette(shop / "simulated" / "palette.json")
    long = dataclasses.replace(old.colours[1], name="the kingfisher's back in the evening light")
    write_palette(dataclasses.replace(old, colours=(long, *old.colours[2:])), "old.json")
    done = tint("palette", shop / "simulated" / "model.json", "-n", 4, "--from", "old.json", "--keep", long.name, "-o", "p.json")
    lines = done.stdout.splitlines()
    assert done.exit_code == 0 and len(lines) == 4 and any(long.name in line for line in lines)
    assert len({line.index("±") for line in lines}) == len({line.index("jitter") for line in lines}) == 1


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--keep", "azure"], 1, "'azure' is no colour to keep"),
        (["--keep", "#12"], 1, "write it as '#4466aa'"),
        (["--from", "../real-marks/palette.json", "--keep", "blue"], 1, "is of stock"),
        (
            ["-n", "2", "--keep", "A01", "--keep", "A02", "--keep", "A03"],
            1,
            "3 colours are to be kept, but only 2 wanted",
        ),
        (["-n", "300"], 2, "a palette holds 1 to 255"),
        (["-n", "255"], 1, "different colours of reserve sign plate (invented); ask for"),
        (["--slow-de00", "-1"], 2, "0 leaves it out"),
        (["--from", "nowhere.json", "--keep", "blue"], 2, "is not there"),
    ],
)
def test_what_cannot_be_chosen_is_one_clear_line_and_nothing_is_written(shop, monkeypatch, tmp_path, words, code, said):
    monkeypatch.chdir(shop / "simulated")
    assert said in one_line(tint("palette", "model.json", *words, "-o", tmp_path / "p.json"), code)
    assert not list(tmp_path.iterdir())


def test_a_number_that_is_none_shows_the_usage():
    done = tint("palette", "model.json", "-n", "some")
    assert done.exit_code == 2 and "neither a whole number nor 'auto'" in done.stderr


def test_the_palettes_file_names_the_near_twins(shop, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    done = tint("palette", shop / "simulated" / "model.json", "-n", 60, "-o", "p.json")
    assert done.exit_code == 0 and "near twins:" in done.stderr
    assert any(
        line.startswith("near twins:")
        for line in json.loads((tmp_path / "p.json").read_text(encoding="utf-8"))["remarks"]
    )
