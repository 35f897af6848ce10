"""The application: static files of the page and the routes behind it."""

from __future__ import annotations

import json
import logging
from collections.abc import AsyncIterator
from importlib import resources
from pathlib import Path
from typing import Any
from urllib.parse import quote

from tint.desk.desk import Desk
from tint.desk.gate import LOCKED, Gate, Keys, cookie_name
from tint.desk.intake import limit_bytes, look_at, safe_name
from tint.desk.routes import FETCH, ROUTES, UPLOAD, Route, description
from tint.desk.shape import checked
from tint.errors import DataError, FileError, TintError

MAX_BODY_BYTES = 1_000_000  # of a request that is no file
MAX_NUMBER_SIGNS = 40
TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
log = logging.getLogger("tint.desk")


def desk_app(desk: Desk, keys: Keys, port: int) -> Any:
    """ASGI application of a desk, behind its gate."""
    from starlette.applications import Starlette
    from starlette.routing import Route as At

    page = _Page(keys, cookie_name(port))
    routes = [
        At("/open", page.open),
        At("/", page.index),
        At("/static/{name}", page.static),
        At("/api/schema", _schema),
        At("/api/load", _loading(desk), methods=["POST"]),
        At("/api/fetch", _fetching(desk)),
        *(
            At(f"/api/{route.path}", _handler(desk, route), methods=["POST" if route.changes else "GET"])
            for route in ROUTES
        ),
    ]
    return Gate(Starlette(routes=routes), keys, port)


class _Page:
    """What the browser loads: one page, its style and its scripts, all from the package."""

    def __init__(self, keys: Keys, cookie: str) -> None:
        self.keys, self.cookie = keys, cookie
        folder = resources.files("tint.desk") / "static"
        self.files = {item.name: item.read_bytes() for item in folder.iterdir() if Path(item.name).suffix in TYPES}

    async def open(self, request: Any) -> Any:
        from starlette.responses import PlainTextResponse, RedirectResponse

        if not self.keys.spend(request.query_params.get("key", "")):
            return PlainTextResponse(LOCKED, 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self.cookie, self.keys.cookie, httponly=True, samesite="strict", path="/")
        return answer

    async def index(self, request: Any) -> Any:
        from starlette.responses import Response

        text = self.files["index.html"].replace(b"@TOKEN@", self.keys.token.encode())
        return Response(text, media_type="text/html; charset=utf-8")

    async def static(self, request: Any) -> Any:
        from starlette.responses import PlainTextResponse, Response

        name = request.path_params["name"]
        if name not in self.files or name == "index.html":
            return PlainTextResponse("not here", 404)
        return Response(self.files[name], media_type=f"{TYPES[Path(name).suffix]}; charset=utf-8")


async def _schema(request: Any) -> Any:
    from starlette.responses import JSONResponse

    return JSONResponse(description())


def _handler(desk: Desk, route: Route) -> Any:
    async def handle(request: Any) -> Any:
        from starlette.concurrency import run_in_threadpool
        from starlette.responses import Response

        try:
            values = await _body(request) if route.changes else _query(request, route.takes)
            answer = await run_in_threadpool(_called, desk, route, checked(values, route.takes))
        except TintError as error:
            return _refused(desk, error)
        except _TooLarge as error:
            return _json({"error": str(error)}, 413)
        except Exception:
            return _defect(route.path)
        return Response(answer, media_type="image/png") if route.picture else _json(answer)

    return handle


def _called(desk: Desk, route: Route, values: dict[str, Any]) -> Any:
    if not route.place:
        return route.call(desk, values)
    with desk.place(route.place).lock:
        return route.call(desk, values)


def _refused(desk: Desk, error: TintError) -> Any:
    return _json({"error": desk.session.told(str(error))}, 400)


def _defect(where: str) -> Any:
    log.exception("a defect of tint, at %s", where)
    return _json({"error": "this is a defect of tint; the console shows where."}, 500)


def _json(values: Any, status: int = 200) -> Any:
    from starlette.responses import Response

    return Response(json.dumps(values, allow_nan=False), status, media_type="application/json")


class _TooLarge(Exception):
    """More came than is allowed."""


async def _body(request: Any) -> Any:
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        raise DataError("the request needs the content type application/json.")
    data = b"".join([part async for part in _limited(request, MAX_BODY_BYTES, "a request")])
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        raise DataError("the request is not JSON.") from None


def _query(request: Any, takes: dict[str, Any]) -> dict[str, Any]:
    """Values of a query; numbers are read where the shape wants some."""
    values: dict[str, Any] = {}
    for name, text in request.query_params.multi_items():
        if name in values:
            raise DataError(f"{name[:40]} is there twice.")
        kind = takes["properties"].get(name, {}).get("type")
        if kind in ("number", "integer"):
            try:
                values[name] = float(text[:MAX_NUMBER_SIGNS])
            except ValueError:
                raise DataError(f"{name} needs a number.") from None
        else:
            values[name] = text
    return values


async def _limited(request: Any, most: int, what: str) -> AsyncIterator[bytes]:
    """Parts of the body; stops where they are more than `most` bytes, stated or counted."""
    said = f"{what} may have {most / 1e6:g} MB"
    stated = request.headers.get("content-length", "")
    if stated.isdecimal() and len(stated) < 20 and int(stated) > most:
        raise _TooLarge(f"{said}; this has {int(stated) / 1e6:.0f} MB.")
    count = 0
    async for part in request.stream():
        count += len(part)
        if count > most:
            raise _TooLarge(f"{said}; this has more.")
        yield part


def _loading(desk: Desk) -> Any:
    async def load(request: Any) -> Any:
        from starlette.concurrency import run_in_threadpool
        from starlette.requests import ClientDisconnect

        path = None
        try:
            values = checked(_query(request, UPLOAD), UPLOAD)
            kind, name = values["kind"], safe_name(values["name"], values["kind"])
            path = desk.session.room(name)
            with path.open("wb") as stream:
                async for part in _limited(request, limit_bytes(kind, name), f"a file for {kind}"):
                    desk.session.spend(len(part))
                    stream.write(part)
            return _json((await run_in_threadpool(_taken_in, desk, kind, name, path)).as_dict())
        except TintError as error:
            _forget(path)
            return _refused(desk, error)
        except _TooLarge as error:
            _forget(path)
            return _json({"error": str(error)}, 413)
        except ClientDisconnect:
            _forget(path)
            raise
        except OSError as error:  # the disk is full, say
            _forget(path)
            return _json({"error": f"the file could not be kept: {error.strerror or 'the disk said no'}."}, 400)
        except Exception:
            _forget(path)
            return _defect("load")

    return load


def _taken_in(desk: Desk, kind: str, name: str, path: Path) -> Any:
    if not path.stat().st_size:
        raise FileError(f"{name} is empty.")
    item = desk.session.add(kind, name, path, "loaded")
    try:
        look_at(desk.session, item)
    except TintError as error:
        desk.session.remove(item)
        raise type(error)(desk.session.told(str(error))) from None
    return item


def _forget(path: Path | None) -> None:
    if path is not None:
        path.unlink(missing_ok=True)


def _fetching(desk: Desk) -> Any:
    async def fetch(request: Any) -> Any:
        from starlette.responses import FileResponse

        try:
            item = desk.session.item(checked(_query(request, FETCH), FETCH)["file"])
            if item.source != "made":
                raise DataError(f"{item.name} was not made here.")
        except TintError as error:
            return _refused(desk, error)
        headers = {"content-disposition": f"attachment; filename*=UTF-8''{quote(item.name, safe='')}"}
        return FileResponse(item.path, media_type="application/octet-stream", headers=headers)

    return fetch
