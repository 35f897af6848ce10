"""The same work on a Dask cluster that is already there."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from tint.batch.engine import Died
from tint.errors import FileError

CONNECT_S = 15.0
LOOK_S = 5.0  # how often it is seen whether any worker is left
REACH_S = 1.0  # a worker that does not answer in this time is out of reach: results come through the scheduler then
AHEAD = 2  # tasks sent per thread of the cluster beyond those at work
# A task costs scheduler, worker and this process about 4 ms together, a name plate's job 70: several to a task where they are small
MOST_ITEMS, MOST_BYTES = 4, 400_000


class Cluster:
    """Workers of a Dask cluster; tint of the same version is installed on each.

    Parameters
    ----------
    address : of its scheduler, such as "tcp://10.0.0.5:8786"
    tell : called with a short text where something is waited for

    Raises
    ------
    FileError
        dask.distributed is not installed, or no scheduler answers.

    Notes
    -----
    A worker lost in mid-work is survived: the scheduler gives its artworks to others. Results come straight from the workers
    where this computer reaches them. Whoever reaches the scheduler can run code on every worker; keep it on a network you
    trust, or use its TLS. A worker does best with one thread (`dask worker --nthreads 1 --nworkers auto`), since what it does
    is mostly Python, and without the profiler (`DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED=False`), which took a fifth of it.
    """

    def __init__(self, address: str, tell: Callable[[str], None] | None = None) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise FileError(
                "--scheduler needs dask.distributed. Install it with: pip install 'tint[cluster]'"
            ) from None
        import logging

        self._address, self._tell = address, tell or (lambda text: None)
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        try:
            self.client = Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            said = " ".join(str(error).split())[:120] or type(error).__name__
            raise FileError(
                f"no scheduler answers at {address}: {said}. Start one, or leave --scheduler out."
            ) from None

    def close(self) -> None:
        """Lets go of the scheduler; the cluster goes on."""
        self.client.close()

    def run(self, work: Callable[..., Any], items: Iterable[Any], shared: Any) -> Iterator[tuple[Any, Any]]:
        """Pairs of item and result as they come; few more items than the cluster has threads are in memory at a time."""
        from distributed import KilledWorker, as_completed

        waiting = _bundles(items)
        at_hand: dict[Any, Sequence[Any]] = {}
        if not self.client.nthreads():
            self._tell(f"no worker at {self._address} yet: waiting for one; Ctrl-C stops")
            self.client.wait_for_workers(1)
        threads = self.client.nthreads()
        direct = all(_reached(address) for address in list(threads)[:2])
        # Sent once, and as a task: where the workers that hold it die, the scheduler has it made again, as no scattered value is
        common = self.client.submit(_both, work, shared, pure=False)

        def send(bundle: Sequence[Any] | None) -> list[Any]:
            if bundle is None:
                return []
            future = self.client.submit(_each, bundle, common, pure=False)
            at_hand[future.key] = bundle
            return [future]

        count = max(1, sum(threads.values())) * (1 + AHEAD)
        with self._watched():
            first = [future for _ in range(count) for future in send(next(waiting, None))]
            done = as_completed(first, loop=self.client.loop)
            suspects: list[Any] = []
            for future in done:
                bundle = at_hand.pop(future.key)
                error = future.exception()
                results = self.client.gather(future, direct=direct) if error is None else [error] * len(bundle)
                future.release()
                done.update(send(next(waiting, None)))  # before the results are handed on, so that no worker waits for it
                if isinstance(error, KilledWorker):  # or whatever else its workers had in hand did it
                    suspects += bundle
                else:
                    yield from zip(bundle, results, strict=True)
            for item in suspects:  # each alone in the cluster, so that the one that kills its workers takes no other along
                future = self.client.submit(_each, [item], common, pure=False)
                error = future.exception()
                if isinstance(error, KilledWorker):
                    error = Died("the workers that had it died, one after the other: not enough memory for it?")
                yield item, error if error is not None else self.client.gather(future, direct=direct)[0]

    @contextmanager
    def _watched(self) -> Iterator[None]:
        """Block in which it is told where the last worker is gone, since the work then waits for another."""
        ended = threading.Event()

        def look() -> None:
            gone = False
            while not ended.wait(LOOK_S):
                try:
                    none = not self.client.nthreads()
                except (OSError, TimeoutError, RuntimeError):  # the scheduler is lost, or let go of
                    return
                if none and not gone:
                    self._tell(f"no worker at {self._address} any more: waiting for one; Ctrl-C stops")
                gone = none

        threading.Thread(target=look, daemon=True).start()
        try:
            yield
        finally:
            ended.set()


def _both(work: Callable[..., Any], shared: Any) -> tuple[Callable[..., Any], Any]:
    """What all tasks need, held by the workers."""
    return work, shared


def _bundles(items: Iterable[Any]) -> Iterator[list[Any]]:
    """Items in bundles of a few small ones; a large one goes alone."""
    bundle: list[Any] = []
    size = 0
    for item in items:
        bundle.append(item)
        size += getattr(item, "size_bytes", MOST_BYTES // MOST_ITEMS)
        if len(bundle) == MOST_ITEMS or size >= MOST_BYTES:
            yield bundle
            bundle, size = [], 0
    if bundle:
        yield bundle


def _each(items: Sequence[Any], common: tuple[Callable[..., Any], Any]) -> list[Any]:
    """Result of each item, an exception where the work raised one."""
    work, shared = common
    results = []
    for item in items:
        try:
            results.append(work(item, shared))
        except Exception as error:
            results.append(error)
    return results


def _reached(address: str) -> bool:
    """Whether a worker, such as "tcp://10.0.0.7:40123", takes a connection from here."""
    host, _, port = address.rpartition("://")[2].rpartition(":")
    try:
        socket.create_connection((host.strip("[]"), int(port)), REACH_S).close()
    except (OSError, ValueError):
        return False
    return True
