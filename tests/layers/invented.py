"""A small invented palette and pictures for the tests of layers."""

import numpy as np

from tint.artwork.artwork import Picture
from tint.palette.palette import Palette, PaletteColour
from tint.setting import Machine, Setting, Stock

LASER = Machine("bench", 60, [2, 500], [1, 4000], 10000, [175, 175], spot_um=60)
SHEET = Stock("plate", "304", "2B", 1.5, [100, 100])
LABS = {"straw": (72, 8, 36), "purple": (40, 28, -24), "blue": (42, -2, -34), "teal": (60, -22, -4), "dark": (24, 4, -10)}


def palette(*names):
    names = names or tuple(LABS)
    return Palette(
        "test signs (invented)", LASER, SHEET,
        tuple(
            PaletteColour(name, Setting(15 + i, 800, 300, 6, 0.002), np.array(LABS[name], float), 2.0, 1.0)
            for i, name in enumerate(names)
        ),
        np.array([82.0, 0.5, 3.0]), ("invented",),
    )  # fmt: skip


def picture(srgb255, width_mm, bare=None, name="sign"):
    srgb255 = np.asarray(srgb255, np.uint8)
    height, width = srgb255.shape[:2]
    bare = np.zeros((height, width), bool) if bare is None else bare
    return Picture(name, width_mm, height * width_mm / width, srgb255, bare)
