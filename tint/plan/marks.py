"""Registration marks: what a camera finds a plate by, and tells it from every other plate by."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

from tint.errors import LimitError
from tint.setting import Machine, Setting

MODULES = 7  # dark border, five by five signs, dark border
PLACES = 8  # a plate has room for four corners and four middles; a mark's number says which of them it stands at
# Code words of the 250 square marks that OpenCV calls DICT_5X5_250 (any two differ in 6 of 25 signs or more, however
# turned): 25 signs row by row as one hexadecimal number, 1 is bright. Read with OpenCV 5.0; a test compares them with it.
_WORDS = """
145b2bc 01c06e6 1af0edd 10395f7 1aeb524 1d4082d 0d3d7ec 0e2146b 10d6132 1313fa5 13cee03 1a2dac0 1e62b11 05e7166
1fcfca8 051e37f 097a758 0bea26f 0f64dc4 1061de8 12dda75 150e440 16b0ca1 0ba12de 19cd023 1a59972 1c3ce8b 0224246
03b9672 024223b 027376e 0368873 040d0ce 04aaac8 04643ba 07a6fea 0998aac 082d101 09aad1d 0863c72 0ad2825 0a52f9e
0d849f7 0c309d9 0da7e31 0e9627a 0e9b997 0f94806 0f59125 0f6b7d7 11b58e4 11ad279 11e380b 1169445 12ffb4a 158cb8d
15987f0 1422fdf 14e1227 156df22 173dbf1 164c93c 17cbb86 1880a87 19147dd 184eb8a 18d85ad 1b2cda9 1babd73 1e9d432
1e76528 0f5740a 1b11a53 018ce65 02ab219 098e981 0a8061c 141a158 185314c 196d12c 1fad3a2 00922b5 019bce0 00b547c
002c76f 0132289 012d2a7 00c4b43 0067bc5 00faa0d 01f1f54 038e879 0323b23 02c3647 02da51b 02e9d8d 027c562 03efdf5
0521ee0 0448efd 0542f81 055f6c9 047e008 04f9bf8 046d558 05ef65e 0692188 06013ad 068bc21 072a5d0 06400e2 06dce3a
0891409 089d9fd 08a3ee5 08a952a 08c277d 09d0612 08ee533 09f04fb 0b86f1b 0b1faee 0a36ff0 0b275f6 0b53332 0a603e1
0a798cf 0a6dc02 0b64b5f 0bfab99 0cacc85 0cb8f5e 0cc6ea2 0ce198b 0e12cbb 0f8c701 0f35752 0e47a8c 0e7cb65 1084d18
113e202 10d5dd3 11447f3 1286ae3 1388a36 12a3f49 12d1b20 12e4d6e 1366ece 1378dc1 14134dd 148a50d 151610b 15b3684
15fe0b1 1605cc7 1601e30 179d565 17d8899 16705f4 166b079 17e8bdc 17eac67 18875e0 199d306 18a6601 19a44c7 18c1115
18d287e 195dd09 19f4e25 196c3c5 1a005d2 1b96e8c 1b31709 1b39d64 1a53281 1a5a22e 1bcb4dd 1b48e85 1b67820 1b71f92
1d031c7 1ca38de 1c35c71 1db72f7 1d3c064 1d6ba18 1dff33a 1f02202 1f00fa6 1ec0441 1ec36bf 1fd6bda 1f46671 1f49583
1ee5ee1 1efd5f9 1fe3129 1f746bc 0d1705e 1321e17 133b04d 1c8be1d 03a20dd 0558261 06882c7 06f80e9 07e6b97 0ad4098
0ae7073 0cd3170 0e74a2e 0fe59fb 1168fd2 14b872e 15353d6 16a336e 165b533 18983e8 195723c 1b0df47 1bf1b1c 1cacd1f
1da8e35 1e0cf0d 00853dd 000468f 00145f6 009919c 001a5c3 018141e 011178c 0190cb6 00b03fa 002e23c 003842b 003cee2
012537e 01a2037 01a0a30 01bda5f 01acdbc 013e4ec 005a105 004c592 00de752 00dde46 01c7c24 01535bb
""".split()
# A dark mark on steel: "black" of the open repository MOPA_Laser_Stainless_Colors (MIT): 30 W, 800 mm/s, 300 kHz, 60 ns, 0.003 mm
DARK_W, DARK_KHZ, DARK_NS, DARK_SPACING_MM, DARK_AREAL_J_MM2 = 30.0, 300.0, 60.0, 0.003, 12.5


@dataclass(frozen=True)
class Mark:
    """One registration mark: its number, the place of its centre on the plate [mm] and its side [mm]."""

    number: int
    xy_mm: tuple[float, float]
    side_mm: float

    @property
    def corners_mm(self) -> np.ndarray:
        """(4, 2) corners [mm]: top left, top right, bottom right, bottom left of the mark as it is drawn."""
        half = self.side_mm / 2
        return np.array(self.xy_mm) + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


@dataclass(frozen=True, eq=False)
class Registration:
    """What is on a plate beside its patches: marks, squares kept bare, and the setting the marks are made with.

    Parameters
    ----------
    marks : four to eight, dark on bare metal, each with a rim of bare metal about it
    bare_xy_mm : (m, 2) centres [mm] of squares as large as a patch that nothing is marked on
    setting : any setting that gives a dark, even mark will do; this one is a start
    """

    marks: tuple[Mark, ...]
    bare_xy_mm: np.ndarray
    setting: Setting

    def __post_init__(self) -> None:
        if len({mark.number for mark in self.marks}) != len(self.marks) or self.bare_xy_mm.ndim != 2:
            raise LimitError("registration marks of a plate each have their own number.")

    @property
    def dark_mm2(self) -> float:
        """Area of all marks together that is marked [mm²]."""
        return float(sum(mark_cells(mark.number).mean() * mark.side_mm**2 for mark in self.marks))


def mark_cells(number: int) -> np.ndarray:
    """(7, 7) True where a mark is dark: the border, and the signs of its number.

    Examples
    --------
    >>> int(mark_cells(0).sum()), bool(mark_cells(0)[0].all())
    (36, True)
    """
    if not 0 <= number < len(_WORDS):
        raise LimitError(f"registration mark {number} is not known; they are numbered 0 to {len(_WORDS) - 1}.")
    signs = np.array([int(sign) for sign in f"{int(_WORDS[number], 16):025b}"]).reshape(5, 5)
    return np.pad(signs == 0, 1, constant_values=True)


def mark_numbers(plate: str) -> tuple[int, ...]:
    """Numbers of the marks of a plate, by place: four corners from top left clockwise, then the four middles.

    A number's remainder by 8 is its place; the rest comes from the plate's own eight signs, so that a photo of another
    plate is recognised as such (four marks agree by chance once in a million).
    """
    digest = hashlib.sha256(plate.encode()).digest()
    return tuple(PLACES * (digest[place] % (len(_WORDS) // PLACES)) + place for place in range(PLACES))


def mark_outline(mark: Mark) -> list[np.ndarray]:
    """Closed outlines [mm] of a mark's dark parts, each (k, 2); fill them by the even-odd rule.

    Examples
    --------
    >>> mark_outline(Mark(0, (5.0, 5.0), 7.0))[0][0].tolist()
    [1.5, 1.5]
    """
    dark = np.pad(mark_cells(mark.number), 1)
    follow: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for row, column in np.argwhere(dark):
        y, x = int(row), int(column)
        sides = (((x, y), (x + 1, y), (-1, 0)), ((x + 1, y), (x + 1, y + 1), (0, 1)),
                 ((x + 1, y + 1), (x, y + 1), (1, 0)), ((x, y + 1), (x, y), (0, -1)))  # fmt: skip
        for start, end, (down, right) in sides:
            if not dark[y + down, x + right]:
                follow.setdefault(start, []).append(end)
    rings = []
    while follow:
        start = min(follow)
        ring, here = [], start
        while here in follow:
            ring.append(here)
            ends = follow[here]
            before = ring[-2] if len(ring) > 1 else here
            # where two cells touch at a corner, turn so that the outlines do not cross
            ends.sort(key=lambda end: _turn(before, here, end))
            following = ends.pop()
            if not ends:
                del follow[here]
            here = following
        rings.append(np.array(ring))
    module = mark.side_mm / MODULES
    corner = np.array(mark.xy_mm) - mark.side_mm / 2
    return [corner + (_corners_only(ring) - 1) * module for ring in rings]


def mark_squares(mark: Mark) -> list[np.ndarray]:
    """Dark modules of a mark, each (2, 2): its top left and bottom right corner [mm]."""
    module = mark.side_mm / MODULES
    corner = np.array(mark.xy_mm) - mark.side_mm / 2
    return [
        corner + module * np.array([[column, row], [column + 1, row + 1]])
        for row, column in np.argwhere(mark_cells(mark.number))
    ]


def _turn(before: tuple[int, int], here: tuple[int, int], end: tuple[int, int]) -> int:
    return (here[0] - before[0]) * (end[1] - here[1]) - (here[1] - before[1]) * (end[0] - here[0])


def _corners_only(ring: np.ndarray) -> np.ndarray:
    bends = (ring - np.roll(ring, 1, axis=0) != np.roll(ring, -1, axis=0) - ring).any(axis=1)
    return ring[bends]


def dark_setting(machine: Machine) -> Setting:
    """Setting for a dark, even mark on steel within the machine's limits, near to what open data call black.

    Pulses of about 100 µJ and 60 ns at an areal energy of 12.5 J/mm², or what the machine has nearest to that.
    """
    widths = np.array(machine.pulse_ns)
    width = (
        float(np.clip(DARK_NS, *widths))
        if machine.pulse_is_range
        else float(widths[np.argmin(abs(np.log(widths / DARK_NS)))])
    )
    freq = float(np.clip(DARK_KHZ, *machine.freq_khz))
    low, high = machine.power_range_pct
    percents = np.arange(np.ceil(max(low, 1)), np.floor(high) + 1) if high - low >= 1 else np.array([high])
    watts = machine.average_power_w(Setting(percents, 1.0, freq, width, DARK_SPACING_MM))
    choice = int(np.argmin(abs(watts - DARK_W)))
    speed = min(float(watts[choice]) / (DARK_AREAL_J_MM2 * DARK_SPACING_MM), machine.max_speed_mm_s)
    setting = Setting(percents[choice], float(f"{speed:.2g}"), freq, width, DARK_SPACING_MM)
    if setting.speed_mm_s > machine.max_speed_mm_s:
        setting = setting.replace(speed_mm_s=machine.max_speed_mm_s)
    machine.check(setting)
    return setting
