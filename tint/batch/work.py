"""A batch's items through an engine: what is done is kept, faults become one line, progress is told."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tint.batch.engine import Died, Engine
from tint.batch.folder import BatchFolder, Record
from tint.batch.task import Outcome, failed
from tint.errors import TintError
from tint.job.order import clock

NOT_DONE = "  not done: see the end"


def work_through(
    work: Callable[[Any, Any], Outcome], items: Iterable[tuple[Any, str]], count: int, place: BatchFolder, engine: Engine,
    step: Callable[[str], None], where: str = "", begun: Callable[[Any], str] | None = None,
) -> tuple[list[Record], set[str]]:  # fmt: skip
    """Records of all items, those kept from before among them, and the names of these.

    Parameters
    ----------
    work : done on an item and the order
    items : each with the reason why it cannot be worked on, "" where it can
    count : how many items there are
    step : called with a short text as each is done; why one failed is for the caller to tell, from its record
    where : folder of the results in the batch's, "" the order's own
    begun : text for `step` as an item is handed to the engine; None says nothing
    """
    records: list[Record] = []
    kept: set[str] = set()
    began = time.perf_counter()

    def to_do() -> Iterator[Any]:
        for item, problem in items:
            if problem:
                records.append(place.keep(item, failed(problem), where))
                step(f"{item.file_name}{NOT_DONE}")
            elif (record := place.finished(item, where)) is not None:
                records.append(record)
                kept.add(record.name)
            else:
                if begun is not None:
                    step(begun(item))
                yield item

    made = 0
    for item, result in engine.run(work, to_do(), place.order):
        outcome = result if isinstance(result, Outcome) else failed(said_of(result))
        record = place.keep(item, outcome, where)
        records.append(record)
        made += 1
        left_s = (time.perf_counter() - began) / made * (count - len(records))
        told = f"about {clock(left_s)} left" if count - len(records) else "the last"
        step(f"{len(records)} of {count}, {told}: {item.file_name}{NOT_DONE if record.problem else ''}")
    return records, kept


def said_of(error: object) -> str:
    """One line about what an engine gave instead of a result."""
    if isinstance(error, (Died, TintError)):
        return str(error)
    return f"a fault inside tint ({type(error).__name__}: {error}); please report it, with the artwork."
