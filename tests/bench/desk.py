"""How fast and how heavy the desk is: first page, preview after a change at 24 megapixels, page weight, memory.

    python tests/bench/desk.py [FOLDER]

FOLDER is a demo shop (`tint demo FOLDER`); without it one is built first. The picture is simulated: the demo's kingfisher at
6000 × 4000 pixels with noise, so that it has as many colours as a photograph.
"""

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "desk"))

import numpy as np
from PIL import Image
from running_desk import PAGE_FILES, RunningDesk

from tint.demo.shop import run_demo


def picture_24mp(folder, shop):
    path = folder / "kingfisher-24mp.jpg"
    big = (
        Image.open(shop / "artwork/kingfisher-shaded.png").convert("RGB").resize((6000, 4000), Image.Resampling.BICUBIC)
    )
    noise = np.random.default_rng(0).integers(-6, 7, (4000, 6000, 3))
    Image.fromarray(np.clip(np.asarray(big) + noise, 0, 255).astype(np.uint8)).save(path, quality=92)
    return path


def memory_mb(pid):
    """Resident and highest resident memory of a process and its children [MB] (Linux)."""
    total = [0.0, 0.0]
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            lines = dict(line.split(":", 1) for line in status.read_text().splitlines() if ":" in line)
        except OSError:
            continue
        if str(pid) in (lines["Pid"].strip(), lines["PPid"].strip()) and "VmRSS" in lines:
            for k, name in enumerate(("VmRSS", "VmHWM")):
                total[k] += int(lines[name].split()[0]) / 1e3
    return total


def cpu_s(pid):
    """Processor time of a process so far [s] (Linux): what a step would take on a machine that does nothing else."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def timed(call):
    start = time.perf_counter()
    answer = call()
    return time.perf_counter() - start, answer


def main():
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        if len(sys.argv) > 1:
            shop = Path(sys.argv[1])
        else:
            shop = folder / "shop"
            run_demo(shop)
        path = picture_24mp(folder, shop)
        start = time.perf_counter()
        desk = RunningDesk(shop).enter()
        first = time.perf_counter() - start
        try:
            weight = sum(
                len(desk.raw("GET", name, desk.own)[2]) for name in ("/", *(f"/static/{name}" for name in PAGE_FILES))
            )
            print(f"first page after the command      {first:6.2f} s   (aim 2)")
            print(f"page weight                       {weight / 1e3:6.0f} kB  (aim 500)")
            state, _ = timed(lambda: desk.get("state"))
            print(f"state of the page                 {state:6.2f} s")
            _, (_, item) = timed(lambda: desk.load("artwork", path.name, path.read_bytes()))
            opened, _ = timed(lambda: desk.post("artwork/open", file=item["id"], width_mm=90))
            print(f"24 MP picture decoded and reduced {opened:6.2f} s   (once)")
            palette, model = (
                desk.files("palette")["simulated/palette.json"],
                desk.files("model")["simulated/model.json"],
            )
            desk.post("artwork/try", palette=palette)
            for words, changes in {
                "another number of colours": [{"colours": n} for n in (4, 6, 8, 5, 7)],
                "another map": [{"map": how} for how in ("hue", "nearest", "tone", None)],
                "flat or cells": [{"way": way} for way in ("diffused", "flat", "ordered", "flat")],
                "colours afresh from the model": [{"palette": None, "model": model, "colours": n} for n in (6, 7, 8)],
            }.items():
                took, worked = [], []
                for change in changes:
                    before = cpu_s(desk.process.pid)
                    seconds, shown = timed(lambda change=change: desk.post("artwork/try", **change))
                    seen, _ = timed(lambda shown=shown: desk.get("artwork/picture", which="proof", rev=shown["rev"]))
                    took.append(seconds + seen)
                    worked.append(cpu_s(desk.process.pid) - before)
                print(
                    f"preview: {words:30s} {statistics.median(took):6.2f} s   (largest {max(took):.2f}; aim 1)   "
                    f"processor {statistics.median(worked):.2f} s, largest {max(worked):.2f}"
                )
            setting = desk.post("setting/model", model=model)["setting"]
            desk.post("setting/colour", model=model, setting=setting)
            dialled, _ = timed(lambda: desk.post("setting/colour", model=model, setting=setting))
            print(f"a dial turned                     {dialled:6.2f} s")
            desk.post("artwork/try", palette=palette, model=None, colours=None)
            print(
                "memory before long work           {:6.0f} MB  (highest {:.0f}; aim 1000)".format(
                    *memory_mb(desk.process.pid)
                )
            )
            start, most = time.perf_counter(), 0.0
            work = desk.post("artwork/job", hatch=False, trial=True, inset_spot=0)
            while work["state"] == "running":
                time.sleep(0.1)
                work = desk.get("work", work=work["id"])
                most = max(most, memory_mb(desk.process.pid)[0])
            print(
                f"job folder of 24 MP, zipped       {time.perf_counter() - start:6.2f} s   {work['state']} {work['error']}"
            )
            print(f"memory while it was written       {most:6.0f} MB  (desk and its work together; aim 1000)")
        finally:
            desk.end()


if __name__ == "__main__":
    main()
