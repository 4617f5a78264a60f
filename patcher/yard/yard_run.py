"""A yard that runs in real time: packets from a receiver, time going on, groups joined and left."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from patcher.errors import PatcherError
from patcher.listener.receiver import Ear, Receiver
from patcher.show.schema import Show
from patcher.wire import artnet
from patcher.yard.yard import Yard, sync_ears

MOST_JOINED = 64
"""Groups of synchronization addresses that are listened to at once."""
LONGEST_WAIT = 0.05
"""Seconds after which time goes on for the boxes at the latest."""


class SyncGroups:
    """Joins the multicast groups of synchronization addresses for as long as packets name them.

    Attributes:
        left_out: groups of which there were too many at once.
    """

    def __init__(self, yard: Yard, show: Show, receiver: Receiver, heard_by: dict[Ear, list[str]]) -> None:
        """Keep `heard_by`, which boxes hear what, as it should be."""
        self.left_out: set[Ear] = set()
        self._yard, self._show, self._receiver, self._heard_by = yard, show, receiver, heard_by
        self._always = {ear: tuple(boxes) for ear, boxes in heard_by.items()}
        self._joined: set[Ear] = set()

    def update(self) -> None:
        """Join what is named now, and leave what is not any more."""
        wanted = sync_ears(self._show, self._yard)
        for ear in self._joined - wanted.keys():
            self._joined.remove(ear)
            if ear in self._always:
                self._heard_by[ear] = list(self._always[ear])
            else:
                self._receiver.leave(ear)
                del self._heard_by[ear]
        for ear, boxes in wanted.items():
            if ear in self._heard_by or self._join(ear):
                self._joined.add(ear)
                self._heard_by[ear] = [*dict.fromkeys((*self._always.get(ear, ()), *boxes))]

    def _join(self, ear: Ear) -> bool:
        if len(self._joined) < MOST_JOINED:
            try:
                self._receiver.listen(ear)
            except PatcherError:  # the system has no more files or groups
                pass
            else:
                self.left_out.discard(ear)
                return True
        self.left_out.add(ear)
        return False


def run(
    yard: Yard, show: Show, receiver: Receiver, heard_by: dict[Ear, list[str]], stopped: Callable[[], bool],
    end: float = float("inf"), watchers: Sequence[Callable[[], None]] = (),
) -> set[Ear]:  # fmt: skip
    """Let packets come and time go on until it is over.

    Args:
        yard: the boxes and pixels.
        show: whose yard it is.
        receiver: hears for the boxes.
        heard_by: which boxes hear what; it is changed as groups are joined and left.
        stopped: whether to end.
        end: seconds of the monotonic clock at which it is over anyway.
        watchers: called again and again.

    Returns:
        The groups that there was no room to join.
    """
    groups = SyncGroups(yard, show, receiver, heard_by)
    while not stopped() and time.monotonic() < end:
        wait = min(LONGEST_WAIT, yard.next_due() - time.monotonic())
        datagrams = receiver.poll(max(0.0, wait))
        now = time.monotonic()
        yard.hear([(heard_by[each.ear], each.octets, each.sender) for each in datagrams], now)
        yard.expire(now)
        _answer(yard, receiver, heard_by)
        groups.update()
        for watch in watchers:
            watch()
    return groups.left_out


def _answer(yard: Yard, receiver: Receiver, heard_by: dict[Ear, list[str]]) -> None:
    """Each Art-Net box says which Port-Addresses it listens to, to whoever on this machine asked it."""
    for ear, names in heard_by.items():
        for box in (yard.boxes[name] for name in names if yard.boxes[name].asked and ear.interface is None):
            replies = artnet.poll_reply_packets(ear.host, box.name, f"{box.name}, of the yard", box.universes)
            for sender in (asker for asker in box.asked if asker.startswith("127.")):
                for reply in replies:
                    receiver.answer(ear, reply, sender)
            box.asked.clear()
