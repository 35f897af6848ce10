"""Writes the pictures of the guide again, from `tint demo`: python palettes/guide_pictures.py"""

import tempfile
from pathlib import Path

from click.testing import CliRunner
from PIL import Image

from tint.cli import main as tint
from tint.guide.web import PICTURES

# picture of the guide, the file it is made from in the demo's folder, and its width [pixels]; they travel with the package, so small
MADE = (
    ("proofs.png", "proof/overview.png", 1000),
    ("lost.png", "proof/lost.png", 760),
    ("maps.png", "maps.png", 1000),
    ("sheet.png", "sheet.png", 760),
    ("swatches.png", "simulated/palette.swatches.png", 700),
    ("reach.png", "plot/reach.png", 900),
    ("overlay.jpg", "read.overlay.png", 1000),
    ("drift.png", "drift.png", 900),
)
CHARTS = ("reach.png", "drift.png")  # their few small marks keep their colour this way, broad fields of others the other way
COLOURS, QUALITY = 64, 75


def main() -> None:
    """Nothing; the pictures in `tint/guide/pictures` are replaced."""
    with tempfile.TemporaryDirectory() as folder:
        shop = Path(folder) / "demo-shop"
        _tint("demo", shop)
        place, art = shop / "simulated", shop / "artwork"
        model, palette, strips = place / "model.json", place / "palette.json", place / "strip-first.csv"
        _tint("proof", place / "layers-sign", "--model", model, "--artwork", art / "kingfisher.svg", "-o", shop / "proof")
        _tint("separate", art / "kingfisher-shaded.png", palette, "--width-mm", 30, "--tonal", "--compare", shop / "maps.png",
              "-o", shop / "tones")  # fmt: skip
        _tint("plot", model, "-o", shop / "plot")
        _tint("measure", place / "plate-1", place / "photo.jpg", "--kind", "photo", "--chart", "before-nov-2014",
              "-o", shop / "read.csv")  # fmt: skip
        _tint("check", palette, strips, "--accept", "-o", place / "palette-2.json")
        _tint("check", place / "palette-2.json", place / "strip-later.csv")
        _tint("history", place / "palette-2.json", "--chart", shop / "drift.png")
        _sheet_picture(place / "job-sign" / "sheet.pdf", shop / "sheet.png")
        for name, source, width_px in MADE:
            with Image.open(shop / source) as picture:
                small = picture.convert("RGB")
                small.thumbnail((width_px, 4 * width_px), Image.Resampling.LANCZOS)
                if name.endswith(".jpg"):
                    small.save(PICTURES / name, quality=QUALITY, optimize=True)
                else:
                    how = Image.Quantize.FASTOCTREE if name in CHARTS else Image.Quantize.MEDIANCUT
                    small.quantize(COLOURS, how).save(PICTURES / name, optimize=True)


def _tint(*words: object) -> None:
    done = CliRunner().invoke(tint, [str(word) for word in words])
    if done.exit_code and words[0] != "check":  # a strip that is out leaves with 1
        raise SystemExit(done.output)


def _sheet_picture(pdf: Path, png: Path) -> None:
    import pypdfium2  # in the extra `test`

    pypdfium2.PdfDocument(pdf)[0].render(scale=1.6).to_pil().save(png)


if __name__ == "__main__":
    main()
