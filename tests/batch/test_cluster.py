"""The same work on a real Dask cluster of separate processes on loopback, one of them killed in mid-work."""

import os
import signal
import socket
import threading
import time

import pytest
from name_plates import double_or_die, raise_for, who_am_i, write_plates

from tint.batch.run import run_batch
from tint.batch.task import Order
from tint.errors import FileError
from tint.palette.palette import read_palette

dask = pytest.importorskip("dask", reason="the extra `cluster` is not installed")
distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
from tint.batch.cluster import MOST_BYTES, MOST_ITEMS, Cluster, _bundles, _reached  # noqa: E402
from tint.batch.engine import Died  # noqa: E402


@pytest.fixture(scope="module")
def scheduler():
    here = os.path.dirname(__file__)
    before, os.environ["PYTHONPATH"] = os.environ.get("PYTHONPATH"), here  # workers import this folder's functions
    few = dask.config.set({"distributed.scheduler.allowed-failures": 1})  # deaths a task may see before it is given up
    with few, distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1") as cluster:
        yield cluster.scheduler_address
    os.environ.pop("PYTHONPATH")
    if before is not None:
        os.environ["PYTHONPATH"] = before


def test_artworks_go_by_content_and_come_back_as_jobs(scheduler, shop, tmp_path):
    palette = read_palette(shop / "simulated" / "palette.json")
    folder = write_plates(tmp_path / "plates", 4)
    (folder / "broken.svg").write_text("<svg", encoding="utf-8")
    cluster = Cluster(scheduler)
    done = run_batch(folder, tmp_path / "out", Order(palette, palette.machine), engine=cluster)
    cluster.close()
    assert len(done.records) == 5 and [record.name for record in done.failed] == ["broken"]
    assert (tmp_path / "out" / "jobs" / "heron" / "sheet.pdf").stat().st_size > 10_000


def test_a_worker_lost_in_mid_work_is_survived(scheduler):
    cluster = Cluster(scheduler)
    results = cluster.run(who_am_i, range(1, 25), 0.2)
    _, victim = next(results)
    threading.Timer(0.3, os.kill, (victim, signal.SIGKILL)).start()
    rest = list(results)
    cluster.close()
    assert sorted(item for item, _ in rest) and len(rest) == 23
    assert all(isinstance(pid, int) for _, pid in rest) and len({pid for _, pid in rest} - {victim}) >= 1
    time.sleep(0.1)


def test_a_fault_belongs_to_its_item(scheduler):
    cluster = Cluster(scheduler)
    found = dict(cluster.run(raise_for, range(1, 9), 3))
    cluster.close()
    assert isinstance(found.pop(3), ValueError) and found == {item: item for item in range(1, 9) if item != 3}


def test_an_item_that_kills_its_workers_takes_none_of_its_bundle_along(scheduler):
    cluster = Cluster(scheduler)
    found = dict(cluster.run(double_or_die, range(1, 7), 5))
    cluster.close()
    assert isinstance(found.pop(5), Died) and found == {item: 2 * item for item in range(1, 7) if item != 5}


def test_small_items_share_a_task_and_large_ones_go_alone():
    class Sized:
        def __init__(self, size_bytes):
            self.size_bytes = size_bytes

    sizes = [[item.size_bytes for item in bundle] for bundle in _bundles(map(Sized, [10] * (MOST_ITEMS + 1) + [MOST_BYTES] * 2 + [5]))]
    assert sizes == [[10] * MOST_ITEMS, [10, MOST_BYTES], [MOST_BYTES], [5]] and list(_bundles([])) == []


def test_a_scheduler_without_a_worker_is_told_at_once_and_the_work_begins_with_the_first():
    said = []
    with distributed.LocalCluster(n_workers=0, processes=False, protocol="tcp", dashboard_address=":0", host="127.0.0.1") as empty:

        def tell(line):
            said.append(line)
            empty.scale(1)

        cluster = Cluster(empty.scheduler_address, tell)
        found = dict(cluster.run(raise_for, range(1, 4), 0))
        cluster.close()
    assert found == {1: 1, 2: 2, 3: 3} and len(said) == 1
    assert said[0] == f"no worker at {empty.scheduler_address} yet: waiting for one; Ctrl-C stops"


def test_the_loss_of_the_last_worker_is_told_and_the_work_goes_on_with_the_next(monkeypatch):
    monkeypatch.setattr("tint.batch.cluster.LOOK_S", 0.05)
    said = []
    alone = {"n_workers": 1, "threads_per_worker": 1, "processes": False, "protocol": "tcp", "dashboard_address": ":0"}
    with distributed.LocalCluster(**alone, host="127.0.0.1") as few:

        def tell(line):
            said.append(line)
            few.scale(1)

        cluster = Cluster(few.scheduler_address, tell)
        results = cluster.run(who_am_i, range(1, 25), 0.05)
        begun = [next(results)[0]]
        few.scale(0)
        rest = [item for item, _ in results]
        cluster.close()
    assert sorted(begun + rest) == list(range(1, 25))
    assert said == [f"no worker at {few.scheduler_address} any more: waiting for one; Ctrl-C stops"]


def test_a_worker_out_of_reach_is_seen_as_such():
    with socket.create_server(("127.0.0.1", 0)) as server:
        assert _reached(f"tcp://127.0.0.1:{server.getsockname()[1]}")
    assert not _reached("tcp://127.0.0.1:1") and not _reached("inproc://nowhere")


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense", "tcp://"])
def test_a_scheduler_that_does_not_answer_is_one_line(address, monkeypatch):
    monkeypatch.setattr("tint.batch.cluster.CONNECT_S", 0.5)
    with pytest.raises(FileError, match="no scheduler answers at") as refused:
        Cluster(address)
    assert "\n" not in str(refused.value)
