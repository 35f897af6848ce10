"""Prints what becomes of thousands of mutated inputs, format by format: `python tests/bench/fuzz.py -n 10000`.

Each format runs in a process of its own whose address space is limited; the peak is what one input added to the process. The same
`--seed` makes the same inputs, and `--only FORMAT --one N` shows a single one again.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))
from formats import FORMATS
from good_shop import Shop, run
from tried import try_one

LIMIT_GB = 6.0  # address space of a worker: numerical libraries alone reserve 2 to 3


def high_water_mb() -> float:
    """Peak of resident memory since the last `forget` [MB]; 0 where the system does not tell."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1e3
    except (OSError, StopIteration):
        return 0.0


def forget() -> None:
    """Lets the peak of resident memory begin anew."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        pass


def work(form, shop: Shop, seeds: range) -> dict:
    """Counts of one format."""
    resource.setrlimit(resource.RLIMIT_AS, (int(LIMIT_GB * 1e9),) * 2)
    with tempfile.TemporaryDirectory() as place:
        found, slowest, peak, faults = Counter(), (0.0, 0), (0.0, 0), []
        for seed in seeds:
            forget()
            start = high_water_mb()
            one = try_one(form, shop, seed, Path(place) / "try")
            grown = high_water_mb() - start
            found["accepted" if one.accepted else "refused"] += 1
            slowest, peak = max(slowest, (one.seconds, seed)), max(peak, (grown, seed))
            if one.fault:
                faults.append((seed, one.fault))
                print(f"{form.name} {seed}: {one.fault[:1500]}", file=sys.stderr, flush=True)
    return {"counts": found, "slowest": slowest, "peak": peak, "faults": faults}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0, help="first input of each format")
    parser.add_argument("--only", help="formats whose name holds this")
    parser.add_argument("--one", type=int, help="show input N of the format named by --only")
    parser.add_argument("--demo", type=Path, help="folder of `tint demo`, to save building it")
    parser.add_argument("--as-worker", nargs=3, help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.as_worker:
        name, first, count = said.as_worker
        form = next(form for form in FORMATS if form.name == name)
        with tempfile.TemporaryDirectory() as place:
            shop = Shop(said.demo, Path(place) / "shop")
            print(json.dumps(work(form, shop, range(int(first), int(first) + int(count)))))
        return
    with tempfile.TemporaryDirectory() as place:
        demo = said.demo or Path(place) / "demo"
        if said.demo is None:
            assert run("demo", demo).exit_code == 0
        chosen = [form for form in FORMATS if not said.only or said.only in form.name]
        if said.one is not None:
            print(try_one(chosen[0], Shop(demo, Path(place) / "shop"), said.one, Path(place) / "try"))
            return
        print(
            f"{'format':30s} {'inputs':>6s} {'refused':>7s} {'accepted':>8s} {'faults':>6s} {'slowest s':>9s} {'peak MB':>7s}"
        )
        total: Counter = Counter()
        for form in chosen:
            count = max(1, round(said.n * form.share / sum(one.share for one in chosen)))
            words = [
                sys.executable,
                __file__,
                "--demo",
                str(demo),
                "--as-worker",
                form.name,
                str(said.seed),
                str(count),
            ]
            done = subprocess.run(words, stdout=subprocess.PIPE, text=True)
            if done.returncode:
                print(f"{form.name:30s} the process died with {done.returncode}", flush=True)
                total["faults"] += 1
                continue
            told = json.loads(done.stdout)
            counts = told["counts"]
            row = {
                "inputs": count,
                **{key: counts.get(key, 0) for key in ("refused", "accepted")},
                "faults": len(told["faults"]),
            }
            total.update(row)
            numbers = f"{row['inputs']:6d} {row['refused']:7d} {row['accepted']:8d} {row['faults']:6d}"
            print(f"{form.name:30s} {numbers} {told['slowest'][0]:9.2f} {told['peak'][0]:7.0f}", flush=True)
        print(
            f"{'together':30s} {total['inputs']:6d} {total['refused']:7d} {total['accepted']:8d} {total['faults']:6d}"
        )
    sys.exit(bool(total["faults"]))


if __name__ == "__main__":
    main()
