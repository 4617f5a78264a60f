"""A page's own connection: it is told the newest at every change, and its messages are taken, within limits."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Iterable
from contextlib import suppress

from starlette.websockets import WebSocket, WebSocketDisconnect

PATIENCE = 5.0
"""Seconds that a page may take for what it is sent."""
A_SECOND, AT_ONCE = 40.0, 80.0
"""Messages of one page: in the long run, and in a burst."""
MOST_BAD = 20
"""Messages that are none, after which a page is left."""

Listen = Callable[[Callable[[], None]], Callable[[], None]]
"""Calls what it is given at every change, from whatever thread, until what it returns is called."""


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


async def live(
    socket: WebSocket,
    changes: Iterable[Listen],
    news: Callable[[], Awaitable[str]],
    take: Callable[[str], Awaitable[str | None]],
) -> None:
    """Serve a page that is let in, until it is gone.

    Args:
        socket: its connection, not accepted yet.
        changes: what to listen to.
        news: what it is told at its beginning and after each change; a page that is slow is told the newest only.
        take: takes one of its messages, and gives the answer, None for none; ValueError where it is no message.
    """
    await socket.accept()
    loop, changed = asyncio.get_running_loop(), asyncio.Event()
    changed.set()

    def wake() -> None:
        with suppress(RuntimeError):  # a loop that has ended needs none
            loop.call_soon_threadsafe(changed.set)

    ends = [listen(wake) for listen in changes]
    telling = asyncio.create_task(_tell(socket, changed, news))
    try:
        await _hear(socket, take)
    except (WebSocketDisconnect, RuntimeError):
        pass
    finally:
        for end in ends:
            end()
        telling.cancel()
        with suppress(asyncio.CancelledError, RuntimeError, WebSocketDisconnect):
            await telling


async def _tell(socket: WebSocket, changed: asyncio.Event, news: Callable[[], Awaitable[str]]) -> None:
    """One that takes nothing is left."""
    while True:
        await changed.wait()
        changed.clear()
        text = await news()
        try:
            async with asyncio.timeout(PATIENCE):
                await socket.send_text(text)
        except (TimeoutError, WebSocketDisconnect, RuntimeError):
            with suppress(RuntimeError):
                await socket.close(1013)
            return


async def _hear(socket: WebSocket, take: Callable[[str], Awaitable[str | None]]) -> None:
    bucket, bad = Bucket(time.monotonic()), 0
    while True:
        message = await socket.receive()
        if message["type"] == "websocket.disconnect":
            return
        if not bucket.take(time.monotonic()):
            break
        try:
            answer = await take(message.get("text") or "")
        except ValueError:
            bad += 1
            if bad > MOST_BAD:
                break
            continue
        if answer is not None:
            await socket.send_text(answer)
    await socket.close(1008)
