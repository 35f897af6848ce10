"""Prints what a batch costs beyond its artworks, on one and two processes, on Dask, and how it grows.

Run it from the project's folder: `python tests/bench/batch.py [--dask] [--many]`. The artworks are invented name plates; times
on the clock of this computer, so compare within one run only.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "batch"))
from name_plates import name_plate

from tint.artwork.artwork import read_artwork
from tint.batch.engine import Engine, Local
from tint.batch.run import run_batch
from tint.batch.task import Order
from tint.job.job import write_job
from tint.layers.separate import separate
from tint.palette.palette import read_palette


def plates(folder: Path, count: int) -> Path:
    """Folder with so many different name plates of 60 × 20 mm."""
    folder.mkdir()
    for number in range(count):
        text = name_plate(number % 17, 60, 20).replace('cx="5"', f'cx="{5 + number / 100}"')
        (folder / f"plate {number:05d}.svg").write_text(text, encoding="utf-8")
    return folder


def one_by_one(folder: Path, out: Path, order: Order) -> float:
    """Seconds for the same work without a batch: read, separate and write each, in this process."""
    began = time.perf_counter()
    for path in sorted(folder.iterdir()):
        write_job(separate(read_artwork(path), order.palette), order.machine, out / path.stem)
    return time.perf_counter() - began


def batch(folder: Path, out: Path, order: Order, engine: Engine) -> float:
    """Seconds of a whole batch."""
    began = time.perf_counter()
    assert not run_batch(folder, out, order, engine=engine).failed
    return time.perf_counter() - began


def main() -> None:
    """Prints the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--dask", action="store_true", help="a LocalCluster of two processes too")
    parser.add_argument("--many", action="store_true", help="growth over 10, 100 and 1,000 artworks")
    options = parser.parse_args()
    palette = read_palette(Path(__file__).parents[2] / "palettes" / "demo-304" / "palette.json")
    order = Order(palette, palette.machine)
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        art = plates(root / "art", options.count)
        one_by_one(plates(root / "warm", 2), root / "warm-out", order)
        alone = one_by_one(art, root / "alone", order)
        print(f"{options.count} name plates          seconds   each [ms]   against one by one")
        _row("one by one, no batch", alone, options.count, alone)
        for workers in (1, 2):
            _row(f"batch, {workers} process(es)", batch(art, root / f"b{workers}", order, Local(workers)), options.count, alone)
        if options.dask:
            _row("batch, Dask, 2 processes", _dask(art, root / "dask", order), options.count, alone)
        _row("batch again, all kept", batch(art, root / "b2", order, Local(2)), options.count, alone)
        for count in (10, 100, 1000) if options.many else ():
            _row(f"{count} artworks, 2 processes", batch(plates(root / f"a{count}", count), root / f"m{count}", order, Local(2)), count)


def _dask(art: Path, out: Path, order: Order) -> float:
    import distributed

    from tint.batch.cluster import Cluster

    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        engine = Cluster(cluster.scheduler_address)
        taken = batch(art, out, order, engine)
        engine.close()
    return taken


def _row(what: str, seconds: float, count: int, alone: Any = None) -> None:
    ratio = f"{alone / seconds:12.2f} ×" if alone else ""
    print(f"{what:26s}{seconds:9.1f}{1000 * seconds / count:12.0f}   {ratio}", flush=True)


if __name__ == "__main__":
    main()
