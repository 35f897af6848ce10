"""The commands: each parses, calls the library, prints. Results go to stdout, remarks and progress to stderr."""

from tint.cli import (
    ask,
    batch,
    check,
    desk,
    grid,
    guide,
    job,
    measure,
    model,
    palette,
    proof,
    separate,
    shop,
    stocks,
    swatches,
)
from tint.cli.group import main

__all__ = [
    "ask", "batch", "check", "desk", "grid", "guide", "job", "main", "measure", "model", "palette", "proof", "separate", "shop",
    "stocks", "swatches",
]  # fmt: skip
