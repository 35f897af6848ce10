"""The invented shop, built and run: from grid to job on a simulated laser, then the same flow on real marks."""

from __future__ import annotations

import textwrap
import time
from collections.abc import Callable
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from tint.artwork.artwork import Artwork, read_artwork
from tint.caution import SHORT
from tint.check.strip import plan_strip
from tint.demo.art import KINGFISHER_SVG, SIGN_WIDTH_MM, shaded_kingfisher
from tint.demo.laser import DEMO_RANGES, SimulatedLaser, demo_machine, demo_stock
from tint.demo.markers import trail_markers
from tint.demo.photo import photo_jpeg
from tint.files.write import new_folder
from tint.job.job import write_job
from tint.layers.folder import write_layers
from tint.layers.layers import Layers
from tint.layers.separate import separate
from tint.measure.patches import Patches, read_patches, reading_table, write_patches
from tint.measure.reading import patches_from_reading
from tint.model.fit import fit
from tint.model.model import ColourModel, write_model
from tint.model.report import report_text
from tint.palette.choose import choose_palette
from tint.palette.palette import Palette
from tint.palette.swatches import write_palette_and_picture
from tint.plan.first import plan_grid
from tint.plan.plate import write_plate
from tint.setting import Machine, Stock, toml_text

PATCHES, COLOURS = 96, 9  # what a shop would mark in under an hour, and the layers a person keeps track of
FADED = 0.965  # of the power, between the first strip and the later one
INVENTED = "invented for the demo of tint; no such machine, sheet or shop"


def run_demo(folder: str | Path, *, force: bool = False, progress: Callable[[str], None] | None = None) -> str:
    """What was made and what to look at first, in words; the folder is written whole or not at all.

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    """
    started = time.monotonic()
    step = progress or (lambda text: None)
    with new_folder(folder, "demo", force=force) as place:
        artwork = _draw_artwork(place / "artwork", step)
        simulated = _simulated_shop(place / "simulated", artwork, step)
        real = _real_marks(place / "real-marks", artwork, step)
        step("side by side")
        _side_by_side(simulated, real).save(place / "side-by-side.png")
        (place / "README.txt").write_text(_readme(), encoding="utf-8")
    return (
        f"done in {time.monotonic() - started:.0f} s. Look at, in {folder}:\n"
        "  side-by-side.png                      the sign on simulated and on real colours\n"
        "  simulated/job-sign/README.txt         the job folder, file by file\n"
        "  simulated/job-sign/sheet.pdf          the sheet for the bench\n"
        "  simulated/report.txt                  how far off the model is, on patches it had not seen\n"
        "  README.txt                            everything else"
    )


def _draw_artwork(place: Path, step: Callable[[str], None]) -> tuple[Artwork, Artwork]:
    from PIL import Image

    step("drawing the artwork: a kingfisher sign, flat (SVG) and shaded (PNG)")
    place.mkdir()
    (place / "kingfisher.svg").write_text(KINGFISHER_SVG, encoding="utf-8")
    (place / "markers").mkdir()
    for name, text in trail_markers().items():
        (place / "markers" / name).write_text(text, encoding="utf-8")
    Image.fromarray(shaded_kingfisher(place / "kingfisher.svg")).save(place / "kingfisher-shaded.png")
    return read_artwork(place / "kingfisher.svg"), read_artwork(place / "kingfisher-shaded.png", SIGN_WIDTH_MM)


def _simulated_shop(
    place: Path, artwork: tuple[Artwork, Artwork], step: Callable[[str], None]
) -> tuple[Palette, Layers, Layers]:
    step(f"SIMULATED shop: planning a grid of {PATCHES} patches, marking and measuring it")
    place.mkdir()
    machine, stock = demo_machine(), demo_stock()
    (place / "machine.toml").write_text(toml_text(machine, (INVENTED,)), encoding="utf-8")
    (place / "stock.toml").write_text(toml_text(stock, (INVENTED,)), encoding="utf-8")
    grid = plan_grid(machine, stock, PATCHES, ranges=DEMO_RANGES, name="plate 1", seed=1)
    write_plate(grid, place / "plate-1")
    marked = SimulatedLaser(machine).mark(grid, seed=2)
    (place / "reading.csv").write_text(reading_table(marked), encoding="utf-8")
    (place / "photo.jpg").write_bytes(photo_jpeg(grid, marked))
    patches = patches_from_reading(grid, place / "reading.csv")
    made = _from_patches(place, patches, machine, stock, artwork, step)
    _mark_strips(place, made[0])
    return made


def _mark_strips(place: Path, palette: Palette) -> None:
    """A strip of the palette, and its patches as marked at first and after the laser has lost power."""
    strip = plan_strip(palette, palette.machine, palette.stock, name="strip 1", seed=1)
    write_plate(strip, place / "strip-1")
    laser = SimulatedLaser(palette.machine)
    for name, seed, power in (("first", 3, 1.0), ("later", 4, FADED)):
        marked = laser.mark(strip, seed=seed, power=power)
        write_patches(replace(marked, facts={**marked.facts, "grid": strip.name}), place / f"strip-{name}.csv")


def _real_marks(
    place: Path, artwork: tuple[Artwork, Artwork], step: Callable[[str], None]
) -> tuple[Palette, Layers, Layers]:
    step("REAL marks (open data, camera colours): the same flow")
    place.mkdir()
    machine, stock = open_machine(), open_stock()
    said = "as the open data state it; what they do not state is assumed: pulse widths, frequencies, top speed, field, spot"
    (place / "machine.toml").write_text(toml_text(machine, (said,)), encoding="utf-8")
    (place / "stock.toml").write_text(
        toml_text(stock, ("grade and sheet size are not stated in the open data: assumed",)), encoding="utf-8"
    )
    return _from_patches(place, open_patches(), machine, stock, artwork, step)


def _from_patches(
    place: Path,
    patches: Patches,
    machine: Machine,
    stock: Stock,
    artwork: tuple[Artwork, Artwork],
    step: Callable[[str], None],
) -> tuple[Palette, Layers, Layers]:
    """From measured patches to two job folders: the part of the flow that is the same for everybody."""
    write_patches(patches, place / "patches.csv")
    step("  fitting colour to settings")
    model = fit(patches, machine, stock)
    _write_model(model, place)
    step(f"  choosing {COLOURS} colours for the sign")
    palette = choose_palette(model, COLOURS, artwork=artwork[0], name=f"{stock.name}: kingfisher")
    write_palette_and_picture(palette, place / "palette.json")
    separated = []
    for art, name in zip(artwork, ("sign", "shaded"), strict=True):
        step(f"  separating the {name} and writing its job")
        layers = separate(art, palette)
        write_layers(layers, place / f"layers-{name}")
        write_job(layers, machine, place / f"job-{name}")
        separated.append(layers)
    return palette, separated[0], separated[1]


def _write_model(model: ColourModel, place: Path) -> None:
    write_model(model, place / "model.json")
    (place / "report.txt").write_text(report_text(model.report) + "\n", encoding="utf-8")


def open_patches() -> Patches:
    """Patches of the open 6 ns grid: real marks on stainless steel, as camera colours; see the file's own first lines."""
    return read_patches(str(files("tint") / "data" / "open_6ns.csv"))


def open_machine() -> Machine:
    """Machine of the open 6 ns grid: power and lens as its source states them, the rest assumed."""
    return Machine(
        name="100 W source, 290 mm lens (open data)", max_power_w=100.0, pulse_ns=(2.0, 500.0), freq_khz=(1.0, 4000.0),
        max_speed_mm_s=10000.0, field_mm=(175.0, 175.0), lens_focal_mm=290.0, spot_um=60.0,
    )  # fmt: skip


def open_stock() -> Stock:
    """Stock of the open 6 ns grid: polished stainless 1.2 mm; grade and size are not stated there."""
    return Stock("polished stainless (open data)", "stainless (grade not stated)", "polished", 1.2, (150.0, 150.0))


def _side_by_side(simulated: tuple[Palette, Layers, Layers], real: tuple[Palette, Layers, Layers]) -> Any:
    from PIL import Image, ImageDraw, ImageFont

    from tint.layers.proof import proof_image

    width, gap, head = 900, 30, 74
    proofs = [[proof_image(layers, max_px=width) for layers in side[1:]] for side in (simulated, real)]
    height = proofs[0][0].height
    sheet = Image.new("RGB", (2 * width + 3 * gap, 2 * (height + gap) + head), (119, 119, 119))
    draw, font = ImageDraw.Draw(sheet), ImageFont.load_default(26)
    titles = (
        "SIMULATED colours: the invented shop",
        "REAL marks, camera colours: open 6 ns grid (blues, purples, straw)",
    )
    for column, title in enumerate(titles):
        x = gap + column * (width + gap)
        draw.text((x, 24), title, font=font, fill="white")
        for row in range(2):
            sheet.paste(proofs[column][row], (x, head + row * (height + gap)))
    return sheet


def _readme() -> str:
    lines = [
        "The invented shop of tint: one sign, from test grid to job folder",
        "=================================================================",
        "",
        "artwork/                 kingfisher.svg (flat colours) and kingfisher-shaded.png; invented for this demo",
        "artwork/markers/         six small trail markers, for tint batch",
        "side-by-side.png         proofs of both, on simulated colours (left) and on real marks (right)",
        "",
        "simulated/               NOTHING HERE WAS MARKED: an invented laser answers with simulated colours",
        "  machine.toml           what the laser can do; yours goes in a file like this",
        "  stock.toml             the metal",
        "  plate-1/               the test grid: which squares, which settings, in which order",
        "  reading.csv            what the (simulated) instrument read",
        "  photo.jpg              the plate beside a colour chart, drawn as a camera would see it; to read it:",
        "                         tint measure plate-1 photo.jpg --kind photo --chart before-nov-2014 -o photographed.csv",
        "  patches.csv            settings and colours together",
        "  model.json             colour from settings; report.txt says how far off it is",
        "  palette.json           the colours chosen for the sign; palette.swatches.png shows them",
        "  strip-1/               a short strip of the palette's own settings, to check it by; strip-first.csv is how it read at",
        "                         first, strip-later.csv after the (simulated) laser had lost 3.5 % of its power",
        "  layers-sign/           the flat sign in layers: proof.png, labels.png, layers.json, report.txt",
        "  layers-shaded/         the shaded sign likewise",
        "  job-sign/              what goes to the bench; start with README.txt and sheet.pdf",
        "  job-shaded/            likewise",
        "",
        "real-marks/              the same, on 100 real marks on stainless steel from an open repository (see the first",
        "                         lines of patches.csv). Their colours were read from a photograph: compare them with each",
        "                         other, never with an instrument.",
        "",
        "The same, step by step, in simulated/:",
        "  tint fit patches.csv --machine machine.toml --stock stock.toml -o model.json",
        "  tint palette model.json -n 9 --for ../artwork/kingfisher.svg -o palette.json",
        "  tint separate ../artwork/kingfisher.svg palette.json -o layers-sign",
        "  tint job layers-sign machine.toml -o job-sign",
        "  (each refuses to replace what is there; choose another -o, or add --force)",
        "What each step means, and what to do when it goes wrong: tint guide",
        "",
        *textwrap.wrap(SHORT, 110),
        "",
    ]
    return "\n".join(lines)
