"""Prints the performance page, in Markdown: every bench run one after the other, each in a process of its own.

    python tests/bench/performance.py              what takes under ten minutes on two cores
    python tests/bench/performance.py --full       everything, some hours
    python tests/bench/performance.py --only model --only photo      parts whose title holds a word
    python tests/bench/performance.py -o page.md   to a file

Times are of this computer while it did whatever else it does: compare within one run, by the ratios. Lasers and most pictures are
simulated, as each part says. A bench that fails or takes too long is told and stops no other.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

HERE = Path(__file__).parent
QUICK_S, FULL_S = 600.0, 7200.0  # a part that takes longer is stopped; quick ones take one or two minutes of an idle computer
# name on a package index -> what it is compared at; imagequant is GPL: compared with, never used
PEERS = {
    "Pillow": "decoding, quantising, painting", "dithering": "error diffusion", "epaper-dithering": "error diffusion",
    "imagequant": "palette and error diffusion", "scikit-image": "structural similarity, standard pictures",
    "scikit-learn": "plain rivals of the colour model", "opencv-python-headless": "finding marks", "shapely": "outlines, hatching",
    "scipy": "the proven optimum (HiGHS)", "distributed": "a cluster's scheduler",
}  # fmt: skip


@dataclass(frozen=True)
class Part:
    """A bench: its script, and the words it is called with in a quick and in a full run; None leaves it out."""

    title: str
    script: str
    quick: str | None
    full: str


PARTS = (
    Part("Separation beside other programs", "separation_table.py", "--quick", ""),
    Part("Separation, growth with the picture", "separation_table.py", "--growth photo", "--growth"),
    Part("A 24 megapixel picture to layers and outlines", "picture_24mp.py", None, ""),
    Part("Gamut maps and halftones", "gamut_table.py", None, ""),
    Part("A drawing of 2,000 shapes", "drawing_2000_shapes.py", "", ""),
    Part("Colour model on simulated lasers", "model_table.py", "--patches 48", "--patches 24,48,96,200 --seeds 2"),
    Part("Colour model on simulated lasers never used for tuning", "model_table.py", None, "--patches 24,48,96,200 --apart"),
    Part("Colour model on real marks, camera colours", "open_grid.py", None, ""),
    Part("Model carried over to another stock or machine", "transfer_table.py", None, ""),
    Part("Settings for a wished colour", "match_table.py", None, "--seeds 2"),
    Part("The next grid", "next_grid_table.py", None, ""),
    Part("Settings borrowed from another machine", "borrow_table.py", None, ""),
    Part("Choosing colours, beside the proven optimum", "palette_400.py", None, ""),
    Part("Colours from photographs", "photo_table.py", "--quick", ""),
    Part("Misplaced readings", "placing_table.py", "12", ""),
    Part("Strips: drift seen, named, corrected", "check_table.py", None, ""),
    Part("Hatching", "hatch.py", "", ""),
    Part("Job sheet", "job_sheet.py", "", ""),
    Part("Batch, growth with the number of artworks", "batch.py", "--growth", "--growth"),
    Part("Batch, beside the single command", "batch.py", None, ""),
    Part("The desk", "desk.py", None, ""),
)  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """What became of a part: its text, and what it cost; the peak [MB] is that of its largest process."""

    text: str
    verdict: str
    clock_s: float
    cpu_s: float
    peak_mb: float


def run(part: Part, words: str, most_s: float) -> Outcome:
    """A bench's output and cost, in a process of its own that is ended with all it started when it takes too long."""
    with tempfile.TemporaryFile("w+", encoding="utf-8") as said:
        began = time.monotonic()
        process = subprocess.Popen(
            [sys.executable, str(HERE / part.script), *words.split()], cwd=HERE.parents[1], stdout=said, stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL, start_new_session=True, env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "120"},
        )  # fmt: skip
        ended = 0
        while not ended and time.monotonic() < began + most_s:
            time.sleep(0.1)
            ended, status, used = os.wait4(process.pid, os.WNOHANG)
        if not ended:
            os.killpg(process.pid, signal.SIGKILL)
            _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        verdict = f"FAILED with exit code {process.returncode}" if process.returncode else "done"
        said.seek(0)
        return Outcome(
            said.read().strip(), verdict if ended else f"STOPPED after {most_s:.0f} s", time.monotonic() - began,
            used.ru_utime + used.ru_stime, used.ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3),
        )  # fmt: skip


def page_head(full: bool) -> str:
    """Title, computer and peers with their versions, as Markdown."""
    kind = "full" if full else "quick"
    rows = [f"| {name} | {_version(name)} | {what} |" for name, what in PEERS.items()]
    magick = shutil.which("magick") or shutil.which("convert")
    told = subprocess.run([magick, "-version"], capture_output=True, text=True, check=False).stdout.split() if magick else []
    rows.append(f"| ImageMagick | {told[2] if len(told) > 2 and told[1] == 'ImageMagick' else 'absent'} | remapping to a palette |")
    return "\n".join([
        "# Performance",
        "",
        f"tint {_version('tint')}, a {kind} run on {platform.system()}, {platform.machine()}, {os.cpu_count()} cores, "
        f"Python {platform.python_version()}, numpy {_version('numpy')}. Times are of this computer and this run: compare the "
        "ratios. Lasers and most pictures are simulated; they show what the software does, never how metal behaves.",
        "",
        "| beside | version | at |",
        "|---|---|---|",
        *rows,
        "",
    ])  # fmt: skip


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "absent"


def part_text(part: Part, words: str, outcome: Outcome) -> str:
    """A part's section, as Markdown; its numbers stand as the bench printed them."""
    called = f"python tests/bench/{part.script} {words}".strip()
    text = outcome.text if outcome.verdict == "done" else "\n".join(outcome.text.splitlines()[-15:])
    verdict = "" if outcome.verdict == "done" else f"**{outcome.verdict}.** "
    return f"## {part.title}\n\n{verdict}`{called}`\n\n```text\n{text or '(no output)'}\n```\n"


def costs_text(rows: list[tuple[Part, Outcome]]) -> str:
    """Table of what each part cost, as Markdown."""
    lines = ["## What the page cost", "", "| part | | clock s | processor s | peak MB |", "|---|---|---:|---:|---:|"]
    lines += [
        f"| {part.title} | {one.verdict} | {one.clock_s:.0f} | {one.cpu_s:.0f} | {one.peak_mb:.0f} |" for part, one in rows
    ]
    total = sum(one.clock_s for _, one in rows), sum(one.cpu_s for _, one in rows)
    return "\n".join([*lines, f"| together | | {total[0]:.0f} | {total[1]:.0f} | |", ""])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="what takes under ten minutes (the default)")
    parser.add_argument("--full", action="store_true", help="everything, some hours")
    parser.add_argument("--only", action="append", default=[], metavar="WORD", help="parts whose title holds this; may be repeated")
    parser.add_argument("-o", "--output", type=Path, help="write the page here instead of to standard output")
    asked = parser.parse_args()
    sections, rows = [page_head(asked.full)], []
    for part in PARTS:
        words = part.full if asked.full else part.quick
        if words is None or (asked.only and not any(word.lower() in part.title.lower() for word in asked.only)):
            continue
        outcome = run(part, words, FULL_S if asked.full else QUICK_S)
        print(f"{part.title}: {outcome.verdict}, {outcome.clock_s:.0f} s", file=sys.stderr, flush=True)
        sections.append(part_text(part, words, outcome))
        rows.append((part, outcome))
    text = "\n".join([*sections, costs_text(rows)])
    if asked.output is None:
        print(text)
    else:
        asked.output.write_text(text, encoding="utf-8")
    return 1 if any(outcome.verdict != "done" for _, outcome in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
