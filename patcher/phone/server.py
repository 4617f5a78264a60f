"""The requests of pages. All but the first page need the cookie, all the right Host, and what changes something the
right Origin.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress

from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, HTTPConnection, Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from patcher.errors import PatcherError
from patcher.phone.authentication import WINDOW, Authentication
from patcher.phone.connections import STAY
from patcher.phone.desk import Desk
from patcher.phone.film_thread import FilmThread
from patcher.phone.film_upload import WHOLE_IN, RefusedClipError, receive
from patcher.phone.pages import Pages
from patcher.phone.state import Act, in_words, read_act
from patcher.phone.ticks import tick
from patcher.phone.walk_thread import WalkThread
from patcher.walk.record import Entry
from patcher.walk.record_file import change_record, local_time

LONGEST_SECRET = 256
"""Octets of the request that brings the secret."""
PATIENCE = 5.0
"""Seconds that a page may take for what it began to send, or to take what it is sent."""
A_SECOND, AT_ONCE = 40.0, 80.0
"""Messages of one page: in the long run, and in a burst."""
MOST_BAD = 20
"""Messages that are none, after which a page is left."""

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


class Bucket:
    """How many messages a page may send."""

    def __init__(self, now: float) -> None:
        self._left, self._at = AT_ONCE, now

    def take(self, now: float) -> bool:
        """Whether there is room for one more."""
        self._left = min(AT_ONCE, self._left + (now - self._at) * A_SECOND)
        self._at = now
        if self._left < 1:
            return False
        self._left -= 1
        return True


class Server:
    """The requests that there are, on one desk."""

    def __init__(
        self, desk: Desk, entry: Authentication, walks: WalkThread, films: FilmThread, pages: Pages
    ) -> None:  # fmt: skip
        self._desk, self._entry, self._walks, self._films, self._pages = desk, entry, walks, films, pages

    def app(self) -> ASGIApp:
        """The application."""
        routes = [
            Route("/", self._door),
            Route("/enter", self._enter, methods=["POST"]),
            Route("/page.css", self._file), Route("/door.js", self._file),
            Route("/here", self._for_guests(self._here)),
            Route("/show", self._for_guests(self._page)),
            Route("/pixels.json", self._for_guests(self._pixels)),
            Route("/report", self._for_guests(self._report)),
            Route("/filming", self._for_guests(self._filming)),
            Route("/film", self._for_guests(self._film_fits)),
            Route("/film", self._for_guests(self._film), methods=["POST"]),
            Route("/film.png", self._for_guests(self._film_picture)),
            *(Route(f"/{name}", self._for_guests(self._file)) for name in self._pages.scripts),
            WebSocketRoute("/state", self._state),
        ]  # fmt: skip
        return Guard(Starlette(routes=routes, middleware=[Middleware(GZipMiddleware, minimum_size=1000)]), self._entry)

    def _may(self, connection: HTTPConnection) -> bool:
        return self._entry.may(connection.cookies.get(self._entry.cookie))

    def _for_guests(self, endpoint: Endpoint) -> Endpoint:
        async def guarded(request: Request) -> Response:
            return await endpoint(request) if self._may(request) else PlainTextResponse("Scan the code first.", 403)

        return guarded

    async def _door(self, request: Request) -> Response:
        if self._may(request):
            return RedirectResponse("/show", status_code=303)
        return self._pages.file("door.html")

    async def _file(self, request: Request) -> Response:
        return self._pages.file(request.url.path[1:])

    async def _here(self, request: Request) -> Response:
        return Response(status_code=204)

    async def _page(self, request: Request) -> Response:
        return await asyncio.to_thread(self._pages.page, self._desk.plan)

    async def _pixels(self, request: Request) -> Response:
        return await asyncio.to_thread(self._pages.pixels, self._desk.plan, request.query_params.getlist("run"))

    async def _report(self, request: Request) -> Response:
        try:
            return JSONResponse(await asyncio.to_thread(self._pages.report, self._desk.plan))
        except PatcherError as error:
            return JSONResponse({"problem": in_words(error)})

    async def _filming(self, request: Request) -> Response:
        """How to film, or what is missing for that."""
        return JSONResponse(await asyncio.to_thread(self._films.filming))

    async def _film_fits(self, request: Request) -> Response:
        """Whether a clip of so many octets would be taken: a page that is refused while it sends is not told why."""
        try:
            self._films.check(_octets(request.query_params.get("size")))
        except RefusedClipError as error:
            return JSONResponse({"refused": error.says})
        return JSONResponse({"refused": ""})

    async def _film(self, request: Request) -> Response:
        """A clip: it is written to a file as it comes, and then read in a thread of its own."""
        try:
            upload = self._films.begin(_octets(request.headers.get("content-length")))
        except RefusedClipError as error:
            return PlainTextResponse(error.says, error.status, {"connection": "close"})
        gone = "The upload broke off. Choose the clip again."
        try:
            request.scope.get("extensions", {}).get(STAY, lambda seconds: None)(WHOLE_IN)
            await receive(request.stream(), upload, self._films.tell)
        except RefusedClipError as error:
            gone = error.says
            return PlainTextResponse(error.says, error.status, {"connection": "close"})
        except ClientDisconnect:
            return Response(status_code=400)
        else:
            self._films.read(upload)
            gone = ""
        finally:
            if gone:
                self._films.drop(upload, gone)
        return Response(status_code=202, headers={"connection": "close"})

    async def _film_picture(self, request: Request) -> Response:
        picture = self._films.picture
        return Response(picture, media_type="image/png") if picture else PlainTextResponse("None yet.", 404)

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

    async def _state(self, socket: WebSocket) -> None:
        """One page: it is told the state at every change, and its taps are taken."""
        if not self._may(socket):
            await socket.close(1008)
            return
        await socket.accept()
        loop, changed = asyncio.get_running_loop(), asyncio.Event()
        changed.set()
        end = self._desk.listen(lambda: _wake(loop, changed))
        telling = asyncio.create_task(self._tell(socket, changed))
        try:
            await self._hear(socket)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            end()
            telling.cancel()
            with suppress(asyncio.CancelledError, RuntimeError, WebSocketDisconnect):
                await telling

    async def _tell(self, socket: WebSocket, changed: asyncio.Event) -> None:
        """A page that is slow is told the newest state only; one that takes nothing is left."""
        while True:
            await changed.wait()
            changed.clear()
            try:
                async with asyncio.timeout(PATIENCE):
                    await socket.send_text(self._desk.document())
            except (TimeoutError, WebSocketDisconnect, RuntimeError):
                with suppress(RuntimeError):
                    await socket.close(1013)
                return

    async def _hear(self, socket: WebSocket) -> None:
        bucket, bad = Bucket(time.monotonic()), 0
        while True:
            message = await socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            if not bucket.take(time.monotonic()):
                break
            try:
                act = read_act(message.get("text") or "")
            except ValueError:
                bad += 1
                if bad > MOST_BAD:
                    break
                continue
            self._take(act)
            if act.do == "here":
                await socket.send_text(".")
        await socket.close(1008)

    def _take(self, act: Act) -> None:
        """One act: of the walk-through, of the record, or of the pixels."""
        self._desk.tap(act)
        match act.do:
            case "round":
                self._walks.begin(again=act.text == "again")
            case "answer":
                self._walks.take(act)
            case "note":
                asyncio.get_running_loop().run_in_executor(None, self._note, act)
            case "typed" | "told":
                asyncio.get_running_loop().run_in_executor(None, self._tick, act)

    def _tick(self, act: Act) -> None:
        """Tick off what was typed in or told, or take the tick away; what cannot be kept is said."""
        try:
            tick(self._desk.plan, act)
            self._desk.recorded()
        except PatcherError as error:
            self._desk.say_problem(error)

    def _note(self, act: Act) -> None:
        """Keep a note; what cannot be kept is said."""
        try:
            if act.thing not in self._desk.plan.wiring.show.controllers:
                self._desk.plan.find(act.thing)
            if words := act.text.strip():
                now = local_time()
                plan = self._desk.plan
                entry = Entry(act.thing, now, words)
                change_record(plan.path, lambda record: record.added("notes", entry), practice=plan.practice)
                self._desk.recorded()
        except PatcherError as error:
            self._desk.say_problem(error)


def _octets(text: str | None) -> int | None:
    """How many octets are said; None where that is not said."""
    return int(text[:15]) if text and text.isascii() and text.isdecimal() else None


def _wake(loop: asyncio.AbstractEventLoop, changed: asyncio.Event) -> None:
    """From whatever thread; a loop that has ended needs none."""
    with suppress(RuntimeError):
        loop.call_soon_threadsafe(changed.set)
