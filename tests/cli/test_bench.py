"""`bench`: one string with no show file, by the octets that leave; and as a run of a show has it."""

import io
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from patcher.walk.record_file import read_record
from rig.shipped import Patcher
from rig.yard_process import document, refused

E131, ARTNET = 5568, 6454  # Source: UDP ports: ANSI E1.31-2018, appendix A (clause from memory); Art-Net 4, 0x1936
HOST = f"127.10.{os.getpid() // 250 % 250 + 1}.{os.getpid() % 250 + 1}"
Slots = dict[tuple[str, int], set[bytes]]


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


def lit(sockets: dict[str, socket.socket]) -> Slots:
    """Every frame that came, by protocol and universe, but for dark ones.

    Source: ANSI E1.31-2018, table 4-1 (clause from memory): universe 113–114, slots from 126; ArtDmx: SubUni
    14, Net 15, slots from 18.
    """
    found: Slots = {}
    for packet in heard(sockets["e131"]):
        found.setdefault(("e131", packet[113] << 8 | packet[114]), set()).add(packet[126:])
    for packet in heard(sockets["artnet"]):
        found.setdefault(("artnet", packet[15] << 8 | packet[14]), set()).add(packet[18:])
    return {where: {slots for slots in frames if any(slots)} for where, frames in found.items()}


def laid(pixels: int, order: str, universe: int, channel: int, colour: dict[str, int]) -> dict[int, bytes]:
    """Source: the design: pixel by pixel; the next universe where the next pixel would not fit before 512."""
    slots = {universe: bytearray(512)}
    for _ in range(pixels):
        if channel + len(order) - 1 > 512:
            universe, channel = universe + 1, 1
            slots[universe] = bytearray(512)
        slots[universe][channel - 1 : channel - 1 + len(order)] = bytes(colour.get(letter, 0) for letter in order)
        channel += len(order)
    return {number: bytes(row) for number, row in slots.items()}


@pytest.mark.parametrize("order", ["RGB", "GRB", "GWRB", "ARGB"])
@pytest.mark.parametrize(
    ("protocol", "pixels", "universe", "channel"),
    [("e131", 1, 1, 1), ("e131", 130, 63_998, 505), ("artnet", 175, 300, 7), ("artnet", 3, 32_767, 400)],
)
def test_a_string_is_lit_where_it_lies_in_its_own_order(
    here: Patcher, sockets: dict, order: str, protocol: str, pixels: int, universe: int, channel: int
) -> None:
    # Source: the design: bench; the colour order is that of the wire, so that an unknown string can be told.
    call = ("--pixels", pixels, "--colour-order", order, "--protocol", protocol, "--universe", universe)
    call += ("--channel", channel, "--colour", "#ff8001", "--level", 1, "--seconds", 0.05, "--json")
    sent = document(here("bench", HOST, "steady", *call))
    wanted = laid(pixels, order, universe, channel, {"R": 255, "G": 128, "B": 1})
    assert lit(sockets) == {(protocol, number): {row} for number, row in wanted.items()}
    assert sent["universes"] == len(wanted)


def test_the_defaults_are_primaries_on_e131_from_1_1(here: Patcher, sockets: dict) -> None:
    # Source: the design: bench ADDRESS: the same patterns; channels and universes count from 1.
    # From memory: WCAG 2.2, 2.3.1: three steps a second are allowed; 0.3 of 255 is 76.5, rounded up.
    here("bench", HOST, "--pixels", 2, "--rate", 3, "--loops", 1)
    frames = {bytes([77 * (n == colour) for n in range(3)] * 2 + [0] * 506) for colour in range(3)}
    assert lit(sockets) == {("e131", 1): frames}


def test_it_ends_dark_and_its_stream_is_ended(here: Patcher, sockets: dict) -> None:
    # Source: ANSI E1.31-2018 6.2.6: three packets with Stream_Terminated, options octet 112 bit 0x40.
    here("bench", HOST, "steady", "--pixels", 50, "--seconds", 0.05)
    packets = heard(sockets["e131"])
    assert any(packets[0][126:])
    assert [bool(packet[112] & 0x40) for packet in packets[-4:]] == [False, True, True, True]
    assert not any(any(packet[126:]) for packet in packets[-4:])


@pytest.mark.parametrize("name", ["primaries", "dot", "ports", "milestones", "edges", "ends", "ramp"])
def test_every_pattern_has_the_words_of_send(here: Patcher, tmp_path: Path, name: str) -> None:
    # Source: the design: bench: the same patterns; a show file of the same string says and sends the same.
    show = tmp_path / "one.toml"
    show.write_text(
        '[show]\ntitle = "one"\nfirst_universe = 5\n[pixel.lamp]\ncolour_order = "GRB"\n[controller.bench]\n'
        f'address = "{HOST}"\nreorders = false\nports = 1\nport = {{ 1 = ["string"] }}\n[run.string]\n'
        'pixel = "lamp"\npixels = 180\n'
    )
    theirs = document(here("send", name, show, "--dry-run", "--json"))
    ours = document(here("bench", HOST, name, "--pixels", 180, "--colour-order", "GRB", "--universe", 5,
                         "--dry-run", "--json"))  # fmt: skip
    assert ours == theirs


@pytest.mark.parametrize(
    ("run", "says"),
    [
        ("gable", "E1.31, start 1/1, 89 pixels; colours are sent as RGB."),
        ("gate-right", "Art-Net, start 6/151, 440 pixels; colours are sent as RGB, and the box reorders them to GRB."),
        ("weir", "E1.31, start 20/1, 480 pixels; colours are sent as GRBW."),
        ("footbridge-back", "E1.31, start 10/1, 58 pixels; colours are sent as RGB."),
        ("narrowboat", "Art-Net, start 34/1, 217 pixels: 1 null pixel, then 216 pixels; colours are sent as RGB, and"),
    ],
)
def test_as_a_run_of_a_show_it_gets_what_the_show_would_send(
    here: Patcher, heron_lock: Path, sockets: dict, run: str, says: str
) -> None:
    # Source: the design: one run, one patch: whatever `send` puts on the run's universes for the run, `bench` does too.
    # From memory of the shipped show: weir's box does not reorder; mooring's nulls take channels; a tee has its run's.
    here("patch", heron_lock)
    options = ("--colour", "#ff8001", "--level", 1, "--seconds", 0.05)
    here("send", "steady", heron_lock, "--on", run, "--to", HOST, *options)
    theirs = lit(sockets)
    ran = here("bench", HOST, "steady", "--as", f"{heron_lock}:{run}", *options)
    assert ran.returncode == 0
    assert f"Set the box at {HOST} to {says}" in ran.stderr
    ours = lit(sockets)
    assert ours
    assert ours == {where: slots for where, slots in theirs.items() if slots}


def test_a_grid_on_the_bench_is_swept_as_in_the_show(here: Patcher, heron_lock: Path) -> None:
    # Source: the design: band: columns count through the prop.
    theirs = document(here("send", "sweep", heron_lock, "--on", "gate-right", "--by", "columns", "--dry-run", "--json"))
    ours = document(
        here("bench", HOST, "sweep", "--as", f"{heron_lock}:gate-right", "--by", "columns", "--dry-run", "--json")
    )
    assert (ours["steps"], ours["says"]) == (theirs["steps"], theirs["says"])
    assert ours["steps"] == 22


def test_it_writes_nothing(here: Patcher, heron_lock: Path) -> None:
    # Source: the design: bench needs no show file, and makes none; the patch of a show is written by `patch` alone.
    before = sorted(heron_lock.parent.iterdir())
    here("bench", HOST, "--pixels", 3, "--dry-run")
    here("bench", HOST, "--as", f"{heron_lock}:weir", "--dry-run")
    assert sorted(heron_lock.parent.iterdir()) == before


@pytest.mark.long
def test_how_it_was_is_kept_beside_the_show(here: Patcher, heron_lock: Path, sockets: dict) -> None:
    # Source: the design: `bench --as` results live in the record; `verify --report` shows it. Found by a
    # reader: what was tried on a box of the yard stood in the real record.
    call = ("bench", HOST, "primaries", "--as", f"{heron_lock}:eaves", "--loops", 0.1)
    assert here(*call, "--result", "pixel 12 lacks green").returncode == 0
    ran = here(*call, "--result", "as it should be", "--json")
    assert "heron-lock.practice-checks.toml: as it should be (practice" in ran.stderr
    here(*call)
    assert read_record(heron_lock).bench == ()
    (first, second) = read_record(heron_lock, practice=True).bench
    assert (first.thing, first.what) == ("eaves", "primaries: pixel 12 lacks green")
    assert second.what == "primaries: as it should be"
    assert "eaves: primaries: pixel 12 lacks green" in here("verify", heron_lock, "--report", "--yard").stdout
    assert "lacks green" not in here("verify", heron_lock, "--report").stdout
    here("verify", heron_lock, "--new-season", "--yard")
    assert len(read_record(heron_lock, practice=True).bench) == 2


@pytest.mark.parametrize("address", ["192.0.2.21", "10.0.0.1", "126.255.255.255", "127.0.0.1", "127.255.255.255"])
def test_what_was_tried_on_this_machine_is_practice(
    address: str, heron_lock: Path, here: Patcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: RFC 1122, 3.2.1.3 (from memory): 127.0.0.0/8 never leaves the machine, so no box has it. Nothing is sent.
    monkeypatch.setattr("patcher.cli.playback.play", lambda *_args, **_keys: None)
    here("bench", address, "--as", f"{heron_lock}:eaves", "--result", "good")
    practice = address.startswith("127.")
    for kept in (False, True):
        assert [entry.what for entry in read_record(heron_lock, practice=kept).bench] == (
            ["primaries: good"] if kept == practice else []
        )


@pytest.mark.long
def test_a_box_that_is_not_reached_has_no_result_and_that_is_said(here: Patcher, heron_lock: Path) -> None:
    # Source: found in use: --result was given, nothing was saved, and nothing was said. Nobody listens at HOST here.
    ran = here("bench", HOST, "primaries", "--as", f"{heron_lock}:eaves", "--seconds", 1.5, "--result", "good")
    assert ran.returncode == 1
    assert "could not be reached at the end" in ran.stderr
    assert "No result was saved for eaves: the box could not be reached." in ran.stderr
    assert read_record(heron_lock).bench == ()


class Terminal(io.StringIO):
    """Somebody at the keys."""

    def isatty(self) -> bool:
        return True


@pytest.mark.long
@pytest.mark.parametrize(("said", "kept"), [("y\n", ["primaries: as it should be"]), ("\n", [])])
def test_how_it_was_is_asked_at_a_terminal(
    said: str, kept: list[str], heron_lock: Path, sockets: dict, here: Patcher
) -> None:
    # Source: as above; the words are the person's own
    ran = here("bench", HOST, "--as", f"{heron_lock}:eaves", "--loops", 0.1, stdin=Terminal(said))
    assert ran.returncode == 0, ran.stderr
    assert "Was it as it should be?" in ran.stderr
    record = read_record(heron_lock, practice=True)
    assert [entry.what for entry in (record.bench if record else ())] == kept


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ((HOST, "--pixels", 3, "--result", "good"), ("--result", "--as")),
        ((HOST,), ("--pixels", "--as")),
        ((HOST, "--pixels", 0), ("--pixels",)),
        ((HOST, "--pixels", 10**9), ("--pixels",)),
        ((HOST, "--pixels", 50, "--colour-order", "RGR"), ("--colour-order", "RGR")),
        ((HOST, "--pixels", 50, "--colour-order", "rgb"), ("--colour-order", "capital")),
        ((HOST, "--pixels", 50, "--colour-order", ""), ("--colour-order",)),
        ((HOST, "--pixels", 50, "--protocol", "artnett"), ("--protocol", "artnet")),
        ((HOST, "--pixels", 50, "--protocol", "sACN"), ("--protocol", "write e131")),
        ((HOST, "--pixels", 50, "--protocol", "artnet", "--universe", 0), ("--universe", "net 0", "set the box to 1")),
        ((HOST, "--pixels", 50, "--universe", 0), ("--universe", "63999")),
        ((HOST, "--pixels", 50, "--universe", 64_000), ("--universe", "63999")),
        ((HOST, "--pixels", 171, "--universe", 63_999), ("--universe", "64000")),
        ((HOST, "--pixels", 50, "--protocol", "artnet", "--universe", 32_768), ("--universe", "32767")),
        ((HOST, "--pixels", 50, "--channel", 0), ("--channel", "510")),
        ((HOST, "--pixels", 50, "--channel", 511), ("--channel", "510")),
        (("box", "--pixels", 50), ("ADDRESS", "“box”")),
        (("239.255.0.1", "--pixels", 50), ("ADDRESS",)),
        (("0.0.0.0", "--pixels", 50), ("ADDRESS",)),
        ((HOST, "blink", "--pixels", 50), ("blink",)),
        ((HOST, "sweep", "--pixels", 50), ("grid",)),
        ((HOST, "steady", "--pixels", 50, "--colour", "puce"), ("puce",)),
        ((HOST, "--pixels", 50, "--rate", 4), ("--rate", "--flashing")),
        ((HOST, "--as", "weir"), ("--as", "colon")),
        ((HOST, "--as", "gone.toml:weir"), ("gone.toml",)),
        ((HOST, "--as", "heron-lock.toml:wier"), ("--as", "weir")),
        ((HOST, "--as", "heron-lock.toml:weir", "--pixels", 3, "--channel", 1), ("--pixels, --channel", "--as")),
    ],
)
def test_a_wrong_call_is_said_in_words(here: Patcher, heron_lock: Path, call: tuple, words: tuple[str, ...]) -> None:
    # Source: the design: exit 2: the call is wrong; messages name the place, what is wrong and what to do.
    refused(here("bench", *call, "--seconds", 0.01), *words)
