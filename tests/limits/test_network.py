"""What the show puts on the network: packets that others build, weighed by hand, and every warning, raised and not."""

import json
import socket
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyartnet.base.network import UnicastNetworkTarget
from pyartnet.impl_artnet import ArtNetNode
from pyartnet.impl_sacn import SacnNode
from sacn.messages.data_packet import DataPacket
from stupidArtnet import StupidArtnet

from patcher.errors import Finding
from patcher.frames.levels import Levels
from patcher.limits.findings import check
from patcher.limits.network import Traffic, findings, mbps_of, most_universes, traffic, wire_octets
from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.stream.sender import Sender, Target, targets
from patcher.wiring import Wiring
from rig.coroutines import finished
from rig.examples import examples
from rig.shipped import Patcher, wired

# Source: IEEE 802.3 (header 14, check 4, preamble 8, gap 12), RFC 791 (20), RFC 768 (8).
OVERHEAD = 8 + 20 + 14 + 4 + 8 + 12
UNIVERSE = 170


def tables_of(universes: dict[str, int], keys: dict[str, dict] | None = None, **show: object) -> dict:
    """Boxes with so many full universes of RGB each, a port a universe."""
    boxes: dict[str, dict] = {}
    runs: dict[str, dict] = {}
    for number, (box, count) in enumerate(universes.items(), start=1):
        names = [f"{box}-{run}" for run in range(1, count + 1)]
        runs |= {name: {"pixel": "rgb", "pixels": UNIVERSE} for name in names}
        ports = {str(port): [name] for port, name in enumerate(names, start=1)}
        boxes[box] = {"address": f"192.0.2.{number}", "ports": 999, "port": ports} | (keys or {}).get(box, {})
    pixel = {"rgb": {"colour_order": "RGB"}}
    return {"show": {"title": "network"} | show, "pixel": pixel, "controller": boxes, "run": runs}


def patched(tables: dict) -> tuple[Wiring, Patch]:
    wiring = wired(tables)
    return wiring, allocate(wiring).patch


def sent(tables: dict) -> Traffic:
    wiring, patch = patched(tables)
    return traffic(wiring.show, patch)


def said(tables: dict) -> list[Finding]:
    return findings(*patched(tables))


def rules(tables: dict) -> list[tuple[str, str]]:
    found = said(tables)
    assert {finding.area for finding in found} <= {"network"}
    assert {finding.severity for finding in found} <= {"warning"}
    return [(finding.rule, finding.where) for finding in found]


class Outbox:
    """Stands where pyartnet keeps its socket, and keeps what it would send."""

    def __init__(self) -> None:
        self.packets: list[bytes] = []

    def sendto(self, octets: bytes, address: tuple[str, int]) -> None:
        self.packets.append(bytes(octets))


def pyartnet_writes(kind: type[ArtNetNode] | type[SacnNode]) -> list[bytes]:
    """One full universe, as pyartnet's own code sends it."""

    async def write() -> list[bytes]:
        node = kind(UnicastNetworkTarget.create("127.0.0.1", 1))
        outbox = node._socket = Outbox()
        universe = node.add_universe(7)
        universe.add_channel(1, 512).set_values([255] * 512)
        universe.send_data()
        await node._process_task.cancel_wait()
        return outbox.packets

    return finished(write())


# --- one packet -------------------------------------------------------------------------------------------------------


def test_an_e131_packet_and_how_many_fill_a_link() -> None:
    # Judge: sacn 1.11 and pyartnet 2.0 build the packet.
    # Source: IEEE 802.3, RFC 791, RFC 768: 704 octets, 56.32 µs, 17 755 packets, 443 at 40.
    octets = len(bytes(DataPacket(tuple(bytes(16)), "heron lock", 3, dmxData=(255,) * 512).getBytes())) + OVERHEAD
    assert {len(packet) + OVERHEAD for packet in pyartnet_writes(SacnNode)} == {octets}
    assert wire_octets(octets - OVERHEAD) == octets == 704
    assert mbps_of("e131", 1) == pytest.approx(octets * 8 / 1e6)
    assert mbps_of("e131", 1) / 100 * 1e6 == pytest.approx(56.32)
    assert most_universes("e131", 1) == 17_755
    assert most_universes("e131", 40) == 443


def test_an_artdmx_packet() -> None:
    # Judge: stupidArtnet 1.6 and pyartnet 2.0 build the packet.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as inbox:
        inbox.bind(("127.0.0.1", 0))
        inbox.settimeout(20.0)
        sender = StupidArtnet("127.0.0.1", universe=3, packet_size=512, port=inbox.getsockname()[1])
        try:
            sender.show()
        finally:
            sender.close()
        octets = len(inbox.recv(2048)) + OVERHEAD
    assert {len(packet) + OVERHEAD for packet in pyartnet_writes(ArtNetNode)} == {octets}
    assert mbps_of("artnet", 1) == pytest.approx(octets * 8 / 1e6)
    assert wire_octets(octets - OVERHEAD) == octets == 596
    assert most_universes("artnet", 40) == 100_000_000 // (596 * 8 * 40)


@pytest.mark.parametrize(("payload", "octets"), [(0, 84), (17, 84), (18, 84), (19, 85), (638, 704), (1472, 1538)])
def test_the_shortest_and_the_longest_frame(payload: int, octets: int) -> None:
    # Source: IEEE 802.3: 64 octets at least and 1518 at most, from header to check; with preamble and gap 84 and 1538.
    assert wire_octets(payload) == octets


@examples(30, 100)
@given(st.sampled_from(["e131", "artnet"]), st.floats(1, 1000), st.floats(0.1, 1000))
def test_what_fits_fits_and_one_more_does_not(protocol: str, rate: float, mbps: float) -> None:
    # Source: arithmetic.
    most = most_universes(protocol, rate, mbps)
    assert most * mbps_of(protocol, rate) <= mbps * (1 + 1e-12)
    assert (most + 1) * mbps_of(protocol, rate) > mbps * (1 - 1e-12)


# --- the whole show ---------------------------------------------------------------------------------------------------


@st.composite
def shows(draw: st.DrawFn) -> dict:
    counts = draw(st.lists(st.integers(1, 4), min_size=1, max_size=4))
    ways = [("e131", "unicast"), ("e131", "multicast"), ("artnet", "unicast")]
    keys = {}
    for number in range(len(counts)):
        protocol, delivery = draw(st.sampled_from(ways))
        keys[f"box-{number}"] = {"protocol": protocol, "delivery": delivery, "skips_nulls": draw(st.booleans())}
    tables = tables_of(
        {f"box-{number}": count for number, count in enumerate(counts)},
        keys,
        placement=draw(st.sampled_from(["fresh", "follow"])),
        share_universes=draw(st.booleans()),
        frame_rate=draw(st.sampled_from([20, 29.97, 40, 44])),
    )
    for run in tables["run"].values():
        run |= {"pixels": draw(st.integers(1, 400)), "nulls": draw(st.integers(0, 3))}
    return tables


@examples(15, 80)
@given(shows())
def test_counted_is_what_the_sender_sends(tables: dict) -> None:
    # Judge: the sender's own list of where each packet goes, and the packets that it builds, weighed by hand.
    wiring, patch = patched(tables)
    rate = wiring.show.settings.frame_rate
    counted = traffic(wiring.show, patch)

    def weighed(goals: list[Target]) -> tuple[int, float]:
        octets = {"e131": 638 + OVERHEAD, "artnet": 530 + OVERHEAD}
        return len(goals), sum(octets[goal.protocol] for goal in goals) * 8 * rate / 1e6

    every = targets(wiring.show, patch, wiring.show.controllers, {})
    for stream, goals in [
        (counted.in_all, every),
        *((counted.boxes[box], targets(wiring.show, patch, [box], {})) for box in wiring.show.controllers),
    ]:
        assert (stream.universes, stream.mbps) == (weighed(goals)[0], pytest.approx(weighed(goals)[1]))
        assert stream.packets == pytest.approx(len(goals) * rate)


def test_packets_that_really_leave_are_as_many_and_as_long() -> None:
    # Judge: a socket on the loopback counts what arrives of one frame: 638 and 530 octets.
    wiring, patch = patched(tables_of({"one": 2, "two": 3}, {"two": {"protocol": "artnet"}}))
    counted = traffic(wiring.show, patch)
    arrived = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as inbox:
        inbox.bind(("127.0.0.1", 0))
        inbox.settimeout(20.0)
        here = inbox.getsockname()[1]

        class Here(Target):
            port = here  # type: ignore[assignment]

        goals = targets(wiring.show, patch, ["one", "two"], {"one": "127.0.0.1", "two": "127.0.0.1"})
        with Sender([Here(goal.protocol, goal.universe, goal.host) for goal in goals], interface="127.0.0.1") as sender:
            sender.send(Levels((), np.zeros((0, 512), dtype=np.uint8)))
            arrived = [len(inbox.recv(2048)) for _ in range(counted.in_all.universes)]
            inbox.setblocking(False)
            with pytest.raises(BlockingIOError):
                inbox.recv(2048)
    octets = sum(length + OVERHEAD for length in arrived)
    assert sorted(arrived) == [530] * 3 + [638] * 2
    assert counted.in_all.mbps == pytest.approx(octets * 8 * 40 / 1e6)


@pytest.mark.parametrize(("delivery", "in_all"), [("unicast", 2), ("multicast", 1)])
def test_a_shared_universe_counts_once_a_box_or_once_a_group(delivery: str, in_all: int) -> None:
    # Source: E1.31, 9.3.1: a multicast packet reaches every receiver of its universe's group.
    keys = {"one": {"delivery": delivery}, "two": {"delivery": delivery}}
    tables = tables_of({"one": 1, "two": 1}, keys, placement="follow", share_universes=True)
    for run in tables["run"].values():
        run["pixels"] = 50
    counted = sent(tables)
    assert {box: stream.universes for box, stream in counted.boxes.items()} == {"one": 1, "two": 1}
    assert counted.in_all.universes == in_all


# --- each warning, raised and not -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("universes", "raised"), [(443, False), (444, True)])
def test_link_load(universes: int, raised: bool) -> None:
    # Source: IEEE 802.3, RFC 791, RFC 768, arithmetic: 443 universes of E1.31 at 40 frames a second fill 100 Mb/s.
    found = said(tables_of({"box": universes}))
    assert [(finding.rule, finding.where) for finding in found] == (
        [("link-load", "controller.box"), ("link-load", "show.frame_rate")] if raised else []
    )
    for finding in found:
        assert "443 of E1.31 at 40" in finding.says
        assert "444 universes, 17760 packets a second, 100.0 Mb/s" in finding.says
        assert "lower frame_rate to 30" in finding.remedy


def test_the_senders_link_may_be_full_where_no_box_s_is() -> None:
    # Source: arithmetic: 300 × 704 + 250 × 596 octets of 8 bits at 40 a second are 115.3 Mb/s.
    (finding,) = said(tables_of({"one": 300, "two": 250}, {"two": {"protocol": "artnet"}}))
    assert (finding.rule, finding.where) == ("link-load", "show.frame_rate")
    assert "550 universes, 22000 packets a second, 115.3 Mb/s" in finding.says
    assert "443 of E1.31 or 524 of Art-Net" in finding.says
    assert "lower frame_rate to 30" in finding.remedy


PAIR, FOURS = {"one": 1, "two": 1}, {"one": 4, "two": 4}
ARTNET, MULTICAST = {"protocol": "artnet"}, {"delivery": "multicast"}
E131_RATE, MULTICAST_WIFI = ("e131-rate", "show.frame_rate"), ("wifi-multicast", "controller.one.delivery")


def wifi(**mbps: float) -> dict[str, dict]:
    """Boxes on Wi-Fi, by the megabits a second that it was measured to carry."""
    return {box: {"wifi_mbps": carried} for box, carried in mbps.items()}


def full(*boxes: str) -> list[tuple[str, str]]:
    return [("wifi-load", f"controller.{box}.wifi_mbps" if box in FOURS else box) for box in boxes]


@pytest.mark.parametrize(
    ("universes", "keys", "rate", "wanted"),
    [
        # From memory: E1.31 keeps to DMX512-A's highest rate, 44 frames a second.
        (PAIR, {}, 44, []), (PAIR, {}, 44.1, [E131_RATE]), (PAIR, {"one": ARTNET}, 60, [E131_RATE]),
        (PAIR, {"one": ARTNET, "two": ARTNET}, 60, []), (PAIR, {"shelf": {"ports": 4, "spare": True}}, 44, []),
        # From memory: IEEE 802.11 acknowledges no frame to a group, and access points send those at a low rate.
        ({"one": 1}, {"one": MULTICAST | {"wifi_mbps": 20.0}}, 40, [MULTICAST_WIFI]),
        ({"one": 1}, {"one": MULTICAST}, 40, []), ({"one": 1}, wifi(one=20.0), 40, []),
        # Source: arithmetic: a universe of E1.31 at 40 frames a second is 704 × 8 × 40 = 225 280 bits a second.
        ({"one": 4}, wifi(one=0.9012), 40, []), ({"one": 4}, wifi(one=0.9011), 40, full("one")),
        (FOURS, wifi(one=1.80225, two=1.80225), 40, []),
        (FOURS, wifi(one=1.80223, two=1.80223), 40, full("show.frame_rate")),
        (FOURS, wifi(one=1.7), 40, []), (FOURS, wifi(one=0.9, two=20.0), 40, full("one")),
        (FOURS, wifi(one=0.9, two=0.8), 40, full("one", "two")),
        # A box on Wi-Fi has no cable to fill; the sender's link carries it all the same.
        ({"one": 444}, wifi(one=500.0), 40, [("link-load", "show.frame_rate")]),
    ],
)  # fmt: skip
def test_each_warning_is_raised_and_not(universes: dict, keys: dict, rate: float, wanted: list) -> None:
    tables = tables_of(universes, keys, frame_rate=rate)
    tables["controller"] |= {box: table for box, table in keys.items() if box not in universes}
    assert rules(tables) == wanted


def test_without_a_patch_the_rest_is_said() -> None:
    # Source: `help check`: it says all that is wrong at once
    keys = {"box": {"delivery": "multicast", "wifi_mbps": 0.1, "universes": 1}}
    patch, found = check(wired(tables_of({"box": 2}, keys, frame_rate=50)))
    assert patch is None
    assert [finding.rule for finding in found if finding.area == "network"] == ["e131-rate", "wifi-multicast"]


def test_all_boxes_on_one_air_are_named_with_their_sum() -> None:
    # Source: arithmetic: 0.90112 Mb/s of 2, 1.3 and 5 are 0.45, 0.69 and 0.18 of the air time.
    keys = {"one": {"wifi_mbps": 2.0}, "two": {"wifi_mbps": 1.3}, "three": {"wifi_mbps": 5.0}}
    (finding,) = said(tables_of({"one": 4, "two": 4, "three": 4, "cabled": 4}, keys))
    assert "1.32 times" in finding.says
    assert "one 45 %, two 69 %, three 18 %" in finding.says
    assert "cabled" not in finding.says
    assert "lower frame_rate to 30" in finding.remedy


# --- what check prints ------------------------------------------------------------------------------------------------


def test_check_says_what_is_sent(here: Patcher, heron_lock: Path) -> None:
    # Source: README's patch of the show by hand: lockhouse 2 and weirside 6 universes of E1.31, the others of Art-Net.
    mbps = {"lockhouse": 2 * 704, "gatepost": 6 * 596, "weirside": 6 * 704, "mooring": 7 * 596}
    document = json.loads(here("check", heron_lock, "--json").stdout)
    assert {one["controller"]: one["mbps"] for one in document["boxes"]} == {
        box: pytest.approx(octets * 8 * 40 / 1e6, abs=1e-4) for box, octets in mbps.items()
    }
    assert [one["packets"] for one in document["boxes"]] == [80, 240, 240, 280]
    slowest = {box: max(port["frame_ms"] for port in document["ports"] if port["controller"] == box) for box in mbps}
    assert {one["controller"]: one["frame_ms"] for one in document["boxes"]} == slowest
    assert [one["max_rate"] for one in document["boxes"]] == [
        pytest.approx(1000 / slowest[box], rel=1e-4) for box in mbps
    ]
    total = sum(mbps.values()) * 8 * 40 / 1e6
    assert document["network"] == {"packets": 840, "mbps": pytest.approx(total, abs=1e-4), "link_mbps": 100}
    *_, port, last, fuses = here("check", heron_lock).stdout.splitlines()
    assert fuses.startswith("Fuses to be fitted: 38 at taps: ")
    assert port == "Slowest port: weirside/1, 19.5 ms a frame, 51.2 frames a second; the show plays 40."
    assert (
        last
        == f"Network: 840 packets a second, {total:.1f} Mb/s in all, 4.3 % of 100 Mb/s; most to weirside, 1.4 Mb/s."
    )


def test_where_no_patch_can_be_nothing_is_said_of_the_network(here: Patcher, heron_lock: Path) -> None:
    # Source: `help json`: null where there can be no patch.
    heron_lock.write_text(heron_lock.read_text().replace("universes = 16", "universes = 1"))
    ran = here("check", heron_lock, "--json")
    document = json.loads(ran.stdout)
    assert (ran.returncode, document["network"]) == (1, None)
    assert {(one["packets"], one["mbps"]) for one in document["boxes"]} == {(None, None)}
    assert "Slowest port" in here("check", heron_lock).stdout
    assert "packets a second" not in here("check", heron_lock).stdout


@pytest.mark.parametrize("value", ["0", "-1.0", "nan", '"20"', "true"])
def test_what_wifi_carries_is_a_positive_number(here: Patcher, heron_lock: Path, value: str) -> None:
    # Source: `help json`: megabits a second, so more than none.
    text = heron_lock.read_text().replace("[controller.mooring]", f"[controller.mooring]\nwifi_mbps = {value}\n#", 1)
    heron_lock.write_text(text)
    ran = here("check", heron_lock)
    assert ran.returncode == 2
    assert "controller.mooring.wifi_mbps" in ran.stdout
