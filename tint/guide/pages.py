"""The pages of the guide: plain Markdown in this folder, in reading order."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from tint.errors import DataError
from tint.files.text import read_text

FOLDER = Path(__file__).parent
NAMES = (
    "install",
    "safety",
    "artwork",
    "proof",
    "stock",
    "measuring",
    "colours",
    "true",
    "many",
    "desk",
    "files",
    "how-sure",
    "trouble",
    "glossary",
)  # reading order; each is NAME.md in this folder


@dataclass(frozen=True)
class Page:
    """One page of the guide.

    Parameters
    ----------
    name : what `tint guide NAME` calls it
    markdown : its text; the first line is its title, the first paragraph says what it is for
    """

    name: str
    markdown: str

    @property
    def title(self) -> str:
        """First heading, without its sign."""
        return self.markdown.split("\n", 1)[0].lstrip("# ").strip()

    @property
    def purpose(self) -> str:
        """First sentence below the title, on one line."""
        paragraph = " ".join(self.markdown.split("\n\n", 2)[1].split())
        return re.split(r"(?<=[.])\s", paragraph, maxsplit=1)[0]

    @property
    def commands(self) -> tuple[str, ...]:
        """Command lines of its console blocks, in order, without the sign of the prompt."""
        blocks = re.findall(r"^```console\n(.*?)^```", self.markdown, re.S | re.M)
        return tuple(line[2:] for block in blocks for line in block.splitlines() if line.startswith("$ "))


def read_page(name: str) -> Page:
    """Page of this name.

    Raises
    ------
    DataError
        No such page; the message names those there are.

    Examples
    --------
    >>> read_page("proof").title
    'How to read a proof'
    """
    if name not in NAMES:
        raise DataError(f"the guide has no page {name!r}; it has {', '.join(NAMES)}.")
    return Page(name, read_text(FOLDER / f"{name}.md"))


def read_guide() -> tuple[Page, ...]:
    """All pages, in reading order."""
    return tuple(read_page(name) for name in NAMES)


def contents_text(pages: tuple[Page, ...]) -> str:
    """One line per page: its name and what it is for."""
    width = max(len(page.name) for page in pages)
    return "\n".join(f"  {page.name:{width}s}  {page.purpose}" for page in pages)


def terminal_text(page: Page) -> str:
    """Markdown of a page with pictures as their descriptions, and links to other pages as the commands that show them."""
    text = re.sub(r"!\[([^\]]*)\]\([^)]*\)", r"[picture: \1]", page.markdown)
    return re.sub(r"\[([^\]]*)\]\(([a-z-]+)\.md(?:#[a-z0-9-]*)?\)", r"\1 (tint guide \2)", text)
