"""tint check, tint history, tint grid --strip and tint palette --from as people call them."""

import csv
import dataclasses
import json
import os
import re
import shutil

import pytest
from calling import one_line, tint

from tint.demo.laser import SimulatedLaser
from tint.measure.patches import read_patches, write_patches
from tint.palette.palette import read_palette
from tint.plan.grid import read_grid


@pytest.fixture
def bench(shop, tmp_path, monkeypatch):
    for name in ("palette.json", "model.json", "machine.toml", "stock.toml", "strip-first.csv", "strip-later.csv"):
        shutil.copy(shop / "simulated" / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(done):
    return " ".join((done.stdout + done.stderr).split())


def test_from_first_strip_to_correction_and_chart(bench):
    before = (bench / "palette.json").read_bytes()
    first = tint("check", "palette.json", "strip-first.csv", "--accept", "-o", "palette-2.json")
    assert (
        first.exit_code == 0
        and "WITHIN its limits" in first.stdout
        and "version 2" in said(first)
        and "palette.json is as it was" in said(first)
    )
    later = tint("check", "palette-2.json", "strip-later.csv")
    assert later.exit_code == 1 and "OUT, beyond an action limit" in said(later) and "shifted along heat" in said(later)
    assert "to out once in 370" in said(later) and "nothing was changed; --correct" in said(later)
    assert re.search(
        r"Correction: power \+[1-6]\.\d % for every colour", later.stdout
    ) and "Expected after it: median ΔE00" in said(later)
    fixed = tint("check", "palette-2.json", "strip-later.csv", "--correct", "-o", "palette-3.json")
    assert fixed.exit_code == 0 and (bench / "palette.json").read_bytes() == before
    lineage = read_palette("palette-3.json").lineage
    assert (
        lineage.version == 3
        and lineage.parent == read_palette("palette-2.json").digest
        and "corrected, power" in lineage.reason
    )
    shown = tint("history", "palette-3.json", "--chart", "drift.png", "--csv", "drift.csv")
    assert shown.exit_code == 0 and shown.stdout.count("strip 1") >= 2 and (bench / "drift.png").stat().st_size > 10_000
    with open("drift.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 3 * len(read_palette("palette.json")) and {row["version"] for row in rows} == {"1", "2"}
    assert tint("history", "palette-3.json", "--restore", 1, "-o", "again.json").exit_code == 0
    assert read_palette("again.json").as_dict() == read_palette("palette.json").as_dict()


def test_the_answer_as_json_holds_the_verdict_limits_and_correction(bench):
    tint("check", "palette.json", "strip-first.csv", "--accept")
    done = tint("check", "palette-v2.json", "strip-later.csv", "--json")
    answer = json.loads(done.stdout)
    assert (
        done.exit_code == 1
        and answer["verdict"] == "out"
        and answer["cause"] in ("power", "focus")
        and answer["heat"]["pct"] < 0
    )
    assert (
        all(item["watch_de00"] < item["out_de00"] for item in answer["colours"])
        and answer["correction"]["power_pct"] > 0
    )


def test_a_strip_is_planned_marked_measured_and_checked(bench):
    done = tint(
        "grid", "machine.toml", "--stock", "stock.toml", "--strip", "palette.json", "--replicates", 2, "-o", "strip"
    )
    assert done.exit_code == 0 and "needs a piece of" in said(done)
    strip, palette = read_grid("strip"), read_palette("palette.json")
    assert len(strip) == 2 * len(palette) and "version 1" in strip.name
    write_patches(SimulatedLaser(palette.machine).mark(strip, seed=8), "strip.csv")
    assert tint("check", "palette.json", "strip.csv").exit_code == 0


def test_no_record_leaves_no_trace_and_a_tolerance_overrides(bench):
    before = sorted(bench.iterdir())
    done = tint("check", "palette.json", "strip-later.csv", "--no-record", "--tolerance", 0.2)
    assert done.exit_code == 1 and "tolerance of ΔE00 0.2 you set" in said(done) and sorted(bench.iterdir()) == before
    assert tint("check", "palette.json", "strip-later.csv", "--no-record", "--tolerance", 40).exit_code == 0
    assert "is not" not in one_line(tint("check", "palette.json", "strip-later.csv", "--tolerance", 0), 1)


def test_bad_strips_and_files_are_one_line_and_change_nothing(bench):
    patches = read_patches("strip-first.csv")
    (bench / "damaged.json").write_text('{"format": "tint-palette/2"}', encoding="utf-8")
    (bench / "newer.json").write_text('{"format": "tint-palette/99"}', encoding="utf-8")
    write_patches(dataclasses.replace(patches, lab=patches.lab[::-1], flags=("",) * len(patches)), "reversed.csv")
    other = dataclasses.replace(patches, setting=patches.setting.replace(speed_mm_s=patches.setting.speed_mm_s * 0.9))
    write_patches(other, "other.csv")
    before = sorted(bench.iterdir())
    for words, code, text in (
        (["palette.json", "reversed.csv"], 1, "look swapped"),
        (["palette.json", "other.csv"], 1, "a strip of another palette"),
        (["palette.json", "nowhere.csv"], 2, "is not there"),
        (["damaged.json", "strip-first.csv"], 2, "is missing"),
        (["newer.json", "strip-first.csv"], 2, "Update tint"),
        (["model.json", "strip-first.csv"], 2, "tint-palette file is needed"),
    ):
        assert text in one_line(tint("check", *words), code)
    assert sorted(bench.iterdir()) == before


def test_nothing_is_replaced_without_force_and_wrong_use_shows_the_usage(bench):
    mine = bench / "palette-v2.json"
    mine.write_text("mine", encoding="utf-8")
    assert (
        "already there" in tint("check", "palette.json", "strip-first.csv", "--accept").stderr
        and mine.read_text(encoding="utf-8") == "mine"
    )
    for words in (["check", "palette.json", "strip-first.csv", "--accept", "--correct"], ["check", "palette.json", "strip-first.csv", "-o", "x.json"],
                  ["check", "palette.json", "strip-first.csv", "--accept", "--no-record"], ["history", "palette.json", "--restore", 1]):  # fmt: skip
        done = tint(*words)
        assert done.exit_code == 2 and "Usage:" in done.stderr


def test_a_hand_edited_palette_says_what_no_longer_fits_and_still_works(bench):
    tint("check", "palette.json", "strip-first.csv", "--accept")
    body = json.loads((bench / "palette-v2.json").read_text(encoding="utf-8"))
    name = body["colours"][0]["name"]
    body["colours"][0]["lab"][0] += 1
    (bench / "palette-v2.json").write_text(json.dumps(body), encoding="utf-8")
    done = tint("check", "palette-v2.json", "strip-first.csv")
    assert done.exit_code == 0 and f"edited by hand since tint wrote it: colour of '{name}'" in said(done)


def test_separate_and_job_say_that_a_palette_was_edited_by_hand(bench, shop):
    body = json.loads((bench / "palette.json").read_text(encoding="utf-8"))
    body["colours"][0]["setting"]["power_pct"] += 1
    (bench / "palette.json").write_text(json.dumps(body), encoding="utf-8")
    word = f"edited by hand since tint wrote it: setting of '{body['colours'][0]['name']}'"
    done = tint("separate", shop / "artwork" / "kingfisher.svg", "palette.json", "-o", "layers")
    assert done.exit_code == 0 and said(done).count(word) == 1
    done = tint("job", "layers", "machine.toml", "-o", "job")
    assert done.exit_code == 0 and said(done).count(word) == 1
    remarks = json.loads((bench / "job" / "job.json").read_text(encoding="utf-8"))["remarks"]
    assert sum(word in line for line in remarks) == 1 and word in " ".join(
        (bench / "job" / "README.txt").read_text(encoding="utf-8").split()
    )


def test_what_cannot_be_written_or_corrected_is_not_recorded_either(bench):
    tint("check", "palette.json", "strip-first.csv", "--accept")
    before = tint("history", "palette.json").stdout
    assert "already there" in one_line(tint("check", "palette.json", "strip-first.csv", "--accept"), 2)
    assert "nothing to correct" in one_line(tint("check", "palette-v2.json", "strip-first.csv", "--correct"), 1)
    assert tint("history", "palette.json").stdout == before
    assert tint("check", "palette-v2.json", "strip-later.csv", "--correct").exit_code == 0
    assert (bench / "palette-v3.json").exists()
    drifted = tint("check", "palette-v2.json", "strip-later.csv", "--accept", "-o", "moved.json")
    assert "this strip is out" in said(drifted) and "although out" in read_palette("moved.json").lineage.reason


def test_a_folder_that_cannot_be_written_is_one_line_that_offers_only_to_look(bench, monkeypatch):
    (bench / "palette-history.sqlite").mkdir()
    done = tint("check", "palette.json", "strip-first.csv")
    assert done.exit_code == 2 and done.stderr.count("\n") == 1 and done.stdout == ""
    assert (
        tint("check", "palette.json", "strip-first.csv", "--no-record").exit_code == 2
    )  # the history cannot be read either
    os.rmdir("palette-history.sqlite")
    assert tint("check", "palette.json", "strip-first.csv").exit_code == 0


def test_a_palette_moves_over_to_another_batch_in_two_steps(bench):
    planned = tint("palette", "model.json", "--from", "palette.json", "--stock", "stock.toml", "-o", "batch")
    assert planned.exit_code == 0 and "24 patches in batch" in planned.stdout
    grid, palette = read_grid("batch"), read_palette("palette.json")
    write_patches(SimulatedLaser(palette.machine, strength=1.06).mark(grid, seed=11), "batch.csv")
    done = tint(
        "palette",
        "model.json",
        "--from",
        "palette.json",
        "--stock",
        "stock.toml",
        "--patches",
        "batch.csv",
        "-o",
        "palette-batch.json",
    )
    assert done.exit_code == 0, done.output
    kept, moved, lost = (int(re.search(rf"(\d+) {word}", done.stdout)[1]) for word in ("kept", "moved", "lost"))
    new = read_palette("palette-batch.json")
    assert (
        kept + moved + lost == len(palette)
        and len(new) == kept + moved
        and new.lineage.version == 2
        and new.lineage.parent == palette.digest
    )
    assert "Usage" in tint("palette", "model.json", "--stock", "stock.toml").stderr


def test_a_job_names_the_version_of_its_palette(bench, shop):
    tint("check", "palette.json", "strip-first.csv", "--accept", "-o", "palette-2.json")
    assert tint("separate", shop / "artwork" / "kingfisher.svg", "palette-2.json", "-o", "layers").exit_code == 0
    assert tint("job", "layers", "machine.toml", "-o", "job").exit_code == 0
    body = json.loads((bench / "job" / "job.json").read_text(encoding="utf-8"))
    assert (body["palette_version"], body["palette_digest"]) == (2, read_palette("palette-2.json").digest)
