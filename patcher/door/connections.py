"""The server as it runs: one socket on one address, connections that may not dawdle, an end that says so to all."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Generator
from contextlib import contextmanager
from typing import Any, cast

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from patcher.errors import refuse

HEADERS_IN = 5.0
"""Seconds for all the headers of a request."""
WHOLE_IN = 60.0
"""Seconds that a connection lasts, unless it becomes a page's own."""
STAY = "patcher.stay"
"""The extension by which what answers a request lets its connection last longer: called with seconds."""
FROM_ONE, IN_ALL = 150, 400
"""Connections at once: from one address, and from all."""
LONGEST_MESSAGE = 4096
PING = 10.0
"""Seconds from ping to ping, and to wait for the answer."""


class Hasty(H11Protocol):
    """HTTP of which nobody may hold the doors open: late headers, long stays and crowds are ended."""

    _late: asyncio.TimerHandle | None = None
    _over: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count it, and begin to wait for its headers."""
        super().connection_made(transport)
        peer = self.client[0] if self.client else ""
        others = [one for one in self.connections if (getattr(one, "client", None) or ("",))[0] == peer]
        if len(others) > FROM_ONE or len(self.connections) > IN_ALL:
            transport.abort()
            return
        self._over = self.loop.call_later(WHOLE_IN, self._end)
        self._expect()

    def data_received(self, data: bytes) -> None:
        """Whether the headers are there now."""
        super().data_received(data)
        if self.cycle is not None:
            cast(dict[str, Any], self.cycle.scope.setdefault("extensions", {}))[STAY] = self._stay
        if self.cycle is not None and not self.cycle.response_complete:
            self._forget()
        else:
            self._expect()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is waited for any more."""
        self._forget()
        if self._over is not None:
            self._over.cancel()
        super().connection_lost(exc)

    def _stay(self, seconds: float) -> None:
        """Whoever answers lets it last so much longer."""
        if self._over is not None:
            self._over.cancel()
            self._over = self.loop.call_later(seconds, self._end)

    def _expect(self) -> None:
        if self._late is None:
            self._late = self.loop.call_later(HEADERS_IN, self._end)

    def _forget(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _end(self) -> None:
        transport = self.transport
        if transport is not None and transport.get_protocol() is self:
            transport.abort()


class _Server(uvicorn.Server):
    def __init__(self, config: uvicorn.Config, stopped: Callable[[], bool]) -> None:
        super().__init__(config)
        self._stopped = stopped

    async def on_tick(self, counter: int) -> bool:
        return await super().on_tick(counter) or self._stopped()

    @contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        """Whoever called has taken the signals already."""
        yield


def listen(address: str, port: int) -> socket.socket:
    """A socket on that address and no other; port 0 is any that is free.

    Raises:
        PatcherError: it cannot be had.
    """
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((address, port))
        sock.listen(128)
    except OSError as error:
        sock.close()
        raise refuse("--port", f"{address}:{port} cannot be had: {error.strerror}", "choose another --port") from None
    return sock


def serve(app: ASGIApp, sock: socket.socket, stopped: Callable[[], bool], longest: int = LONGEST_MESSAGE) -> None:
    """Serve until it is stopped; pages are told that it ends, and the socket is closed. No message of a page is longer
    than `longest` octets.
    """
    options: dict[str, Any] = {
        "http": Hasty, "ws": "websockets-sansio", "loop": "asyncio", "lifespan": "off", "log_config": None,
        "log_level": "critical", "access_log": False, "proxy_headers": False, "server_header": False,
        "ws_max_size": longest, "ws_ping_interval": PING, "ws_ping_timeout": PING,
        "ws_per_message_deflate": False, "timeout_keep_alive": 5, "timeout_graceful_shutdown": 2,
    }  # fmt: skip
    with sock:
        asyncio.run(_Server(uvicorn.Config(app, **options), stopped).serve(sockets=[sock]))
