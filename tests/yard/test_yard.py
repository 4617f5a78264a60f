"""The simulated boxes against the standards' rules, and the pixels against an independent walk of the wiring."""

import json
import random
import socket
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patcher.faults import Built, build, parse
from patcher.frames.levels import levels
from patcher.frames.looks import COLOURS, Colour, Glow, Look
from patcher.listener.receiver import Ear, Receiver, _one_by_one
from patcher.listener.recvmmsg import many
from patcher.placement.allocation import allocate
from patcher.reports.yard_report import say
from patcher.wiring import Wiring
from patcher.yard.far_view import FarView
from patcher.yard.network_trouble import OVERTAKEN, Off, Trouble
from patcher.yard.simulated_box import SimulatedBox
from patcher.yard.yard import Yard, differences, ears, snapshot, sync_ears
from rig.examples import examples, later
from rig.grid_walk import CORNERS, walk
from rig.one_run import show_file
from rig.packets import BOB, artnet, e131, e131_sync, full
from rig.shipped import Patcher, laid, wired
from rig.yard_show import ORDERS, one_grid, send

# Source: Art-Net 4, ArtSync: opcode 0x5200, low octet first, version 14, two octets of zero.
ART_SYNC = b"Art-Net\0\x00\x52\x00\x0e\x00\x00"


def shows(box: SimulatedBox, universe: int = 7) -> int:
    """What all slots of a universe hold."""
    row = box.slots[box.universes.index(universe)]
    assert len(set(row.tolist())) == 1
    return int(row[0])


# --- one box ------------------------------------------------------------------------------------------------------

END, PREVIEW, FORCE = 0x40, 0x80, 0x20
A, B = "10.0.0.1:6454", "10.0.0.2:6454"


def e(universe: int, value: int, sequence: int, **more: object) -> bytes:
    return e131(universe, full(value), sequence, **more)  # type: ignore[arg-type]


def art(universe: int, value: int, sequence: int) -> bytes:
    return artnet(universe, full(value), sequence)


def that_stops(force: int) -> list:
    def sent(value: int, number: int) -> bytes:
        return e(7, value, number, sync=99, options=force)

    waiting = [step for n in range(2, 26) for step in ((n / 10, sent(n + 10, n), None), (n / 10, None, (10, 0)))]
    stopped = (2.65, None, (99 if force else 10, 0))
    return [
        (0.0, sent(10, 1), None), (0.0, e131_sync(99, 1), (10, 0)), *waiting, (2.6, sent(99, 27), None), stopped,
        (2.7, sent(98, 28), None), (2.8, e131_sync(99, 2), (98, 0)), (2.9, sent(97, 29), (98, 0)),
    ]  # fmt: skip


EPISODES = {
    # Source: the design: a box listens to the universes of its patch.
    "its own universes only": [(0.0, e(7, 10, 0), (10, 0)), (0.0, e(9, 20, 0), (10, 0))],
    # Source: ANSI E1.31-2018 6.2.3 (from memory: the clause): a receiver takes the source of the highest priority.
    "the higher priority wins while it lives": [
        (0.0, e(7, 10, 1), (10, 0)), (0.1, e(7, 20, 1, priority=120, cid=BOB), (20, 0)), (0.2, e(7, 30, 2), (20, 0)),
        (0.3, e(7, 0, 2, priority=120, options=END, cid=BOB), None), (0.4, e(7, 40, 3), (40, 0)),
    ],
    # Source: ANSI E1.31-2018, appendix A (clause from memory): E131_NETWORK_DATA_LOSS_TIMEOUT, 2.5 s.
    "a higher priority that falls silent gives way": [
        (0.0, e(7, 20, 1, priority=120, cid=BOB), (20, 0)),
        *(step for n in range(26) for step in ((n / 10, None, (20, 0)), (n / 10, e(7, 30, n), (20, 0)))),
        (2.6, None, (20, 0)), (2.6, e(7, 31, 26), (31, 0)),
    ],
    # Source: as above; a packet alone brings the time along.
    "and does so though nobody looks at the clock": [
        (0.0, e(7, 20, 1, priority=120, cid=BOB), (20, 0)), (0.3, e(7, 30, 1), (20, 0)), (2.6, e(7, 31, 2), (31, 0)),
    ],
    # Source: ANSI E1.31-2018: a source is one of a universe; priority is a field of its packet.
    "a priority counts in its own universe only": [
        (0.0, e(7, 20, 1, priority=200, cid=BOB), (20, 0)), (0.0, e(8, 30, 1, priority=1), (20, 30)),
    ],
    # Source: ANSI E1.31-2018 6.7.2 (from memory): a sequence belongs to one universe of one source.
    "sequences of each source and universe": [
        (0.0, e(7, 10, 50), (10, 0)), (0.0, e(7, 11, 50), (10, 0)), (0.0, e(8, 12, 50), (10, 12)),
        (0.0, e(8, 13, 50), (10, 12)), (0.0, e(7, 14, 50, cid=BOB), (14, 12)), (0.0, e(7, 15, 50, cid=BOB), (14, 12)),
    ],
    # Source: ANSI E1.31-2018, appendix A (clause from memory): E131_NETWORK_DATA_LOSS_TIMEOUT, 2.5 s.
    "silence is darkness": [
        (100.0, e(7, 10, 0), None), (101.0, e(8, 10, 0), None), (102.49, None, (10, 10)), (102.51, None, (0, 10)),
        (104.0, None, (0, 0)), (200.0, None, (0, 0)),
    ],
    # From memory: ANSI E1.31-2018 6.2.6: a source that sets Stream_Terminated is lost at once, its slots are not used.
    "a terminated stream is dark and may begin again": [
        (0.0, e(7, 10, 0), None), (0.0, e(8, 10, 0), (10, 10)), (0.0, e(7, 99, 1, options=END), (0, 10)),
        (0.0, e(7, 99, 2, options=END), (0, 10)), (0.0, e(7, 99, 3, options=END), (0, 10)),
        (0.1, e(7, 30, 4), (30, 10)),
    ],
    # Source: as above; a universe is dark only where no source is left.
    "one source of two ends": [
        (0.0, e(7, 10, 0), None), (0.0, e(7, 20, 0, cid=BOB), None), (0.0, e(7, 0, 1, options=END), (20, 0)),
    ],
    # Source: ANSI E1.31-2018, 6.2.6 and 7.7: start code 0 for levels; 0x80 preview, not for pixels.
    "other start codes and previews light nothing": [
        (0.0, e(7, 10, 0), None), (0.1, e(7, 99, 1, start_code=0xDD), (10, 0)),
        (0.1, e(7, 99, 1, start_code=0x17), (10, 0)), (0.1, e(7, 99, 1, options=PREVIEW), (10, 0)),
        (0.1, e(7, 99, 1, options=PREVIEW, priority=200, cid=BOB), (10, 0)), (0.2, e(7, 30, 2), (30, 0)),
    ],
    # From memory: ANSI E1.31-2018 6.2.4.1: levels that name a synchronization address wait for its packet.
    "levels wait for the packet of their address": [
        (0.0, e(7, 10, 1, sync=99), (0, 0)), (0.0, e(8, 20, 1, sync=99), (0, 0)), (0.01, e131_sync(98, 1), (0, 0)),
        (0.02, e131_sync(99, 1), (10, 20)), (0.03, e(7, 11, 2, sync=99), None), (0.04, e(7, 12, 3, sync=99), (10, 20)),
        (0.05, e131_sync(99, 2), (12, 20)), (0.06, e131_sync(99, 3), (12, 20)),
    ],
    # Source: plain reason: the newest levels of a universe are those that count.
    "levels that wait anew are not shown by the address before": [
        (0.0, e(7, 10, 1, sync=99), None), (0.01, e(7, 20, 2, sync=98), None), (0.02, e131_sync(99, 1), (0, 0)),
        (0.03, e131_sync(98, 1), (20, 0)),
    ],
    # Source: ANSI E1.31-2018, table 4-1 (clause from memory): 109–110 sync address; 0 is none.
    "levels without an address do not wait": [
        (0.0, e(7, 10, 1, sync=99), None), (0.01, e(7, 20, 2), (20, 0)), (0.02, e131_sync(99, 1), (20, 0)),
    ],
    # From memory: ANSI E1.31-2018 6.2.6, Force_Synchronization, and 11.1.2: lost after the network data loss timeout of
    # 2.5 s; with the option set levels are then shown as they come, without it nothing changes until it resumes.
    "synchronization that stops": that_stops(0),
    "synchronization that stops, forced": that_stops(FORCE),
    # From memory: ANSI E1.31-2018 11.1: a receiver that was never synchronized need not wait for ever.
    "without any synchronization packet": [
        *(step for n in range(1, 25) for step in ((n / 10, e(7, n, n, sync=99), None), (n / 10, None, (0, 0)))),
        (2.61, None, (24, 0)), (2.62, e(7, 30, 25, sync=99), (30, 0)),
    ],
    # From memory: ANSI E1.31-2018 6.2.6: a source that sets Stream_Terminated is lost at once.
    "an end does not wait": [
        (0.0, e(7, 10, 1), None), (0.0, e(7, 20, 2, sync=99), None), (0.0, e(7, 30, 3, sync=99, options=END), (0, 0)),
        (0.1, e131_sync(99, 1), (0, 0)),
    ],
    # Source: ANSI E1.31-2018 6.7.2: the window of the sequence, for synchronization packets too (6.3.1).
    "a late synchronization packet is dropped": [
        (0.0, e131_sync(99, 5), None), (0.0, e(7, 10, 1, sync=99), None), (0.1, e131_sync(99, 4), (0, 0)),
        (0.1, e131_sync(99, 6), (10, 0)),
    ],
    # From memory: Art-Net 4, ArtSync: once heard, ArtDmx waits for it; without it for 4 s, no more; one from another
    # address than the last ArtDmx is ignored.
    "ArtSync": [
        (0.0, art(7, 10, 1), (10, 0), A), (0.0, ART_SYNC, (10, 0), B), (0.1, art(7, 20, 2), (20, 0), A),
        (0.2, ART_SYNC, (20, 0), "10.0.0.1:1234"), (0.3, art(7, 30, 3), (20, 0), A), (0.3, art(8, 31, 3), (20, 0), A),
        (4.1, None, (20, 0)), (4.1, ART_SYNC, (30, 31), A), (4.2, art(7, 40, 4), None, A),
        (4.2, art(8, 41, 4), None, A), (8.2, art(8, 51, 5), (30, 51), A), (8.2, None, (40, 51)),
    ],
    # From memory: Art-Net 4: a node holds its last levels where nothing comes.
    "an Art-Net box keeps what came last": [
        (0.0, art(7, 10, 1), (10, 0)), (0.0, art(8, 20, 1), (10, 20)), (1000.0, None, (10, 20)),
        (2000.0, art(7, 30, 2), (30, 20)), (2000.0, e(7, 99, 1), (30, 20)), (2000.0, art(9, 99, 3), (30, 20)),
    ],
    # Source: Art-Net 4, ArtDmx: sequence 1–255, 0 means unused.
    "an Art-Net sequence of 0 is never out of order": [
        *((0.0, art(7, value, 0), (value, 0)) for value in (1, 2, 3)), (0.0, art(7, 4, 255), (4, 0)),
        (0.0, art(7, 5, 1), (5, 0)), (0.0, art(7, 6, 1), (5, 0)),
    ],
    # From memory: Art-Net's sequence belongs to a sender; a second program on one machine has a UDP port of its own.
    "a program that begins anew is heard at once": [
        (0.0, art(7, 7, 12), (7, 0), "127.0.0.1:4000"), (0.1, art(7, 9, 1), (7, 0), "127.0.0.1:4000"),
        (0.1, art(7, 9, 1), (9, 0), "127.0.0.1:4001"),
    ],
}  # fmt: skip
"""What happens to a box with universes 7 and 8: when, the packet that comes (None: time goes on), and what both then
show (None: whatever it is); and, where it matters, from whom.
"""


@pytest.mark.parametrize("name", EPISODES)
def test_what_a_box_shows(name: str) -> None:
    box = SimulatedBox("box", "artnet" if EPISODES[name][0][1][:3] == b"Art" else "e131", (7, 8))
    for number, (now, packet, wanted, *sender) in enumerate(EPISODES[name]):
        if packet is None:
            box.expire(now)
        else:
            box.receive(packet, (sender or ["1"])[0], now)
        assert wanted in (None, (shows(box, 7), shows(box, 8))), number


@pytest.mark.parametrize("last", [0, 5, 100, 250, 255])
def test_the_sequence(last: int) -> None:
    # From memory: ANSI E1.31-2018 6.7.2: dropped when new − last, as a signed octet, is in (−20, 0].
    for new in range(256):
        box = SimulatedBox("box", "e131", (7,))
        box.receive(e(7, 10, last), "1", 0.0)
        signed = (new - last + 128) % 256 - 128
        box.receive(e(7, 20, new), "1", 0.1)
        assert shows(box) == (10 if -20 < signed <= 0 else 20)


def test_a_multicast_box_listens_on_the_group_of_its_synchronization() -> None:
    # Source: ANSI E1.31-2018, 9.3: the group of a universe is 239.255.HIGH.LOW.
    wiring = wired(one_grid({"columns": 2, "rows": 2}, delivery="multicast"))
    yard = Yard(wiring, allocate(wiring).patch, Built())
    assert sync_ears(wiring.show, yard) == {}
    yard.receive(["box"], e131(1, full(9), 1, sync=7962), "1", 0.0)
    assert sync_ears(wiring.show, yard) == {Ear("239.255.31.26", 5568, "127.0.0.1"): ["box"]}
    assert yard.lit() == 0
    yard.receive(["box"], e131_sync(7962, 1), "1", 0.0)
    assert yard.lit() == 4


# --- rubbish ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("protocol", ["e131", "artnet"])
def test_rubbish_is_counted_and_the_box_goes_on(protocol: str) -> None:
    # Source: the lengths in ANSI E1.31-2018, table 4-1 (clause from memory), and ArtDmx: one that is cut off has
    # another than it says.
    rng = random.Random(31)
    box, make = SimulatedBox("box", protocol, (7,)), e if protocol == "e131" else art
    box.receive(make(7, 1, 1), "1", 0.0)
    for number in range(3000):
        whole = make(7, 9, 9)
        rubbish = rng.randbytes(rng.randrange(0, 700)) if number % 2 else whole[: rng.randrange(0, len(whole))]
        box.receive(rubbish, "1", 0.0)
    assert box.counts["malformed"] == 3000
    assert shows(box) == 1
    box.receive(make(7, 2, 2), "1", 0.1)
    assert shows(box) == 2


def test_a_yard_survives_packets_with_wrong_octets() -> None:
    # Source: the design: no traceback ever reaches a person; whatever the network brings is counted.
    wiring = wired(one_grid({"columns": 4, "rows": 3}))
    yard = Yard(wiring, allocate(wiring).patch, Built())
    rng = random.Random(17)
    for _ in range(3000):
        octets = bytearray(e131(1, full(rng.randrange(256)), rng.randrange(256)))
        for _ in range(rng.randrange(1, 4)):
            octets[rng.randrange(126)] = rng.randrange(256)
        yard.receive(["box"], bytes(octets[: rng.choice([638, 638, 400])]), "1", 0.0)
    assert yard.packets == 3000
    yard.expire(3.0)
    assert yard.lit() == 0
    yard.receive(["box"], e131(1, full(7), 0, cid=b"new-one-here-now"), "1", 3.1)
    assert yard.lit() == 12


# --- the yard -----------------------------------------------------------------------------------------------------


@st.composite
def yards(draw) -> dict:
    """Two boxes, one of each protocol, with runs of every kind of pixel over a few universes, and a tee."""
    runs: dict[str, dict] = {}
    controllers = {}
    for number, protocol in enumerate(("e131", "artnet")):
        ports = {}
        for port in ("1", "2"):
            ports[port] = []
            for _ in range(draw(st.integers(1, 2))):
                name = f"run-{len(runs)}"
                kind = draw(st.sampled_from(list(ORDERS)))
                runs[name] = {"pixel": kind, "pixels": draw(st.integers(1, 190)), "nulls": draw(st.integers(0, 2))}
                ports[port].append(name)
        controllers[f"box-{number}"] = {
            "address": f"192.0.2.{number + 1}", "ports": 2, "port": ports, "protocol": protocol,
            "reorders": draw(st.booleans()), "skips_nulls": draw(st.booleans()),
            "start_per": draw(st.sampled_from(("controller", "port", "run"))),
        }  # fmt: skip
    runs["tee"] = runs["run-0"] | {"same_data_as": "run-0"}
    show = {"title": "yard", "placement": draw(st.sampled_from(("fresh", "follow")))}
    kinds = {kind: {"colour_order": order} for kind, order in ORDERS.items()}
    return {"show": show, "pixel": kinds, "controller": controllers, "run": runs}


def lamps_of(wiring: Wiring, yard: Yard) -> dict[tuple[str, int], dict[str, int]]:
    """Every pixel's channels by letter."""
    return {
        (name, number): dict(zip(ORDERS[run.pixel], map(int, lamp), strict=True))
        for name, run in wiring.show.runs.items()
        for number, lamp in enumerate(yard.pixels[name], start=1)
    }


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(yards(), st.data())
def test_without_a_fault_the_lamps_are_the_look(tables: dict, data: st.DataObject) -> None:
    # Source: the design: patch → levels → packets → pixels; a tee shows what its run does.
    wiring, patch = laid(tables)
    yard = Yard(wiring, patch, Built())
    level = data.draw(st.floats(0.05, 1))
    glows, wanted = [], {}
    for name, run in tables["run"].items():
        for pixel in range(1, run["pixels"] + 1):
            wanted[name, pixel] = dict.fromkeys(ORDERS[run["pixel"]], 0.0)
    for name in data.draw(st.lists(st.sampled_from(list(tables["run"])), max_size=5)):
        order = ORDERS[tables["run"][name]["pixel"]]
        pixels = data.draw(st.sets(st.integers(1, tables["run"][name]["pixels"]), max_size=30))
        parts = {letter: data.draw(st.floats(0, 1)) for letter in order}
        glows.append(Glow(name, np.array(sorted(pixels), dtype=np.int64) - 1, Colour("mixed", parts)))
        both = {"tee", "run-0"} if name in ("tee", "run-0") else {name}
        wanted |= {(one, pixel): parts for one in both for pixel in pixels}
    look = Look(tuple(glows), ())
    send(yard, wiring, patch, look, level)
    shown = lamps_of(wiring, yard)
    assert shown.keys() == wanted.keys()
    for key, lamp in shown.items():
        assert lamp.keys() == wanted[key].keys()
        assert all(abs(value - wanted[key][letter] * level * 255) <= 0.5 + 1e-9 for letter, value in lamp.items())
    assert differences(look, level, wiring, yard) == []
    assert yard.lit() == sum(any(lamp.values()) for lamp in shown.values())
    assert {key for key, lamp in shown.items() if any(lamp.values())} == set(yard.seen)
    send(yard, wiring, patch, Look((), ()), sequence=2)
    assert yard.lit() == 0


@pytest.mark.parametrize(("dimmer", "shows"), [(1.0, 200), (0.5, 100), (0.1, 20)])
def test_a_dimmer_in_the_box(dimmer: float, shows: int) -> None:
    # Source: the design: level: a dimmer set in the box.
    wiring, patch = laid(one_grid({"columns": 2, "rows": 2}, level=dimmer))
    yard = Yard(wiring, patch, Built())
    look = Look((Glow("wall", np.array([1]), COLOURS["green"]),), ())
    send(yard, wiring, patch, look, 200 / 255)
    assert yard.pixels["wall"].tolist() == [[0, 0, 0], [0, shows, 0], [0, 0, 0], [0, 0, 0]]
    assert differences(look, 200 / 255, wiring, yard) == []


def test_a_run_that_is_not_up_this_season_is_dark_and_no_difference() -> None:
    # Source: the design: hung = false: not up this season; its addresses stay reserved.
    wiring, patch = laid(one_grid({"columns": 2, "rows": 2, "hung": False}))
    yard = Yard(wiring, patch, Built())
    look = Look((Glow("wall", np.arange(4), COLOURS["white"]),), ())
    send(yard, wiring, patch, look)
    assert yard.lit() == 0
    assert differences(look, 1.0, wiring, yard) == []


# --- faults, against a walk along the wire ------------------------------------------------------------------------


grids = st.fixed_dictionaries({
    "columns": st.integers(2, 7), "rows": st.integers(2, 7), "lines": st.sampled_from(("rows", "columns")),
    "turns": st.sampled_from(("serpentine", "same-way")), "data_in": st.sampled_from(CORNERS),
})  # fmt: skip


@examples(20, 50)
@given(grids, st.data())
def test_a_fault_shows_what_a_walk_along_the_wire_says(planned: dict, data: st.DataObject) -> None:
    # Source: the design: data-in, lines, turns, reversed, colour-order; a grid with gaps.
    kind = data.draw(st.sampled_from(list(ORDERS)))
    places = planned["columns"] * planned["rows"]
    gaps = data.draw(st.lists(st.integers(1, places), unique=True, max_size=min(3, places - 1)))
    reorders, protocol = data.draw(st.booleans()), data.draw(st.sampled_from(("e131", "artnet")))
    tables = one_grid(planned | {"gaps": gaps}, kind, reorders=reorders, protocol=protocol)
    wiring, patch = laid(tables)

    as_built, faults = dict(planned), []
    for key, values in (("data_in", CORNERS), ("lines", ("rows", "columns")), ("turns", ("serpentine", "same-way"))):
        if data.draw(st.booleans()):
            as_built[key] = data.draw(st.sampled_from(values))
            faults.append(f"{key.replace('_', '-')}:wall={as_built[key]}")
    if backwards := data.draw(st.booleans()):
        faults.append("reversed:wall")
    chips = ORDERS[kind]
    if data.draw(st.booleans()):
        chips = "".join(data.draw(st.permutations(chips)))
        faults.append(f"colour-order:wall={chips}")

    empty = {walk(**planned)[gap - 1] for gap in gaps}
    plan = [cell for cell in walk(**planned) if cell not in empty]
    wire_passes = [cell for cell in walk(**as_built) if cell not in empty]
    if backwards:
        wire_passes.reverse()
    yard = Yard(wiring, patch, build(wiring, [parse(text, wiring) for text in faults]))
    glows, meant = [], {}
    for pixel in range(1, len(plan) + 1):
        if data.draw(st.integers(0, 2)) == 0:
            meant[pixel] = {letter: data.draw(st.integers(1, 255)) for letter in ORDERS[kind]}
            parts = {letter: value / 255 for letter, value in meant[pixel].items()}
            glows.append(Glow("wall", np.array([pixel - 1]), Colour("mixed", parts)))
    send(yard, wiring, patch, Look(tuple(glows), ()))

    wanted = {}
    for place, cell in enumerate(wire_passes, start=1):  # what is sent for pixel `place` of the plan arrives here
        sent = meant.get(place, dict.fromkeys(ORDERS[kind], 0))
        in_chip_order = [sent[letter] for letter in ORDERS[kind]]
        lamp = dict(zip(chips, in_chip_order, strict=True))
        wanted["wall", plan.index(cell) + 1] = lamp
    shown = lamps_of(wiring, yard)
    assert shown == wanted

    dark = dict.fromkeys(ORDERS[kind], 0)
    missing = tuple(p for p in sorted(meant) if not any(shown["wall", p].values()))
    extra = tuple(p for p in range(1, len(plan) + 1) if p not in meant and any(shown["wall", p].values()))
    odd = tuple(p for p in sorted(meant) if p not in missing and shown["wall", p] != meant[p])
    found = differences(Look(tuple(glows), ()), 1.0, wiring, yard)
    equal = all(shown["wall", p] == meant.get(p, dark) for p in range(1, len(plan) + 1))
    assert (found == []) is equal
    if found:
        (only,) = found
        assert (only.run, only.missing, only.extra, only.odd) == ("wall", missing, extra, odd)


@pytest.mark.parametrize("corner", CORNERS)
def test_a_band_entered_at_another_corner_keeps_to_its_own_lines(corner: str) -> None:
    # Source: the design: band: a grid entered at another corner.
    tables = one_grid({"columns": 2, "rows": 2})
    tables["controller"]["box"]["port"] = {"1": ["near", "far"]}
    tables["prop"] = {
        "gate": {"area": [[0.0, 0.0], [1.0, 1.0]], "columns": 5, "rows": 3, "lines": "columns", "turns": "serpentine",
                 "data_in": "bottom-left"}
    }  # fmt: skip
    tables["run"] = {
        "near": {"pixel": "rgb", "shape": "band", "of": "gate", "band": [1, 2], "data_in": "bottom-left"},
        "far": {"pixel": "rgb", "shape": "band", "of": "gate", "band": [3, 5], "data_in": "top-right"},
    }
    wiring, patch = laid(tables)
    yard = Yard(wiring, patch, build(wiring, [parse(f"data-in:far={corner}", wiring)]))
    size = {"columns": 3, "rows": 3, "lines": "columns", "turns": "serpentine"}
    plan, passes = walk(**size, data_in="top-right"), walk(**size, data_in=corner)
    for pixel in range(9):
        look = Look((Glow("far", np.array([pixel]), COLOURS["white"]),), ())
        send(yard, wiring, patch, look, sequence=pixel + 1)
        assert np.flatnonzero(yard.pixels["far"].any(axis=1)).tolist() == [plan.index(passes[pixel])]
        assert not yard.pixels["near"].any()


@examples(15, 30)
@given(st.data())
def test_differences_are_empty_only_where_all_is_equal(data: st.DataObject) -> None:
    # Source: the design: what lights is held against what the plan says, pixel for pixel.
    wiring, patch = laid(one_grid({"columns": 3, "rows": 3}, "rgbw"))
    yard = Yard(wiring, patch, Built())
    lit = sorted(data.draw(st.sets(st.integers(0, 8), min_size=1)))
    look = Look((Glow("wall", np.array(lit), COLOURS["cyan"]),), ())
    send(yard, wiring, patch, look)
    before = yard.pixels["wall"].copy()
    for _ in range(data.draw(st.integers(0, 3))):
        pixel, channel = data.draw(st.integers(0, 8)), data.draw(st.integers(0, 3))
        yard.pixels["wall"][pixel, channel] = data.draw(st.sampled_from((0, 255, 1)))
    changed = np.flatnonzero((before != yard.pixels["wall"]).any(axis=1)) + 1
    found = differences(look, 1.0, wiring, yard)
    assert sorted({pixel for one in found for pixel in (*one.missing, *one.extra, *one.odd)}) == changed.tolist()
    assert (found == []) is (len(changed) == 0)


@pytest.mark.parametrize(
    "fault",
    [
        "data-in:wall=middle",
        "data-in:nowhere=top-left",
        "colour-order:wall=RGBW",
        "reversed:wall=now",
        "turns:wall",
        "sideways:wall",
        "reversed",
        "",
    ],
)
def test_a_fault_that_cannot_be_is_refused_by_name(fault: str) -> None:
    # Source: the design: messages name the place, what is wrong, and what to do.
    from patcher.errors import PatcherError

    wiring = wired(one_grid({"columns": 2, "rows": 2}))
    with pytest.raises(PatcherError) as caught:
        parse(fault, wiring)
    (finding,) = caught.value.findings
    assert finding.where == fault
    assert finding.says
    assert finding.remedy


# --- many at once -------------------------------------------------------------------------------------------------


@examples(20, 40)
@given(yards(), st.data())
def test_packets_at_once_are_packets_one_by_one(tables: dict, data: st.DataObject) -> None:
    # Source: the design: what a pixel showed is kept, however fast it went by.
    wiring, patch = laid(tables)
    one_by_one, at_once = (Yard(wiring, patch, Built()) for _ in range(2))
    packets = []
    for box, universes in patch.box_universes.items():
        make = e131 if wiring.show.controllers[box].protocol == "e131" else artnet
        for _ in range(data.draw(st.integers(0, 12))):
            universe = data.draw(st.sampled_from(universes))
            packets.append(
                ([box], make(universe, full(data.draw(st.integers(0, 6))), data.draw(st.integers(0, 9))), "1")
            )
    packets = data.draw(st.permutations(packets))
    for boxes, octets, sender in packets:
        one_by_one.receive(boxes, octets, sender, 0.0)
    at_once.hear(packets, 0.0)
    assert all((at_once.pixels[run] == lamps).all() for run, lamps in one_by_one.pixels.items())
    first = {lamp: list(colours) for lamp, colours in one_by_one.seen.items()}
    assert {lamp: list(colours) for lamp, colours in at_once.seen.items()} == first
    assert {name: box.counts for name, box in at_once.boxes.items()} == {
        name: box.counts for name, box in one_by_one.boxes.items()
    }
    assert at_once.ever_lit() == len(first)
    assert all(any(colour) for colours in first.values() for colour in colours)


def test_of_a_lamp_that_shows_many_colours_the_first_eight_are_kept() -> None:
    # Source: the design: pixels are named by where the plan has them; eight is the demo's own.
    wiring = wired(one_grid({"columns": 2, "rows": 1}, "gwrb"))
    yard = Yard(wiring, allocate(wiring).patch, Built())
    for number in range(60):
        yard.receive(["box"], e131(1, bytes([number % 20 + 1] * 4), number), "1", 0.0)
    assert yard.seen == {("wall", 1): dict.fromkeys((n,) * 4 for n in range(1, 9))}


def test_lamps_of_many_channels_keep_their_colours_apart() -> None:
    # Source: show/tables: a colour order has up to twelve letters.
    tables = one_grid({"columns": 2, "rows": 1})
    tables["pixel"]["rgb"]["colour_order"] = "RGBWACDEFHIJ"
    wiring = wired(tables)
    yard = Yard(wiring, allocate(wiring).patch, Built())
    for number in range(12):
        slots = bytearray(24)
        slots[number % 3 * 4 + 3] = 9
        yard.receive(["box"], e131(1, bytes(slots), number), "1", 0.0)
    order = [tuple(9 * (channel == lit) for channel in range(12)) for lit in (3, 7, 11)]
    assert [list(yard.seen["wall", 1])] == [order]


def test_the_receiver_takes_every_datagram_whole_and_in_order() -> None:
    # Judge: Python's own recvfrom, one datagram at a time, on a second socket that is sent the same.
    ear, other = Ear("127.101.7.1", 5568), Ear("127.101.7.2", 5568)
    rng = random.Random(5)
    sent = [rng.randbytes(rng.choice([0, 1, 49, 530, 638, 2047, 2048, 3000])) for _ in range(1300)]
    with Receiver([ear]) as receiver, Receiver([other]) as plain, udp() as sender:
        (own,) = plain._selector.get_map().values()
        got = []
        for begin in range(0, len(sent), 650):  # more than one call takes, less than a small buffer holds
            for octets in sent[begin : begin + 650]:
                sender.sendto(octets, (ear.host, ear.port))
                sender.sendto(octets, (other.host, other.port))
            found = list(iter(lambda: receiver.poll(0.05), []))
            assert len(found) > 1 or sys.platform != "linux"
            taken = [datagram for datagrams in found for datagram in datagrams]
            assert [(d.octets, d.sender) for d in taken] == _one_by_one(own.fileobj, 9999)
            assert {d.ear for d in taken} == {ear}
            got += taken
        assert [d.octets for d in got] == [octets[:2048] for octets in sent]
        assert {d.sender for d in got} == {"{}:{}".format(*sender.getsockname())}


@pytest.mark.skipif(many() is None, reason="this system has no recvmmsg")
@pytest.mark.parametrize("most", [1, 512, 513, 700, 9999])
def test_many_datagrams_take_as_many_calls_as_they_need(most: int) -> None:
    # Source: recvmmsg(2): at most as many as asked for, in order; what is left waits.
    take = many()
    assert take is not None
    with udp() as sender, udp() as here:
        for number in range(650):
            sender.sendto(number.to_bytes(2, "big"), here.getsockname())
        found = take(here, most)
        assert [int.from_bytes(octets, "big") for octets, _ in found] == list(range(min(650, most)))
        assert len(take(here, 9999)) == max(0, 650 - most)
        assert take(here, 9999) == []


def udp() -> socket.socket:
    opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 22)
    opened.bind(("127.0.0.1", 0))
    return opened


# --- troubles -----------------------------------------------------------------------------------------------------


def a_wall(trouble: Trouble | None = None, fault: str = "", seed: int = 0) -> Yard:
    wiring = wired(one_grid({"columns": 4, "rows": 3}))
    faults = [parse(fault, wiring)] if fault else []
    return Yard(wiring, allocate(wiring).patch, build(wiring, faults), trouble=trouble, seed=seed)


def first_lamp(yard: Yard) -> int:
    return int(yard.pixels["wall"][0, 0])


def stream(yard: Yard, frames: int, rate: float = 40.0) -> list[int]:
    """What the first pixel showed after each frame; frame n holds n + 1."""
    shown = []
    for number in range(frames):
        yard.receive(["box"], e131(1, full(number + 1), number), "1", number / rate)
        yard.expire(number / rate)
        shown.append(first_lamp(yard))
    return shown


def test_lost_packets() -> None:
    # Source: arithmetic: of 200 packets with loss 0.3 the binomial's spread is 6.5; six of those are allowed.
    shown = stream(a_wall(Trouble(loss=0.3, seed=1)), 200)
    lost = sum(value != number for number, value in enumerate(shown, start=1))
    assert abs(lost - 60) < 39
    assert shown == stream(a_wall(Trouble(loss=0.3, seed=1)), 200)
    assert shown != stream(a_wall(Trouble(loss=0.3, seed=2)), 200)
    assert stream(a_wall(Trouble(loss=1.0)), 20) == [0] * 20
    assert stream(a_wall(Trouble()), 20) == list(range(1, 21))


def test_doubled_packets_are_out_of_order() -> None:
    # Source: ANSI E1.31-2018 6.7.2: a repetition is dropped.
    yard = a_wall(Trouble(double=1.0))
    assert stream(yard, 20) == list(range(1, 21))
    assert yard.boxes["box"].counts == {"taken": 20, "out of order": 20}


def test_delayed_packets_come_later_and_all() -> None:
    # Source: arithmetic: 60 ms are 2.4 frames of 40 a second.
    yard = a_wall(Trouble(delay=0.06))
    assert stream(yard, 20) == [0, 0, 0, *range(1, 18)]
    assert yard.next_due() == pytest.approx(17 / 40 + 0.06)
    yard.expire(1.0)
    assert first_lamp(yard) == 20
    assert yard.next_due() == float("inf")


def test_overtaken_packets_are_dropped_and_the_last_look_stays() -> None:
    # Source: ANSI E1.31-2018 6.7.2: what comes behind its successor is dropped.
    yard = a_wall(Trouble(reorder=0.4, seed=3))
    shown = stream(yard, 100)
    assert shown == sorted(shown)
    yard.expire(99 / 40 + OVERTAKEN)
    counts = yard.boxes["box"].counts
    assert counts["out of order"] > 10
    assert sum(counts.values()) == 100
    assert first_lamp(yard) in (99, 100)


def test_what_a_box_does_not_take_is_said_by_its_reason(capsys: pytest.CaptureFixture[str]) -> None:
    # Source: ANSI E1.31-2018: 6.2.6 (preview data), 7.6 (start codes); the wall's box has pixels in universe 1 only
    yard = a_wall()
    for octets in (e(1, 9, 1), e(1, 9, 2), e(300, 9, 1), e(301, 9, 1), e(301, 9, 2), e(1, 9, 3, options=PREVIEW)):
        yard.receive(["box"], octets, "127.0.0.1", 0.0)
    say(yard, 0, None)
    box = "2 packets taken, 3 packets of universes that it has no pixels in, 1 packet without levels to show"
    out = capsys.readouterr().out
    assert f"  box: {box}\n" in out
    # Source: found in use: is something sent wrongly? `verify` and the phone light the universes beside a box's too
    assert "no mistake of verify, diagnose or phone" in out


def test_the_picture_at_the_end_is_the_plans_whatever_the_network_does() -> None:
    # Source: the design: with loss, delay, reordering and duplication the yard's picture at the end equals the plan's.
    tables = one_grid({"columns": 12, "rows": 30})
    wiring, patch = laid(tables)
    yard = Yard(wiring, patch, Built(), trouble=Trouble(0.2, 0.2, 0.2, 0.05, seed=9))
    look = Look((Glow("wall", np.arange(0, 360, 7), COLOURS["cyan"]),), ())
    found = levels(look, wiring, patch, [1, 2, 3], 0.5)
    for frame in range(60):
        for row, universe in enumerate((1, 2, 3)):
            yard.receive(["box"], e131(universe, found.slots[row].tobytes(), frame), "1", frame / 40)
    yard.expire(60 / 40 + 0.1)
    assert differences(look, 0.5, wiring, yard) == []


def test_a_box_that_comes_back_shows_nothing_that_waited_before() -> None:
    # Source: plain reason: without power nothing is remembered.
    box = SimulatedBox("box", "e131", (7, 8))
    box.receive(e131(7, full(10), 1, sync=99), "1", 0.0)
    box.switch(on=False)
    box.switch(on=True)
    box.receive(e131_sync(99, 1), "1", 0.1)
    assert shows(box) == 0


def test_a_box_drops_off_and_comes_back() -> None:
    # Source: plain reason: without power a box shows nothing and hears nothing; with it, it knows of nothing before.
    yard = a_wall(Trouble(off=(Off("box", 0.25, 0.5),), begin=0.0))
    assert stream(yard, 30) == [*range(1, 11), *[0] * 10, *range(21, 31)]
    yard = a_wall(Trouble(off=(Off("box", 0.25, float("inf")),), begin=0.0))
    assert stream(yard, 30)[10:] == [0] * 20
    assert not snapshot(yard)["boxes"][0]["on"]
    # It goes dark by itself, and takes an old sequence when it is back.
    yard = a_wall(Trouble(off=(Off("box", 1.0, 2.0),), begin=0.0))
    yard.receive(["box"], e131(1, full(9), 200), "1", 0.0)
    yard.expire(0.9)
    assert yard.lit() == 12
    yard.expire(1.0)
    assert yard.lit() == 0
    yard.expire(2.0)
    yard.receive(["box"], e131(1, full(8), 199), "1", 2.0)
    assert first_lamp(yard) == 8


def test_lamps_behind_a_flicker_are_random_from_a_seed() -> None:
    # Source: the design: flicker: from that pixel to the end of the chain, random.
    def looks(seed: int) -> list[list[list[int]]]:
        yard, found = a_wall(fault="flicker:wall/5", seed=seed), []
        for number in range(8):
            yard.receive(["box"], e131(1, full(7), number), "1", 0.0)
            found.append(yard.pixels["wall"].tolist())
        return found

    one, again, other = looks(1), looks(1), looks(2)
    assert one == again
    assert one != other
    assert all(frame[:4] == [[7] * 3] * 4 for frame in one)
    assert len({tuple(map(tuple, frame[4:])) for frame in one}) == 8


def test_a_dead_box_is_not_there_and_a_shifted_one_listens_elsewhere() -> None:
    # Source: the design: dead, universe-shift; E1.31: the group of a universe is 239.255.HIGH.LOW.
    tables = one_grid({"columns": 4, "rows": 3}, delivery="multicast")
    wiring, patch = laid(tables)

    def heard(fault: str) -> list[str]:
        yard = Yard(wiring, patch, build(wiring, [parse(fault, wiring)]))
        return [ear.host for ear in ears(wiring.show, patch, {"box": "127.0.0.9"}, yard.universes)]

    assert heard("universe-shift:box=300") == ["239.255.1.45"]
    assert heard("dead:box") == []
    assert heard("dead:box/1") == ["239.255.0.1"]


def test_a_snapshot_says_what_is_lit_now() -> None:
    # Source: the design: a snapshot as JSON.
    yard = a_wall()
    yard.receive(["box"], e131(1, bytes([1, 2, 3, 4, 5, 6]), 1), "1", 0.0)
    assert json.loads(json.dumps(snapshot(yard))) == {
        "boxes": [{"controller": "box", "universes": [1], "on": True, "packets": {"taken": 1}}],
        "runs": [{"run": "wall", "letters": "RGB", "lit": 2, "lamps": [[1, 2, 3], [4, 5, 6], *[[0] * 3] * 10]}],
    }


# --- the picture --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("columns", "lines"), [(40, 20), (80, 24), (200, 60), (8, 6)])
def test_the_picture_has_each_lamp_where_the_plan_has_it(columns: int, lines: int) -> None:
    # Source: the design: x to the right and y up, as the audience sees it; pixels are named by where the plan has them.
    tables = one_grid({"columns": 7, "rows": 5, "area": [[0.0, 0.0], [3.0, 2.0]]})
    tables["run"]["plain"] = {"pixel": "rgb", "pixels": 6}
    tables["controller"]["box"]["port"]["1"].append("plain")
    wiring = wired(tables)
    yard = Yard(wiring, allocate(wiring).patch, Built())
    picture = FarView(yard, wiring, columns, lines, "")
    dark = picture.lines()
    assert len(dark) <= lines
    assert all(len(line) <= max(columns, 90) for line in dark)
    assert "●" not in "".join(dark)
    found: dict[tuple[int, int], tuple[int, int]] = {}
    for pixel, (x, y) in enumerate(walk(**tables["run"]["wall"])):
        yard.pixels["wall"][:] = 0
        yard.pixels["wall"][pixel] = (0, 1, 0)
        (spot,) = [(line.index("●"), row) for row, line in enumerate(picture.lines()) if "●" in line]
        found[x, y] = spot
    for (x, y), (column, row) in found.items():
        assert column == found[x, 0][0]
        assert row == found[0, y][1]
    across, up = [found[x, 0][0] for x in range(7)], [found[0, y][1] for y in range(5)]
    assert across == sorted(across)
    assert up == sorted(up, reverse=True)
    if columns >= 80:
        assert len(set(found.values())) == 35


def test_the_picture_shows_runs_without_a_shape_as_strips_and_boxes_with_their_counts() -> None:
    # Source: the design: a run with no picture has pixels only.
    tables = one_grid({"columns": 2, "rows": 2})
    tables["run"] = {"wall": {"pixel": "rgb", "pixels": 6}}
    wiring = wired(tables)
    yard = Yard(wiring, allocate(wiring).patch, Built())
    yard.receive(["box"], e131(1, bytes([9, 0, 0, 0, 0, 3, 0, 0, 0]), 1), "1", 0.0)
    assert [line.split() for line in FarView(yard, wiring, 80, 24, "").lines()] == [
        ["wall", "2", "of", "6", "●●····"], ["box", "1", "taken"]
    ]  # fmt: skip
    coloured = FarView(yard, wiring, 80, 24, "truecolor").lines()[0]
    assert "\x1b[38;2;255;0;0m●\x1b[0m\x1b[38;2;0;0;255m●\x1b[0m····" in coloured
    eight = "".join(FarView(yard, wiring, 80, 24, "8").lines())
    assert "\x1b[31m●\x1b[0m\x1b[34m●\x1b[0m" in eight


# --- from the command line ----------------------------------------------------------------------------------------


@pytest.fixture
def little(tmp_path: Path) -> Path:
    near, shelf = {"chains": [["a", "b"]], "ports": 2}, {"spare": True, "ports": 2}
    return show_file(tmp_path / "little.toml", {"a": 4, "b": 4}, near=near, shelf=shelf)


def lit_by_steady(little: Path, here: Patcher, *options: object) -> dict:
    """The document of a yard with options, to which a steady white was sent."""
    from rig.yard_process import a_yard

    with a_yard(little, *map(str, options)) as yard:
        ran = here("send", "steady", little, "--yard", "--seconds", 0.4, "--level", 1)
        assert ran.returncode == 0, ran.stderr
        return yard.end()


@pytest.mark.parametrize(
    ("faults", "lit"),
    [
        ([], "a/1 a/2 a/3 a/4 b/1 b/2 b/3 b/4"),
        (["cut:a/3"], "a/1 a/2"),
        (["shift:b=1", "dark:a/2"], "a/1 a/3 a/4 b/1 b/2 b/3"),
        (["dead:near/1"], ""),
        *later(
            (["missing:a/1", "count:near/1=-2"], "a/2 a/3 a/4 b/1 b/2 b/3"),
            (["swapped-ports:near/1,near/2"], ""),
        ),
    ],
)
def test_faults_from_the_command_line(here: Patcher, little: Path, faults: list[str], lit: str) -> None:
    # Source: counted by hand.
    found = lit_by_steady(little, here, *(word for fault in faults for word in ("--fault", fault)))
    assert sorted(found["order"]) == lit.split()
    assert [run["lamps"] for run in found["runs"]] == [[[0, 0, 0]] * 4] * 2


def test_a_yard_with_troubles_still_shows_the_look(here: Patcher, little: Path) -> None:
    # Source: the design: loss, delay, reordering and duplication; the look comes through all the same.
    options = ("--loss", 0.2, "--double", 0.2, "--reorder", 0.2, "--delay", 20, "--seed", 4, "--off", "near=600..")
    found = lit_by_steady(little, here, *options)
    assert sorted(found["order"]) == ["a/1", "a/2", "a/3", "a/4", "b/1", "b/2", "b/3", "b/4"]
    assert found["boxes"][0]["packets"]["out of order"] > 0


def test_a_box_that_is_off_hears_nothing(here: Patcher, little: Path) -> None:
    # Source: plain reason: without power a box hears nothing.
    found = lit_by_steady(little, here, "--off", "near=0..", "--snapshot", little.with_name("now.json"))
    assert found["order"] == []
    assert not found["boxes"][0]["on"]
    written = json.loads(little.with_name("now.json").read_text())
    assert written["runs"] == found["runs"]
    assert written["boxes"][0]["on"] is False


@pytest.mark.parametrize(
    "options",
    [
        ("--off", "near"), ("--off", "near=5"), ("--off", "near=5..5"), ("--off", "far=1..2"), ("--off", "shelf=1..2"),
        ("--off", "near=..5"), ("--off", "near=1..x"), ("--loss", "2"), ("--delay", "-1"), ("--seed", "x"),
        ("--fault", "dead:near", "--fault", "dead:near/1"), ("--fault", "universe-shift:near=-1"),
        ("--fault", "dark:a/9"), ("--snapshot", "nowhere/now.json", "--seconds", "0"),
    ],
)  # fmt: skip
def test_what_the_yard_refuses(here: Patcher, little: Path, options: tuple[str, ...]) -> None:
    # Source: the design: exit 2: the input or the call is wrong; messages name the place, what is wrong and what to do.
    ran = here("yard", little, *options)
    assert ran.returncode == 2
    assert ran.stderr
