"""The commands: each parses, calls the library, prints. Results go to stdout, remarks and progress to stderr."""

from tint.cli import ask, grid, job, measure, model, palette, separate, shop
from tint.cli.group import main

__all__ = ["ask", "grid", "job", "main", "measure", "model", "palette", "separate", "shop"]
