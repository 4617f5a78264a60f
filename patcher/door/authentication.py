"""Authentication: the secret in the QR code's address, the cookie for it, the limit on wrong guesses.

The secret stands behind the # of the address, where no server, log or referrer ever sees it; the page gives it back by
a request of its own, and gets a cookie. Guesses are counted by where they come from.
"""

from __future__ import annotations

import hmac
import secrets
from collections import OrderedDict, deque

ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"
"""Letters and digits that nobody takes for another."""
GROUPS, IN_GROUP = 4, 4
"""Sixteen of 31 letters: 79 bits, short enough to be typed with cold hands."""
GUESSES, WINDOW = 5, 60.0
"""So many wrong secrets from one address in so many seconds; then none is looked at until that is over."""
MOST_PEERS = 1024


class Authentication:
    """The secret and the cookie of one run of the program.

    Attributes:
        secret: what stands in the address.
        host: the address and port by which pages are asked for; what names another host is refused.
        cookie: the cookie's name, with the port in it, since a browser keeps cookies of all ports together.
    """

    def __init__(self, address: str, port: int) -> None:
        self.secret = "-".join("".join(secrets.choice(ALPHABET) for _ in range(IN_GROUP)) for _ in range(GROUPS))
        self.host = f"{address}:{port}" if port != 80 else address
        self.cookie = f"patcher-{port}"
        self._token = secrets.token_urlsafe(32)
        self._wrong: OrderedDict[str, deque[float]] = OrderedDict()

    @property
    def origin(self) -> str:
        """The origin of its pages."""
        return f"http://{self.host}"

    @property
    def url(self) -> str:
        """The address for the QR code."""
        return f"{self.origin}/#{self.secret}"

    def may(self, cookie: str | None) -> bool:
        """Whether a request with this cookie is let in; it may then see and do everything."""
        return cookie is not None and hmac.compare_digest(cookie.encode(), self._token.encode())

    def guess(self, secret: str, peer: str, now: float) -> str | None:
        """The cookie for the secret; None where it is wrong.

        Raises:
            TimeoutError: too many were wrong from there; this one was not looked at.
        """
        wrong = self._wrong.get(peer, deque(maxlen=GUESSES))
        while wrong and wrong[0] <= now - WINDOW:
            wrong.popleft()
        if len(wrong) == GUESSES:
            raise TimeoutError
        if hmac.compare_digest(_plain(secret), _plain(self.secret)):
            self._wrong.pop(peer, None)
            return self._token
        wrong.append(now)
        self._wrong[peer] = wrong
        self._wrong.move_to_end(peer)
        if len(self._wrong) > MOST_PEERS:
            self._wrong.popitem(last=False)
        return None


def _plain(secret: str) -> bytes:
    """As it is compared: however it was typed, with or without dashes."""
    return "".join(secret.lower().split()).replace("-", "").encode(errors="replace")
