"""Many stocks fitted through the engine of a batch: as by themselves, faults told, killed workers survived, wishes answered."""

import csv
import dataclasses
import os
import shutil

import numpy as np
import pytest
from click.testing import CliRunner
from name_plates import Here, die_once

from tint.batch.engine import Local
from tint.batch.extent import Extent, ranked, read_extent
from tint.batch.plot import reach_png
from tint.batch.stocks import LOAD_FIRST, FitOrder, find_stocks, fit_stocks
from tint.cli import main
from tint.demo.laser import DEMO_RANGES, SimulatedLaser, demo_machine, demo_stock
from tint.errors import FileError
from tint.measure.patches import read_patches, write_patches
from tint.model.fit import fit
from tint.model.model import predict, read_model
from tint.plan.first import plan_grid
from tint.setting import Setting, toml_text

PATCHES = 14  # as few as a fit takes, so that it is quick


@pytest.fixture(scope="module")
def shop_of_stocks(tmp_path_factory):
    """Two simulated stocks that grow film at different rates, one that cannot be fitted, one without a stock.toml."""
    folder = tmp_path_factory.mktemp("stocks") / "our-stocks"
    machine = demo_machine()
    for name, strength, count in (("spring-304", 1.0, PATCHES), ("autumn-304", 0.4, PATCHES), ("scrap", 1.0, 6), ("unnamed", 1.0, 6)):
        place = folder / name
        place.mkdir(parents=True)
        stock = dataclasses.replace(demo_stock(), name=f"{name} (invented)")
        grid = plan_grid(machine, stock, PATCHES, ranges=DEMO_RANGES)
        patches = SimulatedLaser(machine, strength).mark(grid, seed=3).take(np.arange(count))
        write_patches(patches, place / "patches.csv")
        if name != "unnamed":
            (place / "stock.toml").write_text(toml_text(stock), encoding="utf-8")
    (folder / "machine.toml").write_text(toml_text(machine), encoding="utf-8")
    (folder / "notes").mkdir()
    return folder


@pytest.fixture(scope="module")
def fitted(shop_of_stocks, tmp_path_factory):
    out = tmp_path_factory.mktemp("fitted") / "models"
    records, kept = fit_stocks(shop_of_stocks, out, engine=Here())
    return out, records, kept


def test_each_model_is_the_one_a_single_fit_gives_and_the_rest_is_told(shop_of_stocks, fitted):
    out, records, kept = fitted
    assert kept == 0 and [record.file_name for record in records] == ["autumn-304", "scrap", "spring-304", "unnamed"]
    problems = {record.file_name: record.problem for record in records if not record.ok}
    assert set(problems) == {"scrap", "unnamed"} and problems["unnamed"] == "unnamed has no stock.toml."
    assert problems["scrap"].startswith("only 5 good patches for scrap (invented)")
    machine, stock = demo_machine(), dataclasses.replace(demo_stock(), name="spring-304 (invented)")
    alone = fit(read_patches(shop_of_stocks / "spring-304" / "patches.csv"), machine, stock)
    setting = Setting.from_table(alone.patches.setting.table()[:3])
    model = read_model(out / "models" / "spring-304" / "model.json")
    np.testing.assert_array_equal(predict(model, setting).lab, predict(alone, setting).lab)
    with (out / "summary.csv").open(encoding="utf-8", newline="") as stream:
        rows = {row["file"]: row for row in csv.DictReader(stream)}
    assert float(rows["spring-304"]["median_de00"]) == pytest.approx(alone.report.scores[0].median_de00, rel=1e-4)
    assert "SIMULATED" in rows["spring-304"]["remarks"] and rows["scrap"]["state"] == "failed"


def test_what_is_fitted_is_kept_until_its_patches_change(shop_of_stocks, fitted):
    out, _, _ = fitted
    told = []
    records, kept = fit_stocks(shop_of_stocks, out, engine=Here(), progress=told.append)
    assert kept == 2 and not any("spring" in line for line in told) and len(records) == 4
    (out / "models" / "sold-out").mkdir()
    fit_stocks(shop_of_stocks, out, engine=Here(), progress=told.append)
    (out / "models" / "sold-out").rmdir()
    assert any("sold-out, which no stock stands behind any more" in line for line in told)
    with pytest.raises(FileError, match="begun with another seed"):
        fit_stocks(shop_of_stocks, out, FitOrder(seed=1), engine=Here())


def test_a_worker_that_dies_in_a_fit_is_replaced_and_nothing_is_lost(shop_of_stocks, tmp_path):
    class Unlucky(Local):
        def run(self, work, items, shared):
            return super().run(die_once, items, (work, shared, str(tmp_path / "note")))

    shutil.copytree(shop_of_stocks / "spring-304", tmp_path / "stocks" / "spring-304")
    shutil.copy(shop_of_stocks / "machine.toml", tmp_path / "stocks")
    records, _ = fit_stocks(tmp_path / "stocks", tmp_path / "out", engine=Unlucky(1, LOAD_FIRST))
    assert (tmp_path / "note").exists() and [record.ok for record in records] == [True]


def test_the_command_answers_which_stock_serves_a_wish(shop_of_stocks, fitted):
    out, _, _ = fitted
    done = CliRunner().invoke(main, ["stocks", str(shop_of_stocks), "--toward", "#4466aa", "--workers", "1", "-o", str(out)])
    assert done.exit_code == 1 and "2 of 4 stocks fitted, 2 of them before" in done.stdout  # two could not be
    assert "FAILED scrap: only 5 good patches" in done.stderr and (out / "reach.png").stat().st_size > 10_000
    text = (out / "toward.csv").read_text(encoding="utf-8")
    assert text.startswith("# caution: ") and "# remark: SIMULATED" in text
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    assert [row["rank"] for row in rows] == ["1", "2"] and {row["stock"] for row in rows} == {"autumn-304", "spring-304"}
    best = rows[0]
    setting = Setting(*(float(best[name]) for name in ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm")))
    foretold = predict(read_model(out / "models" / best["stock"] / "model.json"), setting).lab
    np.testing.assert_allclose(foretold, [float(best[name]) for name in "Lab"], atol=0.006)
    done = CliRunner().invoke(main, ["stocks", str(shop_of_stocks), "--workers", "1", "-o", str(out)])
    assert "toward.csv was of an earlier run and is removed" in " ".join(done.stderr.split())
    assert (out / "reach.png").is_file() and not (out / "toward.csv").exists()


def test_pictures_of_models_that_are_no_more_go_with_them(shop_of_stocks, tmp_path):
    shutil.copytree(shop_of_stocks / "scrap", tmp_path / "stocks" / "scrap")
    shutil.copy(shop_of_stocks / "machine.toml", tmp_path / "stocks")
    words = ["stocks", str(tmp_path / "stocks"), "--workers", "1", "-o", str(tmp_path / "out")]
    assert "removed" not in CliRunner().invoke(main, words).stderr
    for name in ("reach.png", "toward.csv", "notes.txt"):
        (tmp_path / "out" / name).write_text("old", encoding="utf-8")
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1 and " ".join(done.stderr.split()).count("was of an earlier run and is removed") == 2, done.stderr
    assert not {"reach.png", "toward.csv"} & {item.name for item in (tmp_path / "out").iterdir()} and (tmp_path / "out" / "notes.txt").is_file()


def test_numbers_of_an_extent_are_those_of_a_known_body():
    corners = np.array([[50 + x, y, z] for x in (0.0, 20.0) for y in (-10.0, 10.0) for z in (-30.0, 30.0)])
    lab = np.concatenate([corners, [[50.0, 90.0, 90.0]]])
    extent = Extent(Setting.from_table(np.tile([20.0, 800, 300, 14, 0.002, 1, 0, np.nan], (9, 1))), lab, np.array([3.0] * 8 + [40.0]))
    assert extent.facts["mixed_lab3"] == pytest.approx(20 * 20 * 60) and extent.facts["area_ab"] == pytest.approx(20 * 60)
    assert extent.facts["solid_lab3"] == 8 * 125 and extent.facts["sure_share"] == pytest.approx(8 / 9)
    flat = dataclasses.replace(extent, lab=np.full((9, 3), 50.0))
    assert flat.facts["mixed_lab3"] == 0 == flat.facts["area_ab"]
    near = ranked({"one": extent, "flat": flat}, [50.0, 48.0, 50.0])
    assert near[0].stock == "flat" and near[0].away_de00 < near[1].away_de00
    assert reach_png({"one": extent, "flat": flat}, [np.array([50.0, 0, 0])]).startswith(b"\x89PNG")


def test_a_reach_is_read_back_and_a_damaged_one_is_refused_in_one_line(fitted, tmp_path):
    out, _, _ = fitted
    file = out / "models" / "spring-304" / "reach.csv"
    extent, remark = read_extent(file)
    assert len(extent.lab) > 500 and "SIMULATED" in remark and np.isfinite(extent.lab).all()
    (tmp_path / "reach.csv").write_text(file.read_text(encoding="utf-8").replace("de00_90", "radius"), encoding="utf-8")
    with pytest.raises(FileError, match="de00_90"):
        read_extent(tmp_path / "reach.csv")


def test_a_folder_without_stocks_is_refused(tmp_path):
    with pytest.raises(FileError, match="holds no stock: a folder for each is needed"):
        find_stocks(tmp_path)
    with pytest.raises(FileError, match="is not a folder of stocks"):
        find_stocks(tmp_path / "nowhere")
    for name in ("304", "con"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "stock.toml").write_text("", encoding="utf-8")
    assert list(find_stocks(tmp_path)) == ["304", "_con"] and os.listdir(tmp_path / "con") == ["stock.toml"]
