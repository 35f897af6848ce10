"""`tint desk`: a local page for looking instead of typing."""

from __future__ import annotations

from pathlib import Path

import click

from tint.caution import SHORT
from tint.cli.group import main
from tint.cli.options import PATH, examples, remark


@main.command(short_help="Open a local page for the same work.")
@examples(
    "tint desk",
    "tint desk demo-shop",
    "tint desk demo-shop --no-browser",
)
@click.argument("folder", type=PATH, required=False)
@click.option("--port", type=click.IntRange(0, 65535), default=0, show_default="a free one", help="Port on 127.0.0.1.")
@click.option("--browser/--no-browser", default=True, show_default=True, help="Open the page in the usual browser.")
def desk(folder: Path | None, port: int, browser: bool) -> None:
    """Open a page on this computer: artwork into layers, a palette for a stock, the colour of a setting.

    Palettes, models, machines, stocks and grids in FOLDER [default: the one you are in] are offered. The page needs no network and
    nobody else can open it: the link works once. Files go nowhere but into your browser's downloads. Ctrl-C ends it.
    """
    from tint.desk.serve import serve_desk

    def ready(link: str) -> None:
        click.echo(link)
        remark("the desk is open at that link, which works once; Ctrl-C ends it")
        remark(SHORT)
        if browser:
            import threading
            import webbrowser

            threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()

    serve_desk(folder if folder is not None else Path.cwd(), port=port, ready=ready)
