"""Where the work of a batch is done: the cores of this computer, or a Dask cluster. Same function, same items, either way."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Protocol

TRIES = 2  # a worker may die of another artwork's hunger for memory; twice on one artwork is that artwork's fault


class Died(Exception):
    """The worker that had this item died, more than once."""


class Engine(Protocol):
    """Does one function on many items and gives results as they come."""

    def run(self, work: Callable[..., Any], items: Iterable[Any], shared: Any) -> Iterator[tuple[Any, Any]]:
        """Pairs of item and `work(item, shared)`, in the order they are done; an exception where the work raised one."""
        ...


def cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Local:
    """Processes of this computer.

    Parameters
    ----------
    workers : processes, None one per core
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = max(1, workers or cores())

    def run(self, work: Callable[..., Any], items: Iterable[Any], shared: Any) -> Iterator[tuple[Any, Any]]:
        """Pairs of item and result as they come; items are taken one by one, few more than there are workers at a time."""
        from concurrent.futures.process import BrokenProcessPool

        waiting, suspects = iter(items), []
        while True:
            try:
                yield from self._pool(work, waiting, shared, self.workers, in_hand := [])
                break
            except BrokenProcessPool:
                suspects = list(in_hand)
            for item in suspects:  # each alone, so that the one that kills its worker takes no other along
                for last in range(1, TRIES + 1):
                    try:
                        yield from self._pool(work, iter([item]), shared, 1, [])
                        break
                    except BrokenProcessPool:
                        if last == TRIES:
                            yield item, Died("its worker died twice: not enough memory for it?")

    @staticmethod
    def _pool(
        work: Callable[..., Any], items: Iterator[Any], shared: Any, workers: int, in_hand: list[Any]
    ) -> Iterator[tuple[Any, Any]]:
        import multiprocessing
        from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
        from concurrent.futures.process import BrokenProcessPool

        pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), initializer=_as_worker)
        running: dict[Future[Any], Any] = {}
        try:
            more = True
            while more or running:
                while more and len(running) < workers + 1:
                    item = next(items, None)
                    if more := item is not None:
                        in_hand.append(item)
                        running[pool.submit(work, item, shared)] = item
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    error = future.exception()
                    if isinstance(error, BrokenProcessPool):
                        raise error
                    item = running.pop(future)
                    in_hand.remove(item)
                    yield item, error if error is not None else future.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _as_worker() -> None:
    """Makes this process a quiet worker: one thread, Ctrl-C left to the parent, gone when the parent is gone."""
    import multiprocessing
    import signal
    import threading

    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()

    def leave() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=leave, daemon=True).start()
