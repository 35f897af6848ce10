"""Gamut maps and halftones side by side: spatial error, SSIM on L*, processor time, memory. Needs scikit-image.

    python tests/bench/gamut_table.py            maps and halftones on the pictures kept for scoring
    python tests/bench/gamut_table.py --choose   weights of the maps on the other pictures, which chose `WEIGHTS`
    python tests/bench/gamut_table.py --feedback settings of the diffusion, on the other pictures too
    python tests/bench/gamut_table.py --refine   settings of the pass that follows the diffusion, on the other pictures too
    python tests/bench/gamut_table.py --big      24 megapixels: PNG in, map, diffusion on the pixels, label PNG out

Spatial error is that of tint/layers/spatial.py: 300 mm, 0.02 mm a pixel. Colours are simulated: "films" are magnetite films of
twelve thicknesses on austenitic steel (FILMS below), dulled by a sixth, and a black mark; "demo" is palettes/demo-304.
Pictures are crops of scikit-image's standard pictures, those for choosing and those for scoring from different pictures.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402  (threads are set before it loads)

ROOT = Path(__file__).parents[2]
FILMS = (20, 30, 40, 50, 60, 80, 100, 120, 140, 160, 200)  # nm
DULL = 0.15  # share of the light that a rough surface scatters at a quarter
BLACK = (20.0, 1.0, -2.0)  # Lab of the black mark, invented
PITCH_MM, CELL_PX = 0.02, 4


def films() -> np.ndarray:
    """(13, 3) Lab: bare steel, eleven films, black."""
    from tint.film import WAVELENGTH_NM, material_index, reflectance
    from tint.lab import lab_from_reflectance

    nm = np.array([0.0, *FILMS])
    steel = material_index("austenitic steel")
    light = reflectance(WAVELENGTH_NM, [(material_index("magnetite"), nm)], steel)
    light[1:] = (1 - DULL) * light[1:] + DULL / 4
    return np.vstack([lab_from_reflectance(WAVELENGTH_NM, light), BLACK])


def palettes() -> dict[str, np.ndarray]:
    """Lab (k + 1, 3) by name, bare metal first."""
    from tint.palette.palette import read_palette

    return {"films": films(), "demo": read_palette(ROOT / "palettes" / "demo-304" / "palette.json").lab}


def pictures(scored: bool) -> dict[str, np.ndarray]:
    """sRGB bytes (h, w, 3) by name."""
    from skimage import data

    if not scored:
        cat, rocket, tissue, retina = data.chelsea(), data.rocket(), data.immunohistochemistry(), data.retina()
        return {"cat": cat, "rocket": rocket[150:], "tissue": tissue[:256, :400], "retina": retina[300:700, 100:600]}
    suit, coffee, bike, stars = data.astronaut(), data.coffee(), data.stereo_motorcycle()[0], data.hubble_deep_field()
    return {
        "face": suit[:256, 100:356], "suit": suit[256:, :256], "helmet": suit[256:, 256:], "cup": coffee[:300, 150:450],
        "wood": coffee[144:, 344:], "bike": bike[100:400, 150:450], "shelf": bike[:256, 480:736], "stars": stars[100:356, 200:456],
    }  # fmt: skip


def light_of(srgb255: np.ndarray) -> np.ndarray:
    """Light (h, w, 3)."""
    from tint.layers.difference import lab_of_srgb255
    from tint.palette.reach import light_from_lab

    return light_from_lab(lab_of_srgb255(*srgb255.reshape(-1, 3).T).T.reshape(srgb255.shape))


def ssim(one: np.ndarray, other: np.ndarray) -> float:
    """Structural similarity of L* of two lights."""
    from skimage.metrics import structural_similarity

    from tint.palette.reach import lab_from_light

    return float(structural_similarity(*(lab_from_light(each)[..., 0] for each in (one, other)), data_range=100.0))


def nearest_de00(lab: np.ndarray, gamut, nodes: int = 17):
    """Places of the gamut nearest by ΔE00 at the nodes of a coarser table, sought among many."""
    from tint.lab import lab_from_srgb1
    from tint.layers.difference import delta_e00_of

    level = np.linspace(0, 1, nodes)
    wish = lab_from_srgb1(np.stack(np.meshgrid(level, level, level, indexing="ij"), axis=-1).reshape(-1, 3))
    root = gamut.nearest(wish)
    even = np.array([(i, j, 10 - i - j) for i in range(11) for j in range(11 - i)]) / 10
    places = np.einsum("gc,tcx->tgx", even, gamut.root[gamut.faces]).reshape(-1, 3)
    shown = gamut.colour(places).T[:, None, :].astype(np.float32)
    outside = np.flatnonzero(~gamut.inside(wish))
    for start in range(0, len(outside), 400):
        part = outside[start : start + 400]
        root[part] = places[delta_e00_of(wish[part].T[:, :, None].astype(np.float32), shown).argmin(axis=1)]
    return root.reshape(nodes, nodes, nodes, 3)


def compressed(lab: np.ndarray, gamut):
    """Places for a map that fits all lightness and chroma linearly into the gamut's range, then takes the nearest."""
    from tint.lab import lab_from_srgb1

    level = np.linspace(0, 1, 33)
    wish = lab_from_srgb1(np.stack(np.meshgrid(level, level, level, indexing="ij"), axis=-1).reshape(-1, 3))
    low, high = lab[:, 0].min(), lab[:, 0].max()
    wish[:, 0] = low + wish[:, 0] / 100 * (high - low)
    wish[:, 1:] *= np.hypot(*lab[:, 1:].T).max() / np.hypot(*wish[:, 1:].T).max()
    return gamut.nearest(wish).reshape(33, 33, 33, 3)


def with_table(root: np.ndarray, gamut):
    """A map that reads a table made elsewhere."""
    from tint.layers.gamut_map import GamutMap

    made = GamutMap("nearest", gamut, nodes=len(root))
    made.__dict__["root"] = root
    return made


def hue_shift_deg(wanted: np.ndarray, shown: np.ndarray) -> float:
    """Mean hue shift [°] of places that have a hue on both sides (chroma 10 and more), as CIE 156:2004 asks to be told."""
    from tint.palette.reach import lab_from_light

    one, other = (lab_from_light(each).reshape(-1, 3) for each in (wanted, shown))
    coloured = (np.hypot(one[:, 1], one[:, 2]) > 10) & (np.hypot(other[:, 1], other[:, 2]) > 10)
    turn = np.degrees(np.arctan2(one[:, 2], one[:, 1]) - np.arctan2(other[:, 2], other[:, 1]))[coloured]
    return float(np.abs((turn + 180) % 360 - 180).mean()) if coloured.any() else float("nan")


def maps_table() -> None:
    """Nothing; prints spatial error and SSIM of every map on the pictures kept for scoring."""
    from tint.layers.gamut import MAPS, Gamut
    from tint.layers.gamut_map import GamutMap
    from tint.layers.nearest import nearest_of_codes
    from tint.layers.spatial import spatial_error
    from tint.palette.reach import light_from_lab

    scored = pictures(True)
    for name, lab in palettes().items():
        gamut = Gamut(lab)
        ways = {f"map {how}": GamutMap(how, gamut) for how in MAPS}
        ways["nearest by ΔE00 in the gamut"] = with_table(nearest_de00(lab, gamut), gamut)
        ways["range compression"] = with_table(compressed(lab, gamut), gamut)

        def flat(srgb255: np.ndarray, lab: np.ndarray = lab) -> np.ndarray:
            codes = srgb255.astype(np.uint32) @ np.array([1, 256, 65536], np.uint32)
            different, place = np.unique(codes, return_inverse=True)
            return light_from_lab(lab)[nearest_of_codes(different, lab)[place].reshape(codes.shape)]

        print(f"\n{name}: {'':34s} spatial   SSIM    hue   spatial error by picture: {' '.join(scored)}")
        for title, made in {**ways, "flat, nearest palette colour": None}.items():
            rows = []
            for srgb255 in scored.values():
                wanted = light_of(srgb255)
                shown = flat(srgb255) if made is None else made.picture(srgb255)
                rows.append((spatial_error(shown, wanted, PITCH_MM), ssim(shown, wanted), hue_shift_deg(wanted, shown)))
            mean = np.nanmean(rows, axis=0)
            print(f"  {title:36s} {mean[0]:8.2f} {mean[1]:7.3f} {mean[2]:5.0f}°   {' '.join(f'{row[0]:5.1f}' for row in rows)}", flush=True)


def choose_table() -> None:
    """Nothing; prints spatial error and SSIM for weights of the nearest place, on the pictures for choosing."""
    import itertools

    from tint.layers.gamut import Gamut
    from tint.layers.spatial import spatial_error

    level = np.linspace(0, 1, 33)
    from tint.lab import lab_from_srgb1

    wish = lab_from_srgb1(np.stack(np.meshgrid(level, level, level, indexing="ij"), axis=-1).reshape(-1, 3))
    for name, lab in palettes().items():
        gamut = Gamut(lab)
        for light, hue in itertools.product((1.0, 1.5, 2.0, 3.0), (1.0, 2.0, 4.0)):
            made = with_table(gamut.nearest(wish, (light, 1.0, hue)).reshape(33, 33, 33, 3), gamut)
            rows = []
            for srgb255 in pictures(False).values():
                wanted, shown = light_of(srgb255), made.picture(srgb255)
                rows.append((spatial_error(shown, wanted, PITCH_MM), ssim(shown, wanted)))
            print(f"  {name}: lightness {light:g}, chroma 1, hue {hue:g}: {np.mean(rows, axis=0).round(3)}", flush=True)


def halftone_table() -> None:
    """Nothing; prints the spatial error of halftones against the mapped picture, and the area in specks below the spot."""
    from PIL import Image

    from tint.lab import srgb255_from_lab
    from tint.layers.clean import find_regions
    from tint.layers.gamut import Gamut
    from tint.layers.gamut_map import GamutMap
    from tint.layers.halftone import diffused, ordered
    from tint.layers.refine import refined
    from tint.layers.spatial import spatial_error
    from tint.palette.reach import lab_from_light, light_from_lab

    tried = {**pictures(True)}
    for each in ("face", "cup", "bike"):  # as a camera's picture of 24 megapixels holds detail: little of it at one pixel
        small = Image.fromarray(tried[each])
        tried[f"{each}×4"] = np.asarray(small.resize((4 * small.width, 4 * small.height), Image.Resampling.BICUBIC))
    row = np.mgrid[0:256, 0:256][0] / 255
    sky = np.stack([0.45 + 0.5 * row, 0.6 + 0.35 * row, 0.85 + 0.1 * row], axis=-1)
    tried["sky"] = np.round(np.clip(sky, 0, 1) * 255).astype(np.uint8)
    for name, lab in palettes().items():
        gamut = Gamut(lab)
        made = GamutMap("nearest", gamut)
        colours, shown = light_from_lab(lab), srgb255_from_lab(lab)

        def cells(light: np.ndarray) -> np.ndarray:
            height, width = (side // CELL_PX for side in light.shape[:2])
            return light[: height * CELL_PX, : width * CELL_PX].reshape(height, CELL_PX, width, CELL_PX, 3).mean(axis=(1, 3))

        def twice(light: np.ndarray, colours: np.ndarray = colours) -> np.ndarray:
            return refined(diffused(light, colours), light, colours, CELL_PX * PITCH_MM)

        def package(light: np.ndarray, shown: np.ndarray = shown) -> np.ndarray:
            import dithering

            bytes_ = srgb255_from_lab(lab_from_light(light))
            out = dithering.error_diffusion(bytes_, "floyd_steinberg", palette=[tuple(map(int, c)) for c in shown], serpentine=True, linear=True)
            return (np.abs(out[:, :, None].astype(int) - shown.astype(int)).sum(axis=-1)).argmin(axis=-1)

        def pillow(light: np.ndarray, shown: np.ndarray = shown) -> np.ndarray:
            book = Image.new("P", (1, 1))
            book.putpalette(shown.tobytes())
            out = np.asarray(Image.fromarray(srgb255_from_lab(lab_from_light(light))).quantize(palette=book, dither=Image.Dither.FLOYDSTEINBERG))
            return np.minimum(out, len(shown) - 1)

        ways = {
            "cells, mean light (no halftone)": (True, None),
            "cells, diffused": (True, lambda light, colours=colours: diffused(light, colours)),
            "cells, diffused and refined": (True, twice),
            "cells, ordered": (True, made),
            "cells, dithering package": (True, package),
            "cells, Pillow Floyd–Steinberg": (True, pillow),
            "pixels, diffused": (False, lambda light, colours=colours: diffused(light, colours)),
            "pixels, ordered": (False, made),
            "pixels, dithering package": (False, package),
        }
        print(f"\n{name}: halftone, against the mapped picture   spatial   specks   by picture: {' '.join(tried)}")
        for title, (by_cells, way) in ways.items():
            try:
                rows = []
                for srgb255 in tried.values():
                    wanted = made.picture(srgb255)
                    if way is None:
                        mean = np.repeat(np.repeat(cells(wanted), CELL_PX, axis=0), CELL_PX, axis=1)
                        rows.append((spatial_error(mean, wanted[: mean.shape[0], : mean.shape[1]], PITCH_MM), np.nan))
                        continue
                    if way is made:  # its pattern is read by the artwork's own colours
                        mean = srgb255_from_lab(lab_from_light(cells(light_of(srgb255)))) if by_cells else srgb255
                        labels = ordered(mean, made)
                    else:
                        labels = way(cells(wanted) if by_cells else wanted).astype(np.uint8)
                    if by_cells:
                        labels = np.repeat(np.repeat(labels, CELL_PX, axis=0), CELL_PX, axis=1)
                    regions = find_regions(labels)
                    small = regions.area_px < np.pi / 4 * CELL_PX**2
                    height, width = labels.shape
                    error = spatial_error(colours[labels], wanted[:height, :width], PITCH_MM)
                    rows.append((error, 100 * regions.area_px[small].sum() / labels.size))
                mean = np.mean(rows, axis=0)
                print(f"  {title:40s} {mean[0]:8.2f} {mean[1]:6.1f} %   {' '.join(f'{row[0]:5.2f}' for row in rows)}", flush=True)
            except ImportError as missing:
                print(f"  {title:40s} {missing}")


def feedback_table() -> None:
    """Nothing; prints the spatial error of diffused cells for settings of the diffusion, on the pictures for choosing."""
    from tint.lab import LAB_OF_ROOTS
    from tint.layers import halftone
    from tint.layers.gamut import Gamut
    from tint.layers.gamut_map import GamutMap
    from tint.layers.spatial import spatial_error
    from tint.palette.reach import light_from_lab

    for name, lab in palettes().items():
        made, colours = GamutMap("nearest", Gamut(lab)), light_from_lab(lab)
        mapped = [made.picture(srgb255[:200, :300]) for srgb255 in pictures(False).values()]
        for feedback, chroma in ((1, 0.6), (1.5, 0.6), (2, 0.3), (2, 0.5), (2, 0.6), (2, 0.7), (2, 1), (2.5, 0.6), (3, 0.6)):
            halftone.FEEDBACK = feedback
            halftone._LAB_LIKE = LAB_OF_ROOTS * np.array([[1], [chroma], [chroma]])
            rows = []
            for wanted in mapped:
                height, width = (side // CELL_PX for side in wanted.shape[:2])
                cells = wanted.reshape(height, CELL_PX, width, CELL_PX, 3).mean(axis=(1, 3))
                labels = np.repeat(np.repeat(halftone.diffused(cells, colours), CELL_PX, axis=0), CELL_PX, axis=1)
                rows.append(spatial_error(colours[labels], wanted, PITCH_MM))
            print(f"  {name}: feedback {feedback:g}, chroma {chroma:g}: {np.mean(rows):.3f}", flush=True)


def refine_table() -> None:
    """Nothing; prints the spatial error of refined cells for settings of that pass, on the pictures for choosing."""
    from tint.layers import refine
    from tint.layers.gamut import Gamut
    from tint.layers.gamut_map import GamutMap
    from tint.layers.halftone import diffused
    from tint.layers.spatial import spatial_error
    from tint.palette.reach import light_from_lab

    for name, lab in palettes().items():
        made, colours = GamutMap("nearest", Gamut(lab)), light_from_lab(lab)
        mapped = [made.picture(srgb255[:200, :300]) for srgb255 in pictures(False).values()]
        for chroma, sharpen, reach, passes in (
            (0.4, 0.3, 7, 2), (0.3, 0.3, 7, 2), (0.5, 0.3, 7, 2), (0.4, 0.0, 7, 2), (0.4, 0.2, 7, 2), (0.4, 0.5, 7, 2),
            (0.4, 0.3, 5, 2), (0.4, 0.3, 6, 2), (0.4, 0.3, 8, 2), (0.4, 0.3, 7, 1), (0.4, 0.3, 7, 3),
        ):  # fmt: skip
            refine.CHROMA_WEIGHT, refine.SHARPEN, refine.PASSES = chroma, sharpen, passes
            refine.BLUR_CELLS, refine._REACH, refine._STEP, refine._SPAN = reach, reach - 1, reach, 2 * reach - 1
            rows, started = [], time.process_time()
            for wanted in mapped:
                height, width = (side // CELL_PX for side in wanted.shape[:2])
                cells = wanted.reshape(height, CELL_PX, width, CELL_PX, 3).mean(axis=(1, 3))
                labels = refine.refined(diffused(cells, colours), cells, colours, CELL_PX * PITCH_MM)
                labels = np.repeat(np.repeat(labels, CELL_PX, axis=0), CELL_PX, axis=1)
                rows.append(spatial_error(colours[labels], wanted, PITCH_MM))
            took = time.process_time() - started
            said = f"chroma {chroma:g}, sharpen {sharpen:g}, blur over {reach} cells, {passes} passes"
            print(f"  {name}: {said}: {np.mean(rows):.3f}  {took:.1f} s", flush=True)


MEASURE = """
import resource, sys, time
{body}
used = resource.getrusage(resource.RUSAGE_SELF)
print(f"{{used.ru_utime + used.ru_stime:.2f}} {{used.ru_maxrss / 1024:.0f}}")
"""
BIG = {
    "decode alone": "from PIL import Image\nImage.open(sys.argv[1]).convert('RGB').tobytes()",
    "map alone, label PNG not written": """
from PIL import Image
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.palette.palette import read_palette
GamutMap("nearest", Gamut(read_palette(sys.argv[2]).lab)).image(Image.open(sys.argv[1]).convert('RGB'))""",
    "map, diffused on pixels, label PNG": """
import numpy as np
from PIL import Image
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.halftone import diffused
from tint.palette.palette import read_palette
from tint.palette.reach import light_from_lab
lab = read_palette(sys.argv[2]).lab
mapped = np.asarray(GamutMap("nearest", Gamut(lab)).image(Image.open(sys.argv[1]).convert('RGB')))
Image.fromarray(diffused(mapped, light_from_lab(lab))).save(sys.argv[3], compress_level=1)""",
    "map, ordered on pixels, label PNG": """
import numpy as np
from PIL import Image
from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.halftone import ordered
from tint.palette.palette import read_palette
mapped = GamutMap("nearest", Gamut(read_palette(sys.argv[2]).lab))
Image.fromarray(ordered(np.asarray(Image.open(sys.argv[1]).convert('RGB')), mapped)).save(sys.argv[3], compress_level=1)""",
    "tonal, cells of 0.08 mm, label PNG": """
from PIL import Image
from tint.artwork.artwork import read_artwork
from tint.layers.tonal import Tonal, tonal_layers
from tint.palette.palette import read_palette
layers = tonal_layers(read_artwork(sys.argv[1], 120), read_palette(sys.argv[2]), "nearest", Tonal(0.08))
Image.fromarray(layers.labels).save(sys.argv[3])""",
}


def big_table() -> None:
    """Nothing; prints processor time [s] and peak memory [MB] of whole processes on a 24 MP picture."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.png"
        subprocess.run([sys.executable, __file__, "--draw", str(path)], check=True)
        for title, body in BIG.items():
            words = [sys.executable, "-c", MEASURE.format(body=body), str(path), str(ROOT / "palettes/demo-304/palette.json"), f"{folder}/out.png"]
            started = time.perf_counter()
            cpu, peak = (float(each) for each in subprocess.run(words, capture_output=True, text=True, check=True).stdout.split())
            print(f"  {title:40s} {cpu:6.2f} s cpu  {time.perf_counter() - started:6.1f} s wall  {peak:6.0f} MB", flush=True)


def draw(path: Path) -> None:
    """Nothing; writes a 24 MP photograph, one of scikit-image's enlarged, with fine noise."""
    from PIL import Image
    from skimage import data

    picture = Image.fromarray(data.coffee()).resize((6000, 4000), Image.Resampling.BICUBIC)
    noise = np.random.default_rng(0).integers(-2, 3, (4000, 6000, 3), dtype=np.int16)
    Image.fromarray(np.clip(np.asarray(picture) + noise, 0, 255).astype(np.uint8)).save(path, compress_level=3)


if __name__ == "__main__":
    if "--draw" in sys.argv:
        draw(Path(sys.argv[2]))
    elif "--choose" in sys.argv:
        choose_table()
    elif "--feedback" in sys.argv:
        feedback_table()
    elif "--refine" in sys.argv:
        refine_table()
    elif "--big" in sys.argv:
        big_table()
    else:
        maps_table()
        halftone_table()
