"""Where the work of a batch is done: the cores of this computer, or a Dask cluster. Same function, same items, either way."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, Protocol

TRIES = 2  # a worker may die of another artwork's hunger for memory; twice on one artwork is that artwork's fault
AHEAD = 2  # items handed out per process: the one at work and the next, so that no process waits while results are written
# One thread each: as many processes as cores are at work already, and what forks must not have started threads
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


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
    load_first : modules that the work needs, loaded once before the first item

    Notes
    -----
    On Linux one server process loads the modules, with one thread, and forks a worker in a blink, also in the place of one that
    died; forking a process that runs threads, as this one may, is not safe. Elsewhere each worker starts and loads by itself.
    """

    def __init__(self, workers: int | None = None, load_first: Sequence[str] = ()) -> None:
        import multiprocessing
        import sys

        self.workers = max(1, workers or cores())
        forks = sys.platform == "linux" and "forkserver" in multiprocessing.get_all_start_methods()
        self._context = multiprocessing.get_context("forkserver" if forks else "spawn")
        if forks:
            _start_server(self._context, load_first)

    def run(self, work: Callable[..., Any], items: Iterable[Any], shared: Any) -> Iterator[tuple[Any, Any]]:
        """Pairs of item and result as they come; items are taken one by one, few more than there are workers at a time."""
        from concurrent.futures.process import BrokenProcessPool

        waiting = iter(items)
        suspects: list[Any] = []
        in_hand: list[Any]
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

    def _pool(
        self, work: Callable[..., Any], items: Iterator[Any], shared: Any, workers: int, in_hand: list[Any]
    ) -> Iterator[tuple[Any, Any]]:
        from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
        from concurrent.futures.process import BrokenProcessPool

        pool = ProcessPoolExecutor(workers, self._context, initializer=_as_worker, initargs=(work, shared))
        running: dict[Future[Any], Any] = {}
        try:
            more = True
            while more or running:
                while more and len(running) < workers * AHEAD:
                    item = next(items, None)
                    if more := item is not None:
                        in_hand.append(item)
                        running[pool.submit(_one, item)] = item
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    error = future.exception()
                    if isinstance(error, BrokenProcessPool):
                        raise error
                    item = running.pop(future)
                    in_hand.remove(item)
                    yield item, error if error is not None else future.result()
        finally:
            left = list((pool._processes or {}).values()) if running else []  # stopped in mid-work
            pool.shutdown(wait=False, cancel_futures=True)
            for process in left:  # else this process would not end before they have done what nobody waits for
                process.terminate()


def _start_server(context: Any, load_first: Sequence[str]) -> None:
    """Starts the process that workers are forked from, if it does not run yet: it loads while this process reads its files."""
    import signal
    from multiprocessing import forkserver, resource_tracker

    resource_tracker.ensure_running()  # else it starts along with the server, and unblocks Ctrl-C before that is there
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(ONE_THREAD)
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})  # inherited: Ctrl-C is this process's to handle
    try:
        context.set_forkserver_preload(list(load_first))
        forkserver.ensure_running()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


class _Given:
    """What this process, a worker, was given once for all its items."""

    work: Callable[..., Any]
    shared: Any
    stopped: bool = False


def _stop(*_: Any) -> None:
    """Ends the work at hand, whose temporary folder goes on the way out, and does no more of what waits."""
    _Given.stopped = True
    raise SystemExit(1)


def _one(item: Any) -> Any:
    if _Given.stopped:
        raise SystemExit(1)
    return _Given.work(item, _Given.shared)


def _as_worker(work: Callable[..., Any], shared: Any) -> None:
    """Makes this process a quiet worker: one thread, Ctrl-C left to the parent, gone when the parent is gone."""
    import multiprocessing
    import signal
    import threading

    os.environ.update(ONE_THREAD)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _stop)
    _Given.work, _Given.shared = staticmethod(work), shared
    parent = multiprocessing.parent_process()

    def leave() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=leave, daemon=True).start()
