"""Long work: in a process of its own, so that it can be watched, stopped, and gives its memory back."""

from __future__ import annotations

import itertools
import logging
import multiprocessing
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tint.errors import DataError, TintError

STOP_S = 2.0  # a process asked to end gets so long before it is killed
KEPT = 30  # pieces of finished work remembered
LINES = 40  # last lines of progress shown
log = logging.getLogger("tint.desk")


@dataclass
class Work:
    """One piece of long work.

    Attributes
    ----------
    id : what the page calls it
    what : in words
    place : the place of the page it belongs to
    state : running, done, failed or stopped
    said : lines of progress
    answer : what came out, plain values; None until it is done
    error : what went wrong, one line
    """

    id: str
    what: str
    place: str
    state: str = "running"
    said: list[str] = field(default_factory=list)
    answer: dict[str, Any] | None = None
    error: str = ""
    started_s: float = field(default_factory=time.monotonic)
    ended_s: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """What the page shows."""
        seconds = (self.ended_s or time.monotonic()) - self.started_s
        return {
            "id": self.id, "what": self.what, "place": self.place, "state": self.state, "said": self.said[-LINES:],
            "answer": self.answer, "error": self.error, "seconds": round(seconds, 1),
        }  # fmt: skip


class Workshop:
    """The long work of a session: started, watched, stopped. One piece per place at a time."""

    def __init__(self, told: Callable[[str], str]) -> None:
        self._told = told
        self._works: dict[str, Work] = {}
        self._processes: dict[str, Any] = {}
        self._count = itertools.count(1)
        self._lock = threading.RLock()

    def start(
        self,
        what: str,
        place: str,
        do: Callable[..., dict[str, Any]],
        arguments: tuple[Any, ...],
        done: Callable[[dict[str, Any]], dict[str, Any]],
    ) -> Work:
        """The work, begun.

        Parameters
        ----------
        do : function of a module, called in another process as do(progress, *arguments); gives plain values back
        done : called here with those values when all went well; what it gives is the work's answer

        Raises
        ------
        DataError
            Other work of this place is still running.
        """
        with self._lock:
            if self.running(place):
                raise DataError("other work is still running here. Wait for it or stop it.")
            context = multiprocessing.get_context("spawn")
            here, there = context.Pipe(duplex=False)
            process = context.Process(target=_labour, args=(there, do, arguments), daemon=True)
            process.start()
            there.close()
            work = Work(f"work-{next(self._count)}", what, place)
            self._works[work.id], self._processes[work.id] = work, process
            while len(self._works) > KEPT:
                oldest = next(iter(self._works))
                if self._works[oldest].state == "running":
                    break
                del self._works[oldest]
        threading.Thread(target=self._watch, args=(work, process, here, done), daemon=True).start()
        return work

    def get(self, id: str) -> Work:
        """The work of this id; raises `DataError` where there is none."""
        work = self._works.get(id)
        if work is None:
            raise DataError("that work is not known here any more.")
        return work

    def running(self, place: str) -> Work | None:
        """The work of a place that is still running, or None."""
        return next((work for work in self._works.values() if work.place == place and work.state == "running"), None)

    def stop(self, id: str) -> Work:
        """The work, stopped where it was still running; what it had written lies in a folder nobody uses."""
        work = self.get(id)
        with self._lock:
            process = self._processes.get(id)
            if work.state == "running":
                work.state, work.ended_s = "stopped", time.monotonic()
        if process is not None:
            _end(process)
        return work

    def close(self) -> None:
        """Nothing; stops all."""
        for id in list(self._processes):
            self.stop(id)

    def _watch(self, work: Work, process: Any, here: Any, done: Callable[[dict[str, Any]], dict[str, Any]]) -> None:
        told: str = ""
        said: Any = None
        try:
            while told not in ("done", "failed", "broken"):
                told, said = here.recv()
                if told == "says":
                    work.said.append(self._told(str(said)))
        except (EOFError, OSError):
            told, said = "broken", "the work ended without a word: out of memory? Try a smaller piece."
        here.close()
        state, answer, error = "failed", None, self._told(str(said))
        if told == "done" and work.state == "running":
            try:
                state, answer, error = "done", done(said), ""
            except TintError as problem:
                error = self._told(str(problem))
            except Exception:
                log.exception("a defect of tint, after %s", work.what)
                error = "this is a defect of tint; the console shows where."
        process.join(STOP_S)
        with self._lock:
            self._processes.pop(work.id, None)
            if work.state == "running":
                work.state, work.answer, work.error, work.ended_s = state, answer, error, time.monotonic()


def _end(process: Any) -> None:
    process.terminate()
    process.join(STOP_S)
    if process.is_alive():
        process.kill()


def _end_with_the_desk() -> None:
    """Ends this process when the desk is gone, even where it was killed and could tell nobody."""
    desk = multiprocessing.parent_process()
    if desk is not None:
        desk.join()
        os._exit(1)


def _labour(there: Any, do: Callable[..., dict[str, Any]], arguments: tuple[Any, ...]) -> None:
    """What the other process does."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the desk, and the desk ends this
    threading.Thread(target=_end_with_the_desk, daemon=True).start()
    try:
        there.send(("done", do(lambda text: there.send(("says", text)), *arguments)))
    except TintError as error:
        there.send(("failed", str(error)))
    except Exception as error:  # a defect of tint: the page says so, the console shows where
        there.send(
            (
                "broken",
                f"this is a defect of tint ({type(error).__name__}: {str(error)[:200]}); the console shows more.",
            )
        )
        raise
