"""Packets that nobody meant to send, a million in the long run: no exception, and only declared values."""

import random
import struct
from collections import Counter
from collections.abc import Callable, Iterator

import pytest

from patcher.wire import artnet, e131
from patcher.wire.malformed import Malformed
from rig.examples import tries
from rig.wire_samples import artnet_packets, e131_packets

PACKETS = tries(50_000, 500_000)  # of each protocol's making
E131_LENGTHS = (16, 38, 112, 115)
ARTNET_WORDS = (8, 10, 14, 16, 172)
# Takes the numbers, and some letters, out of a reason, so that alike reasons count once.
HEX_DIGITS_AWAY = str.maketrans("", "", "0123456789abcdef")

Mutation = Callable[[random.Random, bytearray], None]


def flip(rng: random.Random, packet: bytearray) -> None:
    """One to three octets anywhere."""
    for _ in range(rng.randrange(1, 4)):
        packet[rng.randrange(len(packet))] ^= rng.randrange(1, 256)


def flip_head(rng: random.Random, packet: bytearray) -> None:
    """One octet outside the slots, where most of the meaning is."""
    packet[rng.randrange(min(126, len(packet)))] ^= rng.randrange(1, 256)


def truncate(rng: random.Random, packet: bytearray) -> None:
    del packet[rng.randrange(len(packet)) :]


def extend(rng: random.Random, packet: bytearray) -> None:
    packet += rng.randbytes(rng.randrange(1, 80))


def splice_word(rng: random.Random, packet: bytearray) -> None:
    """A length, count, opcode or universe somewhere else than where it was, or a wild one."""
    at = rng.choice(E131_LENGTHS + ARTNET_WORDS + (113, 123))
    word = rng.choice((0, 1, 513, 514, 0x7000, 0x720B, 0x7FFF, 0xFFFF, rng.randrange(0x10000)))
    if at + 2 <= len(packet):
        struct.pack_into("!H", packet, at, word)


def resize_soundly(rng: random.Random, packet: bytearray) -> None:
    """Cut or filled, with E1.31's lengths set to fit, so that what lies behind the lengths is reached."""
    if rng.random() < 0.5:
        truncate(rng, packet)
    else:
        extend(rng, packet)
    for at in (*E131_LENGTHS[:2], rng.choice(E131_LENGTHS[2:])):
        if at + 2 <= len(packet):
            struct.pack_into("!H", packet, at, 0x7000 + len(packet) - at)
    if len(packet) > 125 and rng.random() < 0.5:
        struct.pack_into("!H", packet, 123, len(packet) - 125)


def scramble_tail(rng: random.Random, packet: bytearray) -> None:
    """Random from somewhere on."""
    at = rng.randrange(len(packet))
    packet[at:] = rng.randbytes(len(packet) - at)


def scramble(rng: random.Random, packet: bytearray) -> None:
    """Random from the first octet, of any size."""
    packet[:] = rng.randbytes(rng.randrange(700))


MUTATIONS: tuple[Mutation, ...] = (
    flip,
    flip_head,
    truncate,
    extend,
    splice_word,
    resize_soundly,
    scramble_tail,
    scramble,
)


def mutants(seed: int, originals: list[bytes]) -> Iterator[bytes]:
    rng = random.Random(seed)
    for number in range(PACKETS):
        packet = bytearray(originals[number % len(originals)])
        rng.choice(MUTATIONS)(rng, packet)
        yield bytes(packet)


def is_within_bounds(found: object) -> bool:
    """Whether a value keeps to the bounds that its docstring gives; for those that mutants reach."""
    match found:
        case Malformed(why):
            return bool(why)
        case e131.Data():
            return (
                len(found.cid) == 16
                and found.priority <= 200
                and found.sync_universe <= 63999
                and 1 <= found.universe <= 63999
                and len(found.slots) <= 512
            )
        case e131.Sync():
            return 1 <= found.sync_universe <= 63999
        case e131.Discovery():
            return found.page <= found.last_page and len(found.universes) <= 512
        case artnet.Dmx():
            return found.port_address <= 32767 and 2 <= len(found.slots) <= 512 and len(found.slots) % 2 == 0
        case artnet.PollReply():
            return len(found.port_addresses) <= 4 and all(0 <= port <= 32767 for port in found.port_addresses)
        case artnet.Sync() | artnet.Poll():
            return True
    return False


@pytest.mark.many
@pytest.mark.parametrize(
    ("seed", "originals", "mine", "other", "kinds"),
    [
        (5568, e131_packets(), e131.decode, artnet.decode, (e131.Data, e131.Sync, e131.Discovery)),
        (6454, artnet_packets(), artnet.decode, e131.decode, (artnet.Dmx, artnet.Sync, artnet.Poll, artnet.PollReply)),
    ],
    ids=["e131", "artnet"],
)
def test_mutants_by_the_thousand(
    seed: int,
    originals: list[bytes],
    mine: Callable[[bytes], object],
    other: Callable[[bytes], object],
    kinds: tuple[type, ...],
) -> None:
    # Common practice, no source: whatever comes from a network may be broken or hostile
    assert {type(mine(octets)) for octets in originals} == set(kinds)
    found: Counter[type] = Counter()
    whys: Counter[str] = Counter()
    for octets in mutants(seed, originals):
        value = mine(octets)
        found[type(value)] += 1
        assert is_within_bounds(value), octets.hex()
        if type(value) is Malformed:
            whys[value.why.translate(HEX_DIGITS_AWAY)] += 1
        assert type(other(octets)) is Malformed, octets.hex()
    # The test is not hollow: every kind survives its mutations many times, and is refused for many reasons.
    assert set(found) == {Malformed, *kinds}
    assert found.total() == PACKETS
    assert min(found[kind] for kind in kinds) > PACKETS // 100
    assert PACKETS // 4 < found[Malformed] < 9 * PACKETS // 10
    assert len(whys) >= 12
