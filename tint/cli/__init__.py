"""The commands: each parses, calls the library, prints. Results go to stdout, remarks and progress to stderr."""

from tint.cli import ask, bench, shop, stock
from tint.cli.group import main

__all__ = ["ask", "bench", "main", "shop", "stock"]
