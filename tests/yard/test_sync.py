"""What a box keeps of synchronization: a lost stream begins anew, and nothing grows with who speaks to it."""

import pickle

from patcher.trade import NETWORK_DATA_LOSS
from patcher.wire.e131 import Data, Sync
from patcher.yard.sync import MOST_ADDRESSES, MOST_SOURCES, StreamSync

ALICE = bytes(16)


def data(address: int) -> Data:
    return Data(ALICE, "alice", 100, address, 1, False, False, False, 1, 0, bytes(512))


def of(number: int) -> bytes:
    """The name of a source."""
    return number.to_bytes(16, "big")


def test_once_synchronization_is_lost_any_sequence_begins_it_anew() -> None:
    # From memory: ANSI E1.31-2018 11.1.2 and 6.7.2: the window of the sequence ends with the stream
    for silence, taken in ((NETWORK_DATA_LOSS - 0.1, False), (NETWORK_DATA_LOSS + 0.1, True)):
        sync = StreamSync()
        sync.released(Sync(ALICE, 50, 99), 10.0)
        assert sync.holds(data(99), 0, b"a", 10.1) is True
        assert sync.released(Sync(ALICE, 45, 99), 10.0 + silence) == ({0: b"a"} if taken else {})


def test_sources_of_synchronization_take_no_more_room_the_more_they_are() -> None:
    sizes = {}
    sync = StreamSync()
    for number in range(50 * MOST_SOURCES):
        sync.released(Sync(of(number), 1, 99), 1.0)
        sizes[number + 1] = len(pickle.dumps(sync))
    assert max(sizes.values()) == max(sizes[number] for number in range(1, MOST_SOURCES + 1))
    assert sync.released(Sync(of(50 * MOST_SOURCES - 1), 1, 99), 1.0) == {}  # who spoke last is still known


def test_addresses_that_nobody_names_any_more_make_room() -> None:
    sync = StreamSync()
    for number in range(MOST_ADDRESSES):
        assert sync.holds(data(100 + number), number, b"a", 0.0) is True
    late = NETWORK_DATA_LOSS - 0.1
    assert sync.holds(data(99), 90, b"a", late) is None  # no room: shown as it comes
    assert sync.holds(data(100), 0, b"b", late) is True
    assert sync.holds(data(99), 90, b"a", NETWORK_DATA_LOSS + 0.1) is True
    assert set(sync.universes) == {100, 99}
    sync.expired(3 * NETWORK_DATA_LOSS)
    assert sync.universes == ()
