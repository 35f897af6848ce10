"""The model's file and its predictions."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from tint.errors import FileError, LimitError
from tint.lab import delta_e00
from tint.model.model import predict, read_model, write_model
from tint.setting import FIELDS, Setting


def test_a_model_read_back_predicts_exactly_the_same(open_model, open_patches, tmp_path):
    again = read_model(write_model(open_model, tmp_path / "model.json"))
    one, other = predict(open_model, open_patches.setting), predict(again, open_patches.setting)
    assert np.array_equal(one.lab, other.lab) and np.array_equal(one.de00_90, other.de00_90)
    assert again.report == open_model.report and again.patches.ids == open_model.patches.ids


def test_what_was_predicted_while_held_out_is_kept_and_an_older_file_does_without(open_model, tmp_path):
    path = write_model(open_model, tmp_path / "model.json")
    assert np.array_equal(read_model(path).held_out_lab, open_model.held_out_lab)
    error = delta_e00(open_model.held_out_lab, open_model.patches.lab)
    assert np.median(error) == pytest.approx(open_model.report.scores[0].median_de00)
    body = json.loads(path.read_text())
    del body["patches"]["held_out_lab"]
    path.write_text(json.dumps(body))
    older = read_model(path)
    assert older.held_out_lab is None
    assert np.array_equal(
        predict(older, open_model.patches.setting).lab, predict(open_model, open_model.patches.setting).lab
    )


def test_the_plates_of_a_model_are_kept_and_an_older_file_does_without(open_model, tmp_path):
    path = write_model(open_model, tmp_path / "single.json")
    assert "plate" not in json.loads(path.read_text())["patches"] and set(read_model(path).patches.plates) == {""}
    plates = tuple("12"[i % 2] for i in range(len(open_model.patches)))
    several = dataclasses.replace(open_model, patches=dataclasses.replace(open_model.patches, plates=plates))
    path = write_model(several, tmp_path / "several.json")
    assert read_model(path).patches.plates == plates
    body = json.loads(path.read_text())
    body["patches"]["plate"] = body["patches"]["plate"][1:]
    path.write_text(json.dumps(body))
    with pytest.raises(FileError, match=r"several\.json: 92 patches need 92 settings, flags and plates"):
        read_model(path)


def test_predictions_take_the_shape_of_the_settings(open_model):
    single = Setting(25, 800, 350, 6, 0.002)
    square = Setting(np.full((2, 3), 25), 800, 350, 6, 0.002)
    assert predict(open_model, single).lab.shape == (3,) and predict(open_model, single).de00_90.shape == ()
    guess = predict(open_model, square)
    assert guess.lab.shape == (2, 3, 3) and guess.outside.shape == (2, 3)
    assert np.allclose(guess.lab, predict(open_model, single).lab)


def test_a_setting_beyond_the_machine_is_refused(open_model):
    with pytest.raises(LimitError, match="power 120 %"):
        predict(open_model, Setting(120, 800, 350, 6, 0.002))


def test_a_file_that_is_there_is_not_overwritten(open_model, tmp_path):
    path = write_model(open_model, tmp_path / "model.json")
    with pytest.raises(FileError, match="already there"):
        write_model(open_model, path)
    write_model(open_model, path, force=True)


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda body: body.pop("members"), "members is missing"),
        (lambda body: body["members"][0].update(kind="guesswork"), "guesswork is missing from the model, or not known"),
        (lambda body: body["patches"]["lab"].pop(), "lab of patches has shape"),
        (lambda body: body["patches"].update(power_pct="forty"), "damaged"),
        (lambda body: body["patches"]["freq_khz"].__setitem__(0, -3), "frequency -3 kHz cannot be"),
        (lambda body: body["calibration"].update(scale=[]), "damaged"),
        (lambda body: body["calibration"].update(scale=-1), "damaged"),
        (lambda body: body["members"][0].update(weight=3), "damaged"),
        (lambda body: body["members"][0]["numbers"].popitem(), "is missing|damaged"),
        (lambda body: body["machine"].update(spot_um=0), "spot_um"),
        (lambda body: body["report"].update(scores=3), "damaged"),
        (lambda body: body["patches"]["noise"].pop(), "damaged"),
        (lambda body: body["patches"]["held_out_lab"].pop(), "damaged"),
    ],
)
def test_a_damaged_file_is_refused_in_one_line(open_model, tmp_path, damage, said):
    path = write_model(open_model, tmp_path / "model.json")
    body = json.loads(path.read_text())
    damage(body)
    path.write_text(json.dumps(body))
    with pytest.raises(FileError, match=said) as caught:
        read_model(path)
    assert "\n" not in str(caught.value)


def test_another_kind_of_file_and_a_newer_one_are_refused(open_model, tmp_path):
    path = write_model(open_model, tmp_path / "model.json")
    text = path.read_text()
    path.write_text(text.replace("tint-model/2", "tint-palette/1"))
    with pytest.raises(FileError):
        read_model(path)
    path.write_text(text.replace("tint-model/2", "tint-model/9"))
    with pytest.raises(FileError):
        read_model(path)


def test_a_file_of_an_older_model_says_to_fit_again(open_model, tmp_path):
    path = write_model(open_model, tmp_path / "model.json")
    path.write_text(path.read_text().replace("tint-model/2", "tint-model/1"))
    with pytest.raises(FileError, match="of a colour model that has changed since. Fit its patches again") as caught:
        read_model(path)
    assert "\n" not in str(caught.value)


def test_forty_five_thousand_predictions_agree_with_a_hundred(open_model, open_patches):
    many = Setting(*(np.resize(getattr(open_patches.setting, name), 45_000) for name in FIELDS))
    guess = predict(open_model, many)
    assert np.allclose(guess.lab[:100], predict(open_model, open_patches.setting).lab, atol=1e-9)
    assert np.allclose(guess.lab[44_900:], guess.lab[:100], atol=1e-9)
