"""The invented shop as commands read it: good inputs, and a command run on them."""

from __future__ import annotations

import shutil
from pathlib import Path

PLATE = """<svg xmlns="http://www.w3.org/2000/svg" width="30mm" height="20mm" viewBox="0 0 300 200">
 <style>.leaf { fill: #27527f } g > path { stroke: none }</style>
 <defs><clipPath id="c"><rect width="200" height="150"/></clipPath><path id="p" d="M10 10h80v30a20 20 0 0 1-40 0z"/></defs>
 <g clip-path="url(#c)" transform="translate(5 5) rotate(3)"><rect class="leaf" x="10" y="10" width="120" height="90" rx="8"/></g>
 <use href="#p" x="120" y="60" fill="#c8a06a"/><circle cx="230" cy="150" r="30" style="fill:#804020; stroke:#222; stroke-width:4"/>
 <path d="M20 150C60 100 90 190 130 150L150 190Z" fill="#555" stroke-dasharray="4 2" stroke="#333" stroke-width="3"/>
</svg>
"""


class Shop:
    """Good inputs, made once from the invented shop; commands read them and must never change them.

    Parameters
    ----------
    demo : folder of `tint demo`
    folder : where small plates, layers and pictures are made
    """

    def __init__(self, demo: Path, folder: Path) -> None:
        from PIL import Image

        self.simulated, self.folder = demo / "simulated", folder
        folder.mkdir(parents=True, exist_ok=True)
        for name in (
            "machine.toml",
            "stock.toml",
            "palette.json",
            "model.json",
            "strip-first.csv",
            "strip-later.csv",
            "patches.csv",
        ):
            shutil.copy(self.simulated / name, folder / name)
        with Image.open(demo / "artwork" / "kingfisher-shaded.png") as image:
            self.picture = image.convert("RGBA").resize((48, 32))
        with Image.open(self.simulated / "photo.jpg") as image:
            self.photo = image.convert("RGB").resize((600, 400))
        self.picture.save(folder / "small.png")
        (folder / "small.svg").write_text(PLATE, encoding="utf-8")
        self._make()

    def _make(self) -> None:
        from tint.artwork.artwork import read_artwork
        from tint.layers.folder import write_layers
        from tint.layers.separate import separate
        from tint.palette.palette import read_palette
        from tint.plan.first import plan_grid
        from tint.plan.plate import write_plate
        from tint.setting import read_machine, read_stock

        at = self.folder
        palette = read_palette(at / "palette.json")
        write_plate(plan_grid(read_machine(at / "machine.toml"), read_stock(at / "stock.toml"), 12), at / "plate")
        for name, file, width in (("layers", "small.png", 24), ("drawn", "small.svg", None)):
            write_layers(separate(read_artwork(at / file, width), palette), at / name)
        done = run("check", at / "palette.json", at / "strip-first.csv")
        assert done.exit_code == 0, done.output
        self.history = (at / "palette-history.sqlite").read_bytes()
        (at / "palette-history.sqlite").unlink()

    def read(self, name: str) -> bytes:
        return (self.folder / name).read_bytes()


def run(*words: object):
    """Result of a command, run in this process."""
    from click.testing import CliRunner

    from tint.cli import main

    return CliRunner().invoke(main, [str(word) for word in words])
