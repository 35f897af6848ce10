"""Serves a desk on this computer until it is told to stop."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tint.desk.app import desk_app
from tint.desk.desk import new_desk
from tint.desk.gate import Keys
from tint.errors import FileError

HOST = "127.0.0.1"
WARM_UP_AFTER_S = 1.0  # the page comes first; colour-science takes a second to load


def serve_desk(folder: str | Path | None, *, port: int = 0, ready: Callable[[str], None]) -> None:
    """Nothing; serves the page on 127.0.0.1 until interrupted, then deletes what was loaded.

    Parameters
    ----------
    folder : where palettes, models, machines, stocks and grids are looked for; None looks nowhere
    port : 0 takes a free one
    ready : called with the link to open, which works once, as soon as the page can be loaded

    Raises
    ------
    FileError
        The folder is not there, the port is taken, or the libraries of the page are not installed.
    """
    try:
        import uvicorn
    except ImportError:
        raise FileError("the desk needs two more libraries: pip install 'tint[desk]'.") from None

    start = Path(folder) if folder is not None else None
    if start is not None and not start.is_dir():
        raise FileError(f"{start} is not a folder. Name the one your palettes are in.")
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    with listener:
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((HOST, port))
        except (OSError, OverflowError) as error:
            raise FileError(
                f"port {port} of this computer cannot be used: {error}. Leave --port out to take a free one."
            ) from None
        port = listener.getsockname()[1]
        with _told_to_end() as running:
            keys, desk = Keys(), new_desk(start)
            try:
                config = uvicorn.Config(
                    desk_app(desk, keys, port), log_level="error", access_log=False, lifespan="off", server_header=False,
                    date_header=False, ws="none", timeout_graceful_shutdown=2,
                )  # fmt: skip
                server: Any = uvicorn.Server(config)
                server.capture_signals = contextlib.nullcontext  # its own would end the process before the folder is deleted
                running.append(server)
                listener.listen(64)
                ready(f"http://{HOST}:{port}/open?key={keys.link}")
                warm = threading.Timer(WARM_UP_AFTER_S, _warm_up)
                warm.daemon = True
                warm.start()
                server.run(sockets=[listener])
            finally:
                desk.workshop.close()
                desk.session.close()


@contextlib.contextmanager
def _told_to_end() -> Iterator[list[Any]]:
    """A list for the server. Ctrl-C, an end from outside or a closed terminal stops it; a second does not wait for answers under way."""
    import signal

    running: list[Any] = []

    def stop(number: int, frame: Any) -> None:
        if not running:
            raise SystemExit(0)
        running[0].force_exit = running[0].should_exit
        running[0].should_exit = True

    ends = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    here = threading.current_thread() is threading.main_thread()
    before = {each: signal.signal(each, stop) for each in ends} if here else {}
    try:
        yield running
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


def _warm_up() -> None:
    """Loads what the first answer needs, while the operator reads the page."""
    from PIL import Image

    from tint.lab import delta_e00, lab_from_srgb1, srgb255_from_lab

    Image.preinit()
    srgb255_from_lab(lab_from_srgb1([[0.5, 0.5, 0.5]]))
    delta_e00([50, 0, 0], [51, 0, 0])
