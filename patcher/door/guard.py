"""The door of pages: all but the first page need the cookie, all the right Host, and what changes something the right
Origin.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Iterable
from contextlib import suppress
from importlib.resources import files

from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import HTTPConnection, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket

from patcher.door.authentication import WINDOW, Authentication

LONGEST_SECRET = 256
"""Octets of the request that brings the secret."""
PATIENCE = 5.0
"""Seconds that a page may take for its secret."""
Endpoint = Callable[[Request], Awaitable[Response]]


class Guard:
    """Refuses what names another host, or comes from another's page; says on all answers what a browser may do."""

    def __init__(self, app: ASGIApp, entry: Authentication) -> None:
        self._app, self._entry = app, entry
        host = entry.host
        self._headers = {
            "content-security-policy": (
                "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
                f"connect-src 'self' ws://{host}; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
            ),
            "referrer-policy": "no-referrer",
            "x-content-type-options": "nosniff",
            "cross-origin-opener-policy": "same-origin",
            "cross-origin-resource-policy": "same-origin",
            "cache-control": "no-store",
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        origin, asks = headers.get("origin"), scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        wrong = headers.getlist("host") != [self._entry.host]
        wrong |= origin != self._entry.origin and not (origin is None and asks)
        wrong |= headers.get("sec-fetch-site", "none") not in ("none", "same-origin") and not asks

        async def headed(message: Message) -> None:
            if message["type"] in ("http.response.start", "websocket.http.response.start"):
                MutableHeaders(scope=message).update(self._headers)
            await send(message)

        if wrong:
            await _refused(scope, receive, headed, 421, "Not here.")
        else:
            await self._app(scope, receive, headed)


async def _refused(scope: Scope, receive: Receive, send: Send, status: int, says: str) -> None:
    if scope["type"] == "websocket":
        with suppress(RuntimeError):
            await WebSocket(scope, receive, send).close(1008)
        return
    await PlainTextResponse(says, status)(scope, receive, send)


class Door:
    """The requests by which a page is let in, and what they guard."""

    def __init__(self, entry: Authentication) -> None:
        self._entry = entry

    def routes(self) -> list[Route]:
        """The first page, its script, the request with the secret, and the one that asks whether one is let in."""
        return [
            Route("/", self._first),
            Route("/enter", self._enter, methods=["POST"]),
            Route("/door.js", self._script),
            Route("/here", self.for_guests(self._here)),
        ]  # fmt: skip

    def guarded(self, routes: Iterable[BaseRoute]) -> ASGIApp:
        """An application with these requests behind the door."""
        app = Starlette(routes=[*routes], middleware=[Middleware(GZipMiddleware, minimum_size=1000)])
        return Guard(app, self._entry)

    def may(self, connection: HTTPConnection) -> bool:
        """Whether a request is let in."""
        return self._entry.may(connection.cookies.get(self._entry.cookie))

    def for_guests(self, endpoint: Endpoint) -> Endpoint:
        """What answers a request of those who are let in, and refuses all others."""

        async def guarded(request: Request) -> Response:
            return await endpoint(request) if self.may(request) else PlainTextResponse("Scan the code first.", 403)

        return guarded

    async def _first(self, request: Request) -> Response:
        if self.may(request):
            return RedirectResponse("/show", status_code=303)
        return _file("door.html", "text/html")

    async def _script(self, _: Request) -> Response:
        return _file("door.js", "text/javascript")

    async def _here(self, _: Request) -> Response:
        return Response(status_code=204)

    async def _enter(self, request: Request) -> Response:
        octets = b""
        try:
            async with asyncio.timeout(PATIENCE):
                async for chunk in request.stream():
                    octets += chunk
                    if len(octets) > LONGEST_SECRET:
                        return PlainTextResponse("Too long.", 413)
        except TimeoutError:
            return PlainTextResponse("Too slow.", 408)
        peer = request.client.host if request.client else ""
        try:
            token = self._entry.guess(octets.decode(errors="replace"), peer, time.monotonic())
        except TimeoutError:
            return PlainTextResponse(f"Too many wrong codes. Wait {WINDOW:g} s.", 429)
        if token is None:
            return PlainTextResponse("That is not the code.", 403)
        answer = Response(status_code=204)
        answer.set_cookie(self._entry.cookie, token, httponly=True, samesite="strict", path="/")
        return answer


def _file(name: str, kind: str) -> Response:
    return Response((files("patcher.door") / "page" / name).read_text(encoding="utf-8"), media_type=kind)
