"""`Grid`: which settings to mark, where on the plate, in which order; `grid.json` and the drawing of the plate."""

from __future__ import annotations

import hashlib
import math
import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tint.caution import SHORT, cautions
from tint.errors import DataError, FileError, LimitError, TintError
from tint.files import json_text, new_folder, read_json, write_file
from tint.process import process, spot_mm
from tint.setting import FIELDS, UNITS, WORDS, Machine, Setting, Stock, machine_from, stock_from

VERSION = 1
PATCH_MM = 6.0  # a hand-held instrument needs about 4 mm of even colour (common practice, no source)
GAP_MM = 1.5  # bare metal between patches: keeps the heat of one from tinting the next
EDGE_MM = 5.0  # plate edges cool differently and are where the clamp sits
REPEATS = 4  # marks of the middle setting, spread over the plate: they tell repeatability and field effects apart

# Areal energies [J/mm²] worth scouting on steel: the named-colour table of the open repository
# MOPA_Laser_Stainless_Colors (MIT) runs from 7.9 to 22.5; widened by a factor of 1.6 either way.
AREAL_J_MM2 = (5.0, 36.0)
# Power [%], speed [mm/s], frequency [kHz], pulse width [ns] around the same table (18–30, 700–800, mostly 200–570, 6–60);
# a threefold to twelvefold span is what some 60 to 100 patches can learn. What the machine cannot do is cut off.
USUAL = {
    "power_pct": (15.0, 60.0),
    "speed_mm_s": (300.0, 2400.0),
    "freq_khz": (150.0, 1500.0),
    "pulse_ns": (4.0, 200.0),
}
MOST_PATCHES = 1000  # of 4096 candidates; a plate of 10,000 mm² holds a few hundred
SPACING_OF_SPOT = 1 / 25  # line spacing as a share of the spot: 0.002–0.003 mm for 60 µm in that table


@dataclass(frozen=True, eq=False)
class Grid:
    """A plate of patches to mark.

    Parameters
    ----------
    name : what the shop calls the plate
    machine, stock : what it is marked on
    ids : n patch names, letter for the row and number for the column, such as "B07"
    setting : settings (n,)
    order : (n,) marking order, 1 first
    xy_mm : (n, 2) centre of each patch [mm] from the plate's top left corner, x right, y down
    patch_mm : side of a patch [mm]
    plate_mm : width and height of the plate [mm]
    """

    name: str
    machine: Machine
    stock: Stock
    ids: tuple[str, ...]
    setting: Setting
    order: np.ndarray
    xy_mm: np.ndarray
    patch_mm: float
    plate_mm: tuple[float, float]

    def __post_init__(self) -> None:
        n = len(self.ids)
        if self.setting.shape != (n,) or self.order.shape != (n,) or self.xy_mm.shape != (n, 2) or n == 0:
            raise LimitError("a grid needs as many settings, order numbers and places as patches.")
        if len(set(self.ids)) != n or sorted(self.order.tolist()) != list(range(1, n + 1)):
            raise LimitError("patch ids and marking order numbers of a grid are each used once.")
        self.machine.check(self.setting)

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def mark(self) -> str:
        """Eight signs that tell this plate from every other: they stand in its table of readings and are checked there."""
        content = repr((self.ids, self.setting.table().round(9).tolist(), self.xy_mm.round(6).tolist()))
        return hashlib.sha256(content.encode()).hexdigest()[:8]

    @property
    def time_s(self) -> float:
        """Scan time of the whole grid [s], without turn-round and jumps."""
        area = self.patch_mm**2
        return float(np.sum(area * self.setting.passes / (self.setting.speed_mm_s * self.setting.spacing_mm)))


def plan_grid(
    machine: Machine,
    stock: Stock,
    n: int = 60,
    *,
    ranges: dict[str, tuple[float, float]] | None = None,
    name: str = "plate 1",
    patch_mm: float = PATCH_MM,
    gap_mm: float = GAP_MM,
    seed: int = 0,
) -> Grid:
    """Grid of n patches that fills the box of settings evenly, inside every limit of machine and stock.

    Parameters
    ----------
    n : patches, the repeats of the middle setting among them
    ranges : (lowest, highest) by field name; equal numbers keep a field fixed. Fields left out take what usually
        colours steel, cut to what the machine can do; line spacing is 1/25 of the spot
    seed : picks the settings and shuffles the marking order

    Raises
    ------
    DataError
        The plate or the field is too small, or no setting of the box is worth marking.
    LimitError
        A range the machine cannot do.

    Notes
    -----
    Candidates fill the box along the logarithm of each field (Sobol points); those whose areal energy leaves 5–36
    J/mm² are dropped unless the ranges were all stated; n are then picked so that each is as far as can be from those
    before. The marking order is shuffled, so that a drift of the laser is not mistaken for an effect of a setting.
    """
    if n < 12:
        raise DataError(f"a grid of {n} patches is too few to learn from; plan at least 12, better 48 or more.")
    ranges = dict(ranges or {})
    for field in ranges:
        if field not in FIELDS:
            raise DataError(f"{field} is not a field of a setting; known are {', '.join(FIELDS)}.")
    stated = {"power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm"} <= set(ranges)
    box = _box(machine, ranges)
    pool = _pool(machine, box, seed)
    if not stated:
        areal = process(pool, machine).areal_energy_j_mm2
        pool = pool[(areal >= AREAL_J_MM2[0]) & (areal <= AREAL_J_MM2[1])]
    repeats = REPEATS if n >= 24 else 2
    if n > MOST_PATCHES:
        raise DataError(f"{n} patches are more than a plan holds ({MOST_PATCHES}); use several plates.")
    if len(pool) < n:
        raise DataError(
            f"only {len(pool)} settings of this box lie between {AREAL_J_MM2[0]:g} and {AREAL_J_MM2[1]:g} J/mm². "
            "State wider ranges, or all five of power, speed, frequency, pulse width and spacing to mark the box as it is."
        )
    chosen = _spread(pool, n - repeats + 1)
    rng = np.random.default_rng(seed)
    places = _places(machine, stock, n, patch_mm, gap_mm)
    columns = len({x for x, _ in places})
    cells = rng.permutation(n)
    # repeats of the first setting: near the corners and the middle of the plate
    spots = list(dict.fromkeys([0, n - 1, columns - 1, n // 2, *range(n)]))[:repeats]
    cells = np.concatenate([spots, [cell for cell in cells if cell not in spots]]).astype(int)
    table = np.concatenate([np.repeat(chosen.table()[:1], repeats, axis=0), chosen.table()[1:]])
    placed = np.empty_like(table)
    placed[cells] = table
    return Grid(
        name, machine, stock, tuple(_id(cell, columns) for cell in range(n)), Setting.from_table(placed),
        rng.permutation(n) + 1, np.array(places), float(patch_mm), (stock.size_mm[0], stock.size_mm[1]),
    )  # fmt: skip


def write_grid(grid: Grid, path: str | Path, *, force: bool = False) -> Path:
    """Path of the `grid.json` written; `read_grid` gives the same grid back.

    Raises
    ------
    FileError
        The file is there and `force` is not set, or the place cannot be written.
    """
    body = {
        "name": grid.name,
        "machine": grid.machine.as_dict(),
        "stock": grid.stock.as_dict(),
        "patch_mm": grid.patch_mm,
        "plate_mm": list(grid.plate_mm),
        "patches": [
            {
                "patch": name,
                "order": int(grid.order[i]),
                "xy_mm": grid.xy_mm[i].tolist(),
                "setting": grid.setting[i].as_dict(),
            }
            for i, name in enumerate(grid.ids)
        ],
    }
    return write_file(path, json_text("grid", VERSION, body), force=force)


def read_grid(path: str | Path) -> Grid:
    """Grid of a `grid.json`, or of the folder that holds one.

    Raises
    ------
    FileError
        Not a grid, newer than this tint, or with a part missing or damaged.
    """
    path = Path(path)
    path = path / "grid.json" if path.is_dir() else path
    body = read_json(path, "grid", VERSION)
    try:
        rows = body["patches"]
        return Grid(
            str(body["name"]), machine_from(body["machine"]), stock_from(body["stock"]),
            tuple(str(row["patch"]) for row in rows),
            Setting.from_table([Setting.from_dict(row["setting"]).table() for row in rows]),
            np.array([int(row["order"]) for row in rows]), np.array([row["xy_mm"] for row in rows], dtype=float),
            float(body["patch_mm"]), (float(body["plate_mm"][0]), float(body["plate_mm"][1])),
        )  # fmt: skip
    except KeyError as error:
        raise FileError(f"{path}: {error.args[0]} is missing from the grid.") from None
    except TintError as error:
        raise FileError(f"{path}: {error}") from None
    except (TypeError, ValueError, AttributeError, IndexError):
        raise FileError(f"{path} is damaged: a value is not of the kind a grid needs.") from None


def write_plate(grid: Grid, folder: str | Path, *, force: bool = False) -> Path:
    """Path of the plate's folder, written whole: grid, settings, drawing, map, a table for the readings, and how to go about it.

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or the place cannot be written.
    """
    columns = ["order", "patch", *FIELDS]
    rows = [
        [str(int(grid.order[i])), grid.ids[i], *(f"{value:.10g}" for value in grid.setting.table()[i])]
        for i in np.argsort(grid.order)
    ]  # fmt: skip
    blank = [
        f"# plate: {grid.mark}",
        "# illuminant: D50",
        "# instrument: ",
        "# geometry: ",
        "patch,L,a,b,flag",
        "bare,,,,",
    ]
    texts = {
        "settings.csv": "\n".join([f"# caution: {SHORT}", *(",".join(row) for row in [columns, *rows]), ""]),
        "plate.svg": plate_svg(grid),
        "map.svg": plate_svg(grid, names=True),
        "reading.csv": "\n".join([*blank, *(f"{name},,,," for name in grid.ids), ""]),
        "README.txt": _plate_readme(grid),
    }
    with new_folder(folder, "grid", force=force) as place:
        write_grid(grid, place / "grid.json")
        for name, text in texts.items():
            (place / name).write_text(text, encoding="utf-8")
    return Path(folder)


def _plate_readme(grid: Grid) -> str:
    title = f"{grid.name} ({grid.mark}): {len(grid)} patches on {grid.stock.name}, for {grid.machine.name}"
    files = (
        "settings.csv  one row per patch, in the order to mark them. Keep to this order: it is shuffled so that a drift",
        "              of the laser is not mistaken for an effect of a setting.",
        "plate.svg     the squares at their places [mm], each in a group named by its patch. This is what to mark.",
        "map.svg       the same with names and order numbers, to print and tick off. Not to be marked.",
        "reading.csv   fill in L, a, b (CIELAB D50) as the instrument gives them; 'bare' is the unmarked metal. A patch that",
        "              is scratched or uneven gets a word in the column flag. Rows left empty count as not read.",
        "grid.json     what tint needs to join the readings: tint measure THIS-FOLDER reading.csv -o patches.csv",
    )
    steps = (
        "1. Clean the plate (no grease, no fingerprints) and the lens, clamp the plate flat, set the focus.",
        "2. The drawing's top left corner is the plate's top left corner; its size is the plate's size.",
        "3. For each row of settings.csv: choose that patch's square alone, enter its settings exactly, fill it with scan lines at",
        "   the stated spacing, no outline. Mark no place more often than its passes say: heating again changes the colour.",
        "4. Let the plate cool when it gets warm to the hand; a hot plate shifts colours.",
        "5. Wipe when cold, measure each square in its middle and the bare metal beside, always turned the same way.",
    )
    heads = (("FILES", files), ("AT THE MACHINE", steps))
    said = textwrap.wrap(
        f"about {grid.time_s / 60:.0f} minutes of scanning, without turn-round and without entering {len(grid)} settings",
        110,
    )
    lines = [*textwrap.wrap(title, 110), *said]
    for head, body in heads:
        lines += ["", head, *body]
    lines += ["", "BEFORE YOU START"]
    for line in cautions(grid.machine.wavelength_nm, grid.stock.grade):
        lines += textwrap.wrap(line, 110, initial_indent="- ", subsequent_indent="  ")
    return "\n".join([*lines, ""])


def plate_svg(grid: Grid, *, names: bool = False) -> str:
    """SVG drawing of the plate in mm: one square per patch in a group named by its id, its setting as the title.

    Parameters
    ----------
    names : add the plate's edge, patch names and order numbers: a map to print, not to mark
    """
    width, height = grid.plate_mm
    half = grid.patch_mm / 2
    squares, words = [], []
    for i in np.argsort(grid.order):
        x, y = grid.xy_mm[i]
        squares.append(
            f'  <g id="patch-{grid.ids[i]}"><title>{grid.ids[i]}, number {grid.order[i]} in order: {grid.setting[i]}</title>'
            f'<rect x="{x - half:.4f}" y="{y - half:.4f}" width="{grid.patch_mm:g}" height="{grid.patch_mm:g}"/></g>'
        )
        size = grid.patch_mm / 3
        words.append(
            f'  <text x="{x:.3f}" y="{y - 0.05 * size:.3f}" font-size="{size:.3f}" font-weight="bold">{grid.ids[i]}</text>'
        )
        words.append(
            f'  <text x="{x:.3f}" y="{y + 1.05 * size:.3f}" font-size="{0.8 * size:.3f}">{grid.order[i]}</text>'
        )
    edge = f'<rect x="0.1" y="0.1" width="{width - 0.2:g}" height="{height - 0.2:g}" fill="none" stroke="#777777" stroke-width="0.2"/>'
    extra = (
        f'<g id="map-only" fill="#111111" font-family="sans-serif" text-anchor="middle">\n{edge}\n'
        + "\n".join(words)
        + "\n</g>\n"
        if names
        else ""
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">\n'
        f"<title>{_escape(grid.name)} ({grid.mark}): {len(grid)} patches on {_escape(grid.stock.name)}</title>\n<desc>{SHORT}</desc>\n"
        '<g id="patches" fill="#d5d5d5" stroke="none">\n' + "\n".join(squares) + f"\n</g>\n{extra}</svg>\n"
    )


def _escape(text: str) -> str:
    text = "".join(c for c in text if c.isprintable())
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _id(cell: int, columns: int) -> str:
    row, column = divmod(cell, columns)
    letters = chr(ord("A") + row % 26)
    return f"{'' if row < 26 else chr(ord('A') + row // 26 - 1)}{letters}{column + 1:02d}"


def _box(machine: Machine, ranges: dict[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    spacing = float(f"{spot_mm(machine) * SPACING_OF_SPOT:.1g}")
    limits = {
        "power_pct": machine.power_range_pct,
        "speed_mm_s": (0.0, machine.max_speed_mm_s),
        "freq_khz": machine.freq_khz,
        "pulse_ns": (machine.pulse_ns[0], machine.pulse_ns[-1]),
    }
    box = {"spacing_mm": (spacing, spacing), "passes": (1.0, 1.0), "focus_mm": (0.0, 0.0), "hatch_deg": (0.0, 0.0)}
    for field, usual in USUAL.items():
        low, high = max(usual[0], limits[field][0]), min(usual[1], limits[field][1])
        if field == "pulse_ns" and not machine.pulse_is_range and high >= low:
            widths = [width for width in machine.pulse_ns if low <= width <= high]
            low, high = (widths[0], widths[-1]) if widths else (high, low)
        # a machine wholly outside what is usual: take what it has
        box[field] = (low, high) if high >= low else (max(limits[field][0], 1e-3), limits[field][1])
    for field, (low, high) in ranges.items():
        allowed = limits.get(field)
        if not (math.isfinite(low) and math.isfinite(high)) or low > high:
            raise LimitError(f"range {low:g} to {high:g} of {WORDS[field]} cannot be; give lowest:highest.")
        if field in ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm", "passes") and low <= 0:
            raise LimitError(f"{WORDS[field]} starts above 0, found {low:g}.")
        if allowed and (low < allowed[0] * (1 - 1e-9) or high > allowed[1] * (1 + 1e-9)):
            raise LimitError(
                f"{WORDS[field]} {low:g}–{high:g} {UNITS[field]} is outside this machine ({allowed[0]:g}–{allowed[1]:g} {UNITS[field]})."
            )
        box[field] = (float(low), float(high))
    return box


def _pool(machine: Machine, box: dict[str, tuple[float, float]], seed: int) -> Setting:
    from scipy.stats import qmc

    varied = [field for field, (low, high) in box.items() if high > low]
    if not varied:
        raise DataError("no field varies; give at least one range such as --speed-mm-s 400:1600.")
    unit = qmc.Sobol(len(varied), seed=seed).random(4096)
    unit[0] = 0.5  # the middle of the box: the setting that is repeated
    columns = {field: np.full(len(unit), low) for field, (low, _) in box.items()}
    for share, field in zip(unit.T, varied, strict=True):
        low, high = box[field]
        if field == "pulse_ns" and not machine.pulse_is_range:
            widths = np.array([width for width in machine.pulse_ns if low * (1 - 1e-9) <= width <= high * (1 + 1e-9)])
            if not widths.size:
                raise LimitError(f"this machine has no pulse width from {low:g} to {high:g} ns.")
            columns[field] = widths[np.minimum((share * len(widths)).astype(int), len(widths) - 1)]
        elif field == "passes":
            columns[field] = np.minimum(np.floor(low + share * (high - low + 1)), high)
        elif field in ("focus_mm", "hatch_deg"):
            columns[field] = np.round(low + share * (high - low), 2 if field == "focus_mm" else 0)
        else:
            columns[field] = _dial(low * (high / low) ** share, low, high)
    return Setting(**columns)


def _dial(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Values rounded to three digits, as a person types them, and kept inside the range."""
    digits = 10.0 ** (np.floor(np.log10(values)) - 2)
    return np.clip(np.round(np.round(values / digits) * digits, 6), low, high)


def _spread(pool: Setting, n: int) -> Setting:
    """n settings of the pool, the middle one first, each as far as can be from those before (in log units of the box)."""
    table = pool.table()
    logs = np.concatenate([np.log(table[:, :6]), table[:, 6:]], axis=1)
    width = np.ptp(logs, axis=0)
    logs = logs[:, width > 0] / width[width > 0]
    first = int(np.argmin(((logs - (logs.max(axis=0) + logs.min(axis=0)) / 2) ** 2).sum(axis=1)))
    chosen, distance = [first], np.full(len(logs), np.inf)
    for _ in range(n - 1):
        distance = np.minimum(distance, ((logs - logs[chosen[-1]]) ** 2).sum(axis=1))
        chosen.append(int(np.argmax(distance)))
    return pool[chosen]


def _fitting_mm(room: list[float], n: int, gap_mm: float) -> float:
    """Largest patch [mm], to half a millimetre, of which n fit the room."""
    for half in range(40, 0, -1):
        step = half / 2 + gap_mm
        if int((room[0] + gap_mm) // step) * int((room[1] + gap_mm) // step) >= n:
            return half / 2
    return 0.5


def _places(machine: Machine, stock: Stock, n: int, patch_mm: float, gap_mm: float) -> list[tuple[float, float]]:
    """Centres of n patches in rows, centred on the plate, as near to the plate's own proportions as can be."""
    if not (0 < patch_mm < math.inf and 0 <= gap_mm < math.inf):
        raise LimitError("patch size [mm] is above 0 and the gap is not negative.")
    step = patch_mm + gap_mm
    room = [min(plate - 2 * EDGE_MM, reach) for plate, reach in zip(stock.size_mm, machine.field_mm, strict=True)]
    most = [int((space + gap_mm) // step) for space in room]
    if most[0] * most[1] < n:
        raise DataError(
            f"{n} patches of {patch_mm:g} mm do not fit: {max(0, most[0] * most[1])} fit on {stock.size_mm[0]:g} × {stock.size_mm[1]:g} mm "
            f"inside the field. Ask for fewer, make them smaller (--patch-mm {_fitting_mm(room, n, gap_mm):g} fits), or take a larger plate."
        )
    wanted = math.ceil(math.sqrt(n * room[0] / room[1]))
    columns = min(most[0], max(wanted, math.ceil(n / most[1])))
    rows = math.ceil(n / columns)
    left = stock.size_mm[0] / 2 - (columns - 1) * step / 2
    top = stock.size_mm[1] / 2 - (rows - 1) * step / 2
    return [(left + (cell % columns) * step, top + (cell // columns) * step) for cell in range(n)]
