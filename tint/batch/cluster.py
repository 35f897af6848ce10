"""The same work on a Dask cluster that is already there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from tint.batch.engine import Died
from tint.errors import FileError

CONNECT_S = 15.0
AHEAD = 2  # items sent per thread of the cluster beyond those at work


class Cluster:
    """Workers of a Dask cluster; tint of the same version is installed on each.

    Parameters
    ----------
    address : of its scheduler, such as "tcp://10.0.0.5:8786"

    Raises
    ------
    FileError
        dask.distributed is not installed, or no scheduler answers.

    Notes
    -----
    A worker lost in mid-work is survived: the scheduler gives its artworks to others. Whoever reaches the scheduler can run
    code on every worker; keep it on a network you trust, or use its TLS.
    """

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise FileError(
                "--scheduler needs dask.distributed. Install it with: pip install 'tint[cluster]'"
            ) from None
        import logging

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

        waiting = iter(items)
        at_hand = {}
        common = self.client.scatter(shared, broadcast=True, hash=False)

        def send() -> Any:
            item = next(waiting, None)
            if item is None:
                return None
            future = self.client.submit(work, item, common, pure=False)
            at_hand[future.key] = item
            return future

        threads = max(1, sum(self.client.nthreads().values()))
        first = [future for _ in range(threads * (1 + AHEAD)) if (future := send()) is not None]
        done = as_completed(first, loop=self.client.loop)
        for future in done:
            item = at_hand.pop(future.key)
            error = future.exception()
            if isinstance(error, KilledWorker):
                error = Died("the workers that had it died, one after the other: not enough memory for it?")
            yield item, error if error is not None else future.result()
            future.release()
            if (more := send()) is not None:
                done.add(more)
