"""`tint guide`: how to do things, page by page."""

from __future__ import annotations

from pathlib import Path

import click

from tint.cli.group import main
from tint.cli.options import FORCE, PATH, examples, remark, typed


def _pages(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Names of pages that begin as typed, for the shell."""
    from tint.guide.pages import NAMES

    return [name for name in NAMES if name.startswith(incomplete)]


@main.command(short_help="How to do things, page by page.")
@examples(
    "tint guide",
    "tint guide proof",
    "tint guide -o tint-guide",
)
@click.argument("page", required=False, shell_complete=_pages)
@click.option("-o", "--output", type=PATH, metavar="FOLDER", help="Write all pages as HTML, with their pictures.")
@FORCE
def guide(page: str | None, output: Path | None, force: bool) -> None:
    """List the pages of the guide, or show the one named PAGE.

    With -o all of it is written as a folder of HTML for a browser, a phone or a printer; it needs no network.
    """
    from tint.guide.pages import contents_text, read_guide, read_page, terminal_text

    if output is not None:
        from tint.guide.web import INDEX, write_guide

        if page is not None:
            raise click.UsageError("-o writes all pages; leave the page's name away.")
        names = write_guide(output, force=force)
        click.echo(f"{sum(name.endswith('.html') for name in names)} pages in {output}")
        remark(f"open {output / INDEX}")
    elif page is not None:
        with typed():
            shown = read_page(page)
        click.echo_via_pager(terminal_text(shown))
    else:
        click.echo(contents_text(read_guide()))
        remark("tint guide NAME shows a page; tint guide -o FOLDER writes all of them for a browser")
