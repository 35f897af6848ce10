"""The same items through processes of this computer: order, faults and dying workers."""

import signal
import subprocess
import sys
import time
from concurrent.futures import process

import pytest
from name_plates import double_or_die, double_or_die_once, raise_for, slow_note, who_am_i

from tint.batch.engine import Died, Local


def test_every_item_comes_back_once_with_its_result():
    assert dict(Local(2).run(raise_for, iter(range(20)), None)) == {item: item for item in range(20)}


def test_an_exception_belongs_to_its_item_and_the_rest_goes_on():
    found = dict(Local(2).run(raise_for, range(1, 9), 3))
    assert isinstance(found.pop(3), ValueError) and found == {item: item for item in range(1, 9) if item != 3}


def test_a_worker_that_dies_takes_only_the_guilty_item_along():
    found = dict(Local(2).run(double_or_die, range(1, 9), 5))
    assert isinstance(found.pop(5), Died) and found == {item: 2 * item for item in range(1, 9) if item != 5}


def test_an_item_whose_worker_died_by_chance_is_tried_again(tmp_path):
    assert dict(Local(2).run(double_or_die_once, range(1, 7), (4, str(tmp_path / "note")))) == {item: 2 * item for item in range(1, 7)}


def test_items_are_taken_only_as_workers_come_free():
    taken = []

    def items():
        for item in range(1, 10):
            taken.append(item)
            yield item

    results = Local(1).run(raise_for, items(), None)
    next(results)
    assert len(taken) <= 3
    results.close()


def test_as_many_processes_work_as_were_asked_for():
    assert len({pid for _, pid in Local(2).run(who_am_i, range(1, 9), 0.2)}) == 2


def test_what_is_stopped_in_mid_work_does_no_more_and_leaves_no_temporary_folder(tmp_path):
    results = Local(1).run(slow_note, range(1, 9), str(tmp_path))
    next(results)
    while not list(tmp_path.glob("half*")):  # the next is at work, another waits in the worker's queue
        time.sleep(0.01)
    managers = list(process._threads_wakeups)
    results.close()
    for thread in managers:  # as Python does before it ends
        thread.join()
    assert [item.name for item in tmp_path.iterdir()] == ["done 1"]


@pytest.mark.skipif(sys.platform != "linux", reason="a server that forks workers")
def test_the_server_that_forks_workers_never_hears_ctrl_c():
    said = (
        "from multiprocessing import forkserver\nfrom tint.batch.engine import Local\nLocal(1)\n"
        "print(open(f'/proc/{forkserver._forkserver._forkserver_pid}/status').read())"
    )
    status = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True).stdout
    (blocked,) = [int(line.split()[1], 16) for line in status.splitlines() if line.startswith("SigBlk")]
    assert blocked >> (signal.SIGINT - 1) & 1


@pytest.mark.parametrize("workers", [None, 1])
def test_nothing_to_do_is_done_at_once(workers):
    assert list(Local(workers).run(raise_for, [], None)) == []
