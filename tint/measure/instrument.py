"""`Reading`: what an instrument says, row by row, before anything is said about patches.

Every file kind is parsed into this one thing (`csv_table`, `cgats`, `cxf`); `match` then gives each row its patch.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tint.errors import FileError, LimitError
from tint.files.text import file_bytes

MAX_FILE_BYTES = 20_000_000  # 10,000 spectra of 81 values as text have 7 MB; keeps a wrong file from filling memory
MAX_ROWS = 20_000  # the largest plan holds 1,000 patches
BARE = "bare"  # label of a row that holds the unmarked metal


@dataclass(frozen=True, eq=False)
class Reading:
    """Colours in the order they were read.

    Parameters
    ----------
    source : the file, for messages
    labels : n tuples of the names a row goes by, such as ("12", "B07"); () where it has none
    places : n texts, where the row stands, such as "line 12"
    lab : (n, 3) CIELAB D50/2°; NaN where the row is there but was not read
    sd : (n,) standard uncertainty as ΔE00 that the file states; NaN unknown
    flags : n texts, why not to be used; "" means good
    facts : what the file says about itself, conditions included

    Raises
    ------
    LimitError
        Lengths that differ.
    """

    source: str
    labels: tuple[tuple[str, ...], ...]
    places: tuple[str, ...]
    lab: np.ndarray
    sd: np.ndarray
    flags: tuple[str, ...]
    facts: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        n = len(self.labels)
        if self.lab.shape != (n, 3) or self.sd.shape != (n,) or len(self.places) != n or len(self.flags) != n:
            raise LimitError(f"a reading of {n} rows needs {n} colours, places, sd and flags.")

    def __len__(self) -> int:
        return len(self.labels)

    @property
    def read(self) -> np.ndarray:
        """(n,) True where the row holds a colour."""
        return ~np.isnan(self.lab).any(axis=1)

    @property
    def bare(self) -> np.ndarray:
        """(n,) True where the row is the unmarked metal."""
        return np.array([any(label.strip().lower() == BARE for label in labels) for labels in self.labels], dtype=bool)


def read_bytes(path: str | Path) -> bytes:
    """Bytes of an instrument's file.

    Raises
    ------
    FileError
        Missing, a folder, unreadable, empty, or larger than any plate's readings.
    """
    most = f"readings of a plate stay below {MAX_FILE_BYTES / 1e6:.0f} MB. Is it the right file?"
    data = file_bytes(path, MAX_FILE_BYTES, most)
    if not data.strip():
        raise FileError(f"{path} is empty. Export the readings again.")
    return data
