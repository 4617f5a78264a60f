"""`listen`: who sends what, who fights, which boxes are there, and which pixels it all would light."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import AsJson, load, load_patch
from patcher.errors import Finding, refuse
from patcher.trade import DISCOVERY_UNIVERSE, FIRST_UNIVERSE, HIGHEST_UNIVERSE, UDP_PORTS

if TYPE_CHECKING:
    from patcher.listener.listen_sockets import Burden, Hearing
    from patcher.listener.presence import Presence
    from patcher.listener.probe import Prober
    from patcher.listener.streams import Heard, Listening
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring

USUAL_UNIVERSES = "1-64"
"""What is listened to where nothing says which."""
ASKED = 3
"""How often a box is asked that does not answer."""
ASK_EVERY = 1.0
LOOK_EVERY = 0.25


@dataclass
class Scene:
    """What is listened for: a show, where there is one, and its boxes' addresses."""

    wiring: Wiring | None = None
    patch: Patch | None = None
    hosts: dict[str, str | None] = field(default_factory=dict)
    yard: bool = False


@dataclass
class Outcome:
    """What was heard, and what is wrong with it."""

    scene: Scene
    seconds: float
    groups: int
    heard: Heard
    boxes: list[Presence]
    findings: list[Finding]
    deaf: dict[str, str]
    burden: Burden


def listen(
    show: Annotated[Path | None, typer.Argument(metavar="[SHOW]", help="The show file, if any.")] = None,
    universe: Annotated[
        str | None, typer.Option(metavar="1-20,64", help="E1.31 universes whose groups are joined, besides the show's.")
    ] = None,
    interface: Annotated[str | None, typer.Option(help="Address of this machine to listen on.")] = None,
    seconds: Annotated[float | None, typer.Option(min=0.1, max=86400, help="How long.  [default: 4]")] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Go on until Ctrl-C; say what changes.")] = False,
    boxes: Annotated[
        bool, typer.Option("--boxes/--no-boxes", help="Ask the show's boxes whether they are there.")
    ] = True,
    yard: Annotated[bool, typer.Option("--yard", help="Listen on this machine alone, beside `patcher yard`.")] = False,
    as_json: AsJson = False,
) -> None:
    """Say who sends what on the network, who fights over a universe, and which pixels it would light."""
    from patcher.cli.heard import document, say
    from patcher.terminal.tables import say_json

    if yard and (interface is not None or show is None):
        raise refuse("--yard", "goes with a show and without --interface", "write: patcher listen SHOW --yard")
    if yard:
        interface = "127.0.0.1"
    _check_interface(interface)
    scene = _scene(show, boxes=boxes, yard=yard)
    numbers = _universes(universe, scene)
    lasts = seconds if seconds is not None else (None if watch else 4.0)
    outcome = _listen(scene, numbers, interface, lasts, watch=watch and not as_json)
    if as_json:
        say_json(document(outcome))
    else:
        say(outcome)
    if any(finding.severity != "note" for finding in outcome.findings):
        raise typer.Exit(1)


def _check_interface(interface: str | None) -> None:
    import socket

    if interface is None:
        return
    try:
        if not _is_one_host(interface):
            raise OSError
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as tried:
            tried.bind((interface, 0))
    except OSError:
        from patcher.listener.listen_sockets import own_addresses

        says = f"this machine has no address {interface}"
        raise refuse("--interface", says, f"choose from: {', '.join(own_addresses())}") from None


def _is_one_host(text: str) -> bool:
    """Whether it is an address that a machine can have: some systems bind to groups and to everyone as well."""
    from patcher.show.tables import station_address

    try:
        return bool(station_address(text))
    except ValueError:
        return False


def _scene(show: Path | None, *, boxes: bool, yard: bool) -> Scene:
    if show is None:
        return Scene()

    wiring = load(show)
    patch = load_patch(show, wiring)
    hosts: dict[str, str | None] = {}
    if boxes:
        hosts = {box: wiring.show.controllers[box].address for box in patch.boxes}
        if yard:
            from patcher.yard.yard import addresses

            hosts |= {box: host for box, host in addresses(show, wiring.show).items() if box in hosts}
    return Scene(wiring, patch, hosts, yard)


def _universes(text: str | None, scene: Scene) -> list[int]:
    """The E1.31 universes to join: those named, and the show's."""
    from patcher.listener.listen_sockets import MOST_GROUPS

    found: set[int] = set()
    if scene.patch is not None:
        found.update(scene.patch.universes)
    for part in (text or ("" if found else USUAL_UNIVERSES)).split(",") if text or not found else ():
        first, dash, last = (piece.strip() for piece in part.partition("-"))
        numbers = [first, last] if dash else [first]
        if not all(number.isascii() and number.isdigit() and len(number) < 6 for number in numbers):
            raise refuse("--universe", f"“{part}” is no universe and no range of them", "write it like 1-20,64")
        low, high = int(numbers[0]), int(numbers[-1])
        if not FIRST_UNIVERSE <= low <= high <= HIGHEST_UNIVERSE:
            says = f"“{part}” is not within {FIRST_UNIVERSE} to {HIGHEST_UNIVERSE}, rising"
            raise refuse("--universe", says, "write it like 1-20,64")
        found.update(range(low, high + 1))
    if len(found) > MOST_GROUPS:
        if text:
            says = f"with {len(found)} universes asks for more groups than the {MOST_GROUPS} that are joined at once"
            raise refuse("--universe", says, "name fewer")
        print(
            f"Listening to the first {MOST_GROUPS} of {len(found)} universes; --universe names others.", file=sys.stderr
        )
    return sorted(found)[:MOST_GROUPS]


def _listen(scene: Scene, numbers: list[int], interface: str | None, lasts: float | None, *, watch: bool) -> Outcome:
    from patcher.listener.listen_sockets import Hearing
    from patcher.listener.probe import Prober
    from patcher.listener.streams import Listening
    from patcher.terminal.signals import stopping

    asks = {} if scene.yard else scene.hosts
    show = scene.wiring.show if scene.wiring else None
    art_net = [host for box, host in asks.items() if host and show and show.controllers[box].protocol == "artnet"]
    e131_boxes = [host for host in asks.values() if host and host not in art_net]
    listening = Listening()
    with stopping() as stop, Hearing() as hearing, Prober(art_net, e131_boxes, interface) as prober:
        hearing.listen_on([DISCOVERY_UNIVERSE, *numbers], interface)
        if not hearing.ears:
            reasons = "; ".join(sorted(set(hearing.deaf.values())))
            raise refuse("listen", f"could open no port: {reasons}", "end what else listens, or choose an --interface")
        begin = time.monotonic()
        _hear(hearing, prober, listening, interface, lambda: stop() or _over(begin, lasts), _watcher(scene, watch))
        burden = hearing.burden()
        now = time.monotonic()
        heard = listening.heard(now)
        there, found = _boxes(scene, prober, heard)
        joined = sum(ear.interface is not None for ear in hearing.ears)
        found = _ranked([*_findings(scene, heard), *found])
        return Outcome(scene, now - begin, joined, heard, there, found, hearing.deaf, burden)


def _over(begin: float, lasts: float | None) -> bool:
    return lasts is not None and time.monotonic() - begin >= lasts


def _hear(
    hearing: Hearing, prober: Prober, listening: Listening, interface: str | None,
    over: Callable[[], bool], changed: Callable[[Heard, float], None] | None,
) -> None:  # fmt: skip
    """Until it is over: take in what comes, ask the boxes, follow the sources to universes that they announce."""
    from patcher.listener.listen_sockets import protocol_of

    begin = asked_at = looked_at = time.monotonic()
    prober.ask()
    asked = 1
    while not over():
        datagrams = hearing.poll(0.02)
        now = time.monotonic()
        for datagram in datagrams:
            protocol = protocol_of(datagram.ear)
            listening.receive(datagram.octets, protocol, datagram.sender, now)
            if protocol == "artnet":
                prober.took(datagram.octets, datagram.sender.rpartition(":")[0])
        if asked < ASKED and now - asked_at >= ASK_EVERY:
            prober.ask()
            asked, asked_at = asked + 1, now
        if now - looked_at >= LOOK_EVERY:
            looked_at = now
            for answer in prober.poll():
                listening.receive(answer.octets, "artnet", answer.sender, now)
            _follow(hearing, listening, interface)
            if changed is not None:
                changed(listening.heard(now), now - begin)
    for answer in prober.poll():
        listening.receive(answer.octets, "artnet", answer.sender, time.monotonic())


def _follow(hearing: Hearing, listening: Listening, interface: str | None) -> None:
    """Join the groups that sources announce, or wait for."""
    from patcher.listener.listen_sockets import MOST_GROUPS, groups

    room = MOST_GROUPS - len(hearing.ears)
    named = [ear for ear in groups(listening.named(), interface) if ear not in hearing.ears]
    more = named[: max(0, room)]
    hearing.add([ear for ear in more if f"{ear.host}:{ear.port}" not in hearing.deaf])
    hearing.leave_out(named[len(more) :])


def _watcher(scene: Scene, wanted: bool) -> Callable[[Heard, float], None] | None:
    """Prints a line whenever a stream comes or goes, or sources begin or cease to fight."""
    if not wanted:
        return None
    from patcher.listener.contention import in_words

    known: dict[tuple[str, str], set[int]] = {}
    said: set[tuple[str, str]] = set()

    def changed(heard: Heard, seconds: float) -> None:
        nonlocal known, said
        now: dict[tuple[str, str], set[int]] = {}
        for one in heard.streams:
            now.setdefault((one.who, one.state), set()).add(one.universe)
        for (who, state), universes in now.items():
            if new := sorted(universes - known.get((who, state), set())):
                verb = {"live": "sends", "terminated": "has ended", "gone": "is gone from"}[state]
                print(f"{seconds:7.1f} s  {who} {verb} {in_words(new)}", flush=True)
        wrong = {(one.where, one.says): one for one in _findings(scene, heard) if one.severity != "note"}
        for key in wrong.keys() - said:
            print(f"{seconds:7.1f} s  {wrong[key].says}; {wrong[key].remedy}", flush=True)
        known, said = now, set(wrong)

    return changed


def _findings(scene: Scene, heard: Heard) -> list[Finding]:
    from patcher.listener import contention

    found = contention.findings(heard)
    if scene.wiring is not None and scene.patch is not None:
        from patcher.listener.lit_pixels import expected

        found += contention.against_show(heard, expected(scene.wiring.show, scene.patch))
    return found


def _boxes(scene: Scene, prober: Prober, heard: Heard) -> tuple[list[Presence], list[Finding]]:
    if scene.wiring is None or scene.patch is None or not scene.hosts:
        return [], []
    from patcher.listener import presence

    answered: dict[str, str] = dict(prober.answered)
    ways = prober.ways
    if scene.yard:
        answered, ways = dict.fromkeys(_held(scene, scene.hosts), presence.SIMULATED), [presence.SIMULATED]
    there = presence.presences(scene.wiring.show, scene.patch, scene.hosts, answered, heard.nodes)
    if scene.yard:
        there = [one for one in there if scene.wiring.show.controllers[one.box].delivery == "unicast"]
    return there, presence.findings(there, ways)


def _held(scene: Scene, hosts: dict[str, str | None]) -> Iterable[str]:
    """Those addresses at which a program on this machine listens: the yard."""
    from patcher.listener.receiver import Ear, is_free

    assert scene.wiring is not None  # noqa: S101  (there is a yard only where there is a show)
    for box, host in hosts.items():
        port = UDP_PORTS[scene.wiring.show.controllers[box].protocol]
        if host and not is_free(Ear(host, port)):
            yield host


def _ranked(found: Iterable[Finding]) -> list[Finding]:
    return sorted(found, key=lambda one: one.severity == "note")
