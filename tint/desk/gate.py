"""Who may speak to the desk: this computer's own page and nobody else."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Awaitable, Callable
from typing import Any

HEADER = "x-tint-desk"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = (
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
    ("cache-control", "no-store"),
)
LOCKED = "This desk is locked. Open it with the link that `tint desk` printed; a link works once. Start `tint desk` again for a new one."

Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]


class Keys:
    """Secrets of one running desk: the link's key, good once; the cookie; the token every request carries."""

    def __init__(self) -> None:
        self._link: str | None = secrets.token_urlsafe(24)
        self.cookie = secrets.token_urlsafe(32)
        self.token = secrets.token_urlsafe(32)

    @property
    def link(self) -> str:
        """Key of the link, "" once it was used."""
        return self._link or ""

    def spend(self, key: str) -> bool:
        """True the first time the right key comes."""
        good = self._link is not None and hmac.compare_digest(key.encode(), self._link.encode())
        if good:
            self._link = None
        return good


class Gate:
    """ASGI layer that lets through what comes from the desk's own page, and puts the safe headers on every answer.

    Notes
    -----
    Host must be the address the desk listens on (a page of another site that resolves to this computer has its own);
    Origin, where a browser sends one, the same; all but the link needs the cookie, everything under /api the token too, and
    whatever changes something the Origin as well.
    """

    def __init__(self, app: Any, keys: Keys, port: int) -> None:
        self.app, self.keys = app, keys
        self.cookie = cookie_name(port)
        self.hosts = {f"127.0.0.1:{port}".encode()}
        self.origin = f"http://127.0.0.1:{port}".encode()

    async def __call__(self, scope: dict[str, Any], receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        problem = self._problem(scope)
        guarded = _with_headers(send)
        if problem:
            await _refuse(guarded, problem)
        else:
            await self.app(scope, receive, guarded)

    def _problem(self, scope: dict[str, Any]) -> tuple[int, str] | None:
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value)
        if len(headers.get(b"host", [])) != 1 or headers[b"host"][0] not in self.hosts:
            return 421, "This address is not the desk's."
        origin = headers.get(b"origin", [])
        if any(value != self.origin for value in origin):
            return 403, "Another page may not speak to the desk."
        path = scope["path"]
        if path == "/open":
            return None
        if headers.get(b"sec-fetch-site", [b"none"])[0] not in (b"none", b"same-origin"):
            return 403, "Another page may not speak to the desk."
        if not _same(self._cookie(headers), self.keys.cookie):
            return 403, LOCKED
        if path.startswith("/api/"):
            if not _same((headers.get(HEADER.encode()) or [b""])[0].decode("latin-1"), self.keys.token):
                return 403, "The token is missing or wrong. Reload the page."
            if scope["method"] not in ("GET", "HEAD") and not origin:
                return 403, "A change needs the Origin of the desk's own page."
        return None

    def _cookie(self, headers: dict[bytes, list[bytes]]) -> str:
        for line in headers.get(b"cookie", []):
            for part in line.decode("latin-1").split(";"):
                name, _, value = part.strip().partition("=")
                if name == self.cookie:
                    return value
        return ""


def cookie_name(port: int) -> str:
    """Name of a desk's cookie. Browsers give cookies to every port of a host: two desks must not take each other's."""
    return f"tint_desk_{port}"


def _same(given: str, meant: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), meant.encode())


def _with_headers(send: Send) -> Send:
    async def guarded(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = [(name.encode(), value.encode()) for name, value in HEADERS]
            taken = {name for name, _ in own}
            message = {
                **message,
                "headers": [*(pair for pair in message.get("headers", []) if pair[0].lower() not in taken), *own],
            }
        await send(message)

    return guarded


async def _refuse(send: Send, problem: tuple[int, str]) -> None:
    status, said = problem
    body = said.encode("utf-8")
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
