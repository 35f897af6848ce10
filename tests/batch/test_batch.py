"""A batch from folder to folder: every artwork made as by itself, faults told, stopped ones gone on with, nothing stale."""

import csv
import dataclasses
import json
import os
import signal
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner
from name_plates import NAMES, Here, name_plate, write_plates

from tint.artwork.artwork import read_artwork
from tint.batch.engine import Died, Local
from tint.batch.folder import BatchFolder, Record, find_artworks, plain_name
from tint.batch.plates import pack_plates
from tint.batch.run import Packing, run_batch
from tint.batch.task import Order, Piece, failed, make
from tint.cli import main
from tint.errors import FileError
from tint.job.job import read_job, write_job
from tint.layers.separate import separate
from tint.palette.palette import read_palette


@pytest.fixture(scope="module")
def palette(shop):
    return read_palette(shop / "simulated" / "palette.json")


@pytest.fixture
def order(palette):
    return Order(palette, palette.machine)


def table(out):
    with (out / "summary.csv").open(encoding="utf-8", newline="") as stream:
        return {row["file"]: row for row in csv.DictReader(stream)}


def test_each_job_is_the_same_as_made_by_itself(order, palette, tmp_path):
    folder = write_plates(tmp_path / "plates", 3)
    done = run_batch(folder, tmp_path / "out", order, engine=Local(2))
    assert [record.name for record in done.records] == sorted(NAMES[:3]) and not done.failed
    alone = tmp_path / "alone"
    write_job(separate(read_artwork(folder / "heron.svg"), palette), palette.machine, alone)
    for item in alone.rglob("*"):
        if item.is_file() and item.suffix != ".pdf":  # a PDF holds the time it was written
            assert (tmp_path / "out" / "jobs" / "heron" / item.relative_to(alone)).read_bytes() == item.read_bytes(), item.name
    assert read_job(tmp_path / "out" / "jobs" / "heron").name == "heron"


def test_one_bad_file_never_stops_the_rest_and_is_told_without_a_temporary_path(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    (folder / "broken.svg").write_text("<svg", encoding="utf-8")
    (folder / "empty.png").write_bytes(b"")
    (folder / "below").mkdir()
    (folder / "below" / "unsized.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg"><rect width="9" height="9"/></svg>', encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Here())
    assert sorted(record.file_name for record in done.failed) == ["below/unsized.svg", "broken.svg", "empty.png"]
    rows = table(tmp_path / "out")
    assert rows["heron.svg"]["state"] == "done" and float(rows["heron.svg"]["width_mm"]) == 30
    assert rows["broken.svg"]["problem"].startswith("broken.svg line 1") and tempfile_free(rows)
    assert (tmp_path / "out" / "contact-sheet-01.png").is_file()


def tempfile_free(rows):
    return all("/tint." not in row["problem"] and "\n" not in row["problem"] for row in rows.values())


def test_a_second_run_keeps_what_is_done_and_makes_only_what_changed_or_failed(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 3)
    (folder / "broken.svg").write_text("<svg", encoding="utf-8")
    run_batch(folder, tmp_path / "out", order, engine=Here())
    before = {name: (tmp_path / "out" / "jobs" / name).stat().st_mtime_ns for name in NAMES[:3]}
    (folder / "broken.svg").write_text(name_plate(2), encoding="utf-8")
    (folder / "grebe.svg").write_text(name_plate(7), encoding="utf-8")
    told = []
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), progress=told.append)
    assert done.kept == 2 and not done.failed and len(told) == 2
    after = {name: (tmp_path / "out" / "jobs" / name).stat().st_mtime_ns for name in NAMES[:3]}
    assert [name for name in before if before[name] != after[name]] == ["grebe"]


def test_another_order_is_refused_unless_forced(order, palette, tmp_path):
    folder = write_plates(tmp_path / "plates", 1)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    other = Order(palette, palette.machine, width_mm=20)
    with pytest.raises(FileError, match="begun with another width. Choose"):
        run_batch(folder, tmp_path / "out", other, engine=Here())
    with pytest.raises(FileError, match="begun with another width and way of separating and way of writing"):
        run_batch(folder, tmp_path / "out", dataclasses.replace(other, separating={"smooth": True}, writing={"trial": True}), engine=Here())
    assert run_batch(folder, tmp_path / "out", other, engine=Here(), force=True).kept == 0
    assert read_job(tmp_path / "out" / "jobs" / NAMES[0]).width_mm == 20


def test_an_artwork_that_fails_now_leaves_no_job_of_its_earlier_self(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    (folder / f"{NAMES[0]}.svg").write_text("<svg", encoding="utf-8")
    (folder / f"{NAMES[1]}.svg").rename(folder / "osprey.svg")
    told = []
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), progress=told.append)
    assert [record.name for record in done.failed] == [NAMES[0]] and not (tmp_path / "out" / "jobs" / NAMES[0]).exists()
    assert any(f"jobs also holds {NAMES[1]}, which no artwork stands behind" in line for line in told)


@pytest.mark.parametrize("cut", ["jobs/kingfisher/layers.dxf", "records/kingfisher.png"])
def test_a_result_cut_short_by_a_power_failure_is_made_again(order, tmp_path, cut):
    folder = write_plates(tmp_path / "plates", 2)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    whole = (tmp_path / "out" / cut).read_bytes()
    (tmp_path / "out" / cut).write_bytes(b"")
    assert run_batch(folder, tmp_path / "out", order, engine=Here()).kept == 1
    assert len((tmp_path / "out" / cut).read_bytes()) == len(whole)


def test_options_of_a_separation_reach_every_artwork(palette, tmp_path):
    from tint.layers.tonal import Tonal

    folder = write_plates(tmp_path / "plates", 1)
    order = Order(palette, palette.machine, separating={"tonal": Tonal(), "background": None}, width_mm=12)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    alone = separate(read_artwork(folder / f"{NAMES[0]}.svg", 12), palette, tonal=Tonal(), background=None)
    job = read_job(tmp_path / "out" / "jobs" / NAMES[0])
    assert job.pitch_mm == alone.pitch_mm and set(alone.remarks) <= {*job.remarks, *job.notes}
    order = dataclasses.replace(order, separating={}, pitch_mm=0.1)
    run_batch(folder, tmp_path / "coarse", order, engine=Here())
    assert read_job(tmp_path / "coarse" / "jobs" / NAMES[0]).pitch_mm == 0.1


def test_plain_colours_of_a_drawing_that_come_out_as_one_are_told(order, tmp_path):
    (tmp_path / "plates").mkdir()
    body = '<rect width="9" height="9" fill="#ffe000"/><rect x="9" width="9" height="9" fill="#fff7c0"/>'
    text = f'<svg xmlns="http://www.w3.org/2000/svg" width="18mm" height="9mm" viewBox="0 0 18 9">{body}</svg>'
    (tmp_path / "plates" / "reed.svg").write_text(text, encoding="utf-8")
    run_batch(tmp_path / "plates", tmp_path / "out", order, engine=Here())
    said = "colours that come out as one: #ffe000 and #fff7c0"
    assert said in table(tmp_path / "out")["reed.svg"]["remarks"]
    assert any(line.startswith(said) for line in read_job(tmp_path / "out" / "jobs" / "reed").remarks)


def test_a_folder_that_is_no_batch_is_left_alone(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 1)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("keep")
    with pytest.raises(FileError, match="not the folder of a batch"):
        run_batch(folder, tmp_path / "mine", order, engine=Here())
    assert [item.name for item in (tmp_path / "mine").iterdir()] == ["letter.txt"]
    with pytest.raises(FileError, match="holds no artwork"):
        run_batch(tmp_path / "mine", tmp_path / "out", order, engine=Here())
    with pytest.raises(FileError, match="not a folder of artworks"):
        run_batch(tmp_path / "nowhere", tmp_path / "out", order, engine=Here())


def test_packed_pieces_become_one_job_per_plate_and_stale_plates_go(order, palette, tmp_path):
    order = dataclasses.replace(order, layers_only=True)
    folder = write_plates(tmp_path / "plates")
    for number in range(20):
        (folder / f"marker {number}.svg").write_text(name_plate(number % 8, 50, 10), encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), packing=Packing())
    assert len(done.placed) == 28 and len(done.plates) == 2 and not done.failed
    job = read_job(tmp_path / "out" / "plates" / "plate-02")
    assert job.trial is None and {layer.name for layer in job.layers} <= {colour.name for colour in palette.colours}
    for name in ("placed.csv", "plate-01.png", "plate-02.png", "summary.csv"):
        assert (tmp_path / "out" / name).is_file()
    for number in range(20):
        (folder / f"marker {number}.svg").unlink()
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), packing=Packing())
    assert len(done.plates) == 1 and done.kept == 8
    assert not (tmp_path / "out" / "plates" / "plate-02").exists() and not (tmp_path / "out" / "plate-02.png").exists()
    for item in folder.iterdir():
        item.write_text("<svg", encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), packing=Packing())
    assert len(done.failed) == 8 and not list((tmp_path / "out").glob("pla*/*")) and not list((tmp_path / "out").glob("pla*.*"))


def test_plates_beyond_the_ninety_ninth_follow_it(order, tmp_path):
    class Refuses:
        def run(self, work, items, shared):
            yield from ((item, failed("not made here")) for item in items)

    place = BatchFolder(tmp_path / "out", dataclasses.replace(order, layers_only=True))
    (place.results / "post").mkdir(parents=True)
    side = {"width_mm": 0.6 * order.palette.stock.size_mm[0], "height_mm": 0.6 * order.palette.stock.size_mm[1]}
    post = Record("post", "post.svg", "", "", side, (), "", 0.0)
    made, placed, _ = pack_plates(place, place.order, [post], {"post": 101}, Packing(), Refuses(), lambda text: None)
    assert len(placed) == 101 and [record.name for record in made] == [f"plate-{number:02d}" for number in range(1, 102)]
    assert made[0].file_name == "plate-01 (1 piece)"


def test_two_batches_at_once_in_one_folder_are_refused(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    out = tmp_path / "out"
    met = []

    def meet(_):
        before = sorted(out.rglob("*"))
        with pytest.raises(FileError, match="another tint is at work in .*out. Wait until it is done, or choose another name"):
            run_batch(folder, out, dataclasses.replace(order, width_mm=20), engine=Here(), force=True)
        met.append(sorted(out.rglob("*")) == before)

    assert not run_batch(folder, out, order, engine=Here(), progress=meet).failed and met == [True, True]
    assert run_batch(folder, out, order, engine=Here()).kept == 2  # let go of at the end


def test_the_command_passes_options_on_and_refuses_what_does_not_fit(shop, tmp_path):
    folder = write_plates(tmp_path / "plates", 1)
    words = ["batch", str(folder), str(shop / "simulated" / "palette.json"), "--workers", "1", "-o", str(tmp_path / "out")]
    for more, code, said in (
        (["--ordered"], 2, "belong to --tonal"),
        (["--background", "grass"], 2, "--background 'grass' is not a colour"),
        (["--sizes", str(tmp_path / "none.csv")], 2, "none.csv is not there"),
        (["--scheduler", "tcp://127.0.0.1:9"], 2, "with --scheduler the cluster has its own"),
    ):
        done = CliRunner().invoke(main, [*words, *more])
        assert done.exit_code == code and said in done.stderr and not (tmp_path / "out").exists()
    done = CliRunner().invoke(main, [*words, "--ink", "none", "--thin", "keep", "--smooth", "--width-mm", "20"])
    assert done.exit_code == 0 and "1 of 1 artworks done" in done.stdout
    said = json.loads((tmp_path / "out" / "batch.json").read_text(encoding="utf-8"))["way of separating"]
    assert (said["ink"], said["thin"], said["smooth"]) == (None, "keep", True)
    done = CliRunner().invoke(main, [*words, "--ink", "none", "--width-mm", "20"])
    assert done.exit_code == 2 and "begun with another way of separating" in done.stderr


def test_an_artwork_named_like_a_plate_keeps_its_own_record(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 1)
    (folder / f"{NAMES[0]}.svg").rename(folder / "plate-01.svg")
    order = dataclasses.replace(order, layers_only=True)
    told: list[str] = []
    run_batch(folder, tmp_path / "out", order, engine=Here(), packing=Packing(), progress=told.append)
    assert told[1:3] == ["packed 1 piece onto 1 plate", "making plate-01: layers, drawings, masks and sheet of 1 piece"]
    told = []
    done = run_batch(folder, tmp_path / "out", order, engine=Here(), packing=Packing(), progress=told.append)
    assert done.kept == 1 and told == ["packed 1 piece onto 1 plate"]  # the artwork and the plate are as they were


def test_a_piece_that_fits_on_no_plate_is_left_out_and_named_and_the_others_are_packed(shop, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    (folder / "long.svg").write_text(name_plate(3, 150, 10), encoding="utf-8")
    (folder / "broken.svg").write_text("<svg", encoding="utf-8")
    words = ["batch", str(folder), str(shop / "simulated" / "palette.json"), "--pack", "--workers", "1", "-o", str(tmp_path / "out")]
    for kept in ("", ", 2 of them from before"):
        done = CliRunner().invoke(main, words)
        said = " ".join(done.stderr.split())
        assert done.exit_code == 1 and f"2 of 4 artworks done{kept}, in" in done.stdout and "plate-01: 2 pieces" in done.stdout
        assert said.count("FAILED") == 2 and said.count("not well-formed") == 1
        assert said.count("FAILED long.svg: long (150 × 10 mm) fits on no plate: 114 × 114 mm are free") == 1
        rows = table(tmp_path / "out")
        assert rows["long.svg"]["state"] == "failed" and "fits on no plate" in rows["long.svg"]["problem"]
        assert rows["heron.svg"]["state"] == "done" and (tmp_path / "out" / "plate-01.png").is_file()
    (folder / "heron.svg").unlink()
    (folder / f"{NAMES[0]}.svg").unlink()
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 1 and "0 of 2 artworks done, in" in done.stdout
    assert not (tmp_path / "out" / "plate-01.png").exists() and not (tmp_path / "out" / "placed.csv").exists()


def test_a_batch_killed_in_mid_work_goes_on_where_it_was(shop, tmp_path):
    folder = write_plates(tmp_path / "plates")
    words = ["batch", str(folder), str(shop / "simulated" / "palette.json"), "--workers", "1", "-o", str(tmp_path / "out")]
    run = subprocess.Popen([sys.executable, "-m", "tint.cli", *words], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL)
    assert run.stderr is not None
    for _ in range(3):
        run.stderr.readline()
    run.send_signal(signal.SIGKILL)
    run.wait()
    jobs = tmp_path / "out" / "jobs"
    finished = {item.name for item in jobs.iterdir() if not item.name.startswith(".")}
    assert 3 <= len(finished) < len(NAMES)
    for name in finished:
        assert read_job(jobs / name).layers  # whole or not there at all
    again = subprocess.run([sys.executable, "-m", "tint.cli", *words], capture_output=True, text=True, check=True)
    kept = int(again.stdout.split(", ")[1].split()[0])
    assert kept >= len(finished) - 1 and f"{len(NAMES)} of {len(NAMES)} artworks done" in again.stdout


@pytest.mark.skipif(not hasattr(os, "kill") or sys.platform == "win32", reason="signals of POSIX")
def test_no_worker_outlives_a_killed_batch(shop, tmp_path):
    folder = write_plates(tmp_path / "plates")
    words = ["batch", str(folder), str(shop / "simulated" / "palette.json"), "--workers", "2", "-o", str(tmp_path / "out")]
    run = subprocess.Popen([sys.executable, "-m", "tint.cli", *words], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, start_new_session=True)
    assert run.stderr is not None
    run.stderr.readline()
    run.send_signal(signal.SIGKILL)
    run.wait()
    for _ in range(100):
        try:
            os.killpg(run.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    os.killpg(run.pid, signal.SIGKILL)
    raise AssertionError("a worker was still there after 10 s")


def test_a_worker_of_another_version_refuses(order):
    outcome = make(Piece("heron", "heron.svg", name_plate(1).encode()), dataclasses.replace(order, version="99.0"))
    assert "this worker has tint" in outcome.problem and not outcome.files


def test_a_damaged_record_means_made_again(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    record = tmp_path / "out" / "records" / f"{NAMES[0]}.json"
    record.write_text(record.read_text(encoding="utf-8")[:40], encoding="utf-8")
    other = tmp_path / "out" / "records" / f"{NAMES[1]}.json"
    other.write_text(json.dumps({**json.loads(other.read_text(encoding="utf-8")), "facts": 3}), encoding="utf-8")
    assert run_batch(folder, tmp_path / "out", order, engine=Here()).kept == 0


def test_results_of_files_with_one_stem_do_not_meet(tmp_path):
    for name in ("heron.svg", "Heron.png", "heron.tif", "con.svg", "grün.svg", ".hidden.svg", "notes.txt"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "proof.png").write_bytes(b"x")
    names = list(find_artworks(tmp_path, but=tmp_path / "out"))
    assert len(names) == 5 and len({name.casefold() for name in names}) == 5 and "_con" in names and "grün" in names
    assert plain_name("a" * 300) == "a" * 80 and plain_name("x/../y") == "x_.._y"
    assert plain_name("\U0001f986" * 80) == "\U0001f986" * 50  # four bytes each: with endings within the 255 of a file system


def test_an_artwork_moved_with_its_result_as_it_was_is_told_by_its_new_place(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 1)
    (folder / "trail").mkdir()
    (folder / f"{NAMES[0]}.svg").rename(folder / "trail" / "sign.svg")
    run_batch(folder, tmp_path / "out", order, engine=Here())
    (folder / "trail" / "sign.svg").rename(folder / "trail-sign.svg")
    done = run_batch(folder, tmp_path / "out", order, engine=Here())
    assert done.kept == 1 and list(table(tmp_path / "out")) == ["trail-sign.svg"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes of POSIX")
def test_a_pipe_among_the_artworks_is_told_and_not_waited_for(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 1)
    os.mkfifo(folder / "pipe.svg")
    done = run_batch(folder, tmp_path / "out", order, engine=Here())
    assert [record.problem for record in done.failed] == ["pipe.svg is no file."] and len(done.records) == 2


def test_artworks_whose_worker_died_do_not_count_as_kept(order, tmp_path):
    class Deadly:
        def run(self, work, items, shared):
            yield from ((item, Died("its worker died twice")) for item in items)

    folder = write_plates(tmp_path / "plates", 2)
    (folder / "broken.svg").write_text("<svg", encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Deadly())
    assert done.kept == 0 and len(done.failed) == 3


def test_a_note_laid_into_a_result_stays_and_stops_nothing(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 3)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    note = tmp_path / "out" / "jobs" / "heron" / "notes.txt"
    note.write_text("12 plates marked", encoding="utf-8")
    assert run_batch(folder, tmp_path / "out", order, engine=Here()).kept == 3  # a note is no damage
    for name in ("heron", "kingfisher"):
        (folder / f"{name}.svg").write_text(name_plate(7), encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Here())
    (held,) = done.failed
    assert held.name == "heron" and "holds notes.txt, which tint did not write" in held.problem
    assert done.kept == 1 and len(done.records) == 3 and note.read_text(encoding="utf-8") == "12 plates marked"
    note.unlink()
    assert not run_batch(folder, tmp_path / "out", order, engine=Here()).failed


@pytest.mark.parametrize("left", [b"", bytes(200)])
def test_a_result_whose_list_a_power_failure_emptied_is_made_again(order, tmp_path, left):
    folder = write_plates(tmp_path / "plates", 2)
    run_batch(folder, tmp_path / "out", order, engine=Here())
    job = tmp_path / "out" / "jobs" / "heron"
    for name in (".tint", "job.json"):
        (job / name).write_bytes(left)
    done = run_batch(folder, tmp_path / "out", order, engine=Here())
    assert not done.failed and done.kept == 1 and read_job(job).name == "heron"
    (job / ".tint").write_bytes(left)
    (job / "notes.txt").write_text("mine", encoding="utf-8")
    done = run_batch(folder, tmp_path / "out", order, engine=Here())
    assert [record.name for record in done.failed] == ["heron"] and (job / "notes.txt").is_file()


def test_results_of_an_earlier_batch_inside_the_folder_are_no_artworks(order, tmp_path):
    folder = write_plates(tmp_path / "plates", 2)
    run_batch(folder, folder / "first", order, engine=Here())
    write_job(separate(read_artwork(folder / "heron.svg"), order.palette), order.palette.machine, folder / "alone")
    assert len(run_batch(folder, folder / "second", order, engine=Here()).records) == 2
