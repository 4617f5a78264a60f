"""Who may, and who may not: the phone's server under whatever a stranger, a bad page or a bad network sends it."""

import json
import os
import re
import resource
import signal
import socket
import threading
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect
from websockets.typing import Origin

from patcher.answers.witness import Witness
from patcher.diagnosis import frame_timing
from patcher.door import connections
from patcher.door.authentication import GUESSES, MOST_PEERS, WINDOW, Authentication
from patcher.faults import build, parse
from patcher.walk.record_file import read_record
from rig.examples import examples, later, tries
from rig.nursery import nursery
from rig.phones import Inline, Rig, evening, until
from rig.shipped import SHOWS
from rig.yard_process import a_yard

GUARDED = (
    "/show", "/pixels.json", "/report", "/here", "/page.js", "/picture.js", "/film.js", "/filming", "/film",
    "/film.png",
)  # fmt: skip
OPEN = ("/", "/page.css", "/door.js")


@pytest.fixture(scope="module")
def rig(tmp_path_factory: pytest.TempPathFactory):
    """One evening for all that leaves nothing behind; a wrong secret is forgotten after each test."""
    import shutil

    folder = tmp_path_factory.mktemp("doors")
    for name in ("heron-lock.toml", "willow.csv"):
        shutil.copyfile(SHOWS / name, folder / name)
    with evening(folder / "heron-lock.toml") as rig:
        yield rig


@pytest.fixture(autouse=True)
def _forgiven(request: pytest.FixtureRequest):
    yield
    if "rig" in request.fixturenames:
        found: Rig = request.getfixturevalue("rig")
        found.entry._wrong.clear()
        assert not found.lit()
        assert found.desk.failed == ""


def alive(rig: Rig) -> None:
    """A phone that may is still served, and has light."""
    with rig.page() as page:
        assert json.loads(page.recv(timeout=5))["dark"] is True
        page.send(json.dumps({"do": "find", "text": "gable/3"}))
        page.send(json.dumps({"do": "light"}))
        assert until(lambda: rig.lit() == {"gable/3"})
        page.send(json.dumps({"do": "dark"}))
        assert until(lambda: not rig.lit())


# --- nothing without the secret -----------------------------------------------------------------------------------


@pytest.mark.parametrize("path", GUARDED)
@pytest.mark.parametrize("cookie", ["", "none=1", "{name}=", "{name}=guessed", "{name}={secret}", "other={token}"])
def test_nothing_is_had_without_the_cookie(path: str, cookie: str, rig: Rig) -> None:
    # Source: the design: a cookie from the secret, nothing without it
    filled = cookie.format(name=rig.entry.cookie, secret=rig.entry.secret, token=rig.entry._token)
    status, headers, body = rig.ask("GET", path, Cookie=filled)
    assert status == 403
    assert body == b"Scan the code first."
    assert "set-cookie" not in headers


def test_who_is_in_already_need_not_scan_again(rig: Rig) -> None:
    # Source: `help phone`: its page needs the code once
    assert rig.ask("GET", "/", Cookie=rig.cookie())[:2][0] == 303
    assert rig.ask("GET", "/", Cookie=rig.cookie())[1]["location"] == "/show"
    assert rig.ask("GET", "/")[0] == 200


def test_the_open_door_tells_nothing_of_the_show(rig: Rig) -> None:
    # Source: the design: nothing without the cookie
    for path in OPEN:
        status, _, body = rig.ask("GET", path)
        assert status == 200
        for word in (b"Heron", b"gable", b"lockhouse", rig.entry.secret.encode(), rig.entry._token.encode()):
            assert word not in body


@pytest.mark.parametrize("cookie", ["", "{name}=guessed", "{name}={secret}"])
def test_no_page_is_told_anything_without_the_cookie(cookie: str, rig: Rig) -> None:
    # Source: the design: nothing without the cookie
    filled = cookie.format(name=rig.entry.cookie, secret=rig.entry.secret)
    with pytest.raises(InvalidStatus) as refused, rig.page(cookie=filled or "a=b"):
        pass
    assert refused.value.response.status_code == 403


@pytest.mark.many
def test_thousands_of_guesses_open_nothing_and_cost_nothing(rig: Rig) -> None:
    # Source: the design: rate limits on wrong secrets; 10 000 guesses
    batches = tries(4, 20)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    head = f"POST /enter HTTP/1.1\r\nHost: {rig.entry.host}\r\nOrigin: {rig.entry.origin}\r\nContent-Length: 19\r\n\r\n"
    seen: Counter[bytes] = Counter()
    for batch in range(batches):
        guesses = b"".join(head.encode() + f"{number:019}".encode() for number in range(batch * 500, batch * 500 + 500))
        with socket.create_connection(("127.0.0.1", rig.port)) as line:
            writing = threading.Thread(target=line.sendall, args=(guesses,))
            writing.start()
            answers = b""
            while answers.count(b"HTTP/1.1 ") < 500 or not answers.endswith((b"code.", b"60 s.")):
                octets = line.recv(1 << 20)
                assert octets
                answers += octets
            writing.join()
        assert b"set-cookie" not in answers.lower()
        seen.update(re.findall(rb"HTTP/1\.1 (\d+)", answers))
    assert seen == {b"403": GUESSES, b"429": 500 * batches - GUESSES}
    status, _, _ = rig.ask("POST", "/enter", rig.entry.secret)
    assert status == 429, "while too many were wrong, the right one is not looked at either"
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000  # kilobytes on Linux
    rig.entry._wrong.clear()
    alive(rig)


def test_guesses_are_forgiven_in_time_and_counted_for_few_places() -> None:
    # Source: the design: rate limits on wrong secrets; memory flat
    entry = Authentication("192.0.2.5", 8420)
    for number in range(GUESSES):
        assert entry.guess("wrong", "192.0.2.9", float(number)) is None
    with pytest.raises(TimeoutError):
        entry.guess(entry.secret, "192.0.2.9", float(GUESSES))
    assert entry.guess(entry.secret, "192.0.2.10", float(GUESSES)) is not None
    assert entry.guess(entry.secret, "192.0.2.9", WINDOW + GUESSES) is not None
    for number in range(3 * MOST_PEERS):
        entry.guess("wrong", str(number), 0.0)
    assert len(entry._wrong) == MOST_PEERS
    assert entry.guess(entry.secret.upper().replace("-", " "), "b", 0.0) is not None


def test_each_start_has_a_secret_and_a_cookie_of_its_own() -> None:
    # Source: the design: a fresh secret in the QR code's address
    # From memory: NIST SP 800-63B asks 64 bits at least of a session's secret
    entries = [Authentication("127.0.0.1", 8420) for _ in range(200)]
    assert len({entry.secret for entry in entries}) == 200
    assert len({entry._token for entry in entries}) == 200
    assert all(re.fullmatch(r"([2-9a-hjkmnp-z]{4}-){3}[2-9a-hjkmnp-z]{4}", entry.secret) for entry in entries)


# --- other hosts, other pages -------------------------------------------------------------------------------------

FOREIGN = (
    "http://evil.example",
    "https://{host}",
    "http://127.0.0.1",
    "http://localhost:{port}",
    "null",
    "http://{host}.evil.example",
)


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "127.0.0.1", "localhost:{port}", "127.0.0.1:1", "{host}.evil.example"],
)
def test_another_host_is_refused(host: str, rig: Rig) -> None:
    # Source: the design: Host checked (DNS rebinding)
    cookie = rig.cookie()
    for path in (*OPEN, *GUARDED):
        status, _, body = rig.ask("GET", path, Host=host.format(host=rig.entry.host, port=rig.port), Cookie=cookie)
        assert (status, body) == (421, b"Not here.")


@pytest.mark.parametrize("origin", FOREIGN)
def test_another_origin_can_neither_enter_nor_listen(origin: str, rig: Rig) -> None:
    # Source: the design: Origin checked (cross-site requests)
    named = origin.format(host=rig.entry.host, port=rig.port)
    assert rig.ask("POST", "/enter", rig.entry.secret, Origin=named)[0] == 421
    with pytest.raises(InvalidStatus), rig.page(origin=named):
        pass


def test_no_origin_can_neither_enter_nor_listen(rig: Rig) -> None:
    # Source: RFC 6454, 7.3, and RFC 6455, 4.1 (from memory): browsers name their origin in both
    assert rig.ask("POST", "/enter", rig.entry.secret, Origin="")[0] == 421
    with (
        pytest.raises(InvalidStatus),
        connect(f"ws://{rig.entry.host}/state", additional_headers={"Cookie": rig.cookie()}, proxy=None),
    ):
        pass


def test_the_cookie_is_kept_from_scripts_and_other_sites(rig: Rig) -> None:
    # Source: the design: RFC 6265bis (from memory): HttpOnly, SameSite=Strict, no Domain: this host alone
    _, headers, _ = rig.ask("POST", "/enter", rig.entry.secret)
    parts = {part.strip().lower() for part in headers["set-cookie"].split(";")[1:]}
    assert parts == {"httponly", "samesite=strict", "path=/"}


# --- what a browser may do ----------------------------------------------------------------------------------------


def test_every_answer_forbids_what_the_page_does_not_need(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patcher.phone.pages.left_open", lambda *_: [])  # it takes seconds, and is not asked about
    # Source: W3C, Content Security Policy 3 (from memory); the design: no inline exception, no secret in a referrer
    cookie = rig.cookie()
    for path in (*OPEN, *GUARDED, "/no-such"):
        for method in ("GET", "POST", "PUT", "OPTIONS"):
            _, headers, body = rig.ask(method, path, "" if method == "POST" else None, Cookie=cookie)
            policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
            assert policy.pop("connect-src") == f"'self' ws://{rig.entry.host}"
            assert policy.pop("img-src") == "'self' data:"
            assert set(policy.values()) == {"'none'", "'self'"}
            assert policy["default-src"] == "'none'"
            assert headers["referrer-policy"] == "no-referrer"
            assert headers["x-content-type-options"] == "nosniff"
            assert headers["cache-control"] == "no-store"
            assert rig.entry.secret.encode() not in body
            if headers.get("content-type", "").startswith("text/html"):
                parser = Inline()
                parser.feed(body.decode())
                assert parser.found == []


# --- nonsense -----------------------------------------------------------------------------------------------------

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=10,
)
DO = st.sampled_from(["find", "colour", "by", "answer", "on", "back", "let go", "stop", "faster", "dimmer", "here"])
ACTS = st.fixed_dictionaries(
    {"do": DO | JSON},
    optional={
        "text": st.text(max_size=300) | JSON, "thing": st.text(max_size=30) | JSON, "number": st.integers() | JSON,
    },
)  # fmt: skip


@examples(40, 300)
@given(message=st.text(max_size=1200) | st.binary(max_size=200) | JSON.map(json.dumps) | ACTS.map(json.dumps))
def test_malformed_messages_light_nothing_and_end_nothing(message: str | bytes, rig: Rig, fuzzed) -> None:
    # Source: the design: oversized and malformed WebSocket messages; only `pattern` and `light` may light
    try:
        fuzzed.page.send(message)
    except (ConnectionClosed, UnicodeEncodeError):
        fuzzed.renew(rig)
    assert rig.desk.state.dark
    assert rig.desk.failed == ""


@pytest.fixture
def fuzzed(rig: Rig):
    """A page that is opened again when it was closed for its nonsense."""

    class Fuzzed:
        def __init__(self) -> None:
            self.around = rig.page()
            self.page = self.around.__enter__()

        def renew(self, rig: Rig) -> None:
            self.around.__exit__(None, None, None)
            self.around = rig.page()
            self.page = self.around.__enter__()

    found = Fuzzed()
    yield found
    found.around.__exit__(None, None, None)
    rig.desk.alter(lambda state: type(state)())
    assert until(lambda: not rig.lit())
    alive(rig)


@pytest.mark.parametrize("size", [4097, 100_000, 5_000_000])
def test_an_oversized_message_ends_its_page_alone(size: int, rig: Rig) -> None:
    # Source: RFC 6455, 7.4.1: 1009, message too big
    with rig.page() as good, rig.page() as bad:
        bad.recv(timeout=5)
        good.recv(timeout=5)
        with pytest.raises(ConnectionClosed) as closed:  # noqa: PT012  (either may meet the end)
            bad.send("x" * size)
            while True:
                bad.recv(timeout=5)
        if closed.value.rcvd is not None:
            assert closed.value.rcvd.code == 1009
        good.send('{"do":"here"}')
        assert good.recv(timeout=5) == "."
    alive(rig)


def test_a_flood_of_messages_ends_its_page_alone(rig: Rig) -> None:
    # Source: the design: many requests; RFC 6455, 7.4.1: 1008, policy violation
    with rig.page() as good, rig.page() as bad:
        with pytest.raises(ConnectionClosed) as closed:  # noqa: PT012
            for _ in range(1000):
                bad.send('{"do":"on"}')
            while True:
                bad.recv(timeout=5)
        assert closed.value.rcvd is not None
        assert closed.value.rcvd.code == 1008
        good.send('{"do":"dark"}')
    alive(rig)


@pytest.mark.parametrize("nonsense", [
    b"\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
    b"\x00" * 5000,
    b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\n\r\n", b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 20_000,
    b"POST /enter HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
    b"POST /enter HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /\r\n\r\n",
    b"GET /state HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Key: x\r\n\r\n",
])  # fmt: skip
def test_what_is_no_http_is_refused(nonsense: bytes, rig: Rig) -> None:
    # Source: RFC 9112 (from memory): a malformed request is answered 400 or its connection is closed
    with socket.create_connection(("127.0.0.1", rig.port), timeout=8) as line:
        answer = b""
        try:
            line.sendall(nonsense)
            line.shutdown(socket.SHUT_WR)
            while octets := line.recv(65536):
                answer += octets
        except ConnectionError:
            pass
    assert b" 200 " not in answer[:40]
    assert b"Heron" not in answer
    alive(rig)


def test_a_secret_that_is_too_long_or_too_slow_is_refused(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: the design: slow clients hold up nobody
    from patcher.door import guard

    assert rig.ask("POST", "/enter", "x" * 100_000)[0] == 413
    monkeypatch.setattr(guard, "PATIENCE", 0.2)
    with socket.create_connection(("127.0.0.1", rig.port), timeout=8) as line:
        own = f"Host: {rig.entry.host}\r\nOrigin: {rig.entry.origin}\r\nContent-Length: 9"
        line.sendall(f"POST /enter HTTP/1.1\r\n{own}\r\n\r\nab".encode())
        assert line.recv(100).startswith(b"HTTP/1.1 408")


@pytest.mark.parametrize("begun", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: a\r\nX-"])
def test_a_request_that_does_not_come_to_its_end_is_ended(
    begun: bytes, rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: the design: slow clients; common practice: a limit on the time for all headers
    monkeypatch.setattr(connections, "HEADERS_IN", 0.3)
    with socket.create_connection(("127.0.0.1", rig.port), timeout=5) as line:
        line.sendall(begun)
        began = time.monotonic()
        with suppress(ConnectionResetError):
            assert line.recv(100) == b""
        assert time.monotonic() - began < 3


def test_a_crowd_from_one_place_leaves_room_for_pages_that_are_open(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: the design: slow clients, a million requests: nothing crashed
    monkeypatch.setattr(connections, "FROM_ONE", 20)
    with rig.page() as page:
        crowd = [socket.create_connection(("127.0.0.1", rig.port)) for _ in range(60)]
        try:
            page.send('{"do":"here"}')
            assert "." in (page.recv(timeout=5), page.recv(timeout=5))
            time.sleep(0.2)
            ended = 0
            for line in crowd:
                line.setblocking(False)
                try:
                    ended += line.recv(1) == b""
                except ConnectionResetError:
                    ended += 1
                except BlockingIOError:
                    pass
            assert ended >= 40
        finally:
            for line in crowd:
                line.close()
    assert until(lambda: rig.ask("GET", "/")[0] == 200)


def test_a_page_that_reads_nothing_costs_nothing_and_holds_up_nobody(rig: Rig) -> None:
    # Source: the design: slow clients, memory flat
    cookie = rig.cookie()
    lines = [socket.create_connection(("127.0.0.1", rig.port)) for _ in range(10)]
    try:
        for line in lines:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            line.sendall(
                f"GET /state HTTP/1.1\r\nHost: {rig.entry.host}\r\nOrigin: {rig.entry.origin}\r\nCookie: {cookie}\r\n"
                "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
            )
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        with rig.page() as good:
            for number in range(2000):
                rig.desk.alter(lambda state, number=number: type(state)(problem="x" * 1500 + str(number)))
            rig.desk.alter(lambda state: type(state)(problem="the last"))
            give_up = time.monotonic() + 5
            while json.loads(good.recv(timeout=5))["problem"] != "the last":
                assert time.monotonic() < give_up
        assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 20_000
    finally:
        for line in lines:
            line.close()
    rig.desk.alter(lambda state: type(state)())
    alive(rig)


# --- light --------------------------------------------------------------------------------------------------------


def test_taps_however_fast_flash_at_most_three_times_a_second(rig: Rig) -> None:
    # Source: W3C, WCAG 2.2, 2.3.1: three flashes in any one second
    with rig.page() as page:
        page.send(json.dumps({"do": "find", "text": "gate-left"}))
        began, already = time.monotonic(), len(rig.lights)
        while time.monotonic() < began + 3:
            for act in ("light", "dark"):
                page.send(json.dumps({"do": act}))
                time.sleep(0.03)
        assert until(lambda: not rig.lit())
        took = time.monotonic() - began
    seen = [lit for _, lit in rig.lights[already:]]
    # A busy machine delivers late and in pieces: a flash is from dark to any light, and each second that passed has
    # three at most, whenever they arrived.
    rises = sum(lit > before == 0 for before, lit in zip([0, *seen], seen, strict=False))
    assert 6 <= rises <= 3 * (int(took) + 1)


def test_dark_never_waits(rig: Rig) -> None:
    # Source: the design: dark with one tap
    with rig.page() as page:
        page.send(json.dumps({"do": "find", "text": "gate-left"}))
        for _ in range(4):
            page.send('{"do":"light"}')
            assert until(lambda: len(rig.lit()) == 560)
            began = time.monotonic()
            page.send('{"do":"dark"}')
            assert until(lambda: not rig.lit())
            assert time.monotonic() - began < 0.6


@pytest.mark.long
def test_a_held_key_that_is_not_heard_of_any_more_stops(rig: Rig) -> None:
    # Source: the design: the connection drops all the time out there; a dot that runs must not run on
    with rig.page() as page:
        for act in ({"do": "find", "text": "towpath"}, {"do": "pattern", "text": "dot"}, {"do": "hold"}):
            page.send(json.dumps(act))
        assert until(lambda: rig.desk.state.step >= 3)
        assert until(lambda: rig.desk.state.runs_until < time.monotonic(), 3)
        step = rig.desk.state.step
        time.sleep(0.5)
        assert rig.desk.state.step == step
        page.send('{"do":"dark"}')
        assert until(lambda: not rig.lit())


@pytest.mark.parametrize("kind", ["question", *later("look", "deed")])
def test_an_evening_may_end_wherever_the_round_stands(
    kind: str, heron_lock: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: the design: sockets closed cleanly at the end; the yard of `evening` is dark at its end, all threads over
    monkeypatch.setattr(frame_timing, "too_early", lambda *_: "")
    fault = "swapped-ports:lockhouse/1,lockhouse/2"
    with evening(heron_lock, (fault,)) as rig, rig.page() as page:
        wiring, asks, asked = rig.plan.wiring, rig.walks.question, []
        eye = Witness(wiring, rig.plan.patch, build(wiring, [parse(fault, wiring)]))
        rig.walks.question = lambda question: asked.append(question) or asks(question)  # type: ignore[method-assign]
        page.send('{"do":"round"}')
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.kind == "look")
        assert until(lambda: bool(rig.lit()))
        while (screen := rig.desk.screen) is not None and screen.kind != kind:
            answers = {
                "look": ("skip", "") if "colours" in screen.title else ("no", "lockhouse/1,lockhouse/2"),
                "question": (eye.answer(asked[-1]) if asked else "", ""),
            }
            text, things = answers.get(screen.kind, ("", ""))
            page.send(json.dumps({"do": "answer", "text": text, "thing": things, "number": screen.number}))
            until(lambda screen=screen: rig.desk.screen is not screen, 1.0)
            assert screen.kind != "over"


def test_an_answer_to_a_screen_that_is_gone_is_nobodys(heron_lock: Path) -> None:
    # Source: the design: two phones; the second tap must not answer the next question
    with evening(heron_lock) as rig, rig.page() as one, rig.page() as other:
        one.send('{"do":"round"}')
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.kind == "look")
        first = rig.desk.screen
        assert first is not None
        for page in (one, other):
            page.send(json.dumps({"do": "answer", "text": "skip", "number": first.number}))
        assert until(lambda: rig.desk.screen is not None and rig.desk.screen.title.startswith("2 of"))
        second = rig.desk.screen
        for bad in ({"text": "maybe"}, {"text": "no", "thing": "weir"}, {"text": "yes", "number": second.number + 1}):
            other.send(json.dumps({"do": "answer", "number": second.number} | bad))
        time.sleep(0.5)
        assert rig.desk.screen is second


# --- the program --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", [signal.SIGINT, *later(signal.SIGTERM, signal.SIGHUP)])
def test_the_program_ends_dark_however_it_is_told_to_stop(how: int, heron_lock: Path, tmp_path: Path) -> None:
    # Source: `help patterns`: nothing stays lit; the design: sockets closed cleanly at the end; the secret in no log
    said, errors = tmp_path / "said", tmp_path / "errors"
    with a_yard(heron_lock) as yard:
        phone = nursery().run("phone", heron_lock, "--yard", "--port", "0", said=said, errors=errors)
        try:
            assert until(lambda: said.exists() and "Ctrl-C ends it" in said.read_text(), 30)
            origin, secret = said.read_text().splitlines()[0].split("/#")
            host = origin.removeprefix("http://")
            port = int(host.split(":")[1])
            asks = f"POST /enter HTTP/1.0\r\nHost: {host}\r\nOrigin: {origin}\r\nContent-Length: 19\r\n\r\n{secret}"
            with socket.create_connection(("127.0.0.1", port)) as line:
                line.sendall(asks.encode())
                answer = line.recv(4096).decode()
            cookie = {"Cookie": re.findall(r"(?i)set-cookie: ([^;]*)", answer)[0]}
            with connect(f"ws://{host}/state", origin=Origin(origin), additional_headers=cookie, proxy=None) as page:
                page.send('{"do":"light"}')
                while json.loads(page.recv(timeout=5))["dark"]:
                    pass
                page.send('{"do": "note", "thing": "gable", "text": "practised"}')
                time.sleep(0.3)
                os.kill(phone, how)
                with pytest.raises(ConnectionClosed):  # noqa: PT012
                    while True:
                        page.recv(timeout=5)
        finally:
            with suppress(ProcessLookupError):
                os.kill(phone, signal.SIGTERM)
            ended = nursery().wait(phone)
        assert ended == 0
        assert said.read_text().replace(secret, "", 1).endswith("Ended; all pixels are dark.\n")
        assert secret not in said.read_text().replace(secret, "", 1) + errors.read_text()
        assert "Traceback" not in errors.read_text()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port))
        found = yard.end()
    assert len(found["lamps"]) == 2941
    assert [note.what for note in read_record(heron_lock, practice=True).notes] == ["practised"]
    assert read_record(heron_lock).notes == ()
    assert all(run["lit"] == 0 for run in found["runs"])
