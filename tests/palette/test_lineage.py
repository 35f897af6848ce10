"""Versions, digests and curves of a palette's file; files of the first format; files edited by hand."""

import dataclasses
import json

import numpy as np
import pytest

from tint.errors import FileError
from tint.palette.along import STEPS, Along
from tint.palette.lineage import Lineage, Repeatability
from tint.palette.palette import Palette, PaletteColour, read_palette, write_palette
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate", "304", "2B", 1.5, [100, 100])


def curves(size=40.0):
    steps = {name: np.array(values) for name, values in STEPS.items()}
    return Along(
        steps, {name: np.outer(np.sin(values), [size, -size, size / 2]).round(3) for name, values in steps.items()}
    )


def two(**changes):
    colours = (
        PaletteColour(
            "blue",
            Setting(20, 800, 300, 6, 0.002),
            [40, 0, -30],
            2.0,
            1.0,
            "A01",
            3,
            curves(),
            np.diag([0.2, 0.3, 0.4]),
        ),
        PaletteColour("straw", Setting(18, 900, 300, 6, 0.002), [75, 5, 35], 1.5, 0.5),
    )
    return Palette(
        **{"name": "signs", "machine": LASER, "stock": SHEET, "colours": colours, "bare_lab": [80.0, 0, 3], **changes}
    )


def edit(path, change):
    body = json.loads(path.read_text(encoding="utf-8"))
    change(body)
    path.write_text(json.dumps(body), encoding="utf-8")
    return path


def test_lineage_curves_scatter_and_repeatability_survive_the_file(tmp_path):
    first = two(
        lineage=Lineage(3, "a" * 12, "b" * 12, "corrected", "2026-03-14T09:00:00+01:00", "strip 2"),
        repeatability=Repeatability(0.4, 1.2, 20),
    )
    back = read_palette(write_palette(first, tmp_path / "p.json"))
    assert (
        back.as_dict() == first.as_dict()
        and back.lineage == first.lineage
        and back.repeatability == first.repeatability
        and not back.edited
    )
    np.testing.assert_array_equal(
        back.colours[0].along.offset("power_pct", 0.1), first.colours[0].along.offset("power_pct", 0.1)
    )
    assert back.colours[1].along is None and back.colours[1].scatter is None


def test_a_version_1_begins_a_line_that_its_file_keeps(tmp_path):
    first = two()
    back = read_palette(write_palette(first, tmp_path / "p.json"))
    assert back.line == first.digest and back.digest == first.digest and back.lineage.version == 1


def test_a_file_of_the_first_format_is_read_as_version_1_without_curves(tmp_path):
    def older(body):
        body["format"] = "tint-palette/1"
        for name in ("lineage", "digests", "repeatability"):
            del body[name]
        for colour in body["colours"]:
            for name in ("marks", "along", "scatter"):
                colour.pop(name, None)

    back = read_palette(edit(write_palette(two(), tmp_path / "p.json"), older))
    assert (
        back.lineage == Lineage() and back.colours[0].along is None and back.colours[0].marks == 0 and not back.edited
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda body: body["colours"][0]["setting"].update(power_pct=21), ("setting of 'blue'",)),
        (lambda body: body["colours"][1].update(lab=[70, 5, 35]), ("colour of 'straw'",)),
        (lambda body: body["machine"].update(max_power_w=50), ("machine",)),
        (lambda body: body["stock"].update(batch="x"), ("stock",)),
        (lambda body: body.update(bare_lab=[81, 0, 3]), ("bare metal",)),
        (lambda body: body["colours"][0].update(name="sky"), ("a name, remark or the lineage",)),
        (lambda body: body["colours"].pop(), ("colour 2, taken out",)),
        (lambda body: body.update(extra=1), ()),
    ],
)
def test_what_was_edited_by_hand_is_named_and_the_file_still_reads(tmp_path, change, said):
    assert read_palette(edit(write_palette(two(), tmp_path / "p.json"), change)).edited == said


def test_an_edit_stays_told_when_the_palette_is_written_again(tmp_path):
    path = edit(
        write_palette(two(), tmp_path / "p.json"), lambda body: body["colours"][0]["setting"].update(power_pct=21)
    )
    again = read_palette(write_palette(read_palette(path), tmp_path / "q.json"))
    assert again.edited == ("setting of 'blue'",) and "setting of 'blue'" in again.edited_remark
    twice = edit(tmp_path / "q.json", lambda body: body["stock"].update(batch="x"))
    assert read_palette(twice).edited == ("setting of 'blue'", "stock") and two().edited_remark == ""


def test_a_file_that_was_only_laid_out_anew_counts_as_unchanged(tmp_path):
    path = write_palette(two(), tmp_path / "p.json")
    path.write_text(
        json.dumps(json.loads(path.read_text(encoding="utf-8")), indent=4, sort_keys=True), encoding="utf-8"
    )
    assert not read_palette(path).edited


@pytest.mark.parametrize("damage", [
    lambda body: body["colours"][0]["along"].pop("power_pct"), lambda body: body["colours"][0]["along"].update(freq_khz=["1 2"]),
    lambda body: body.update(lineage={"version": 0}), lambda body: body.update(repeatability={"de00": -1, "heat_pct": 1, "dof": 1}),
    lambda body: body["colours"][0].update(scatter=[1, 2]), lambda body: body["colours"][0].update(scatter=[["1", "0", "0"]] * 3),
    lambda body: body["lineage"].update(version=1.5), lambda body: body["repeatability"].update(de00="1"),
    lambda body: body["colours"][0]["along"]["power_pct"].insert(0, "nan 1 2 3"),
    lambda body: body["colours"][0]["along"].update(freq_khz=["0.1 1 2 3", "0.2 1 2 3", "0.3 1 2 3"]),
])  # fmt: skip
def test_damaged_curves_or_lineage_are_one_line(tmp_path, damage):
    with pytest.raises(FileError, match=r"p\.json") as caught:
        read_palette(edit(write_palette(two(repeatability=Repeatability(0.4, 1.2, 20)), tmp_path / "p.json"), damage))
    assert "\n" not in str(caught.value)


def test_a_version_of_other_content_has_another_digest_and_curves_do_not_count():
    first = two()
    assert dataclasses.replace(first, name="other").digest != first.digest
    assert (
        dataclasses.replace(first, colours=(dataclasses.replace(first.colours[0], along=None), first.colours[1])).digest
        == first.digest
    )


def test_curves_pass_through_their_steps_and_stay_at_their_ends():
    own = curves()
    np.testing.assert_allclose(own.offset("power_pct", own.steps["power_pct"]), own.offsets["power_pct"], atol=1e-12)
    np.testing.assert_array_equal(own.offset("power_pct", 5.0), own.offset("power_pct", own.steps["power_pct"][-1]))
    np.testing.assert_allclose(own.slope("power_pct"), [40, -40, 20], rtol=1e-3)
