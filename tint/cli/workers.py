"""Where the commands that do many things do them: this computer's cores, or a Dask cluster."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from tint.cli.options import remark


def on_workers(command: Any) -> Any:
    """The command with --workers and --scheduler."""
    command = click.option(
        "--scheduler", metavar="ADDRESS", help="Dask scheduler of a cluster you trust; the same work is done there."
    )(command)
    return click.option("--workers", type=click.IntRange(1, 256), help="Processes  [default: one per core]")(command)


def engine_of(workers: int | None, scheduler: str | None, load_first: Sequence[str]) -> Any:
    """Engine that was asked for; one of this computer starts at once, while the command reads its files.

    Raises
    ------
    click.UsageError
        Both were asked for.
    FileError
        No scheduler answers, or what it needs is not installed.
    """
    if scheduler and workers:
        raise click.UsageError("--workers are this computer's; with --scheduler the cluster has its own.")
    if scheduler:
        from tint.batch.cluster import Cluster

        return Cluster(scheduler, tell=remark)
    from tint.batch.engine import Local

    return Local(workers, load_first)


@contextmanager
def at_work(engine: Any) -> Iterator[None]:
    """Block in which an engine works; Ctrl-C leaves with 130 and says how to go on, and the engine is closed in any case."""
    try:
        yield
    except KeyboardInterrupt:
        remark("stopped; what is done is kept. Run the same command again to go on.")
        raise click.exceptions.Exit(130) from None
    finally:
        getattr(engine, "close", lambda: None)()
