"""`tint separate` says what the layers have to say."""

import json

import pytest
from calling import one_line, tint
from PIL import Image


def test_plain_colours_that_come_out_as_one_are_told_once_and_kept(shop, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    body = '<rect width="9" height="9" fill="#ffe000"/><rect x="9" width="9" height="9" fill="#fff7c0"/>'
    (tmp_path / "reed.svg").write_text(f'<svg xmlns="http://www.w3.org/2000/svg" width="18mm" height="9mm" viewBox="0 0 18 9">{body}</svg>')
    done = tint("separate", "reed.svg", str(shop / "simulated" / "palette.json"), "-o", "layers")
    assert done.exit_code == 0 and done.stderr.count("colours that come out as one: #ffe000 and #fff7c0") == 1, done.output
    remarks = json.loads((tmp_path / "layers" / "layers.json").read_text(encoding="utf-8"))["remarks"]
    assert sum("come out as one" in line for line in remarks) == 1


def test_inks_without_a_profile_are_told_once_and_kept_in_the_report_and_the_job(shop, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Image.new("CMYK", (60, 40), (90, 0, 40, 10)).save("inks.tif")
    done = tint("separate", "inks.tif", shop / "simulated" / "palette.json", "--width-mm", 6, "-o", "layers")
    assert done.exit_code == 0 and done.stderr.count("CMYK without a colour profile") == 1, done.output
    assert tint("job", "layers", shop / "simulated" / "machine.toml", "-o", "job").exit_code == 0
    for file in ("layers/report.txt", "job/README.txt"):
        assert (tmp_path / file).read_text(encoding="utf-8").count("CMYK without a colour profile") == 1, file
    chosen = tint("palette", shop / "simulated" / "model.json", "-n", 2, "--for", "inks.tif", "-o", "p.json")
    assert chosen.exit_code == 0 and chosen.stderr.count("CMYK without a colour profile") == 1, chosen.output


@pytest.mark.parametrize("width", [0, -5, 176, 1e12])
def test_a_width_the_field_cannot_hold_names_the_field(shop, tmp_path, width):
    for artwork in ("kingfisher.svg", "kingfisher-shaded.png"):
        words = ("separate", shop / "artwork" / artwork, shop / "simulated" / "palette.json", "--width-mm", width, "-o", tmp_path / "out")
        assert "is 175 × 175 mm. Choose a --width-mm above 0, up to 175." in one_line(tint(*words), 1)


def test_maps_of_another_ending_are_refused_before_anything_is_read(shop, tmp_path):
    words = ("separate", tmp_path / "none.png", shop / "simulated" / "palette.json", "--compare", tmp_path / "maps.tif", "-o", tmp_path / "out")
    assert "maps.tif: the maps are written as .png, .jpg or .webp" in one_line(tint(*words), 2) and not list(tmp_path.iterdir())
