"""The same items through processes of this computer: order, faults and dying workers."""

import pytest
from name_plates import double_or_die, double_or_die_once, raise_for, who_am_i

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


@pytest.mark.parametrize("workers", [None, 1])
def test_nothing_to_do_is_done_at_once(workers):
    assert list(Local(workers).run(raise_for, [], None)) == []
