"""Every kind of packet that we send, as tshark's dissectors read it from the bytes alone.

tshark 4.0 knows nothing of E1.31's extended packets (root vector 8). Of those it is shown a copy with the root vector
of a data packet, and asked only for what both have in common: root layer, framing layer's frame, source name.
"""

import uuid
from pathlib import Path

import pytest

from patcher.trade import UDP_PORTS
from patcher.wire import artnet, e131
from rig.dissection import Reading, dissect
from rig.packets import MAC, art_poll_reply
from rig.wire_samples import CID, LEVELS, SOURCE, artnet_dmx, e131_data, with_octet

UNIVERSES = [1, 7, 255, 256, 0x1234, 63999]
PORT_ADDRESSES = [0, 1, 15, 16, 255, 256, 0x1234, 32767]
PAGES = [0, 1, 512, 1300]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("tshark")


def e131_packets() -> dict[object, bytes]:
    packets: dict[object, bytes] = {}
    for universe in UNIVERSES:
        packets["data", universe] = e131_data(universe=universe, sequence=universe)
    packets["terminated"] = e131_data(terminated=True)
    packets["bare"] = e131.data_packet(cid=CID, source="Häron ❄", universe=9, priority=200)
    packets["low"] = e131.data_packet(cid=CID, source="x" * 63, universe=9, priority=0)
    packets["sync"] = e131.sync_packet(cid=CID, sync_universe=7962, sequence=67)
    for count in PAGES:
        pages = e131.discovery_packets(cid=CID, source=SOURCE, universes=range(1, count + 1))
        packets.update({("discovery", count, number): page for number, page in enumerate(pages)})
    return packets


def artnet_packets() -> dict[object, bytes]:
    packets: dict[object, bytes] = {}
    for port_address in PORT_ADDRESSES:
        packets["dmx", port_address] = artnet_dmx(port_address=port_address, sequence=port_address)
    packets["bare"] = artnet.dmx_packet(port_address=1)
    packets["sync"] = artnet.sync_packet()
    packets["poll"] = artnet.poll_packet()
    packets["targeted"] = artnet.poll_packet()[:12] + bytes.fromhex("2000" + "1234" + "0003")
    packets["reply"] = art_poll_reply()
    packets["no ports"] = art_poll_reply(())
    packets["ours"] = artnet.poll_reply_packets("192.0.2.21", "lockhouse", "Heron Lock", (5, 6, 7, 8, 20))[1]
    packets["full"] = art_poll_reply((0x7FF0, 0x7FFF, 0x7FF5, 0x7FF5))
    return packets


@pytest.fixture(scope="module")
def acn(folder: Path) -> dict[object, Reading]:
    packets = e131_packets()
    disguised = [with_octet(packet, 21, 4) if packet[21] == 8 else packet for packet in packets.values()]
    return dict(zip(packets, dissect(folder, UDP_PORTS["e131"], disguised), strict=True))


@pytest.fixture(scope="module")
def art(folder: Path) -> dict[object, Reading]:
    packets = artnet_packets()
    return dict(zip(packets, dissect(folder, UDP_PORTS["artnet"], packets.values()), strict=True))


def slots_of(reading: Reading) -> bytes:
    """The slots out of tshark's table; its first row is a heading, and each row begins with its range."""
    heading, *rows = reading.fields["acn.dmx.data"]
    assert ":" not in heading
    return bytes.fromhex("".join(row.partition(":")[2].replace("|", "") for row in rows))


def check_data(reading: Reading, **expected: object) -> None:
    assert reading.layers[-1] == "acn"
    assert reading.complaints() == []
    read = {
        "preamble": (reading["acn.preamble_size"], reading["acn.postamble_size"]),
        "identifier": reading["acn.packet_identifier"],
        "flags": reading.fields["acn.pdu.flags"],
        "lengths": reading.fields["acn.pdu.length"],
        "vectors": (reading["acn.protocol_id"], reading["acn.dmx_vector"], reading["acn.dmp_vector"]),
        "cid": uuid.UUID(reading["acn.cid"]).bytes,
        "source": reading["acn.dmx.source_name"],
        "priority": reading["acn.dmx.priority"],
        "sync": reading["acn.dmx.reserved"],
        "sequence": reading["acn.dmx.seq_number"],
        "options": (reading["acn.dmx.options"], reading["acn.dmx.option_p"], reading["acn.dmx.option_s"]),
        "universe": reading["acn.dmx.universe"],
        "type": [reading[f"acn.dmp_adt_{bits}"] for bits in "vrdxa"],
        "property": [reading[f"acn.dmx.{name}"] for name in ("first_property_address", "increment", "count")],
        "start code": reading["acn.dmx.start_code2"],
        "slots": slots_of(reading),
    }
    unchanged = {
        "preamble": ("16", "0"),
        "identifier": "ASC-E1.17",
        "flags": ["0x70", "0x70", "0x70"],
        "lengths": ["622", "600", "523"],
        "vectors": ("4", "2", "2"),
        "cid": CID,
        "source": SOURCE,
        "priority": "100",
        "sync": "0",
        "options": ("0", "0", "0"),
        "type": ["1", "0", "2", "0", "1"],
        "property": ["0", "1", "513"],
        "start code": "0",
        "slots": LEVELS,
    }
    assert read == {**unchanged, **expected}


@pytest.mark.parametrize("universe", UNIVERSES)
def test_data(acn: dict[object, Reading], universe: int) -> None:
    # Judge: tshark 4.0
    check_data(acn["data", universe], universe=str(universe), sequence=str(universe % 256))


def test_terminated_data(acn: dict[object, Reading]) -> None:
    # Judge: tshark 4.0
    check_data(acn["terminated"], universe="7", sequence="154", options=("64", "0", "1"))


def test_bare_data(acn: dict[object, Reading]) -> None:
    # Judge: tshark 4.0
    dark = {"universe": "9", "sequence": "0", "slots": bytes(512)}
    check_data(acn["bare"], source="Häron ❄", priority="200", **dark)
    check_data(acn["low"], source="x" * 63, priority="0", **dark)


def test_sync(acn: dict[object, Reading]) -> None:
    # Judge: tshark 4.0, for root and framing layers; pyartnet 2.0 for the rest (test_e131_libraries.py)
    reading = acn["sync"]
    assert reading.layers[-1] == "acn"
    assert reading.complaints() == []
    assert (reading["acn.preamble_size"], reading["acn.postamble_size"]) == ("16", "0")
    assert reading["acn.packet_identifier"] == "ASC-E1.17"
    assert reading.fields["acn.pdu.flags"] == ["0x70", "0x70"]
    assert reading.fields["acn.pdu.length"] == ["33", "11"]
    assert uuid.UUID(reading["acn.cid"]).bytes == CID
    assert reading["acn.dmx_vector"] == "1"


@pytest.mark.parametrize(
    ("count", "page", "listed"),
    [(0, 0, 0), (1, 0, 1), (512, 0, 512), (1300, 0, 512), (1300, 1, 512), (1300, 2, 276)],
)
def test_discovery(acn: dict[object, Reading], count: int, page: int, listed: int) -> None:
    # Judge: tshark 4.0, for root layer, framing layer and source name. The list behind them it cannot read.
    reading = acn["discovery", count, page]
    assert reading.layers[-1] == "acn"
    assert (reading["acn.preamble_size"], reading["acn.postamble_size"]) == ("16", "0")
    assert reading["acn.packet_identifier"] == "ASC-E1.17"
    assert reading.fields["acn.pdu.flags"][:2] == ["0x70", "0x70"]
    assert reading.fields["acn.pdu.length"][:2] == [str(104 + 2 * listed), str(82 + 2 * listed)]
    assert uuid.UUID(reading["acn.cid"]).bytes == CID
    assert reading["acn.dmx_vector"] == "2"
    assert reading["acn.dmx.source_name"] == SOURCE


def check_header(reading: Reading, opcode: str) -> None:
    assert "artnet" in reading.layers
    assert reading.complaints() == []
    assert (reading["artnet.header.id"], reading["artnet.header.opcode"]) == ("Art-Net", opcode)


@pytest.mark.parametrize("port_address", PORT_ADDRESSES)
def test_dmx(art: dict[object, Reading], port_address: int) -> None:
    # Judge: tshark 4.0
    reading = art["dmx", port_address]
    check_header(reading, "0x5000")
    assert reading["artnet.header.protver"] == "14"
    assert reading["artnet.output.sequence"] == str(port_address % 255 + 1)
    assert reading["artnet.output.physical"] == "0"
    assert reading["artnet.output.universe"] == str(port_address)
    assert reading["artnet.output.length"] == "512"
    assert bytes.fromhex(reading["dmx_chan.data_filter"].replace(":", "")) == LEVELS


def test_bare_dmx(art: dict[object, Reading]) -> None:
    # Judge: tshark 4.0
    reading = art["bare"]
    check_header(reading, "0x5000")
    assert (reading["artnet.output.sequence"], reading["artnet.output.universe"]) == ("0", "1")
    assert bytes.fromhex(reading["dmx_chan.data_filter"].replace(":", "")) == bytes(512)


def test_art_sync(art: dict[object, Reading]) -> None:
    # Judge: tshark 4.0
    check_header(art["sync"], "0x5200")
    assert (art["sync"]["artnet.header.protver"], art["sync"]["artnet.data"]) == ("14", "00:00")


def test_poll(art: dict[object, Reading]) -> None:
    # Judge: tshark 4.0
    reading = art["poll"]
    check_header(reading, "0x2000")
    assert reading["artnet.header.protver"] == "14"
    assert (reading["artnet.poll.talktome"], reading["artnet.poll.diag_priority"]) == ("0x00", "0")


def test_targeted_poll_is_read_as_tshark_reads_it(art: dict[object, Reading]) -> None:
    # Judge: tshark 4.0
    reading = art["targeted"]
    check_header(reading, "0x2000")
    assert artnet.decode(artnet_packets()["targeted"]) == artnet.Poll()
    assert reading["artnet.poll.talktome_targeted"] == "1"
    assert int(reading["artnet.poll.talktome"], 16) == 0x20
    assert int(reading["artnet.poll.target_port_top"]) == 0x1234
    assert int(reading["artnet.poll.target_port_bottom"]) == 3


def test_a_reply_of_ours_is_read_by_tshark(art: dict[object, Reading]) -> None:
    # Judge: tshark 4.0. The fifth Port-Address is of another sub-net: 20 is 0.1.4.
    reading = art["ours"]
    check_header(reading, "0x2100")
    fields = {name: reading[f"artnet.poll_reply.{name}"] for name in ("ip_address", "port_nr", "oem", "num_ports")}
    assert fields == {"ip_address": "192.0.2.21", "port_nr": "6454", "oem": "0x00ff", "num_ports": "1"}
    assert int(reading["artnet.poll_reply.subswitch"], 16) == 1
    assert reading["artnet.poll_reply.swout_1_universe"] == "20"
    (bind_index,) = (values for name, values in reading.fields.items() if name.endswith("bind_index"))
    assert [int(value, 0) for value in bind_index] == [2]


@pytest.mark.parametrize(
    ("reply", "port_addresses"),
    [("reply", (0x1231, 0x1235, 0x1230)), ("no ports", ()), ("full", (0x7FF0, 0x7FFF, 0x7FF5, 0x7FF5))],
)
def test_poll_reply(art: dict[object, Reading], reply: str, port_addresses: tuple[int, ...]) -> None:
    # Judge: tshark 4.0
    reading = art[reply]
    check_header(reading, "0x2100")
    base = port_addresses[0] & 0x7FF0 if port_addresses else 0

    def field(name: str) -> str:
        return reading[f"artnet.poll_reply.{name}"]

    assert (field("ip_address"), field("port_nr"), field("mac")) == ("192.0.2.21", "6454", MAC.hex(":"))
    assert (field("short_name"), field("long_name")) == ("lockhouse", "Heron Lock, lockhouse")
    assert (field("node_report"), field("style"), field("oem")) == ("", "0x00", "0x00ff")
    assert (int(field("netswitch"), 16), int(field("subswitch"), 16)) == (base >> 8, base >> 4 & 0xF)
    assert field("num_ports") == str(len(port_addresses))
    assert field("addrsupport") == "0x01"
    for port in range(4):
        used = port < len(port_addresses)
        assert field(f"port_types_{port + 1}") == ("0x80" if used else "0x00")
        assert field(f"good_output_{port + 1}") == ("0x80" if used else "0x00")
        assert field(f"good_input_{port + 1}") == "0x00"
        assert field(f"swout_{port + 1}_universe") == str(port_addresses[port] if used else base)
