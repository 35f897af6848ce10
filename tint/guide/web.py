"""The guide as pages of HTML that need no network: the only door to the Markdown library."""

from __future__ import annotations

import html
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

from tint.files.write import new_folder
from tint.guide.pages import FOLDER, Page, read_guide

PICTURES = FOLDER / "pictures"
STYLE = FOLDER / "guide.css"
INDEX = "index.html"
# Code up to this long is not broken at its hyphens, such as those of an option; longer would not fit a phone.
SHORT_SIGNS = 20


def write_guide(output: str | Path, *, force: bool = False) -> tuple[str, ...]:
    """Names of the files written into a new folder: index.html, one page each, their pictures.

    Parameters
    ----------
    output : the folder
    force : replace a folder of the guide that is there

    Raises
    ------
    FileError
        The folder is there and `force` is not set, or it cannot be written.
    """
    pages = read_guide()
    with new_folder(output, "guide", force=force) as folder:
        (folder / INDEX).write_text(index_html(pages), encoding="utf-8")
        for number, page in enumerate(pages):
            before, after = pages[number - 1 : number], pages[number + 1 : number + 2]
            (folder / f"{page.name}.html").write_text(page_html(page, before, after), encoding="utf-8")
        for path in sorted(PICTURES.iterdir()):
            (folder / "pictures").mkdir(exist_ok=True)
            (folder / "pictures" / path.name).write_bytes(path.read_bytes())
        names = [item.relative_to(folder).as_posix() for item in sorted(folder.rglob("*")) if item.is_file()]
    return tuple(names)


def page_html(page: Page, before: tuple[Page, ...] = (), after: tuple[Page, ...] = ()) -> str:
    """HTML of a page, with links to the contents and to its neighbours `before` and `after` (one page or none each)."""
    links = [f'<a href="{INDEX}">Contents</a>']
    links += [f'<a href="{one.name}.html" rel="prev">← {html.escape(one.title)}</a>' for one in before]
    links += [f'<a href="{one.name}.html" rel="next">{html.escape(one.title)} →</a>' for one in after]
    above, below = (f'<nav aria-label="{where} the page">{" ".join(links)}</nav>' for where in ("above", "below"))
    return _document(page.title, f"{above}\n<main>\n{_rendered(page.markdown)}</main>\n{below}")


def index_html(pages: tuple[Page, ...]) -> str:
    """HTML of the list of contents."""
    rows = "\n".join(
        f'<dt><a href="{page.name}.html">{html.escape(page.title)}</a></dt><dd>{html.escape(page.purpose)}</dd>'
        for page in pages
    )
    return _document("tint: the guide", f"<main>\n<h1>tint: the guide</h1>\n<dl>\n{rows}\n</dl>\n</main>")


def _document(title: str, body: str) -> str:
    style = STYLE.read_text(encoding="utf-8")
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{html.escape(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _rendered(markdown: str) -> str:
    """HTML of Markdown: headings get names to link to, links to pages become links to their HTML, tables can scroll."""
    from markdown_it import MarkdownIt

    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = reader.parse(markdown)
    for token, following in pairwise(tokens):
        if token.type == "heading_open":
            token.attrSet("id", heading_id(following.content))
    for token in tokens:
        for part in token.children or ():
            _dressed(part)
    drawn: str = reader.renderer.render(tokens, reader.options, {})
    # what scrolls sideways on a phone can be reached by the keyboard
    return drawn.replace("<table>", '<div class="wide" tabindex="0"><table>').replace("</table>", "</table></div>")


def _dressed(part: Any) -> None:
    """Nothing; a link or piece of code in a line gets what HTML needs."""
    if part.type == "link_open":
        part.attrSet("href", re.sub(r"^([a-z-]+)\.md(?=#|$)", r"\1.html", part.attrGet("href")))
    elif part.type == "code_inline" and len(part.content) <= SHORT_SIGNS:
        part.attrSet("class", "short")


def heading_id(heading: str) -> str:
    """Name a heading is linked by: lower case, words joined by hyphens.

    Examples
    --------
    >>> heading_id("What `lost.png` shows")
    'what-lost-png-shows'
    """
    return "-".join(re.findall(r"[a-z0-9]+", heading.lower()))
