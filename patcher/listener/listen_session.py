"""Listening for a while: what comes in, which boxes answer, and what of it is wrong, for a show or for none."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from patcher.errors import Finding, refuse
from patcher.listener import contention, presence
from patcher.listener.heard import Heard
from patcher.listener.listen_sockets import MOST_GROUPS, Burden, Hearing, groups, protocol_of
from patcher.listener.lit_pixels import expected
from patcher.listener.presence import Presence
from patcher.listener.probe import Prober
from patcher.listener.receiver import Ear, is_free
from patcher.listener.streams import Listening
from patcher.trade import DISCOVERY_UNIVERSE, UDP_PORTS

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring

TIMES_ASKED = 3
"""How often a box is asked that does not answer."""
ASK_EVERY = 1.0
LOOK_EVERY = 0.25
"""Seconds between two readings of the answers."""

Change = Callable[[Heard, float], None]
"""Is told what has been heard so far, and after how many seconds."""


@dataclass
class ListenedShow:
    """What is listened for.

    Attributes:
        wiring: of a show, where there is one.
        patch: its patch.
        hosts: the address at which each box is asked; None where the show gives none.
        yard: whether the boxes are simulated on this machine.
        yard_runs: whether the yard that simulates them runs: its dead boxes do not answer either.
    """

    wiring: Wiring | None = None
    patch: Patch | None = None
    hosts: dict[str, str | None] = field(default_factory=dict)
    yard: bool = False
    yard_runs: bool = False

    def findings(self, heard: Heard) -> list[Finding]:
        """What is wrong, or worth knowing, among the streams; beside the show where there is one."""
        found = contention.findings(heard)
        if self.wiring is not None and self.patch is not None:
            found += contention.against_show(heard, expected(self.wiring.show, self.patch))
        return found

    def art_net_hosts(self) -> list[str]:
        """The addresses of the show's boxes that take Art-Net."""
        boxes = self.wiring.show.controllers if self.wiring else {}
        return [host for box, host in self.hosts.items() if host and boxes[box].protocol == "artnet"]

    @property
    def unheard_boxes(self) -> list[str]:
        """The boxes of the yard to which frames go by unicast: the yard takes those, so nobody beside it hears them."""
        if self.wiring is None or self.patch is None or not self.yard:
            return []
        return [box for box in self.patch.boxes if self.wiring.show.controllers[box].delivery == "unicast"]


@dataclass
class Outcome:
    """What was heard, and what is wrong with it.

    Attributes:
        scene: what was listened for.
        seconds: how long.
        groups: how many multicast groups were joined.
        heard: the streams.
        boxes: which boxes of the show answered.
        findings: what is wrong; notes last.
        deaf: where could not be listened, as address:port, with the reason.
        burden: how far this machine fell behind.
    """

    scene: ListenedShow
    seconds: float
    groups: int
    heard: Heard
    boxes: list[Presence]
    findings: list[Finding]
    deaf: dict[str, str]
    burden: Burden


def listen(
    scene: ListenedShow, universes: list[int], interface: str | None, over: Callable[[float], bool],
    changed: Change | None = None,
) -> Outcome:  # fmt: skip
    """Listen until it is over, and say what was heard.

    Args:
        scene: what is listened for.
        universes: E1.31 universes whose groups are joined.
        interface: the address of this machine to listen on.
        over: whether to end, after so many seconds.
        changed: is told several times a second what has been heard so far.

    Raises:
        PatcherError: no port could be opened.
    """
    hosts = [] if scene.yard else [host for host in scene.hosts.values() if host]
    art_net = scene.art_net_hosts()
    e131 = [host for host in hosts if host not in art_net]
    listening = Listening()
    with Hearing() as hearing, Prober(art_net, e131, interface, echo=not scene.yard) as prober:
        hearing.listen_on([DISCOVERY_UNIVERSE, *universes], interface)
        if not hearing.ears:
            reasons = "; ".join(sorted(set(hearing.deaf.values())))
            raise refuse("listen", f"could open no port: {reasons}", "end what else listens, or choose an --interface")
        begin = time.monotonic()
        _hear(hearing, prober, listening, interface, over, changed)
        burden, now = hearing.burden(), time.monotonic()
        heard = listening.heard(now)
        boxes, about_boxes = _boxes(scene, prober, heard)
        found = sorted([*scene.findings(heard), *about_boxes], key=lambda finding: finding.severity == "note")
        joined = sum(ear.interface is not None for ear in hearing.ears)
        return Outcome(scene, now - begin, joined, heard, boxes, found, hearing.deaf, burden)


def _hear(
    hearing: Hearing, prober: Prober, listening: Listening, interface: str | None,
    over: Callable[[float], bool], changed: Change | None,
) -> None:  # fmt: skip
    """Until it is over: take in what comes, ask the boxes, follow the sources to universes that they announce."""
    begin = asked_at = looked_at = time.monotonic()
    prober.ask()
    asked = 1
    while not over(time.monotonic() - begin):
        datagrams = hearing.poll(0.02)
        now = time.monotonic()
        for datagram in datagrams:
            protocol = protocol_of(datagram.ear)
            listening.receive(datagram.octets, protocol, datagram.sender, now)
            if protocol == "artnet":
                prober.took(datagram.octets, datagram.sender.rpartition(":")[0])
        if asked < TIMES_ASKED and now - asked_at >= ASK_EVERY:
            prober.ask()
            asked, asked_at = asked + 1, now
        if now - looked_at >= LOOK_EVERY:
            looked_at = now
            _take_answers(prober, listening, now)
            _follow(hearing, listening, interface)
            if changed is not None:
                changed(listening.heard(now), now - begin)
    _take_answers(prober, listening, time.monotonic())


def _take_answers(prober: Prober, listening: Listening, now: float) -> None:
    for answer in prober.poll():
        listening.receive(answer.octets, "artnet", answer.sender, now)


def _follow(hearing: Hearing, listening: Listening, interface: str | None) -> None:
    """Join the groups that sources announce, or wait for."""
    room = MOST_GROUPS - len(hearing.ears)
    named = [ear for ear in groups(listening.named(), interface) if ear not in hearing.ears]
    more = named[: max(0, room)]
    hearing.add([ear for ear in more if f"{ear.host}:{ear.port}" not in hearing.deaf])
    hearing.leave_out(named[len(more) :])


def _boxes(scene: ListenedShow, prober: Prober, heard: Heard) -> tuple[list[Presence], list[Finding]]:
    """Which boxes of the show answered, and what is wrong with them."""
    if scene.wiring is None or scene.patch is None or not scene.hosts:
        return [], []
    answered: dict[str, str] = dict(prober.answered)
    ways = prober.ways
    if scene.yard:
        answered, ways = dict.fromkeys(_simulated(scene), presence.SIMULATED) | answered, [presence.SIMULATED]
    boxes = presence.presences(scene.wiring.show, scene.patch, scene.hosts, answered, heard.nodes)
    if scene.yard:
        asked = [box for box in boxes if scene.wiring.show.controllers[box.box].delivery == "unicast"]
        return boxes, presence.findings(asked, ways, yard_runs=scene.yard_runs)
    return boxes, presence.findings(boxes, ways)


def _simulated(scene: ListenedShow) -> Iterator[str]:
    """The addresses at which a program on this machine listens: the yard."""
    controllers = scene.wiring.show.controllers if scene.wiring else {}
    for box, host in scene.hosts.items():
        if host and not is_free(Ear(host, UDP_PORTS[controllers[box].protocol])):
            yield host
