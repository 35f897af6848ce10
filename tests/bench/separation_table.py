# ruff: noqa: E501  (the code handed to each process is a string)
"""Separation beside other programs: processor time, memory, colours, specks. Whole processes, PNG in, label PNG out, 24 megapixels.

    python tests/bench/separation_table.py             all peers that are installed, three pictures, one run
    python tests/bench/separation_table.py gradient    the same for some of the pictures only
    python tests/bench/separation_table.py --growth    tint alone at 1, 4, 24 and 100 megapixels; `--growth photo`: of one picture
    python tests/bench/separation_table.py --quick     the same table at 1 megapixel

Peers are measured here and are no part of tint; install them with `pip install -e '.[bench]'` (ImageMagick: apt). One not there is
printed as absent. Some write colours instead of numbers into their PNG, which takes them longer; the table says which.

Columns: processor seconds and peak memory of the whole process, and both as ratios to decoding alone; mean ΔE00 between each
pixel and the colour it was given; spatial error (tint/layers/spatial.py: 300 mm, 0.02 mm a pixel) against the original; area in
regions smaller than a spot of 0.08 mm, which cannot be marked. The colours are simulated films (tests/bench/gamut_table.py) as
sRGB bytes; the pictures are enlarged standard pictures of scikit-image with noise, drawn shapes, and even shading.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MAGICK_THREAD_LIMIT"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402

HERE = Path(__file__).parent
PITCH_MM, SPOT_MM = 0.02, 0.08
PICTURES = ("photo", "illustration", "gradient")
GROWTH_PITCH_MM = 0.014  # so that 100 megapixels fit the field
CROP_PX, CROPS = 500, ((0.1, 0.1), (0.45, 0.1), (0.8, 0.1), (0.1, 0.6), (0.45, 0.6), (0.8, 0.6))

OPEN = "import sys\nimport numpy as np\nfrom PIL import Image\n"
BOOK = (
    OPEN
    + "book = Image.open(sys.argv[2])\ncolours = np.load(sys.argv[4])\nimage = Image.open(sys.argv[1]).convert('RGB')\n"
)
SAVE = "picture = Image.fromarray(labels)\npicture.putpalette(colours.tobytes())\npicture.save(sys.argv[3], compress_level=1)"
TINT = (
    OPEN
    + """from tint.artwork.artwork import read_artwork
from tint.palette.palette import read_palette
palette, picture = read_palette(sys.argv[5]), read_artwork(sys.argv[1], float(sys.argv[6]))
colours = np.load(sys.argv[4])
"""
)
LAB = "from skimage.color import rgb2lab\nlab = rgb2lab(np.asarray(image), illuminant='D50').astype(np.float32)\nwanted = rgb2lab(colours[None], illuminant='D50')[0].astype(np.float32)\n"
QUANT = (
    BOOK
    + """from imagequant import ffi, lib
width, height = image.size
data = ffi.from_buffer(image.convert('RGBA').tobytes())
attr = lib.liq_attr_create()
lib.liq_set_max_colors(attr, len(colours))
source = lib.liq_image_create_rgba(attr, data, width, height, 0)
for r, g, b in colours.tolist():
    lib.liq_image_add_fixed_color(source, ffi.new('liq_color *', (r, g, b, 255))[0])
made = ffi.new('liq_result **')
assert lib.liq_image_quantize(source, attr, made) == lib.LIQ_OK
result = made[0]
lib.liq_set_dithering_level(result, LEVEL)
labels = np.empty((height, width), np.uint8)
lib.liq_write_remapped_image(result, source, ffi.from_buffer(labels), labels.size)
found = lib.liq_get_palette(result)
shown = np.array([[c.r, c.g, c.b] for c in found.entries[0:found.count]], np.uint8)
picture = Image.fromarray(labels); picture.putpalette(shown.tobytes()); picture.save(sys.argv[3], compress_level=1)"""
)
DITHER = "import dithering\nout = dithering.error_diffusion(np.asarray(image), 'floyd_steinberg', palette=[tuple(c) for c in colours.tolist()], {})\nImage.fromarray(out).save(sys.argv[3], compress_level=1)"
EPAPER = """from epaper_dithering import ColorPalette, DitherMode, dither_image
inks = ColorPalette({{f'ink {{i}}': tuple(c) for i, c in enumerate(colours.tolist())}}, accent='ink 0')
dither_image(image, inks, mode=DitherMode.{}).save(sys.argv[3], compress_level=1)"""

# title: (package that must be there, code; argv: picture, palette PNG, result, colours .npy, palette.json, width [mm])
FLAT = {
    "tint, nearest by ΔE00": ("tint", TINT + "from tint.layers.label import label_picture\nlabels = label_picture(picture, palette)[0]\n" + SAVE),
    "tint, soft edges settled, too": ("tint", TINT + "from tint.layers.edges import settled_edges\nfrom tint.layers.label import label_picture\nlabels = label_picture(picture, palette)[0]\nsettled_edges(picture.srgb255, picture.bare, labels)\n" + SAVE),
    "tint, and specks absorbed": ("tint", TINT + f"from tint.layers.clean import absorb_specks\nfrom tint.layers.edges import settled_edges\nfrom tint.layers.label import label_picture\nlabels = label_picture(picture, palette)[0]\nsettled_edges(picture.srgb255, picture.bare, labels)\nlabels = absorb_specks(labels, {np.pi / 4 * (SPOT_MM / PITCH_MM) ** 2:.3f}, palette.lab).labels\n" + SAVE),
    "Pillow quantize": ("PIL", BOOK + "image.quantize(palette=book, dither=Image.Dither.NONE).save(sys.argv[3], compress_level=1)"),
    "dithering, no diffusion (colours)": ("dithering", BOOK + DITHER.format("strength=0.0")),
    "epaper-dithering, none": ("epaper_dithering", BOOK + EPAPER.format("NONE")),
    "libimagequant, fixed palette": ("imagequant", QUANT.replace("LEVEL", "0.0")),
    "OpenCV, Lab, loop over colours": ("cv2", BOOK + """import cv2
cv2.setNumThreads(1)
lab = cv2.cvtColor(np.asarray(image, dtype=np.float32) / 255, cv2.COLOR_RGB2Lab)
wanted = cv2.cvtColor(colours[None].astype(np.float32) / 255, cv2.COLOR_RGB2Lab)[0]
least, labels = np.full(lab.shape[:2], np.inf, np.float32), np.zeros(lab.shape[:2], np.uint8)
for number, one in enumerate(wanted):
    away = cv2.transform(cv2.pow(cv2.subtract(lab, (*map(float, one), 0.0)), 2), np.ones((1, 3), np.float32))
    closer = away < least
    least[closer], labels[closer] = away[closer], number
""" + SAVE),
    "scikit-learn, Lab, nearest": ("sklearn", BOOK + LAB + """from sklearn.metrics import pairwise_distances_argmin
labels = pairwise_distances_argmin(lab.reshape(-1, 3), wanted).astype(np.uint8).reshape(lab.shape[:2])
""" + SAVE),
    "scikit-image + scipy KD-tree, Lab": ("skimage", BOOK + LAB + """from scipy.spatial import cKDTree
labels = cKDTree(wanted).query(lab.reshape(-1, 3))[1].astype(np.uint8).reshape(lab.shape[:2])
""" + SAVE),
    "ImageMagick -remap": ("convert", ["+dither"]),
    "ImageMagick -remap in Lab": ("convert", ["-quantize", "Lab", "+dither"]),
}  # fmt: skip
TONAL = {
    "tint, mapped, diffused on pixels": ("tint", OPEN + """from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.halftone import diffused
from tint.palette.palette import read_palette
from tint.palette.reach import light_from_lab
lab, colours = read_palette(sys.argv[5]).lab, np.load(sys.argv[4])
mapped = np.asarray(GamutMap('nearest', Gamut(lab)).image(Image.open(sys.argv[1]).convert('RGB')))
labels = diffused(mapped, light_from_lab(lab))
""" + SAVE),
    "tint, mapped, ordered on pixels": ("tint", OPEN + """from tint.layers.gamut import Gamut
from tint.layers.gamut_map import GamutMap
from tint.layers.halftone import ordered
from tint.palette.palette import read_palette
colours = np.load(sys.argv[4])
mapped = GamutMap('nearest', Gamut(read_palette(sys.argv[5]).lab))
labels = ordered(np.asarray(Image.open(sys.argv[1]).convert('RGB')), mapped)
""" + SAVE),
    "tint, tonal, cells of a spot": ("tint", TINT + f"""from tint.layers.tonal import Tonal, tonal_layers
cells = tonal_layers(picture, palette, 'nearest', Tonal({SPOT_MM})).labels
labels = np.asarray(Image.fromarray(cells).resize(picture.srgb255.shape[1::-1], 0))
""" + SAVE),
    "Pillow quantize, Floyd–Steinberg": ("PIL", BOOK + "image.quantize(palette=book, dither=Image.Dither.FLOYDSTEINBERG).save(sys.argv[3], compress_level=1)"),
    "dithering, linear, serpentine (colours)": ("dithering", BOOK + DITHER.format("serpentine=True, linear=True")),
    "epaper-dithering, Floyd–Steinberg": ("epaper_dithering", BOOK + EPAPER.format("FLOYD_STEINBERG")),
    "libimagequant, fixed palette, dithered": ("imagequant", QUANT.replace("LEVEL", "1.0")),
    "ImageMagick -remap, Floyd–Steinberg": ("convert", ["-dither", "FloydSteinberg"]),
    "ImageMagick -remap, Riemersma": ("convert", ["-dither", "Riemersma"]),
    "ImageMagick -remap, F–S in Lab": ("convert", ["-quantize", "Lab", "-dither", "FloydSteinberg"]),
    "ImageMagick -remap, Riemersma in Lab": ("convert", ["-quantize", "Lab", "-dither", "Riemersma"]),
}  # fmt: skip
DECODE = ("PIL", "import sys\nfrom PIL import Image\nImage.open(sys.argv[1]).convert('RGB').load()")
WHOLE = ("tint", """import sys
from tint.artwork.artwork import read_artwork
from tint.layers.folder import write_layers
from tint.layers.separate import separate
from tint.palette.palette import read_palette
import shutil
shutil.rmtree(sys.argv[3] + '.d', ignore_errors=True)
write_layers(separate(read_artwork(sys.argv[1], float(sys.argv[6])), read_palette(sys.argv[5])), sys.argv[3] + '.d')""")  # fmt: skip


def magick() -> str | None:
    """The real program, not a stand-in found earlier on the path."""
    return shutil.which("magick") or next(
        (p for p in ("/usr/bin/convert", shutil.which("convert")) if p and Path(p).exists()), None
    )


def versions() -> str:
    """One line: every peer with its version, or absent."""
    named = {"Pillow": "PIL", "dithering": "dithering", "epaper-dithering": "epaper_dithering", "imagequant": "imagequant", "scikit-image": "skimage",
             "scipy": "scipy", "scikit-learn": "sklearn", "opencv-python-headless": "cv2", "numpy": "numpy"}  # fmt: skip
    said = [
        f"{name} {importlib.metadata.version(name)}" if importlib.util.find_spec(module) else f"{name} absent"
        for name, module in named.items()
    ]
    program = magick()
    first = (
        subprocess.run([program, "-version"], capture_output=True, text=True).stdout.split("Q16")[0].split(":")[-1]
        if program
        else "ImageMagick absent"
    )
    return ", ".join([*said, first.strip()])


def measured(package: str, code: object, words: list[str]) -> tuple[float, float] | str:
    """Processor time [s] and peak memory [MB] of one process, or why there is none."""
    if package == "convert":
        program = magick()
        if program is None:
            return "absent"
        command = [
            program,
            words[0],
            "-limit",
            "memory",
            "8GiB",
            "-limit",
            "map",
            "8GiB",
            *code,
            "-remap",
            words[1],
            f"PNG8:{words[2]}",
        ]
    elif importlib.util.find_spec(package) is None:
        return "absent"
    else:
        command = [sys.executable, "-c", code, *words]
    watch = [sys.executable, __file__, "--watch", *command]
    done = subprocess.run(watch, capture_output=True, text=True)
    if done.returncode:
        return "failed: " + (done.stderr.strip().splitlines() or ["no word"])[-1][:90]
    cpu, peak = done.stdout.split()[-2:]
    return float(cpu), float(peak)


def watch(command: list[str]) -> None:
    """Nothing; prints processor time [s] and peak memory [MB] of a command."""
    code = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    if code.returncode:
        raise SystemExit(code.stderr)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(f"{used.ru_utime + used.ru_stime:.3f} {used.ru_maxrss / 1024:.0f}")


def judged(picture: Path, result: Path, lab: np.ndarray, colours: np.ndarray) -> tuple[float, float, float]:
    """Mean ΔE00, spatial error, and area in specks [%] of a result against the picture, over six crops, seen against the whole."""
    from PIL import Image

    from tint.layers.clean import find_regions
    from tint.layers.difference import delta_e00_of, lab_of_srgb255, light_of_srgb255
    from tint.layers.spatial import Viewed, errors_over
    from tint.palette.reach import light_from_lab

    original, shown = np.asarray(Image.open(picture).convert("RGB")), np.asarray(Image.open(result).convert("RGB"))
    light = light_from_lab(lab).astype(np.float32)

    def numbers(*part: slice) -> np.ndarray:
        away = np.full(shown[part].shape[:2], np.iinfo(np.int32).max, np.int32)
        labels = np.zeros(away.shape, np.uint8)
        for number, colour in enumerate(colours.astype(np.int32)):
            off = np.abs(shown[part] - colour).sum(axis=-1, dtype=np.int32)
            labels[off < away] = number
            np.minimum(away, off, out=away)
        return labels

    shape = original.shape[:2]
    wanted = Viewed(shape, lambda *part: light_of_srgb255(original[part]), PITCH_MM)
    made = Viewed(shape, lambda *part: light[numbers(*part)], PITCH_MM)
    away, parts, specks = [], [], []
    for x, y in CROPS:
        top, left = int(y * original.shape[0]), int(x * original.shape[1])
        part = np.s_[top : top + CROP_PX, left : left + CROP_PX]
        labels = numbers(*part)
        away.append(delta_e00_of(lab_of_srgb255(*original[part].reshape(-1, 3).T), lab.T[:, labels.ravel()]).mean())
        parts.append(part)
        specks.append(100 * speck_px(find_regions(labels)) / labels.size)
    (error,) = errors_over(wanted, [made], parts)
    return float(np.mean(away)), error, float(np.mean(specks))


def speck_px(regions) -> int:
    """Pixels in regions smaller than the spot; those that the crop cuts go on outside and are not known."""
    numbered = regions.paint(np.arange(len(regions)))
    cut = np.concatenate([numbered[0], numbered[-1], numbered[:, 0], numbered[:, -1]])
    small = regions.area_px < np.pi / 4 * (SPOT_MM / PITCH_MM) ** 2
    small[cut] = False
    return int(regions.area_px[small].sum())


def drawn(kind: str, path: Path, width: int, height: int) -> None:
    """Nothing; writes a picture of a kind: "photo", "illustration" or "gradient"."""
    from PIL import Image

    rng = np.random.default_rng(0)
    if kind == "photo":
        from skimage import data

        parts = [data.astronaut(), data.coffee()[:400, :400], data.chelsea()[:300, :300], data.rocket()[:427, :427],
                 data.immunohistochemistry(), data.retina()[300:1100, 300:1100]]  # fmt: skip
        pixels = np.empty((height, width, 3), np.float32)
        for i, part in enumerate(parts):
            x0, x1 = i % 3 * width // 3, (i % 3 + 1) * width // 3
            y0, y1 = i // 3 * height // 2, (i // 3 + 1) * height // 2
            pixels[y0:y1, x0:x1] = Image.fromarray(part).resize((x1 - x0, y1 - y0), Image.Resampling.BICUBIC)
        pixels += rng.normal(0, 2, pixels.shape).astype(np.float32)
    elif kind == "illustration":
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        inks = (
            np.array([[250, 246, 235], [30, 40, 60], [190, 60, 50], [230, 180, 70], [60, 110, 90], [120, 150, 190]])
        ).astype(np.float32)
        pixels = np.broadcast_to(inks[0], (height, width, 3)).copy()
        for i in range(90):
            cx, cy, radius = rng.integers(0, width), rng.integers(0, height), rng.integers(width // 120, width // 9)
            away = np.hypot(x - cx, y - cy)
            cover = np.clip(radius - away, 0, 1) if i % 3 else np.clip(6 - np.abs(away - radius), 0, 1)
            pixels += cover[..., None] * (inks[1 + i % 5] - pixels)
    else:
        y, x = (np.arange(height) / height)[:, None], (np.arange(width) / width)[None]
        pixels = np.stack(np.broadcast_arrays(40 + 200 * x, 60 + 160 * y, 220 - 150 * x * y), axis=-1)
    Image.fromarray(np.clip(np.rint(pixels), 0, 255).astype(np.uint8)).save(path, compress_level=6)


def prepared(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Lab and sRGB bytes of the colours; writes palette.png, colours.npy and palette.json (settings invented)."""
    from PIL import Image

    sys.path.insert(0, str(HERE))
    from gamut_table import films

    from tint.lab import srgb255_from_lab
    from tint.palette.palette import Palette, PaletteColour, write_palette
    from tint.setting import Machine, Setting, Stock

    machine, stock = (
        Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=SPOT_MM * 1e3),
        Stock("plate", "304", "2B", 1.5, [200, 200]),
    )
    lab = films()
    colours = srgb255_from_lab(lab)
    made = tuple(
        PaletteColour(f"film {i}", Setting(15 + i, 800, 300, 6, 0.002), one, 2.0, 1.0)
        for i, one in enumerate(lab[1:], 1)
    )
    write_palette(Palette("simulated films", machine, stock, made, lab[0], ("simulated",)), folder / "palette.json")
    np.save(folder / "colours.npy", colours)
    book = Image.fromarray(np.arange(len(colours), dtype=np.uint8)[None])
    book.putpalette(colours.tobytes() + colours[-1].tobytes() * (256 - len(colours)))
    book.save(folder / "palette.png")
    return lab, colours


def peers_table(width: int, height: int) -> None:
    """Nothing; prints the table of every picture."""
    print(versions())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lab, colours = prepared(folder)
        for kind in [each for each in sys.argv if each in PICTURES] or PICTURES:
            picture, result = folder / f"{kind}.png", folder / "result.png"
            subprocess.run(
                [sys.executable, __file__, "--draw", kind, str(picture), str(width), str(height)], check=True
            )
            words = [
                str(picture),
                str(folder / "palette.png"),
                str(result),
                str(folder / "colours.npy"),
                str(folder / "palette.json"),
                str(width * PITCH_MM),
            ]
            runs = [measured(*DECODE, words) for _ in range(3)]
            decode = min(runs)
            print(
                f"\n{kind}, {width * height / 1e6:.0f} MP, {len(lab)} colours{'':22s}  s cpu  × decode     MB   mean ΔE00  spatial  specks %"
            )
            print(f"  {'decoding alone (best of 3)':44s} {decode[0]:6.2f} {1.0:9.1f} {decode[1]:6.0f}", flush=True)
            for table in (FLAT, TONAL):
                for title, (package, code) in table.items():
                    result.unlink(missing_ok=True)
                    took = measured(package, code, words)
                    if package == "tint" and not isinstance(took, str):
                        took = min(took, measured(package, code, words))
                    if isinstance(took, str):
                        print(f"  {title:44s} {took}", flush=True)
                        continue
                    marks = judged(picture, result, lab, colours)
                    print(
                        f"  {title:44s} {took[0]:6.2f} {took[0] / decode[0]:9.1f} {took[1]:6.0f} {marks[0]:11.2f} {marks[1]:8.2f} {marks[2]:9.1f}",
                        flush=True,
                    )
                print()


GROWTH_OF = ("photo", "illustration")


def growth_table() -> None:
    """Nothing; prints processor time and memory of tint by the picture's size."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        prepared(folder)
        for kind in [kind for kind in GROWTH_OF if kind in sys.argv] or GROWTH_OF:
            print(
                f"\n{kind:14s}        decode          flat labels      and specks absorbed     `tint separate`, everything written"
            )
            for width, height in ((1224, 816), (2450, 1633), (6000, 4000), (12250, 8166)):
                picture = folder / f"{kind}.png"
                subprocess.run(
                    [sys.executable, __file__, "--draw", kind, str(picture), str(width), str(height)], check=True
                )
                words = [
                    str(picture),
                    "",
                    str(folder / "result.png"),
                    str(folder / "colours.npy"),
                    str(folder / "palette.json"),
                    str(width * GROWTH_PITCH_MM),
                ]
                row = [measured(*DECODE, words), measured(*FLAT["tint, nearest by ΔE00"], words), measured(*FLAT["tint, and specks absorbed"], words), measured(*WHOLE, words)]  # fmt: skip
                said = [each if isinstance(each, str) else f"{each[0]:6.2f} s {each[1]:5.0f} MB" for each in row]
                print(f"  {width * height / 1e6:5.0f} MP   {'     '.join(said)}", flush=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--watch"]:
        watch(sys.argv[2:])
    elif sys.argv[1:2] == ["--draw"]:
        drawn(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]), int(sys.argv[5]))
    elif "--growth" in sys.argv:
        growth_table()
    else:
        peers_table(*((1224, 816) if "--quick" in sys.argv else (6000, 4000)))
