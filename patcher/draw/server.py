"""The requests of the page on which a show is drawn: its files, the photograph, one connection for acts and news."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from importlib.resources import files

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp
from starlette.websockets import WebSocket

from patcher.door.authentication import Authentication
from patcher.door.guard import Door
from patcher.door.live import live
from patcher.draw.draft import Draft
from patcher.draw.lamps import Lamps
from patcher.draw.offers import Offers
from patcher.draw.view import Json, view
from patcher.errors import PatcherError
from patcher.phone.state import in_words
from patcher.show.schema import json_schema

LONGEST = 256 * 1024
"""Octets of one message of a page: a run of some thousand places."""
DEEDS = ("act", "undo", "redo", "light", "dark", "propose", "take", "leave", "here")
"""What a message of a page may ask for."""
KINDS = {"css": "text/css", "js": "text/javascript"}
FILES = ("page.css", "draw.js", "scene.js", "tools.js", "panel.js", "offers.js")


class Server:
    """The requests that there are, on one draft."""

    def __init__(self, draft: Draft, entry: Authentication, lamps: Lamps) -> None:
        self._draft, self._lamps, self._door = draft, lamps, Door(entry)
        self._offers = Offers(draft)
        self._seen: tuple[int, Json] = (0, {})
        self._viewing = asyncio.Lock()

    def app(self) -> ASGIApp:
        """The application."""
        guests = self._door.for_guests
        return self._door.guarded([
            *self._door.routes(),
            Route("/page.css", self._file),
            Route("/show", guests(self._page)),
            Route("/schema.json", guests(self._schema)),
            Route("/photo", guests(self._photo)),
            *(Route(f"/{name}", guests(self._file)) for name in FILES[1:]),
            WebSocketRoute("/state", self._state),
        ])  # fmt: skip

    async def _file(self, request: Request) -> Response:
        name = request.url.path[1:]
        return Response(_text(name), media_type=KINDS[name.rpartition(".")[2]])

    async def _page(self, _: Request) -> Response:
        return Response(_text("draw.html"), media_type="text/html")

    async def _schema(self, _: Request) -> Response:
        return JSONResponse(json_schema())

    async def _photo(self, _: Request) -> Response:
        try:
            octets, kind = await asyncio.to_thread(self._draft.photograph)
        except PatcherError as error:
            return PlainTextResponse(in_words(error), 404)
        return Response(octets, media_type=kind)

    async def _state(self, socket: WebSocket) -> None:
        """One page: it is told all at every change, and its acts are taken."""
        if self._door.may(socket):
            await live(
                socket, [self._draft.listen, self._lamps.listen, self._offers.listen], self._telling(), self._message
            )
        else:
            await socket.close(1008)

    async def _view(self) -> tuple[int, Json]:
        """What the file says now, worked out once for all pages."""
        async with self._viewing:
            number, text = self._draft.number, self._draft.history.now
            if self._seen[0] != number:
                self._seen = number, await asyncio.to_thread(view, self._draft.path, text)
            return self._seen

    def _telling(self) -> Callable[[], Awaitable[str]]:
        """Tells one page what it does not know yet."""
        known: Json = {}
        told, offered = 0, -1

        async def news() -> str:
            nonlocal known, told, offered
            history = self._draft.history
            document: Json = {
                "number": self._draft.number, "undo": len(history.past), "redo": len(history.future),
                "news": self._draft.says, **self._lamps.document(),
            }  # fmt: skip
            number, seen = await self._view()
            if number != told:
                document["view"], known, told = _news(seen, known), seen, number
            offers = self._offers.document()
            if offers["number"] != offered:
                document["offers"], offered = offers, offers["number"]
            return json.dumps(document, separators=(",", ":"))

        return news

    async def _message(self, text: str) -> str:
        return json.dumps(await asyncio.to_thread(self._do, _read(text)))

    def _do(self, asked: Json) -> Json:
        """One message: what it asked for is done, or said why not."""
        answer: Json = {"answers": asked.get("id", 0), "problem": ""}
        try:
            match asked["do"]:
                case "act":
                    self._draft.act(asked.get("act"))
                case "undo":
                    self._draft.undo()
                case "redo":
                    self._draft.redo()
                case "light":
                    self._lamps.light(str(asked.get("thing", "")))
                case "propose":
                    self._offers.ask(afresh=asked.get("thing") == "afresh")
                case "take":
                    self._offers.take(str(asked.get("thing", "")))
                case "leave":
                    self._offers.leave()
                case "dark":
                    self._lamps.dark()
                case _:
                    self._lamps.beat()
        except PatcherError as error:
            answer["problem"] = in_words(error)
        return answer


def _read(text: str) -> Json:
    """A message of a page; ValueError where it is none."""
    try:
        given = json.loads(text)
    except RecursionError:
        raise ValueError("nested too deeply") from None
    if not isinstance(given, dict) or not given.keys() <= {"do", "id", "act", "thing"}:
        raise ValueError("no message")
    if given.get("do") not in DEEDS or type(given.get("id", 0)) is not int:
        raise ValueError("asks for nothing")
    return given


def _news(seen: Json, known: Json) -> Json:
    """What a page is told of a view: of runs that are where they were no places again."""
    if not seen.get("readable") or not known.get("readable"):
        return seen
    runs = {}
    for name, run in seen["runs"].items():
        same = name in known["runs"] and known["runs"][name]["at"] == run["at"]
        runs[name] = {key: value for key, value in run.items() if key != "at"} if same else run
    return {**seen, "runs": runs}


def _text(name: str) -> str:
    return (files("patcher.draw") / "page" / name).read_text(encoding="utf-8")
