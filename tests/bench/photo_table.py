"""How far off colours read from SIMULATED photographs are, and how honest their stated uncertainty is.

Run: python tests/bench/photo_table.py [--quick]

Scenes are those of tests/measure/photo/photo_scene.py. The weights of the uncertainty and the limits of the flags were set on
the first group; the second has cameras and lights that played no part in that.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "measure" / "photo"))

from photo_scene import View, bare_reflectance, film_reflectances, save, take

from tint.demo.laser import DEMO_RANGES, demo_machine, demo_stock
from tint.errors import TintError
from tint.lab import delta_e00
from tint.measure.photo.read import read_photo
from tint.plan.first import plan_grid

GRID = plan_grid(demo_machine(), demo_stock(), 96, ranges=DEMO_RANGES, seed=1)
NIKON, SIGMA = "Nikon 5100 (NPL)", "Sigma SDMerill (NPL)"
TUNED = {
    "daylight, even": (View(light="D50", fall_off=0.05), "two oxides"),
    "daylight, 30 % fall-off": (View(light="D65", fall_off=0.3), "two oxides"),
    "round fall-off, turned": (View(light="D50", fall_off=0.3, fall_shape="round", turn_deg=70), "magnetite"),
    "perspective": (View(light="D65", tilt=(0.15, -0.1), turn_deg=15), "two oxides"),
    "LED": (View(light="LED-B3", fall_off=0.2), "two oxides"),
    "LED, magnetite": (View(light="LED-B5", fall_off=0.2), "magnetite"),
    "tungsten": (View(light="A"), "two oxides"),
    "tungsten, wide camera": (View(light="A", camera=f"wide {NIKON}"), "two oxides"),
    "fluorescent": (View(light="FL2", camera=f"wide {NIKON}"), "two oxides"),
    "glare streak": (View(light="D65", glare=0.25), "two oxides"),
    "weak glare": (View(light="D65", glare=0.06, glare_mm=(60, 50, 14)), "two oxides"),
    "finger shadow": (View(light="D50", finger=True), "two oxides"),
    "noise and JPEG 60": (View(light="D65", noise=0.02, jpeg=60), "two oxides"),
    "tone curve": (View(light="D65", tone=0.15), "two oxides"),
    "over-exposed": (View(light="D65", exposure=1.15), "two oxides"),
    "dark": (View(light="D65", exposure=0.3), "two oxides"),
    "raw colours": (View(light="D50", to_srgb=False), "titanium"),
    "blur": (View(light="D65", blur_px=2.0), "two oxides"),
    "scratches": (View(light="D65", scratch=("B03", "E07", "H02")), "two oxides"),
    "everything": (View(light="LED-B3", fall_off=0.3, glare=0.2, tone=0.1, noise=0.01, jpeg=80,
                        turn_deg=200, tilt=(0.1, 0.1), chart_turn_deg=180), "two oxides"),
}  # fmt: skip
HELD_OUT = {
    "daylight, camera 2": (View(light="D75", camera=SIGMA, fall_off=0.2), "two oxides"),
    "daylight, camera 2, titanium": (View(light="D55", camera=SIGMA, chart_spectra="ColorChecker N Ohta"), "titanium"),
    "daylight, shifted camera": (View(light="D65", camera=f"shifted {NIKON}", fall_off=0.3, fall_deg=200), "magnetite"),
    "LED B1": (View(light="LED-B1", fall_off=0.3), "two oxides"),
    "LED B4, camera 2": (View(light="LED-B4", camera=SIGMA, fall_off=0.3, fall_deg=120), "two oxides"),
    "LED V1": (View(light="LED-V1", camera=f"shifted {NIKON}"), "two oxides"),
    "LED RGB": (View(light="LED-RGB1", camera=f"narrow {NIKON}"), "two oxides"),
    "LED B2": (View(light="LED-B2", camera=f"narrow {NIKON}", chart_spectra="ColorChecker N Ohta"), "two oxides"),
    "tungsten, camera 2": (View(light="A", camera=SIGMA), "two oxides"),
    "tungsten, shifted camera": (View(light="A", camera=f"shifted {NIKON}"), "two oxides"),
    "tungsten, narrow camera": (View(light="ISO 7589 Studio Tungsten", camera=f"narrow {NIKON}"), "two oxides"),
    "fluorescent FL7": (View(light="FL7", camera=f"narrow {NIKON}", fall_off=0.3, fall_shape="round"), "two oxides"),
    "fluorescent FL11": (View(light="FL11", chart_spectra="ColorChecker N Ohta"), "two oxides"),
    "fluorescent FL4, camera 2": (View(light="FL4", camera=SIGMA), "two oxides"),
    "glare, camera 2": (View(light="D55", camera=SIGMA, glare=0.4, glare_mm=(50, 60, 16)), "two oxides"),
    "glare, LED": (View(light="LED-B4", glare=0.12, glare_mm=(30, 80, 30)), "two oxides"),
    "finger, small chart": (View(light="D55", finger=True, chart_mm=9, chart_gap_mm=1.5, camera=f"narrow {NIKON}"), "two oxides"),
    "tone, noise, JPEG 50": (View(light="D75", tone=0.2, noise=0.02, jpeg=50, camera=f"shifted {NIKON}"), "two oxides"),
    "over-exposed": (View(light="D55", exposure=1.25, camera=f"narrow {NIKON}"), "two oxides"),
    "steep, turned chart": (View(light="D55", tilt=(-0.2, 0.12), turn_deg=290, chart_turn_deg=40, fall_off=0.3), "magnetite"),
    "large chart": (View(light="D55", chart_mm=38, chart_gap_mm=5, size_px=(2400, 1600)), "two oxides"),
}  # fmt: skip


def row(name: str, view: View, films: str, place: Path, edition: str = "before-nov-2014") -> dict:
    spectra = film_reflectances(len(GRID), films, seed=3)
    taken = take(GRID, spectra, view, bare_reflectance("titanium" if films == "titanium" else "austenitic steel"))
    path = place / f"{name.replace(' ', '-').replace(',', '')}.jpg"
    save(taken, path, view)
    started = time.monotonic()
    try:
        patches, said = read_photo(GRID, path, chart=edition)
    except TintError as error:
        return {"name": name, "refused": str(error)}
    away, good = delta_e00(patches.lab, taken.lab), patches.good
    return {
        "name": name, "away": away, "good": good, "sd": patches.sd, "scene": said[0].scene, "seconds": time.monotonic() - started,
        "lab": taken.lab, "read": patches.lab, "one": said[0], "flags": patches.flags,
    }  # fmt: skip


def line(one: dict) -> str:
    if "refused" in one:
        return f"{one['name']:32s} refused: {one['refused']}"
    away, good = one["away"], one["good"]
    kept = away[good]
    bad = np.median(away[~good]) if (~good).any() else np.nan
    ratio = np.sqrt(np.mean((kept / one["sd"][good]) ** 2))
    return (
        f"{one['name']:32s} {np.median(kept):6.2f} {np.percentile(kept, 95):6.2f} {100 * (~good).mean():7.0f} {bad:9.1f} "
        f"{np.sqrt(np.mean(one['sd'][good] ** 2)):6.2f} {ratio:8.2f} {np.median(kept / one['sd'][good]):8.2f} "
        f"{one['scene'].held_out:6.2f} {one['scene'].kind:>16s} {one['seconds']:5.1f}"
    )


def table(group: dict, title: str, place: Path) -> list[dict]:
    print(
        f"\n{title}\n{'scene':32s} median    p95  flag %  flagged     sd  rms e/sd  med e/sd  held       correction     s",
        flush=True,
    )
    rows = []
    for name, (view, films) in group.items():
        rows.append(row(name, view, films, place))
        print(line(rows[-1]), flush=True)
    read = [one for one in rows if "away" in one]
    kept = np.concatenate([one["away"][one["good"]] for one in read])
    ratio = np.concatenate([(one["away"] / one["sd"])[one["good"]] for one in read])
    print(
        f"{'all unflagged patches':32s} {np.median(kept):6.2f} {np.percentile(kept, 95):6.2f}   rms of error / sd "
        f"{np.sqrt(np.mean(ratio**2)):.2f}, median {np.median(ratio):.2f}, share under 2 sd {np.mean(ratio < 2):.3f}"
    )
    return rows


def large(place: Path) -> None:
    view = View(light="D65", size_px=(6000, 4000), blur_px=1.5)
    taken = take(GRID, film_reflectances(len(GRID), seed=3), view)
    save(taken, place / "large.jpg", view)
    del taken
    import subprocess

    code = (
        "import sys, time; from pathlib import Path; from tint.plan.grid import read_grid; from tint.measure.photo.read import read_photo\n"
        "start = time.monotonic(); read_photo(read_grid(sys.argv[1]), sys.argv[2], chart='before-nov-2014')\n"
        "peak_kb = int(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])\n"
        "print(f'24 MP: {time.monotonic() - start:.1f} s, {peak_kb / 1e6:.2f} GB')"
    )
    from tint.plan.grid import write_grid

    write_grid(GRID, place / "grid.json")
    words = [sys.executable, "-c", code, str(place / "grid.json"), str(place / "large.jpg")]
    print("\n" + subprocess.run(words, capture_output=True, text=True, check=True).stdout.strip())


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        table(TUNED, "TUNED: cameras and lights the limits were set on (simulated)", Path(folder))
        if "--quick" not in sys.argv:
            table(HELD_OUT, "HELD OUT: other cameras and lights (simulated)", Path(folder))
            large(Path(folder))
