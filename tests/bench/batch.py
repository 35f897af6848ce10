"""Prints what a batch costs beyond its artworks, on one and two processes, on Dask, and how it grows.

Run it from the project's folder: `python tests/bench/batch.py [--rounds 3] [--count 400]`, `… --growth` for the growth alone. The
artworks are invented name plates, each another. Two yardsticks: the commands `tint separate` and `tint job` as one runs them by
hand, and the same work in a loop in one warm process. Start-up (until the first result) stands apart from the steady state (from
a fifth of the results to the last). On a computer that does other work too, clocks tell little: the processor time of all
processes together is printed beside them, and the speed-up that it allows on as many free cores. Best of the rounds.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "batch"))
from name_plates import name_plate

from tint.batch.engine import ONE_THREAD, Engine, Local
from tint.batch.run import run_batch
from tint.batch.task import LOAD_FIRST, Order
from tint.palette.palette import read_palette

PALETTE = Path(__file__).parents[2] / "palettes" / "demo-304" / "palette.json"
VARIANTS = ("no batch", "1 process", "2 processes", "2 Dask workers")
CORES = {"no batch": 1, "1 process": 1, "2 processes": 2, "2 Dask workers": 2}


@dataclass
class Cost:
    """Seconds on the clock, until the first result, and per artwork when running; processor seconds; peak memory [MB]."""

    seconds: float
    start_s: float
    steady_s: float
    cpu_s: float
    peak_mb: float


def plates(folder: Path, count: int) -> Path:
    """Folder with so many different name plates of 60 × 20 mm."""
    folder.mkdir()
    for number in range(count):
        text = name_plate(number % 17, 60, 20).replace('cx="5"', f'cx="{5 + number / 1000}"')
        (folder / f"plate {number:05d}.svg").write_text(text, encoding="utf-8")
    return folder


def loop(folder: Path, out: Path, order: Order, step: Callable[[str], None]) -> None:
    """The same work without a batch: read, separate and write each, in this process."""
    from tint.artwork.artwork import read_artwork
    from tint.job.job import write_job
    from tint.layers.separate import separate

    for path in sorted(folder.iterdir()):
        write_job(separate(read_artwork(path), order.palette), order.machine, out / path.stem)
        step(path.name)


@contextmanager
def dask_workers(folder: Path) -> Iterator[Engine]:
    """Engine of a scheduler and two workers of one thread each, separate processes on loopback."""
    from tint.batch.cluster import Cluster

    file = folder / "scheduler.json"
    alone = {**os.environ, **ONE_THREAD, "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False"}  # it looks a hundred times a second
    where = ["--scheduler-file", str(file), "--no-dashboard"]
    ask = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", *where]
    work = [sys.executable, "-m", "distributed.cli.dask_worker", "--nthreads", "1", "--no-nanny", *where]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": alone, "cwd": folder}
    started = [subprocess.Popen(ask, **quiet)]
    try:
        while not file.is_file():
            time.sleep(0.05)
        started += [subprocess.Popen(work, **quiet) for _ in range(2)]
        engine = Cluster(json.loads(file.read_text(encoding="utf-8"))["address"])
        engine.client.wait_for_workers(2, timeout=60)
        yield engine
        engine.close()
    finally:
        for process in reversed(started):
            process.terminate()
            process.wait()


def cost(variant: str, count: int) -> Cost:
    """Cost of so many artworks; in a process of its own, so that nothing is warm."""
    from multiprocessing import forkserver

    palette = read_palette(PALETTE)
    order, told = Order(palette, palette.machine), []
    step = lambda text: told.append(time.perf_counter())  # noqa: E731
    with tempfile.TemporaryDirectory() as name:
        art, out = plates(Path(name) / "art", count), Path(name) / "out"
        if variant == "2 Dask workers":
            with dask_workers(Path(name)) as engine:
                before, began = _cpu_s(), time.perf_counter()
                done = run_batch(art, out, order, engine=engine, progress=step)
                ended = time.perf_counter()
        else:
            before, began = _cpu_s(), time.perf_counter()
            if variant == "no batch":
                loop(art, out, order, step)
            else:
                done = run_batch(art, out, order, engine=Local(int(variant[0]), LOAD_FIRST), progress=step)
            ended = time.perf_counter()
        assert variant == "no batch" or not done.failed
    if forkserver._forkserver._forkserver_pid is not None:
        forkserver._forkserver._stop()  # ended and waited for, so that its workers' time is counted
    at = len(told) // 5
    steady = (told[-1] - told[at]) / (len(told) - 1 - at)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    return Cost(ended - began, told[0] - began, steady, _cpu_s() - before, peak)


def _cpu_s() -> float:
    """Processor seconds of this process and of those it has waited for."""
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


def alone(variant: str, count: int) -> Cost:
    """`cost` in a process of its own, one thread for linear algebra."""
    words = [sys.executable, __file__, "--only", variant, "--count", str(count)]
    said = subprocess.run(words, env={**os.environ, **ONE_THREAD}, stdout=subprocess.PIPE, check=True, text=True).stdout
    return Cost(**json.loads(said.splitlines()[-1]))


def commands(tries: int) -> tuple[float, float]:
    """Seconds on the clock and of the processor for `tint separate` and `tint job` on one name plate, best of some tries."""
    best = []
    with tempfile.TemporaryDirectory() as name:
        art = next(plates(Path(name) / "art", 1).iterdir())
        for number in range(tries):
            layers, job = Path(name) / f"layers-{number}", Path(name) / f"job-{number}"
            before, began = _cpu_s(), time.perf_counter()
            for words in (["separate", art, PALETTE, "-o", layers], ["job", layers, "-o", job]):
                machine = [] if words[0] == "separate" else [_machine(Path(name))]
                run = [sys.executable, "-m", "tint.cli", *map(str, words[:2]), *map(str, machine), *map(str, words[2:])]
                subprocess.run(run, env={**os.environ, **ONE_THREAD}, capture_output=True, check=True)
            best.append((time.perf_counter() - began, _cpu_s() - before))
    return min(wall for wall, _ in best), min(cpu for _, cpu in best)


def _machine(folder: Path) -> Path:
    """A machine.toml of the palette's machine."""
    path = folder / "machine.toml"
    if not path.is_file():
        lines = [f"{key} = {json.dumps(value)}" for key, value in read_palette(PALETTE).machine.as_dict().items() if value is not None]
        path.write_text("\n".join(lines), encoding="utf-8")
    return path


def main() -> None:
    """Prints the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--growth", action="store_true", help="growth over 10, 100 and 1,000 artworks alone")
    parser.add_argument("--only", choices=VARIANTS, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.only:
        print(json.dumps(vars(cost(options.only, options.count))))
    elif options.growth:
        growth()
    else:
        table(options.count, options.rounds)


def table(count: int, rounds: int) -> None:
    """Prints the cost of every variant at a quarter of the count and at all of it; processor time apart by their difference."""
    few = max(5, count // 4)
    found: dict[tuple[str, int], list[Cost]] = {}
    for _ in range(rounds):  # interleaved: a busy minute does not fall on one variant
        for variant in VARIANTS:
            for many in (few, count):
                found.setdefault((variant, many), []).append(alone(variant, many))
    wall, cpu = commands(rounds)
    print(f"name plates, best of {rounds}; load of this computer now {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(f"tint separate, tint job as commands: {wall:.2f} s an artwork, {cpu:.2f} s of the processor")
    print(f"{'':16s}{few:>8d} {count:>9d}  start-up   steady            processor [ms]        on free cores")
    print(f"{'':16s}{'[s]':>8s} {'[s]':>9s} {'[s]':>9s}  [ms each]  speed-up  each      more    speed-up efficiency")
    best = {key: Cost(*(min(getattr(one, name) for one in costs) for name in vars(costs[0]))) for key, costs in found.items()}
    each = {name: 1000 * (best[name, count].cpu_s - best[name, few].cpu_s) / (count - few) for name in VARIANTS}
    steady = best["no batch", count].steady_s
    for name in VARIANTS:
        whole = best[name, count]
        free = CORES[name] * each["no batch"] / each[name]
        print(
            f"{name:16s}{best[name, few].seconds:8.1f} {whole.seconds:9.1f} {whole.start_s:9.2f} {1000 * whole.steady_s:9.1f} "
            f"{steady / whole.steady_s:9.2f}× {each[name]:7.1f} {each[name] / each['no batch'] - 1:9.0%} {free:10.2f}× {free / CORES[name]:9.2f}"
        )


def growth() -> None:
    """Prints time and memory of a batch over 10, 100 and 1,000 artworks."""
    costs = {many: alone("2 processes", many) for many in (10, 100, 1000)}
    print(f"a batch on 2 processes {'':8s}" + "".join(f"{many:>9,d}" for many in costs))
    for what, value in (
        ("seconds", lambda many, one: one.seconds),
        ("seconds an artwork", lambda many, one: one.seconds / many),
        ("the same, steady", lambda many, one: one.steady_s),
        ("peak memory of the parent [MB]", lambda many, one: one.peak_mb),
    ):
        print(f"{what:31s}" + "".join(f"{value(many, one):9.3g}" for many, one in costs.items()))


if __name__ == "__main__":
    main()
