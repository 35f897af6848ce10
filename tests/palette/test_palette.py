"""palette.json: what is written is read back, what is damaged is refused."""

import json

import numpy as np
import pytest

from tint.errors import FileError, LimitError
from tint.palette.palette import Palette, PaletteColour, read_palette, write_palette
from tint.palette.penalty import Penalty
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate", "304", "2B", 1.5, [100, 100])


def colour(name="blue", lab=(40, 0, -30), power=20.0):
    return PaletteColour(name, Setting(power, 800, 300, 6, 0.002), np.array(lab, float), 2.0, 1.0, "A01")


def palette(*colours, **changes):
    values = {"name": "signs", "machine": LASER, "stock": SHEET, "colours": colours or (colour(),), "bare_lab": np.array([80.0, 0, 3])}
    return Palette(**{**values, "remarks": ("simulated",), "jitter": "power ±2 %", **changes})


def test_a_palette_survives_its_file(tmp_path):
    first = palette(colour(), colour("straw", (75, 5, 35), 30.5))
    back = read_palette(write_palette(first, tmp_path / "p.json"))
    assert back.as_dict() == first.as_dict() and back.setting == first.setting
    np.testing.assert_array_equal(back.lab, [[80, 0, 3], [40, 0, -30], [75, 5, 35]])


def test_how_colours_were_weighed_is_kept_and_older_files_do_without(tmp_path):
    weighed = palette(penalty=Penalty(sensitive=2.0, slow_de00=0.25))
    path = write_palette(weighed, tmp_path / "p.json")
    assert read_palette(path).penalty == Penalty(2.0, 0.25) and not read_palette(path).edited
    body = json.loads(path.read_text(encoding="utf-8"))
    assert body.pop("penalty") == {"sensitive": 2.0, "slow_de00": 0.25}
    path.write_text(json.dumps(body), encoding="utf-8")
    assert read_palette(path).penalty is None and read_palette(path).digest == weighed.digest


def test_the_artwork_it_was_chosen_for_is_kept_and_is_no_part_of_the_version(tmp_path):
    chosen = palette(artwork="kingfisher")
    assert read_palette(write_palette(chosen, tmp_path / "p.json")).artwork == "kingfisher"
    assert "artwork" not in palette().as_dict() and chosen.digest == palette().digest


def test_names_are_unique_and_numbers_are_checked():
    with pytest.raises(LimitError, match="'blue' is in the palette twice"):
        palette(colour(), colour())
    with pytest.raises(LimitError, match="1 to 255 colours, found 0"):
        palette(colours=())
    with pytest.raises(LimitError, match="bare metal"):
        palette(bare_lab=np.array([np.nan, 0, 0]))
    with pytest.raises(LimitError, match="de00_90"):
        PaletteColour("x", Setting(20, 800, 300, 6, 0.002), np.zeros(3), float("nan"), 0.0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda body: body.pop("colours"), "colours is missing"),
        (lambda body: body["colours"][0].pop("lab"), "lab is missing"),
        (lambda body: body["colours"][0].update(lab=[1, 2]), "L, a, b need three numbers"),
        (lambda body: body.update(bare_lab=[780, 0, 0]), "L 780 cannot be"),
        (lambda body: body["colours"][0].update(number=2), "numbered 1, 2, 3"),
        (lambda body: body["colours"][0]["setting"].update(power_pct=120), "power 120 % is outside this machine"),
        (lambda body: body["colours"][0]["setting"].update(power_pct="much"), "numbers in every column"),
        (lambda body: body.update(colours=7), "is damaged"),
        (lambda body: body["machine"].pop("max_power_w"), "max_power_w is missing"),
        (lambda body: body.update(penalty={"sensitive": "1", "slow_de00": 0.5}), "is damaged"),
        (lambda body: body.update(penalty={"sensitive": True, "slow_de00": 0.5}), "is damaged"),
        (lambda body: body.update(penalty={"sensitive": -1, "slow_de00": 0.5}), "sensitive -1 cannot be"),
        (lambda body: body.update(remarks="camera colours"), "is damaged"),
        (lambda body: body.update(edited="stock"), "is damaged"),
        (lambda body: body["colours"][0].update(marks="3"), "is damaged"),
        (lambda body: body["colours"][0].update(marks=2.5), "is damaged"),
        (lambda body: body["colours"][0].update(marks=-1), "is damaged"),
    ],
)
def test_a_palette_edited_wrongly_by_hand_says_what_no_longer_fits(tmp_path, change, said):
    path = write_palette(palette(), tmp_path / "p.json")
    body = json.loads(path.read_text(encoding="utf-8"))
    change(body)
    path.write_text(json.dumps(body), encoding="utf-8")
    with pytest.raises(FileError, match=said) as caught:
        read_palette(path)
    assert "p.json" in str(caught.value)
