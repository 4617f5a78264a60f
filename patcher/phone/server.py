"""The requests of pages. All but the first page need the cookie, all the right Host, and what changes something the
right Origin.
"""

from __future__ import annotations

import asyncio

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp
from starlette.websockets import WebSocket

from patcher.door.authentication import Authentication
from patcher.door.connections import STAY
from patcher.door.guard import Door
from patcher.door.live import live
from patcher.errors import PatcherError
from patcher.phone.desk import Desk
from patcher.phone.film_thread import FilmThread
from patcher.phone.film_upload import WHOLE_IN, RefusedClipError, receive
from patcher.phone.pages import Pages
from patcher.phone.state import Act, in_words, read_act
from patcher.phone.ticks import tick
from patcher.phone.walk_thread import WalkThread
from patcher.walk.record import Entry
from patcher.walk.record_file import change_record, local_time


class Server:
    """The requests that there are, on one desk."""

    def __init__(
        self, desk: Desk, entry: Authentication, walks: WalkThread, films: FilmThread, pages: Pages
    ) -> None:  # fmt: skip
        self._desk, self._walks, self._films, self._pages = desk, walks, films, pages
        self._door = Door(entry)

    def app(self) -> ASGIApp:
        """The application."""
        routes = [
            *self._door.routes(),
            Route("/page.css", self._file),
            Route("/show", self._door.for_guests(self._page)),
            Route("/pixels.json", self._door.for_guests(self._pixels)),
            Route("/report", self._door.for_guests(self._report)),
            Route("/filming", self._door.for_guests(self._filming)),
            Route("/film", self._door.for_guests(self._film_fits)),
            Route("/film", self._door.for_guests(self._film), methods=["POST"]),
            Route("/film.png", self._door.for_guests(self._film_picture)),
            *(Route(f"/{name}", self._door.for_guests(self._file)) for name in self._pages.scripts),
            WebSocketRoute("/state", self._state),
        ]  # fmt: skip
        return self._door.guarded(routes)

    async def _file(self, request: Request) -> Response:
        return self._pages.file(request.url.path[1:])

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

    async def _state(self, socket: WebSocket) -> None:
        """One page: it is told the state at every change, and its taps are taken."""
        if self._door.may(socket):
            await live(socket, [self._desk.listen], self._news, self._message)
        else:
            await socket.close(1008)

    async def _news(self) -> str:
        return self._desk.document()

    async def _message(self, text: str) -> str | None:
        act = read_act(text)
        self._take(act)
        return "." if act.do == "here" else None

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
