"""Writes the palettes and pictures of this folder again, from `tint demo` and the open grid."""

import shutil
import tempfile
from pathlib import Path

from tint.demo.shop import open_machine, open_patches, open_stock, run_demo
from tint.model.fit import fit
from tint.palette.choose import choose_palette
from tint.palette.swatches import write_palette_and_picture

HERE = Path(__file__).parent


def main() -> None:
    """Nothing; files under `palettes/` are replaced."""
    with tempfile.TemporaryDirectory() as folder:
        shop = Path(folder) / "demo-shop"
        run_demo(shop, progress=print)
        simulated, real = shop / "simulated", shop / "real-marks"
        for name in ("machine.toml", "stock.toml", "patches.csv", "palette.json", "palette.swatches.png"):
            shutil.copy(simulated / name, HERE / "demo-304" / name)
        shutil.copy(simulated / "plate-1" / "grid.json", HERE / "demo-304" / "grid.json")
        for name in ("machine.toml", "stock.toml"):
            shutil.copy(real / name, HERE / "open-6ns" / name)
        shutil.copy(shop / "side-by-side.png", HERE / "pictures" / "side-by-side.png")
        _sheet_picture(simulated / "job-shaded" / "sheet.pdf", HERE / "pictures" / "sheet.png")
    model = fit(open_patches(), open_machine(), open_stock())
    write_palette_and_picture(choose_palette(model, 8), HERE / "open-6ns" / "palette.json", force=True)


def _sheet_picture(pdf: Path, png: Path) -> None:
    import pypdfium2  # in the extra `test`

    pypdfium2.PdfDocument(pdf)[0].render(scale=1.6).to_pil().convert("RGB").quantize(128).save(png, optimize=True)


if __name__ == "__main__":
    main()
