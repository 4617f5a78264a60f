"""Levels, patterns, clock and sender, against slow definitions written from the design and against raw octets."""

import os
import socket
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
from conftest import wired
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patcher.address.patch import Patch, pieces
from patcher.address.placement import allocate
from patcher.stream.clock import Clock
from patcher.stream.levels import Levels, levels, pixel_places
from patcher.stream.looks import COLOURS, Colour, Glow, Look
from patcher.stream.patterns import Pattern
from patcher.stream.playing import Move, Playing
from patcher.stream.sender import Sender, Target

ORDERS = {"rgb": "RGB", "grb": "GRB", "brg": "BRG", "rgbw": "RGBW", "gwrb": "GWRB", "mono": "W", "amber": "ARGB"}
CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")
Address = tuple[int, int]


@st.composite
def shows(draw, most: int = 60) -> dict:
    """One to three boxes, each of one to three ports, of one to three runs, some of them grids, some with tees."""
    runs: dict[str, dict] = {}
    controllers = {}
    for box in range(draw(st.integers(1, 3))):
        ports = {}
        for port in range(draw(st.integers(1, 3))):
            chain = []
            for _ in range(draw(st.integers(1, 3))):
                name = f"run-{len(runs)}"
                run = {"pixel": draw(st.sampled_from(list(ORDERS))), "nulls": draw(st.integers(0, 2))}
                if draw(st.booleans()):
                    run |= {
                        "shape": "grid", "area": [[0.0, 0.0], [1.0, 1.0]],
                        "columns": draw(st.integers(2, 9)), "rows": draw(st.integers(2, 9)),
                        "lines": draw(st.sampled_from(("rows", "columns"))),
                        "turns": draw(st.sampled_from(("serpentine", "same-way"))),
                        "data_in": draw(st.sampled_from(CORNERS)),
                    }  # fmt: skip
                else:
                    run["pixels"] = draw(st.integers(1, most))
                runs[name] = run
                chain.append(name)
            ports[str(port + 1)] = chain
        controllers[f"box-{box}"] = {
            "address": f"192.0.2.{box + 1}", "ports": 3, "port": ports,
            "reorders": draw(st.booleans()), "skips_nulls": draw(st.booleans()),
            "protocol": draw(st.sampled_from(("e131", "artnet"))),
            "start_per": draw(st.sampled_from(("controller", "port", "run"))),
        }  # fmt: skip
    for name, run in list(runs.items()):
        if draw(st.integers(0, 4)) == 0:
            runs[f"{name}-tee"] = {
                "pixel": run["pixel"], "nulls": run["nulls"], "pixels": size(run), "same_data_as": name
            }  # fmt: skip
    show = {"title": "random", "placement": draw(st.sampled_from(("fresh", "follow")))}
    kinds = {name: {"colour_order": order} for name, order in ORDERS.items()}
    return {"show": show, "pixel": kinds, "controller": controllers, "run": runs}


def size(run: dict) -> int:
    return run["columns"] * run["rows"] if "columns" in run else run["pixels"]


def box_of(tables: dict, run: str) -> str:
    run = tables["run"][run].get("same_data_as", run)
    return next(
        box for box, table in tables["controller"].items() if any(run in chain for chain in table["port"].values())
    )


def pencil(tables: dict, patch: Patch) -> dict[tuple[str, int], Address]:
    """Where each pixel lies: pixel by pixel from its start, on the next universe where it would not fit before 512."""
    laid: dict[tuple[str, int], Address] = {}
    for start in patch.starts:
        table = tables["controller"][start.controller]
        ports = [start.chain.port] if start.chain.port is not None else sorted(int(port) for port in table["port"])
        universe, channel = start.universe, start.channel
        for port in ports:
            for run in table["port"][str(port)]:
                if start.chain.run not in (None, run):
                    continue
                width = len(ORDERS[tables["run"][run]["pixel"]])
                nulls = 0 if table["skips_nulls"] else tables["run"][run]["nulls"]
                for number in range(1 - nulls, size(tables["run"][run]) + 1):
                    if channel + width - 1 > 512:
                        universe, channel = universe + 1, 1
                    if number >= 1:
                        laid[run, number] = (universe, channel)
                    channel += width
    for name, run in tables["run"].items():
        if "same_data_as" in run:
            for number in range(1, size(run) + 1):
                laid[name, number] = laid[run["same_data_as"], number]
    return laid


def on_wire(tables: dict, run: str) -> str:
    """The chip's own order, unless its box reorders: then red, green, blue and white first."""
    order = ORDERS[tables["run"][run]["pixel"]]
    if not tables["controller"][box_of(tables, run)]["reorders"]:
        return order
    return "".join(letter for letter in "RGBW" if letter in order) + "".join(set(order) - set("RGBW"))


def walk(run: dict) -> list[tuple[int, int]]:
    """Column and row of each lamp of a grid in wiring order, from 1 at the bottom left."""
    across = list(range(1, run["columns"] + 1))
    up = list(range(1, run["rows"] + 1))
    if "right" in run["data_in"]:
        across.reverse()
    if "top" in run["data_in"]:
        up.reverse()
    passed = []
    outer, inner = (up, across) if run["lines"] == "rows" else (across, up)
    for number, line in enumerate(outer):
        back = run["turns"] == "serpentine" and number % 2 == 1
        for place in reversed(inner) if back else inner:
            passed.append((place, line) if run["lines"] == "rows" else (line, place))
    return passed


def data_order(tables: dict) -> list[tuple[str, int]]:
    """Every pixel, box by box, port by port, run by run."""
    return [
        (run, pixel)
        for table in tables["controller"].values()
        for port in sorted(table["port"], key=int)
        for run in table["port"][port]
        for pixel in range(1, size(tables["run"][run]) + 1)
    ]


# --- levels -------------------------------------------------------------------------------------------------------

colours = st.one_of(
    st.sampled_from(list(COLOURS.values())),
    st.dictionaries(st.sampled_from("RGBWA"), st.floats(0, 1)).map(lambda parts: Colour("mixed", parts)),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shows(), st.data())
def test_levels_are_those_of_a_slow_definition(tables: dict, data: st.DataObject) -> None:
    # Source: DESIGN.md, The patch: how a chain is laid; reorders: "RGB(W) on the wire", else as its chip takes them.
    wiring = wired(tables)
    patch = allocate(wiring).patch
    where = pencil(tables, patch)
    level = data.draw(st.floats(0, 1))
    glows, wanted = [], {}
    names = data.draw(st.lists(st.sampled_from(list(tables["run"])), max_size=4))
    for name in names:
        pixels = data.draw(st.lists(st.integers(1, size(tables["run"][name])), unique=True, max_size=20))
        colour = data.draw(colours)
        glows.append(Glow(name, np.array(pixels, dtype=np.int64) - 1, colour))
        letters = on_wire(tables, name)
        white_of_three = colour.name == "white" and "W" not in letters
        for pixel in pixels:
            universe, channel = where[name, pixel]
            for offset, letter in enumerate(letters):
                part = float(letter in "RGB") if white_of_three else colour.parts.get(letter, 0.0)
                wanted[universe, channel + offset] = part * level * 255
    every = sorted({universe for universe, _ in where.values()})
    some = data.draw(st.lists(st.sampled_from([*every, every[-1] + 1]), min_size=1, unique=True).map(sorted))
    found = levels(Look(tuple(glows), ()), wiring, patch, some, level)
    assert found.universes == tuple(some)
    assert found.slots.shape == (len(some), 512)
    for row, universe in enumerate(some):
        exact = [wanted.get((universe, channel), 0.0) for channel in range(1, 513)]
        assert np.abs(found.slots[row] - np.array(exact)).max() <= 0.5 + 1e-9


def test_levels_of_no_universe_are_none() -> None:
    # Source: DESIGN.md: levels are pure, for any set of universes; what no one asked for is left out.
    box = {"address": "192.0.2.1", "ports": 1, "port": {"1": ["a"]}}
    run = {"a": {"pixel": "rgb", "pixels": 1}}
    wiring = wired(
        {"show": {"title": "no"}, "pixel": {"rgb": {"colour_order": "RGB"}}, "controller": {"box": box}, "run": run}
    )
    look = Look((Glow("a", np.array([0]), COLOURS["red"]),), ())
    found = levels(look, wiring, allocate(wiring).patch, [], 1.0)
    assert (found.universes, found.slots.shape) == ((), (0, 512))


@pytest.mark.parametrize(
    ("kind", "reorders", "name", "slots"),
    [
        ("rgb", True, "white", (255, 255, 255)),
        ("rgbw", True, "white", (0, 0, 0, 255)),
        ("gwrb", True, "white", (0, 0, 0, 255)),
        ("gwrb", False, "white", (0, 255, 0, 0)),
        ("mono", True, "white", (255,)),
        ("mono", True, "red", (0,)),
        ("grb", True, "red", (255, 0, 0)),
        ("grb", False, "red", (0, 255, 0)),
        ("brg", False, "blue", (255, 0, 0)),
        ("amber", True, "green", (0, 255, 0, 0)),
        ("amber", False, "green", (0, 0, 255, 0)),
        ("rgbw", True, "yellow", (255, 255, 0, 0)),
        ("rgb", True, "dark", (0, 0, 0)),
    ],
)
def test_a_colour_on_the_wire(kind: str, reorders: bool, name: str, slots: tuple[int, ...]) -> None:
    # Source: DESIGN.md: colour_order "as its chip takes them"; reorders: "RGB(W) on the wire".
    controllers = {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["a"]}, "reorders": reorders}}
    run = {"a": {"pixel": kind, "pixels": 1}}
    pixel = {kind: {"colour_order": ORDERS[kind]}}
    wiring = wired({"show": {"title": "one"}, "pixel": pixel, "controller": controllers, "run": run})
    look = Look((Glow("a", np.array([0]), COLOURS[name]),), ())
    found = levels(look, wiring, allocate(wiring).patch, [1], 1.0)
    assert tuple(found.slots[0][: len(slots)]) == slots
    assert not found.slots[0][len(slots) :].any()


@given(st.integers(0, 6000), st.integers(0, 900), st.integers(1, 12))
def test_places_are_the_pieces_pixel_by_pixel(at: int, pixels: int, channels: int) -> None:
    # Source: DESIGN.md: the next pixel goes on the next channels if it fits before 512, else on channel 1 of the next.
    slow, place = [], at
    for _ in range(pixels):
        if place % 512 + channels > 512:
            place += 512 - place % 512
        slow.append(place)
        place += channels
    assert pixel_places(at, np.arange(pixels), channels).tolist() == slow
    assert [where + n * channels for where, count in pieces(at, pixels, channels) for n in range(count)] == slow


# --- clock and playing --------------------------------------------------------------------------------------------


class Time:
    """A clock that stands still but for those who wait, and wakes them a little late."""

    def __init__(self, wakes_late: float) -> None:
        self.begin = self.seconds = 86_400.123
        self.wakes_late = wakes_late

    def now(self) -> float:
        return self.seconds

    def wait(self, left: float) -> bool:
        self.seconds += left + self.wakes_late
        return False


@pytest.mark.parametrize("rate", [40.0, 23.976])
def test_the_clock_does_not_drift_in_an_hour(rate: float) -> None:
    # Source: arithmetic: frame n is due n periods after the beginning, however late the others were.
    time = Time(wakes_late=0.001)
    clock = Clock(rate, time.now)
    for number, elapsed in enumerate(clock.frames(time.wait)):
        assert number / rate - 1e-6 <= elapsed <= number / rate + 0.001 + 1e-6
        if elapsed >= 3600:
            break
    assert number == pytest.approx(3600 * rate, abs=1)
    assert elapsed == pytest.approx(time.seconds - time.begin)
    assert max(clock.late) <= 0.001 + 1e-6


def test_frames_that_are_late_are_dropped_and_not_queued() -> None:
    # Source: arithmetic: a stall of 50 frames at 50 a second costs 50 frames; none of them is sent in a burst.
    time = Time(wakes_late=0.0)
    clock = Clock(50.0, time.now)
    sent: list[float] = []
    for elapsed in clock.frames(time.wait):
        sent.append(elapsed)
        if len(sent) == 11:
            time.seconds += 1.01
        if elapsed > 2:
            break
    gaps = [after - before for before, after in pairwise(sent)]
    assert [round(gap, 3) for gap in gaps if gap > 0.021] == [1.01]
    behind = sent.index(next(at for at in sent if at > 0.9))
    assert sent[behind + 1] - sent[behind] == pytest.approx(0.01)  # back on the beat, not a period after the late one
    assert all(gap > 0.019 for gap in gaps[behind + 1 :])
    assert max(clock.late) <= 0.02


class Wall:
    """Takes what a sender would send."""

    def __init__(self) -> None:
        self.taken: list[int] = []

    def send(self, frame: Levels) -> None:
        self.taken.append(int(frame.slots[0, 0]))


def played(moves: list[Move | None], steps: int = 5) -> tuple[list[int], list[int]]:
    """The steps told and the steps sent when a person makes these moves, one a frame."""
    wall, told, time = Wall(), [], Time(0.0)
    waiting = list(moves)

    def hands(seconds: float) -> Move | None:
        time.seconds += seconds
        return waiting.pop(0) if waiting else None

    def look(step: int) -> Look:
        return Look((), (str(step),))

    def render(look: Look) -> Levels:
        return Levels((1,), np.full((1, 512), int(look.says[0]), dtype=np.uint8))

    pattern = Pattern(steps, 1.0, (), look)
    playing = Playing(pattern, 1.0, None, None, lambda: not waiting, hands)
    playing.play(wall, Clock(40.0, time.now), render, lambda step, _: told.append(step))  # type: ignore[arg-type]
    return told, wall.taken


def test_hands_move_the_pattern_on_back_and_to() -> None:
    # Source: DESIGN.md, send: steps by keys; the steps of a pattern follow each other round.
    told, sent = played([Move(by=1), Move(by=1), Move(by=-1), Move(to=4), Move(by=1), Move(by=-1), None])
    assert told == [0, 1, 2, 1, 4, 0, 4]
    assert sorted(set(sent)) == [0, 1, 2, 4]


# --- sender -------------------------------------------------------------------------------------------------------

HOST = f"127.9.{os.getpid() // 250 % 250 + 1}.{os.getpid() % 250 + 1}"
E131, ARTNET = 5568, 6454  # Source: CHECKS.md, UDP ports of E1.31 and Art-Net 4


@pytest.fixture
def sockets() -> Iterator[dict[str, socket.socket]]:
    opened = {}
    for protocol, port in (("e131", E131), ("artnet", ARTNET)):
        opened[protocol] = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        opened[protocol].setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
        opened[protocol].setblocking(False)
        opened[protocol].bind((HOST, port))
    yield opened
    for sock in opened.values():
        sock.close()


def heard(sock: socket.socket) -> list[bytes]:
    """All that has arrived: on the loopback a datagram has arrived when sendto returns."""
    found = []
    while True:
        try:
            found.append(sock.recv(2048))
        except BlockingIOError:
            return found


# Source: ANSI E1.31-2018 (CHECKS.md): sequence octet 111, options 112, universe 113–114, start code 125, slots 126…
def sequence(packet: bytes) -> int:
    return packet[111]


def terminated(packet: bytes) -> bool:
    return bool(packet[112] & 0x40)


def universe(packet: bytes) -> int:
    return packet[113] << 8 | packet[114]


GOALS = [Target("e131", 3, HOST), Target("e131", 700, HOST), Target("artnet", 5, HOST), Target("artnet", 300, HOST)]


def lit() -> Levels:
    slots = np.arange(4 * 512, dtype=np.int64).reshape(4, 512) % 251 + 1
    return Levels((3, 5, 300, 700), slots.astype(np.uint8))


class Ladder(BaseException):
    """Not an Exception, as KeyboardInterrupt is none."""


@pytest.mark.parametrize("way", ["end", "exception", "interrupt", "close"])
def test_however_it_is_left_the_lamps_are_dark_and_the_streams_ended(sockets: dict, way: str) -> None:
    # Source: ANSI E1.31-2018 6.2.6: three packets with Stream_Terminated, options octet 112 bit 0x40.
    try:
        with Sender(GOALS, interface="127.0.0.1") as sender:
            sender.send(lit())
            sender.send(lit())
            if way == "exception":
                raise RuntimeError
            if way == "interrupt":
                raise Ladder
            if way == "close":
                sender.close()
    except (RuntimeError, Ladder):
        assert way in ("exception", "interrupt")
    else:
        assert way in ("end", "close")
    e131 = heard(sockets["e131"])
    assert {universe(packet) for packet in e131} == {3, 700}
    for row, number in ((0, 3), (3, 700)):
        own = [packet for packet in e131 if universe(packet) == number]
        assert all(len(packet) == 638 and packet[125] == 0 for packet in own)
        assert [packet[126:] for packet in own[:2]] == [lit().slots[row].tobytes()] * 2
        assert [terminated(packet) for packet in own] == [False] * (len(own) - 3) + [True] * 3
        closing = own[2:-3]
        assert closing, "no dark frame before the end of the stream"
        assert not any(any(packet[126:]) for packet in own[2:])
    # Source: Art-Net 4 (CHECKS.md): sequence octet 12, SubUni 14, Net 15, length 16–17, slots from 18.
    artnet = heard(sockets["artnet"])
    for row, number in ((1, 5), (2, 300)):
        own = [packet for packet in artnet if packet[15] << 8 | packet[14] == number]
        assert [packet[18:] for packet in own[:2]] == [lit().slots[row].tobytes()] * 2
        assert len(own) > 2
        assert not any(any(packet[18:]) for packet in own[2:])
    assert sender.packets == len(e131) + len(artnet)


def test_sequences_rise_by_one_and_art_net_never_says_0(sockets: dict) -> None:
    # Source: ANSI E1.31-2018 6.7.2; Art-Net 4: 1 to 255, for 0 means unused (CHECKS.md).
    packets: dict[str, list[bytes]] = {"e131": [], "artnet": []}
    with Sender(GOALS, interface="127.0.0.1") as sender:
        for _ in range(600):
            sender.send(lit())
            for protocol, sock in sockets.items():
                packets[protocol] += heard(sock)
    for protocol, sock in sockets.items():
        packets[protocol] += heard(sock)
    for number in (3, 700):
        counts = [sequence(packet) for packet in packets["e131"] if universe(packet) == number]
        assert len(counts) >= 604
        assert {(after - before) % 256 for before, after in pairwise(counts)} == {1}
    for number in (5, 300):
        counts = [packet[12] for packet in packets["artnet"] if packet[15] << 8 | packet[14] == number]
        assert 0 not in counts
        assert {(before, after) for before, after in pairwise(counts)} == {(n, n % 255 + 1) for n in range(1, 256)}
    assert len({packet[22:38] for packet in packets["e131"]}) == 1  # Source: CHECKS.md: one CID for the sender


def test_priority_and_a_universe_without_levels(sockets: dict) -> None:
    # Source: ANSI E1.31-2018 (CHECKS.md): priority octet 108.
    with Sender(GOALS[:2], priority=150, interface="127.0.0.1") as sender:
        sender.send(Levels((3,), np.full((1, 512), 9, dtype=np.uint8)))
        first = heard(sockets["e131"])
    assert [(universe(packet), packet[108], packet[126]) for packet in first] == [(3, 150, 9), (700, 150, 0)]
    assert {packet[108] for packet in heard(sockets["e131"])} == {150}


def test_a_host_that_cannot_be_reached_is_named_and_the_others_go_on(
    sockets: dict, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: DESIGN.md: messages name the place; one box that is off must not darken the others.
    # A port of 0 stands for a box that is not there: the system refuses it without sending.
    off = Target("e131", 9, "127.9.0.9")
    real = Target.port.fget
    monkeypatch.setattr(Target, "port", property(lambda goal: 0 if goal == off else real(goal)))
    with Sender([off, *GOALS], interface="127.0.0.1") as sender:
        sender.send(lit())
    assert list(sender.unreachable) == ["127.9.0.9"]
    assert {universe(packet) for packet in heard(sockets["e131"])} == {3, 700}
    assert len(heard(sockets["artnet"])) >= 4
